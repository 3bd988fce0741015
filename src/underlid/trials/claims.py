"""Claims: what people repeat about keeping worms, each made testable, read from `data/claims.toml`.

The head of that file says how a claim is written. A claim carries what is published about it, and either a design
(what to compare, the margin, how long, when to stop) or the reason why it should not be tested on animals.

>>> claim("citrus-scraps").design.outcome
'worms'
>>> claim("cut-worm").design is None
True
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Literal, get_args

from underlid.trials.rows import DamagedClaims, Table, listed, named, number, one_of, only, rows, table, whole, words
from underlid.trials.stopping import StopRule, read_rule

About = Literal["food", "bedding", "housing", "numbers", "handling"]
Outcome = Literal[
    "worms", "adults", "cocoons", "young", "live mass", "pH", "bedding temperature", "days to first hatchling",
    "days to ripe", "food eaten",
]  # fmt: skip
Scale = Literal["ratio", "difference"]
Mark = Literal["published", "seen second-hand", "recalled", "none"]
Strength = Literal["strong", "moderate", "weak", "none"]

#: Outcomes that are compared as a difference, and its unit; all others are counts or masses, compared as a ratio.
DIFFERENCES: dict[str, str] = {
    "pH": "pH units",
    "bedding temperature": "K",
    "days to first hatchling": "days",
    "days to ripe": "days",
}
MOST_BYTES = 250_000  # of a keeper's own file
WIDEST_RATIO, LONGEST_DAYS = 10.0, 730  # beyond these nobody would call it a margin, or a trial: our judgement


class UnknownClaim(ValueError):
    """There is no claim of that name."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What is published about a claim.

    `mark` says how it came to us: published (read there, often the abstract), seen second-hand, recalled (not re-read)
    or none (nothing known to us). `equivalence`: the source tested that a difference is smaller than a margin; without
    it, a difference that was not found is told as not resolved.
    """

    says: str
    source: str
    mark: Mark
    species: str
    strength: Strength
    equivalence: bool = False


@dataclass(frozen=True, slots=True)
class Comparison:
    """A changed condition against a control; `margin` is the smallest effect that would matter."""

    control: str
    changed: str
    scale: Scale
    unit: str | None
    margin: float
    margin_because: str


@dataclass(frozen=True, slots=True)
class Stated:
    """A number that people state: what it is of, its range and unit."""

    what: str
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True)
class Design:
    """How to test a claim; lengths in days, `counts` the days of counting, the last of them the end."""

    against: Comparison | Stated
    outcome: Outcome
    days: int
    bins_per_arm: int
    counts: tuple[int, ...]
    season: str
    stop: tuple[StopRule, ...]
    trial: str
    confounders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Claim:
    """A sentence people repeat, what is put under test, and what is known. Without a design it is not to be tested."""

    name: str
    about: About
    sentence: str
    statement: str
    published: tuple[Finding, ...]
    cautions: tuple[str, ...]
    design: Design | None
    not_tested_because: str | None

    @property
    def test(self) -> bool:
        """Whether it may be tested on animals."""
        return self.design is not None


ALWAYS = {"about", "sentence", "statement", "published", "cautions", "test"}
DESIGN = {"against", "outcome", "days", "bins_per_arm", "counts", "season", "stop", "trial", "confounders"}
COMPARED = {"control", "changed", "scale", "margin", "margin_because"}
#: a.b.c...: reading such a name takes memory by the square of its parts.
ENDLESS_NAME = re.compile(
    r"""(?:(?:[\w-]{1,80}+|"(?:[^"\\\n]|\\.){0,80}+"|'[^'\n]{0,80}+')[ \t]{0,80}+\.[ \t]{0,80}+){50}"""
)
UNDER_TEST = re.compile(r"\bmakes? no difference to .+ beyond the margin\b")
NO_DIFFERENCE = re.compile(r"\b(no|without) (significant )?(difference|effect|influence|change)|\bnot differ\b", re.I)


@cache
def every_claim() -> dict[str, Claim]:
    """Every claim that comes with the program, by name."""
    return _claims(_ours(), _ours(), "claims.toml")


def claim(name: str, known: Mapping[str, Claim] | None = None) -> Claim:
    """The claim of that name or sentence, among `known` or ours. Raises UnknownClaim with the nearest names."""
    known = every_claim() if known is None else known
    asked = " ".join(name.lower().split())
    for key, one in known.items():
        if asked in (key, key.replace("-", " "), one.sentence.lower(), one.sentence.lower().rstrip(".")):
            return one
    key = asked.replace(" ", "-")
    near = dict.fromkeys([n for n in known if key and key in n] + get_close_matches(key, known, n=3))
    hint = f"Near it: {', '.join(near)}." if near else f"Known: {', '.join(known)}."
    raise UnknownClaim(f"There is no claim named {name!r}. {hint}")


