"""Clauses that give the bin something: how much of what."""

from __future__ import annotations

import re

from underlid.entry.numbers import DEGREE, NUMBER_WORD
from underlid.entry.places import find_place
from underlid.entry.room import too_much
from underlid.entry.said import Known, Said
from underlid.entry.split import AMOUNT_BEGINS, Clause
from underlid.quantity import AmountError, VagueAmount, parse_amount
from underlid.records import Feeding

_FED = re.compile(r"(fed|feed|gave|added|add|watered)(?:\s+(?:them|it|with))?(?!\w)\s*:?|(feeding)\s*:", re.IGNORECASE)
_FED_NOTHING = re.compile(
    r"(?:(?:fed|feed|gave|added|add|watered)\s*:?|feeding\s*:)\s*(?:nothing\b|none\b|no\s(?!(?:more|less|fewer)\s+than\b)"
    r"|(?:0+(?:[.,]0+)?|zero\b|nil\b)(?![\d.,/½¼¾])(?!\s*(?:[-–]|to\b|or\b)))"
    r"|feeding\s+not\s+noted\b|(?:no\s+feeding|not\s+fed)\b",
    re.IGNORECASE,
)
_LITTLE = re.compile(
    r"(?:(?:just\s+)?an?\s+(?:little\s+bit|bit|little|tad|touch)|some)(?!\w)(?:\s+of(?!\w))?"
    r"(?!\s+(?:over|above|under|below|(?:more|less|fewer)\s+than)\b)",
    re.IGNORECASE,
)
_GAVE_A = re.compile(r"(?:add(?:ed)?|gave)\s+(?:an?\s+(?!bit\b|little\b|tad\b|touch\b)|the\s)", re.IGNORECASE)
_HEADING = re.compile(r"feeding\s*:\s*", re.IGNORECASE)
_PIECES_OF = re.compile(
    rf"(?:\d+|{NUMBER_WORD})\s+(?!(?:days?|weeks?|hours?|times?|of|left|gone|eaten|more|late|early)(?!\w))[^\W\d_]{{3}}",
    re.IGNORECASE,
)
_LATER = re.compile(r"(?<!\w)(?:tomorrow|next\s+(?:week|month|[a-z]+day))(?!\w)", re.IGNORECASE)
_WARM = re.compile(rf"[^\W\d_]\s+(?:at\s+)?([-−]?\d[\d.,½]{{0,5}}\s*{DEGREE})\s*$", re.IGNORECASE)
FOOD_UNIT = (
    r"(?:k?g|gr|kgs|kilos?|(?:kilo)?gram(?:me)?s?|lbs?|pounds?|oz|ounces?|m?l|(?:milli)?lit(?:re|er)s?|cups?|pints?"
    r"|quarts?|gal(?:lon)?s?)(?!\w)"
)
_FEED_UNITS = ("kg", "L", "1")
_PIECES = ("slice", "piece", "sheet", "leaf", "leave", "chunk", "cube", "ball", "page", "skin", "peel")


def nothing_fed(text: str) -> bool:
    """Whether words say that nothing was given: "fed nothing", "fed 0 g peel", "feeding not noted"."""
    return _FED_NOTHING.match(text) is not None


def feeding_verb(clause: Clause) -> re.Match[str] | None:
    """The verb of feeding that the clause begins with, unless nothing was fed."""
    return None if nothing_fed(clause.text) else _FED.match(clause.text)


def surely_fed(clause: Clause, known: Known) -> bool:
    """Whether food is meant.

    "Added a lid" fed nobody, but "added a bucket of leaves" did, once a bucket is known; "Feeding: skipped" says how
    it went, and "Feeding: 100 g peel" what was fed.
    """
    if heading := _HEADING.match(clause.text):
        return _tells_how_much(clause.text[heading.end() :], known)
    if not _GAVE_A.match(clause.text):
        return True
    verb = _FED.match(clause.text)
    return verb is not None and amount_of_food(known).match(clause.text[verb.end() :].lstrip()) is not None


def amount_of_food(known: Known) -> re.Pattern[str]:
    """What finds an amount of food in words: a number with a unit of mass or volume, or with a container of theirs."""
    units = "|".join([FOOD_UNIT, *(rf"{re.escape(name)}s?(?!\w)" for name in known.containers)])
    number = rf"(?:\d{{1,9}}(?:[.,]\d{{1,9}})?|[½¼¾]|{NUMBER_WORD}|half(?:\s+an?)?(?!\w)|an?(?=\s))"
    return re.compile(rf"(?<![\w.,])(?:{number}\s*(?:[-–]|to|or)\s*)?{number}\s*(?:{units})", re.IGNORECASE)


