"""What one clause of a line says: a reading, a feeding, a sample count, a sighting, or else a note.

A clause is read by blanking out the words that are understood (a place, a depth, a noun) and handing what is
left, every character in its old place, to the grammar of amounts. So an error points into the keeper's line.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from underlid.entry.places import blank, find_depth, find_instrument, find_place
from underlid.entry.split import AMOUNT_BEGINS, Clause
from underlid.quantity import AmountError, VagueAmount, parse_amount
from underlid.records import Feeding, Measured, Note, Reading, SampleCount, Sighting, Stage

_MEASURED = re.compile(
    r"(?<!\w)(?:in\s+the\s+(?=air))?(?:(?P<air>(?:outside\s+)?air(?:\s+temp(?:erature)?)?|outside|ambient)"
    r"|(?P<bedding>(?:bedding\s+)?temp(?:erature)?)|(?P<moisture>moisture)|(?P<ec>ec|conductivity))(?!\w)\.?",
    re.IGNORECASE,
)
_NAMES: dict[str, Measured] = {
    "air": "air temperature",
    "bedding": "temperature",
    "moisture": "moisture",
    "ec": "EC",
}
# Words that may stand between a place or a name and its number.
_LEAD = re.compile(
    r"\s*(?:(?:(?:the|bedding|is|was|were|of|reads?|at(?!\s+(?:least|most)))(?!\w)|[=:,])\s*)+", re.IGNORECASE
)
_TEMPERATURE_UNIT = re.compile(
    r"\d\S{0,12}\s*(?:°|º|℃|℉|(?:deg(?:ree)?s?\s*)?[cf](?!\w)|deg(?:ree)?s?(?!\w)|celsius|fahrenheit)", re.I
)
_EC_UNIT = re.compile(r"\d\s*[mdµu]s/c?m(?!\w)", re.I)
_CANONICAL = {"temperature": "degC", "air temperature": "degC", "pH": "pH", "moisture": "%", "EC": "mS/cm"}

_FED = re.compile(r"(fed|feed|gave|added|add|watered)(?:\s+(?:them|it|with))?(?!\w)", re.IGNORECASE)
_FED_NOTHING = re.compile(r"\w+\s+(?:nothing|none|no\s)", re.IGNORECASE)
_GAVE_A = re.compile(r"(?:add(?:ed)?|gave)\s+(?:an?|the)\s", re.IGNORECASE)  # "added a lid" fed nobody
_FEED_UNITS = ("kg", "L", "1")
_PIECES = ("slice", "piece", "sheet", "leaf", "leave", "chunk", "cube", "ball", "page", "skin", "peel")

_STAGES: tuple[tuple[Stage, str], ...] = (
    ("cocoon", r"cocoons?"),
    ("hatchling", r"hatchlings?|babies|baby\s+worms?"),
    ("juvenile", r"juveniles?|juvs?|young\s+worms?"),
    ("sub-adult", r"sub-?\s?adults?"),
    ("adult", r"adults?(?:\s+worms?)?"),
)
_ANIMAL = re.compile(
    r"\b(?:" + "|".join(f"(?P<s{n}>{words})" for n, (_, words) in enumerate(_STAGES)) + r"|worms?)(?!\w)", re.IGNORECASE
)
_SEEN = re.compile(r"\b(?:i\s+)?(?:saw|seen|see|spotted|found|counted|visible)(?!\w)", re.IGNORECASE)
_SAMPLE = re.compile(r"(?:sampled?|counted|count)(?!\w)\s*(?:of\s+|:)?", re.IGNORECASE)
_VOLUME = re.compile(r"(?<!\w)(?:in|from)\s+(?=(?:an?|one|half|about|\d|[½¼¾]))", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Said:
    """A record without its date: its class, its own fields, and what the keeper should know."""

    kind: type[Reading] | type[Feeding] | type[SampleCount] | type[Sighting] | type[Note]
    fields: Mapping[str, Any]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads clauses with the keeper's own containers."""

    containers: Mapping[str, VagueAmount]

    def is_sample(self, sentence: Clause) -> bool:
        """Whether the sentence counts a sample, whose commas divide stages and not clauses."""
        verb = _SAMPLE.match(sentence.text)
        if verb is None:
            return False
        return verb[0].lower().startswith("sample") or bool(_VOLUME.search(sentence.text)) or ":" in sentence.text

    def read(self, clause: Clause, previous: Said | None) -> Said:
        """What the clause says, with what the one before it lends: a verb or a unit."""
        if self.is_sample(clause):
            return self._sample(clause)
        verb = _FED.match(clause.text)
        animals = _ANIMAL.search(clause.text)
        if verb and not animals and not _GAVE_A.match(clause.text) and not _FED_NOTHING.match(clause.text):
            return self._feeding(clause, verb)
        said = self._reading(clause, previous) or self._sighting(clause, animals)
        if said is not None:
            return said
        if verb and not animals and self._holds(clause, verb.end()):
            return self._feeding(clause, verb)
        if previous is not None and previous.kind is Feeding and AMOUNT_BEGINS.match(clause.text):
            return self._feeding(clause, None)
        return Said(Note, {}, ("kept as a note",))

    def _holds(self, clause: Clause, at: int) -> bool:
        """Whether "added a bucket of leaves" names a container that the keeper has defined."""
        return any(re.match(rf"\s+an?\s+{re.escape(name)}\b", clause.text[at:], re.I) for name in self.containers)

    def _amount(self, clause: Clause, text: str, shift: int, expect: str | None) -> VagueAmount:
        """The amount that the text, blanked from `shift` on, stands for; its words without the blanks."""
        try:
            amount = parse_amount(text, expect=expect, containers=self.containers)
        except AmountError as error:
            raise clause.wrapped(error, shift) from None
        return replace(amount, words=" ".join(text.split()))

    def _reading(self, clause: Clause, previous: Said | None) -> Said | None:
        text, depth, depth_at = find_depth(clause.text)
        text, instrument = find_instrument(text)
        text, place, place_at, notes = find_place(text)
        name, text = _quantity(text)
        text = _blanked(_LEAD, text)
        if not AMOUNT_BEGINS.match(text.strip()):
            return None
        if name is None:
            if place_at != 0 or _ANIMAL.search(text):
                return None
            name = self._lent(clause, text, previous)
            if name is None:
                return None
            notes += (f"no unit written; taken as {name}, as before",)
        amount = self._amount(clause, text.rstrip(" ,"), 0, _CANONICAL[name])
        fields: dict[str, Any] = {"quantity": name, "amount": amount, "place": place, "instrument": instrument}
        fields["depth"] = self._amount(clause, depth, depth_at, "m") if depth else None
        return Said(Reading, fields, notes + amount.flags)

    def _lent(self, clause: Clause, text: str, previous: Said | None) -> Measured | None:
        """What the reading before lends to "edge 1" in "middle 2-3 C, edge 1": a lone number needs it."""
        unknown = re.fullmatch(r"not\s+noted|\?+", text.strip(), re.I) is not None
        lone = re.fullmatch(r"\S+(?:\s*(?:[-–]|to|or)\s*\S+)?", text.strip(), re.I) or self._is_number(text)
        if not unknown and not (lone and re.search(r"\d", text)):  # "edge about a dozen" counts animals
            return None
        if previous is not None and previous.kind is Reading:
            lent: Measured = previous.fields["quantity"]
            return lent
        if unknown:
            return None
        at = len(text) - len(text.lstrip())
        raise clause.error("this number has no unit", at, "Write '6 C' for a temperature, '6 worms' for animals.")

    def _is_number(self, text: str) -> bool:
        try:
            return parse_amount(text, containers=self.containers).unit == "1"
        except AmountError:
            return False

    def _feeding(self, clause: Clause, verb: re.Match[str] | None) -> Said:
        start = verb.end() if verb else 0
        text, place, _, notes = find_place(clause.text, with_preposition=True)
        rest = text[start:].rstrip(" .,")
        begins = start + len(rest) - len(rest.lstrip())
        rest = rest.lstrip()
        amount, material = self._amount_and_material(clause, rest, begins)
        if amount is None:
            amount, material = self._material_and_amount(rest)
        material = material.removeprefix("of ").strip()
        if not material and verb is not None and verb[1].lower() == "watered":
            material = "water"
        if not material:
            raise clause.error("what was given is missing", len(clause.text), "Write it, as 'fed 150 g pear cores'.")
        if amount is None:
            unit = "L" if material == "water" else "kg"
            amount = parse_amount("not noted", expect=unit)
            notes += ("no amount written; kept as not noted",)
        if amount.unit == "1" and verb is not None and not verb[1].lower().startswith("f"):
            notes += ("taken as food",)  # "added 2 bricks" would be none
        return Said(Feeding, {"material": material, "amount": amount, "place": place}, notes + amount.flags)

    def _amount_and_material(self, clause: Clause, rest: str, begins: int) -> tuple[VagueAmount | None, str]:
        """The longest run of first words that is an amount, and the words after it."""
        if not AMOUNT_BEGINS.match(rest):
            return None, rest
        ends = [found.end() for found in re.finditer(r"\S+", rest)][:12]
        first_error: AmountError | None = None
        for end in reversed(ends):
            try:
                amount = parse_amount(rest[:end], containers=self.containers)
            except AmountError as error:
                first_error = error
                continue
            if amount.unit not in _FEED_UNITS:
                first_error = None
                break
            self._refuse_unknown_container(clause, amount, rest, begins, end)
            return amount, rest[end:].strip()
        if re.match(r"\S*\d", rest) or first_error is None:
            mistake = first_error or AmountError(
                "this is no mass, volume or number of pieces", rest, 0, "Write g, L or a number."
            )
            raise clause.wrapped(mistake, begins)
        return None, rest

    def _material_and_amount(self, rest: str) -> tuple[VagueAmount | None, str]:
        """An amount that comes last: "pear cores (150 g)", "pear cores about 150 g"."""
        last = re.search(r"[\s,(]+((?:about\s+|~\s*)?\d[^()]{0,30})\)?$", rest)
        if last is None:
            return None, rest
        try:
            amount = parse_amount(last[1], containers=self.containers)
        except AmountError:
            return None, rest
        return (amount, rest[: last.start()]) if amount.unit in ("kg", "L") else (None, rest)

    def _refuse_unknown_container(self, clause: Clause, amount: VagueAmount, rest: str, begins: int, end: int) -> None:
        """Refuse to take "a handful of leaves" for one piece of "handful of leaves"."""
        of = re.match(r"\s+(\w+)\s+of\s", rest[end:])
        if amount.unit != "1" or of is None or of[1].lower().removesuffix("s") in _PIECES:
            return
        self._amount(clause, rest[: end + of.end(1)], begins, None)

    def _sample(self, clause: Clause) -> Said:
        verb = _SAMPLE.match(clause.text)
        body_at = verb.end() if verb else 0
        colon = clause.text.find(":", body_at)
        volume = _VOLUME.search(clause.text, max(colon, body_at))
        if volume is not None:
            counts = clause.part(colon + 1 if colon >= 0 else body_at, volume.start())
            sampled = clause.part(volume.end())
        elif colon >= 0:
            counts, sampled = clause.part(colon + 1), clause.part(body_at, colon)
        else:
            mend = "Write it, as 'sample 0.5 L middle: 3 adults, 8 juveniles'."
            raise clause.error("the volume of the sample, or the counts, are missing", len(clause.text), mend)
        text, place, _, notes = find_place(sampled.text)
        amount = self._amount(sampled, re.sub(r"\bof\s+bedding\b", _spaces, text).rstrip(" ,"), 0, "L")
        stages: dict[Stage, VagueAmount] = {}
        for found in re.finditer(r"(?:(?!,\s|\s(?:and|&|\+)\s).)+", counts.text, re.IGNORECASE):
            part = counts.part(found.start() + (4 if found[0].lower().startswith(" and") else 0), found.end())
            for stage, count in self._count(part).items():
                if stage in stages:
                    raise part.error(f"{stage} is counted twice", 0, "Write each stage once.")
                stages[stage] = count
        fields = {"volume": amount, "counts": tuple(stages.items()), "place": place}
        flags = tuple(flag for count in stages.values() for flag in count.flags)
        return Said(SampleCount, fields, notes + amount.flags + flags)

    def _count(self, part: Clause) -> dict[Stage, VagueAmount]:
        text = re.sub(r"^(?:and|&|\+|,)\s+", _spaces, part.text)
        animal = _ANIMAL.search(text)
        if re.fullmatch(r"\s*(?:none|nothing|no\s+worms?)\s*", text, re.I):
            none = parse_amount("none")
            named = [stage for stage, _ in _STAGES if animal is None or stage != "cocoon"]
            return {stage: replace(none, words=part.text) for stage in named}
        stage = _stage(animal)
        if animal is None or stage == "not noted":
            names = ", ".join(name for name, _ in _STAGES)
            mend = f"Write one of {names}, as '3 adults'; without stages, 'saw 3 worms'."
            raise part.error("a count needs its stage", len(part.text), mend)
        return {stage: self._amount(part, blank(text, *animal.span()).rstrip(" ."), 0, "1")}

    def _sighting(self, clause: Clause, animals: re.Match[str] | None) -> Said | None:
        text, place, _, notes = find_place(clause.text)
        seen = _SEEN.search(text)
        text = blank(text, *seen.span()) if seen else text
        if animals is None and place == "not noted" and not seen:
            return None
        text = blank(text, *animals.span()) if animals else text
        text = re.sub(r"\b(?:in\s+all|there\s+(?:are|were)|alive|live)\b|\bof(?=\s*$)", _spaces, text)
        text = _blanked(_LEAD, text)
        if not AMOUNT_BEGINS.match(text.strip() + " "):
            return None
        try:
            amount = parse_amount(text.rstrip(" ,."), expect="1")
        except AmountError:
            return None  # "two dead worms", "3 mites": true words, but no sighting of living worms
        if amount.kind == "not noted":
            return None
        amount = replace(amount, words=" ".join(text.split()))
        return Said(Sighting, {"amount": amount, "stage": _stage(animals), "place": place}, notes + amount.flags)


def _stage(animal: re.Match[str] | None) -> Any:
    if animal is None:
        return "not noted"
    return next((stage for n, (stage, _) in enumerate(_STAGES) if animal[f"s{n}"]), "not noted")


def _quantity(text: str) -> tuple[Measured | None, str]:
    """What is measured, by its name or its unit, and the text without the name."""
    found = _MEASURED.search(text)
    if found is not None:
        return _NAMES[found.lastgroup or ""], blank(text, *found.span())
    if re.search(r"\bph(?!\w)", text, re.I):
        return "pH", text
    if _TEMPERATURE_UNIT.search(text):
        return "temperature", text
    return ("EC" if _EC_UNIT.search(text) else None), text


def _spaces(found: re.Match[str]) -> str:
    return " " * len(found[0])


def _blanked(pattern: re.Pattern[str], text: str, at: int = 0) -> str:
    found = pattern.match(text, at)
    return blank(text, *found.span()) if found else text