def read_claims(path: Path) -> dict[str, Claim]:
    """Every claim, ours and those of a keeper's own file; see `claims_from`."""
    with path.open("rb") as source:
        data = source.read(MOST_BYTES + 1)
    try:
        text = data.decode()
    except UnicodeDecodeError as wrong:
        raise DamagedClaims(f"{path.name} is not TOML in UTF-8: {wrong}. Save it again as UTF-8.") from None
    return claims_from(text, path.name)


def claims_from(text: str, file: str) -> dict[str, Claim]:
    """Every claim, ours and those of a keeper's own text, by name; one named as ours takes its place whole.

    The text has the form of ours. It may use our stop rules and cautions by name, and add its own; ours stay as they
    are, so that no file can loosen a rule that protects animals.

    Raises
    ------
    DamagedClaims : one sentence naming file, claim and key, what is wrong and how to mend it
    """
    if len(text) > MOST_BYTES or ENDLESS_NAME.search(text):
        raise DamagedClaims(f"{file} is larger than {MOST_BYTES // 1000} kB or has a name of fifty parts; split it.")
    try:
        own = tomllib.loads(text)
    except (ValueError, RecursionError) as wrong:  # no TOML, or brackets without end
        raise DamagedClaims(
            f"{file} is not TOML in UTF-8: {wrong}. A text in quotes or a bracket may be open."
        ) from None
    only(own, {"claim", "stop", "caution"}, file)
    return {**every_claim(), **_claims(own, _ours(), file)}


@cache
def welfare_rules() -> tuple[StopRule, ...]:
    """Every stop rule of ours, for any bin: outside a trial there is no arm to return to, so all say to look closer."""
    rules = table(_ours(), "stop", "claims.toml")
    return tuple(replace(read_rule(name, table(rules, name, "stop"), name), then="look closer") for name in rules)


@cache
def _ours() -> Table:
    return tomllib.loads(files(__package__).joinpath("data/claims.toml").read_text("utf-8"))


def _claims(tables: Table, ours: Table, file: str) -> dict[str, Claim]:
    """The claims of a file; usual parts, stop rules and cautions are ours and its own."""
    shared: dict[str, Table] = {}
    for key in ("stop", "caution"):
        before, more = table(ours, key, "claims.toml"), table(tables, key, file) if key in tables else {}
        if tables is not ours and (twice := sorted(before.keys() & more.keys())):
            raise DamagedClaims(f"{file}, {key}.{twice[0]}: is a name of ours, which stays as it is; choose another.")
        shared[key] = {**before, **more}
    rules = {
        name: read_rule(name, table(shared["stop"], name, f"{file}, stop"), f"{file}, stop.{name}")
        for name in shared["stop"]
    }
    cautions = {name: words(shared["caution"], name, f"{file}, caution") for name in shared["caution"]}
    usual = table(ours, "usual", "claims.toml")
    found: dict[str, Claim] = {}
    told: dict[str, str] = {}
    for name in table(tables, "claim", file) if "claim" in tables else ():
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name):
            raise DamagedClaims(f"{file}: {name!r} is no name for a claim; use small letters, digits and hyphens.")
        where = f"{file}, {name}"
        one = found[name] = _claim(name, table(table(tables, "claim", file), name, file), usual, rules, cautions, where)
        if (other := told.setdefault(one.sentence.lower(), name)) != name:
            raise DamagedClaims(f"{where}: says the same sentence as {other}; keep one.")
    return found


def _claim(
    name: str, row: Table, usual: Table, rules: Mapping[str, StopRule], cautions: Mapping[str, str], where: str
) -> Claim:
    test = one_of(row, "test", ("yes", "no"), where)
    if test == "no":
        only(row, ALWAYS | {"because"}, where, ' for a claim with test = "no"')
        design, because = None, words(row, "because", where)
    else:
        design, because = _design(row, usual, rules, where), None
    published = tuple(_finding(each, f"{where}, published") for each in rows(row, "published", where))
    warned = (*listed(usual, "cautions", "usual"), *listed(row, "cautions", where))
    return Claim(
        name=name,
        about=one_of(row, "about", get_args(About), where),
        sentence=words(row, "sentence", where),
        statement=_statement(row, design, where),
        published=published,
        cautions=named(cautions, warned, f"{where}, cautions"),
        design=design,
        not_tested_because=because,
    )


