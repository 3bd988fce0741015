"""What pages and programs may ask of claims and trials, and what they are told: every word and number bounded."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any, Literal, Self
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from underlid.trials.claims import Claim, Comparison, Outcome
from underlid.trials.verdict import Word

#: No control characters: they cannot be seen, and so cannot be meant.
_SEEN = r"^[^\x00-\x08\x0b-\x1f\x7f]*$"
Line = Annotated[str, StringConstraints(max_length=200, pattern=_SEEN, strip_whitespace=True)]
Text = Annotated[str, StringConstraints(max_length=1000, pattern=_SEEN, strip_whitespace=True)]
Name = Annotated[str, StringConstraints(max_length=60, pattern=r"^[^\x00-\x1f\x7f/\\?#%]*$", strip_whitespace=True)]
BinName = Annotated[str, StringConstraints(min_length=1, max_length=60, pattern=_SEEN, strip_whitespace=True)]
Day = Annotated[int, Field(ge=1, le=3660)]
PlanSource = Annotated[str, StringConstraints(min_length=2, max_length=60_000)]

MOST_BINS, MOST_FOUNDERS, MOST_LOOKS, MOST_SEED = 60, 2000, 12, 2**31 - 1


class AskedAgain(ValueError):
    """What was asked for is not there to be had (yet, or any more)."""


class Strict(BaseModel):
    """Keys that nobody knows are refused rather than overlooked."""

    model_config = ConfigDict(extra="forbid")


class Problem(Strict):
    """What is wrong and how to mend it, in a sentence."""

    error: str


MISSING: dict[int | str, dict[str, Any]] = {404: {"model": Problem, "description": "There is none of that name."}}
BAD: dict[int | str, dict[str, Any]] = {
    409: {"model": Problem, "description": "It stands already and says something else."},
    422: {"model": Problem, "description": "It cannot be; the sentence says why."},
}


# --- asked --------------------------------------------------------------------------------------------------


class PlanAsked(Strict):
    """A trial to plan; what is left out is as the claim's design has it.

    `like` is a bin of the journal that the trial's bins are like, `at` their bedding temperature, `feed` a week's food.
    """

    claim: Line
    bins: list[BinName] = Field(min_length=1, max_length=MOST_BINS)
    name: Name = ""
    starts: Line = ""
    founders: int = Field(30, ge=1, le=MOST_FOUNDERS)
    outcome: Outcome | None = None
    margin: float | None = Field(None, gt=0, le=1000, allow_inf_nan=False)
    because: Text = ""
    looks: list[Day] = Field(default_factory=list, max_length=MOST_LOOKS)
    alone: bool = False
    blind: bool = False
    unlike: bool = False
    at: Line = "12-20 C"
    feed: Line = "300 g"
    like: BinName | None = None
    seed: int | None = Field(None, ge=0, le=MOST_SEED)


class PlanForm(Strict):
    """The same as a form without script sends it: all words."""

    csrf: str = ""
    claim: str = Field("", max_length=200)
    bins: list[Annotated[str, Field(max_length=200)]] = Field(default_factory=list, max_length=200)
    more: str = Field("", max_length=4000)
    name: str = Field("", max_length=200)
    starts: str = Field("", max_length=200)
    founders: str = Field("30", max_length=40)
    outcome: str = Field("", max_length=40)
    margin: str = Field("", max_length=40)
    because: str = Field("", max_length=2000)
    looks: str = Field("", max_length=400)
    alone: str = Field("", max_length=5)
    blind: str = Field("", max_length=5)
    unlike: str = Field("", max_length=5)
    at: str = Field("12-20 C", max_length=200)
    feed: str = Field("300 g", max_length=200)

    def asked(self) -> PlanAsked:
        """What it asks. Raises pydantic's ValidationError."""
        return PlanAsked.model_validate({
            "claim": self.claim, "bins": [*self.bins, *_parts(self.more)], "name": self.name, "starts": self.starts,
            "founders": self.founders.strip() or 30, "outcome": self.outcome or None,
            "margin": _decimal(self.margin) or None, "because": self.because,
            "looks": _parts(self.looks), "alone": bool(self.alone), "blind": bool(self.blind),
            "unlike": bool(self.unlike), "at": self.at.strip() or "12-20 C", "feed": self.feed.strip() or "300 g",
        })  # fmt: skip


class PlanText(Strict):
    """A plan as JSON text, as the job that simulated it gave it."""

    plan: PlanSource


class RegisterForm(PlanText):
    """The same from a form."""

    csrf: str = ""


class ChangeAsked(Strict):
    """What became different in a trial, and why; with `bin`, that it no longer counts. Sent twice it is kept once."""

    words: Annotated[str, StringConstraints(min_length=1, max_length=1000, pattern=_SEEN, strip_whitespace=True)]
    bin: BinName | None = None
    key: UUID


class ChangeForm(Strict):
    """The same from a form."""

    csrf: str = ""
    words: Annotated[str, StringConstraints(min_length=1, max_length=1000, pattern=_SEEN, strip_whitespace=True)]
    bin: Annotated[str, StringConstraints(max_length=60, pattern=_SEEN)] = ""
    key: UUID


