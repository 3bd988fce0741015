"""The outcome of one bin at one look, out of its journal: an interval on the scale of the analysis, never a midpoint.

Counts are compared by their logarithm. A count “about 40” is a middle with a spread, a count “30 to 40” an interval;
what was found in a part of the bedding carries the chance of where animals happened to be. Every bin gives one value,
however many samples were taken or months followed: the bin is the unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from underlid.counting.density import FISTFUL_L, USUAL_CLUMPING
from underlid.counting.parts import bedding_litres
from underlid.counting.samples import WHOLE
from underlid.fit.evidence import situation
from underlid.quantity.amount import NINETY, VagueAmount
from underlid.records import AnyEntry, Bin, Measured, Reading, SampleCount, Sighting, Stage
from underlid.trials.claims import Outcome
from underlid.trials.plan import COUNTED, Plan

STAGES_OF: dict[Outcome, tuple[Stage, ...]] = {
    "worms": ("hatchling", "juvenile", "sub-adult", "adult"),
    "adults": ("adult",),
    "young": ("hatchling", "juvenile"),
    "cocoons": ("cocoon",),
}
READ: dict[Outcome, Measured] = {"pH": "pH", "bedding temperature": "temperature", "live mass": "live mass"}
NONE_FOUND = (0.05, 1.0)  # animals that none found is taken for, as none has no logarithm: our judgement
NEAR_DAYS = 21  # how far from its day a look may be taken, at most: our judgement
NEAR_SHARE = 1 / 3  # and of the time to the next look


@dataclass(frozen=True, slots=True)
class Taken:
    """What one bin gives.

    low, high : on the scale of the analysis: natural logarithm of counts, pH, K or days as they are; equal where exact
    noise : standard deviation of the bin's own sampling on that scale
    day : when; words : the keeper's own, of all entries used, and ids : theirs; noted_at : when the first was stored
    stages : of a count, those that were looked for
    alike : what must be the same in all bins for a fair comparison: stages looked for, places, whether all was sorted
    """

    bin: str
    low: float
    high: float
    noise: float
    day: date
    words: tuple[str, ...]
    ids: tuple[str, ...]
    alike: tuple[str, ...]
    noted_at: datetime | None
    stages: frozenset[Stage] = frozenset()


@dataclass(frozen=True, slots=True)
class NotTaken:
    """Why a bin gives nothing."""

    bin: str
    because: str


def taken(plan: Plan, look: int, record: Bin, entries: Sequence[AnyEntry], now: datetime) -> Taken | NotTaken:
    """The outcome of a bin at the look of that number, as far as its entries up to now tell it."""
    due = due_day(plan, look)
    tz = ZoneInfo(record.timezone)
    known = [entry for entry in entries if entry.when.start <= now]

    def near(entry: AnyEntry) -> bool:
        first, last = _days(entry, tz)
        return (due - last).days <= _window(plan, look) and (first - due).days <= _window(plan, look)

    if plan.outcome in COUNTED:
        samples = [entry for entry in known if isinstance(entry, SampleCount) and near(entry)]
        return _counted(plan, record, _one_day(samples, due, tz), due, tz)
    if plan.outcome in READ:
        wanted = READ[plan.outcome]
        read = [entry for entry in known if isinstance(entry, Reading) and entry.quantity == wanted and near(entry)]
        return _read(record, read, due, tz, wanted, logged=plan.scale == "ratio")
    return _first_hatchling(plan, record, known, due, tz)


def due_day(plan: Plan, look: int) -> date:
    """The day of a look."""
    return date.fromisoformat(plan.starts) + timedelta(days=plan.looks[look])


def last_day(plan: Plan, look: int) -> date:
    """The last day on which it may be taken."""
    return due_day(plan, look) + timedelta(days=_window(plan, look))


# --- inside ----------------------------------------------------------------------------------------------


def _taken(
    record: Bin, value: tuple[float, float, float], day: date, used: Sequence[AnyEntry], alike: tuple[str, ...],
    stages: frozenset[Stage] = frozenset(),
) -> Taken:  # fmt: skip
    noted = [one.noted_at for one in used if one.noted_at is not None]
    words, ids = tuple(one.words for one in used), tuple(one.id for one in used)
    return Taken(record.name, *value, day, words, ids, alike, min(noted, default=None), stages)


def _window(plan: Plan, look: int) -> int:
    gaps = [abs(plan.looks[look] - plan.looks[other]) for other in (look - 1, look + 1) if 0 <= other < len(plan.looks)]
    return min(NEAR_DAYS, math.floor(NEAR_SHARE * min([plan.looks[look], *gaps])))


def _days(entry: AnyEntry, tz: ZoneInfo) -> tuple[date, date]:
    end = max(entry.when.start, entry.when.end - timedelta(microseconds=1))
    return entry.when.start.astimezone(tz).date(), end.astimezone(tz).date()


def _one_day(samples: Sequence[SampleCount], due: date, tz: ZoneInfo) -> list[SampleCount]:
    """Samples of the day that is nearest to the look; of two as near, the earlier."""
    if not samples:
        return []
    nearest = min((_days(one, tz)[0] for one in samples), key=lambda day: (abs((day - due).days), day))
    return [one for one in samples if _days(one, tz)[0] == nearest]


def _counted(plan: Plan, record: Bin, samples: list[SampleCount], due: date, tz: ZoneInfo) -> Taken | NotTaken:
    wanted = STAGES_OF[plan.outcome]
    used = [one for one in samples if _looked_for(one, wanted)]
    sized = [one for one in used if 0 < one.volume.low <= one.volume.high < math.inf]
    stages = {stage for one in sized for stage in _looked_for(one, wanted)}
    if sized and not (sized := [one for one in sized if _looked_for(one, wanted) == stages]):
        # What one sample left out is not known to be missing there, so litres of the two cannot be added up.
        named = ", ".join(stage for stage in wanted if stage in stages)
        return NotTaken(record.name, f"no one sample near {due:%-d %b %Y} was searched for all of {named}")
    if not sized:
        lacking = (
            f"no sample with {plan.outcome} out of a known volume" if not used else "the samples' volume is not noted"
        )
        return NotTaken(record.name, f"{lacking} near {due:%-d %b %Y}")
    counts = [count for one in sized for stage, count in one.counts if stage in wanted and _counts(count)]
    litres = (sum(one.volume.low for one in sized), sum(one.volume.high for one in sized))
    bedding = bedding_litres(record, situation(record).vessel)
    whole = sum(litres) >= WHOLE * (bedding.low + bedding.high)
    low, high, noise = _log_count(counts)
    if not whole:
        share = min(1.0, sum(litres) / (bedding.low + bedding.high))
        found = max(1.0, sum(max(count.low, 0.0) for count in counts))
        clumped = 1 / found + FISTFUL_L / (USUAL_CLUMPING * sum(litres) / 2)
        noise = math.hypot(noise, math.sqrt(clumped * (1 - share)))
        low, high = low - math.log(litres[1]), high - math.log(litres[0])
        # How far bedding sinks is much the same in all bins, so that it goes out of a comparison; a stated number of
        # animals it does not leave.
        ends = [math.log(bedding.low), math.log(bedding.high)]
        low, high = (
            (low + ends[0], high + ends[1]) if plan.stated is not None else (low + sum(ends) / 2, high + sum(ends) / 2)
        )
    alike = (
        f"stages counted: {', '.join(sorted(stages))}",
        "all of the bedding sorted" if whole else f"samples from: {', '.join(sorted({one.place for one in sized}))}",
    )
    return _taken(record, (low, high, noise), _days(sized[0], tz)[0], sized, alike, frozenset(stages))


def _looked_for(sample: SampleCount, wanted: Sequence[Stage]) -> set[Stage]:
    """Those of the wanted stages that a sample tells of, be it that there were none."""
    return {stage for stage, count in sample.counts if stage in wanted and _counts(count)}


def _counts(count: VagueAmount) -> bool:
    return count.kind != "not noted" and count.high >= 0


def _log_count(counts: Sequence[VagueAmount]) -> tuple[float, float, float]:
    """Ends and spread of the logarithm of a sum: intervals add up end by end, errors of “about” by their squares."""
    about = [one for one in counts if one.kind == "about"]
    others = [one for one in counts if one.kind != "about"]
    middle = sum((one.low + one.high) / 2 for one in about)
    sd = math.sqrt(sum(((one.high - one.low) / 2 / NINETY) ** 2 for one in about))
    low, high = (middle + sum(max(getattr(one, end), 0.0) for one in others) for end in ("low", "high"))
    if low < 1:
        return math.log(NONE_FOUND[0] if low <= 0 else low), math.log(max(high, NONE_FOUND[1])), 0.0
    return math.log(low), math.log(high), sd / low


def _read(
    record: Bin, read: Sequence[Reading], due: date, tz: ZoneInfo, what: str, *, logged: bool
) -> Taken | NotTaken:
    """The mean over places of the means of their readings: ends by ends, of logarithms where they are compared so."""
    bounded = [
        one for one in read
        if math.isfinite(one.amount.low) and math.isfinite(one.amount.high) and (one.amount.low > 0 or not logged)
    ]  # fmt: skip
    if not bounded:
        return NotTaken(record.name, f"no {what} with both ends was read near {due:%-d %b %Y}")
    places = sorted({one.place for one in bounded})
    low = high = noise = 0.0
    for place in places:
        here = [one.amount for one in bounded if one.place == place]
        ends = [_ends(amount, logged=logged) for amount in here]
        low += sum(end[0] for end in ends) / len(here) / len(places)
        high += sum(end[1] for end in ends) / len(here) / len(places)
        noise += sum(end[2] ** 2 for end in ends) / (len(here) * len(places)) ** 2
    day = min((_days(one, tz)[0] for one in bounded), key=lambda day: abs((day - due).days))
    alike = (f"read at: {', '.join(places)}",)
    return _taken(record, (low, high, math.sqrt(noise)), day, bounded, alike)


def _ends(amount: VagueAmount, *, logged: bool) -> tuple[float, float, float]:
    low, high = (math.log(amount.low), math.log(amount.high)) if logged else (amount.low, amount.high)
    if amount.kind == "about":
        return (low + high) / 2, (low + high) / 2, (high - low) / 2 / NINETY
    return low, high, 0.0


def _first_hatchling(plan: Plan, record: Bin, entries: Sequence[AnyEntry], due: date, tz: ZoneInfo) -> Taken | NotTaken:
    """Between the last time they were looked for in vain and the first time they were found."""
    start = date.fromisoformat(plan.starts)

    def age(entry: AnyEntry, end: Callable[[tuple[date, date]], date]) -> int:
        return (end(_days(entry, tz)) - start).days

    looked = [
        one for one in entries
        if 0 < age(one, max) <= plan.days + NEAR_DAYS and age(one, min) <= (due - start).days + NEAR_DAYS
        and _hatchlings(one) is not None
    ]  # fmt: skip
    found = [one for one in looked if (_hatchlings(one) or 0.0) > 0]
    if not looked:
        return NotTaken(record.name, "hatchlings were neither seen nor counted")
    first = min((age(one, max) for one in found), default=None)
    vain = [age(one, min) for one in looked if one not in found and (first is None or age(one, min) < first)]
    low = float(max(vain, default=0))
    high = math.inf if first is None else float(first)
    day = start + timedelta(days=first if first is not None else max(vain))
    used = found[:1] if found else looked[-1:]
    return _taken(record, (low, high, 0.0), day, used, ("hatchlings looked for",))


def _hatchlings(entry: AnyEntry) -> float | None:
    """How many at least; None where they were not looked for, or may or may not have been found.

    A sighting of none is no search.
    """
    if isinstance(entry, SampleCount):
        count = next((count for stage, count in entry.counts if stage == "hatchling" and _counts(count)), None)
        return None if count is None or count.low <= 0 < count.high else max(count.low, 0.0)
    if isinstance(entry, Sighting) and entry.stage == "hatchling" and entry.amount.low >= 1:
        return entry.amount.low
    return None