def _tells_how_much(text: str, known: Known) -> bool:
    return any(
        found is not None for found in (amount_of_food(known).search(text), _PIECES_OF.match(text), _LITTLE.match(text))
    )


def feeding(clause: Clause, verb: re.Match[str] | None, known: Known) -> Said:
    """What was given, how much and where; without a verb for what an earlier one still governs."""
    start = verb.end() if verb else 0
    _refuse_more_than_food(clause, start)
    text, place, _, notes = find_place(clause.text, with_preposition=True)
    rest = text[start:].rstrip(" .,")
    begins = start + len(rest) - len(rest.lstrip())
    rest = rest.lstrip()
    little = _LITTLE.match(rest)
    if little and not AMOUNT_BEGINS.match(rest[little.end() :].lstrip()):  # "some 150 g" is about 150 g
        amount, material = None, rest[little.end() :]
        notes += (f"'{little[0]}' is no amount; kept as not noted",)
    else:
        amount, material = _amount_and_material(clause, rest, begins, known)
        if amount is None:
            amount, material = _material_and_amount(rest, known)
        if amount is None:
            notes += ("no amount written; kept as not noted",)
    material = " ".join(material.split()).removeprefix("of ")
    if not material and _verb(verb) == "watered":
        material = "water"
    if not material:
        raise clause.error("what was given is missing", len(clause.text), "Write it, as 'fed 150 g pear cores'.")
    if amount is None:
        amount = parse_amount("not noted", expect="L" if material == "water" else "kg")
    if amount.unit == "1" and verb is not None and not _verb(verb).startswith("f"):
        notes += ("taken as food",)  # "added 2 bricks" would be none
    if doubt := too_much(amount, known.inside_l):
        notes += (doubt,)
    return Said(Feeding, {"material": material, "amount": amount, "place": place}, notes + amount.flags)


def _refuse_more_than_food(clause: Clause, start: int) -> None:
    """Refuse what is not given yet, and a temperature, which would be lost in the name of the food."""
    if later := _LATER.search(clause.text, start):
        mend = "Log a feeding once it was given, or begin with 'note:' to keep a plan."
        raise clause.error(f"'{later[0]}' is still to come", later.start(), mend)
    if warm := _WARM.search(clause.text, start):
        mend = f"Part them: 'fed 100 g peel; middle {warm[1]}'."
        raise clause.error("a temperature stands in what was fed", warm.start(1), mend)


def _verb(found: re.Match[str] | None) -> str:
    return "" if found is None else (found[1] or found[2]).lower()


def _amount_and_material(clause: Clause, rest: str, begins: int, known: Known) -> tuple[VagueAmount | None, str]:
    """The longest run of first words that is an amount, and the words after it."""
    if not AMOUNT_BEGINS.match(rest):
        return None, rest
    ends = [found.end() for found in re.finditer(r"\S+", rest)][:12]
    first_error: AmountError | None = None
    for end in reversed(ends):
        try:
            amount = parse_amount(rest[:end], containers=known.containers)
        except AmountError as error:
            first_error = error
            continue
        if amount.unit not in _FEED_UNITS:
            first_error = None
            break
        _refuse_unknown_container(clause, amount, rest, begins, end, known)
        return amount, rest[end:].strip()
    if re.match(r"\S*\d", rest) or first_error is None:
        mistake = first_error or AmountError(
            "this is no mass, volume or number of pieces", rest, 0, "Write g, L or a number."
        )
        raise clause.wrapped(mistake, begins)
    return None, rest


def _material_and_amount(rest: str, known: Known) -> tuple[VagueAmount | None, str]:
    """An amount that comes last: "pear cores (150 g)", "pear cores about 150 g"."""
    last = re.search(r"[\s,(]+((?:about\s+|~\s*)?\d[^()]{0,30})\)?$", rest)
    if last is None:
        return None, rest
    try:
        amount = parse_amount(last[1], containers=known.containers)
    except AmountError:
        return None, rest
    return (amount, rest[: last.start()]) if amount.unit in ("kg", "L") else (None, rest)


def _refuse_unknown_container(
    clause: Clause, amount: VagueAmount, rest: str, begins: int, end: int, known: Known
) -> None:
    """Refuse to take "a handful of leaves" for one piece of "handful of leaves"."""
    of = re.match(r"\s+(\w+)\s+of\s", rest[end:])
    if amount.unit != "1" or of is None or of[1].lower().removesuffix("s") in _PIECES:
        return
    known.amount(clause, rest[: end + of.end(1)], begins, None)