# --- told ---------------------------------------------------------------------------------------------------


class FindingTold(Strict):
    """What is published; `mark` says how it came to us."""

    says: str
    source: str
    mark: str
    species: str
    strength: str
    equivalence: bool


class RuleTold(Strict):
    """When to act for the animals' sake, and what to do then."""

    watched: str
    then: str
    because: str
    source: str


class ClaimTold(Strict):
    """What people say, what is put under test, what is published, and how to test it or why not to."""

    name: str
    about: str
    sentence: str
    statement: str
    published: list[FindingTold]
    cautions: list[str]
    test: bool
    not_tested_because: str | None
    control: str | None
    changed: str | None
    outcome: str | None
    margin: float | None
    unit: str | None
    bins_per_arm: int | None
    counts: list[int]
    trial: str | None
    stop: list[RuleTold]
    confounders: list[str]

    @classmethod
    def of(cls, one: Claim) -> Self:
        """The claim as it is told."""
        design = one.design
        compared = design.against if design and isinstance(design.against, Comparison) else None
        return cls(
            name=one.name, about=one.about, sentence=one.sentence, statement=one.statement,
            published=[
                FindingTold(says=each.says, source=each.source, mark=each.mark, species=each.species,
                            strength=each.strength, equivalence=each.equivalence)
                for each in one.published
            ],
            cautions=list(one.cautions), test=one.test, not_tested_because=one.not_tested_because,
            control=compared.control if compared else None, changed=compared.changed if compared else None,
            outcome=design.outcome if design else None, margin=compared.margin if compared else None,
            unit=compared.unit if compared else None,
            bins_per_arm=design.bins_per_arm if design else None, counts=list(design.counts) if design else [],
            trial=design.trial if design else None,
            stop=[RuleTold(watched=rule.watched, then=rule.then, because=rule.because, source=rule.source)
                  for rule in (design.stop if design else ())],
            confounders=list(design.confounders) if design else [],
        )  # fmt: skip


class PlanMade(Strict):
    """The job that simulates it, and the plan so far: its arms are drawn, what to expect of it is not known yet."""

    job: str
    plan: dict[str, Any]


class Registered(Strict):
    """A plan that is frozen; write its hash down elsewhere."""

    name: str
    sha256: str
    registered_at: datetime
    remarks: list[str]


class TrialListed(Strict):
    """A trial with its verdict so far."""

    name: str
    statement: str
    registered_at: datetime
    verdict: Word
    sentence: str
    alarms: int
    next_look: date | None


class LookTold(Strict):
    """One look; intervals are estimated, as a ratio or in the outcome's unit."""

    day: int
    due: date
    alpha: float
    complete: bool
    verdict: Word
    finding: str | None
    interval: list[float | None] | None
    level: float
    interval_95: list[float | None] | None
    method: str | None
    cannot: str | None


class BinTold(Strict):
    """What one bin gave."""

    bin: str
    arm: str
    outcome: str
    day: str
    words: str


class ChangeTold(Strict):
    """What became different after a plan was registered."""

    what: str
    bin: str | None
    words: str
    noted_at: datetime


class ChangeKept(Strict):
    """A change that is recorded."""

    key: str
    plan: str
    what: str
    bin: str | None
    words: str


class AlarmTold(Strict):
    """A stop rule that an entry breaks, for sure or perhaps."""

    rule: str
    bin: str
    sure: bool
    sentence: str


class VerdictTold(Strict):
    """The verdict on a trial, with all that it rests on."""

    trial: str
    sha256: str
    registered_at: datetime
    verdict: Word
    sentence: str
    exploratory: bool
    provenance: Literal["estimated"]
    margin: float
    stated: list[float] | None
    looks: list[LookTold]
    bins: list[BinTold]
    caps: list[str]
    settles: list[str]
    rivals: list[str]
    corrected: list[str]
    changes: list[ChangeTold]
    alarms: list[AlarmTold]


def words_of(error: ValidationError) -> str:
    """What is wrong with a form, in a sentence."""
    first = error.errors()[0]
    field = str(first["loc"][0]) if first["loc"] else "form"
    if field == "bins" and first["type"] == "too_short":
        return "Choose the bins of the trial, or name new ones."
    if field == "looks" and first["type"] != "too_long":
        return "The days of the counts must be whole days after the start, as “90, 180, 360”."
    if field == "margin" and first["type"] == "float_parsing":
        return f"The smallest effect “{first['input']}” is no plain number: write it as “0.2”."
    called = {"margin": "smallest effect", "looks": "days of the counts", "name": "trial's name"}.get(field, field)
    return f"The {called}: {first['msg'][:1].lower()}{first['msg'][1:]}."


def _decimal(words: str) -> str:
    """A decimal comma as a point; “1,500” could be either, and stays what no number is."""
    return words.strip() if re.search(r",\d{3}$", words.strip()) else words.replace(",", ".").strip()


def _parts(words: str) -> list[str]:
    return [part.strip() for part in words.replace(";", ",").split(",") if part.strip()]