def _design(row: Table, usual: Table, rules: Mapping[str, StopRule], where: str) -> Design:
    outcome: Outcome = one_of(row, "outcome", get_args(Outcome), where)
    against: Comparison | Stated
    if one_of(row, "against", ("a control", "a number"), where) == "a number":
        only(row, ALWAYS | DESIGN | {"stated"}, where, " for a claim against a number")
        against = _stated(table(row, "stated", where), f"{where}, stated")
    else:
        unit = {"unit"} if outcome in DIFFERENCES else set()
        only(row, ALWAYS | DESIGN | COMPARED | unit, where, f" for a claim about {outcome} against a control")
        against = _comparison(row, outcome, where)
    days = whole(row, "days", where, 1, LONGEST_DAYS)
    counts = row.get("counts")
    if not (isinstance(counts, list) and counts and all(type(day) is int and 0 <= day <= days for day in counts)):
        raise DamagedClaims(f"{where}: needs counts, a list of days such as [0, 28, 56].")
    if counts != sorted(set(counts)) or counts[-1] != days:
        raise DamagedClaims(f"{where}: counts must rise and end on the last day, {days}; they are {counts}.")
    stop = (*listed(usual, "stop", "usual"), *listed(row, "stop", where))
    return Design(
        against=against,
        outcome=outcome,
        days=days,
        bins_per_arm=whole(row, "bins_per_arm", where, 1, 1000),
        counts=tuple(counts),
        season=words(row, "season", where),
        stop=named(rules, stop, f"{where}, stop"),
        trial=words(row, "trial", where),
        confounders=(*listed(usual, "confounders", "usual"), *listed(row, "confounders", where)),
    )


def _comparison(row: Table, outcome: Outcome, where: str) -> Comparison:
    control, changed = words(row, "control", where), words(row, "changed", where)
    if control.lower().rstrip(".") == changed.lower().rstrip("."):
        raise DamagedClaims(f"{where}: control and changed are the same; say what differs between the arms.")
    scale: Scale = one_of(row, "scale", get_args(Scale), where)
    unit = DIFFERENCES.get(outcome)
    if scale != ("difference" if unit else "ratio"):
        kind = f"difference, with unit = {unit!r}" if unit else "ratio"
        raise DamagedClaims(f"{where}: {outcome} is compared as a {kind}; mend scale, unit and margin.")
    if unit and words(row, "unit", where) != unit:
        raise DamagedClaims(f"{where}: unit must be {unit!r} for {outcome}.")
    margin = number(row, "margin", where)
    if scale == "ratio" and not 1 < margin <= WIDEST_RATIO:
        raise DamagedClaims(f"{where}: margin is a ratio, above 1 and at most {WIDEST_RATIO:g}; it is {margin:g}.")
    if margin <= 0:
        raise DamagedClaims(f"{where}: margin must be above 0, the smallest difference that would matter.")
    return Comparison(control, changed, scale, unit, margin, words(row, "margin_because", where))


def _stated(row: Table, where: str) -> Stated:
    only(row, {"what", "low", "high", "unit"}, where)
    low, high = number(row, "low", where), number(row, "high", where)
    if not low < high:
        raise DamagedClaims(
            f"{where}: low must be below high; they are {low:g} and {high:g}. Give a lone number a range."
        )
    return Stated(words(row, "what", where), low, high, words(row, "unit", where))


def _statement(row: Table, design: Design | None, where: str) -> str:
    statement = words(row, "statement", where)
    if design and isinstance(design.against, Comparison) and not UNDER_TEST.search(statement):
        raise DamagedClaims(f"{where}: statement must say '... makes no difference to ... beyond the margin'.")
    return statement


def _finding(row: Table, where: str) -> Finding:
    only(row, {"says", "source", "mark", "species", "strength", "equivalence"}, where)
    says, equivalence = words(row, "says", where), row.get("equivalence", False)
    if not isinstance(equivalence, bool):
        raise DamagedClaims(f"{where}: equivalence must be true or false.")
    if not equivalence and (word := NO_DIFFERENCE.search(says)):
        raise DamagedClaims(
            f"{where}: says {word.group()!r}; write that a difference was not resolved, or equivalence = true if the "
            "source tested it against a margin."
        )
    mark: Mark = one_of(row, "mark", get_args(Mark), where)
    strength: Strength = one_of(row, "strength", get_args(Strength), where)
    if (mark == "none") != (strength == "none"):
        raise DamagedClaims(f"{where}: mark and strength are both 'none', where nothing is known, or neither is.")
    return Finding(says, words(row, "source", where), mark, words(row, "species", where), strength, equivalence)
