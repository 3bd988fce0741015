"""From a registered plan and the journal to a verdict: holds within the margin, fails, or cannot tell yet.

The statement under test is always that the change makes no difference beyond the margin. It holds where the interval
of the effect lies inside the margin, and fails where all of it lies beyond, on one side; either is a test of its own,
wrong at most as often as the plan allows (two one-sided tests; Schuirmann 1987). Everything else is “cannot tell yet”,
which is not the same as no difference. Whatever would make a decided verdict unfair takes it back to that, and says so.

Only the last look may say that it holds, as arms that will part need not have done so earlier; earlier looks may say
that it fails, and share the error rate of that. Vague counts widen the interval by as much as all of one arm may lie at
its low ends and all of the other at its high ends: errors of words need not even out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from underlid.records import AnyEntry, Bin, PlanChange
from underlid.trials.compare import (
    FEWEST,
    Arm,
    CannotCompare,
    Estimated,
    Finding,
    Stated,
    StatedFinding,
    difference,
    finding,
    stated,
)
from underlid.trials.looks import spend
from underlid.trials.plan import ARMS, ArmName, Plan
from underlid.trials.sizes import USUAL_CV
from underlid.trials.taken import NotTaken, Taken, due_day, last_day, taken

Chain = tuple[AnyEntry, ...]  # versions of one entry, the first one first
Word = Literal["holds within the margin", "fails", "cannot tell yet"]
HOLDS: Word = "holds within the margin"
FAILS: Word = "fails"
OPEN: Word = "cannot tell yet"

#: What is thought possible of the spread of bins treated alike, on each scale: our judgement, wide.
SPREAD: Mapping[str, tuple[float, float]] = {
    "": (0.02, 3.0), "pH units": (0.02, 3.0), "K": (0.05, 10.0), "days": (0.5, 200.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """What one look came to.

    alpha : its share of the error rate of “fails”; values : by bin; lost : bins that give nothing, with the reason
    effect : changed less control on the scale of the analysis, or the mean beside a stated range; None where it cannot
    be told, for the reason `cannot`; slack : by which its intervals are widened for vague words
    narrow, wide : intervals that decide about the margin, of that `level`, and about any difference at all
    complete : whether nothing more is to come of it
    """

    number: int
    due: date
    alpha: float
    values: tuple[Taken, ...]
    lost: tuple[NotTaken, ...]
    complete: bool
    effect: Estimated | None
    narrow: tuple[float, float] | None
    level: float
    wide: tuple[float, float] | None
    finding: Finding | StatedFinding | None
    word: Word
    slack: float = 0.0
    cannot: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to a trial.

    decided_by : the look whose word stands, the latest that gave anything if none decides; None before any
    caps : why a decided look does not count; exploratory : whether the plan came after what it is judged by
    changes : all that was changed after registration; dropped : bins left out for it
    corrected : sentences on what corrections did to what a bin gave at any look
    """

    plan: Plan
    registered_at: datetime
    word: Word
    looks: tuple[Look, ...]
    decided_by: Look | None
    caps: tuple[str, ...]
    exploratory: bool
    changes: tuple[PlanChange, ...]
    dropped: tuple[str, ...]
    corrected: tuple[str, ...] = ()

    @property
    def controlled(self) -> bool:
        """Whether there is something to compare with: bins without the change, or a range that is stated."""
        return bool(self.plan.bins("control")) or self.plan.stated is not None


def verdict(
    plan: Plan,
    registered_at: datetime,
    bins: Mapping[str, Bin],
    entries: Mapping[str, Sequence[AnyEntry]],
    changes: Sequence[PlanChange],
    now: datetime,
    superseded: Sequence[AnyEntry] = (),
) -> Verdict:
    """Judge a trial by all that is known now.

    Parameters
    ----------
    bins, entries : by the bin's name; a bin of the plan that is not there gives nothing
    changes : of the plan, since it was registered
    superseded : entries of the bins that were corrected, without which nobody would see that an outcome was
    """
    dropped = tuple(sorted({change.bin for change in changes if change.what == "bin dropped" and change.bin}))
    shares = spend(len(plan.looks), plan.alpha)
    looks = [
        _look(plan, number, share, bins, entries, dropped, now)
        for number, share in enumerate(shares)
        if due_day(plan, number) <= now.date() + timedelta(days=1)
    ]
    looks = [look for look in looks if look.values]
    stands = next((look for look in looks if look.word != OPEN and look.complete), looks[-1] if looks else None)
    chains = {name: _chains(entries.get(name, ()), superseded) for name in bins}
    corrected = [
        found
        for number in range(len(plan.looks))
        for name in plan.arms
        if name in bins and name not in dropped
        if (found := _corrected(plan, number, bins[name], chains[name], now)) is not None
    ]
    late = [said for said, in_time in corrected if not in_time]
    caps = () if stands is None else (*_caps(plan, stands), *_dropped_late(plan, changes, bins, entries, now), *late)
    exploratory = any(
        _known_before(one, chains[one.bin], registered_at.astimezone(ZoneInfo(bins[one.bin].timezone)))
        for look in looks
        for one in look.values
    )
    word: Word = OPEN if stands is None or caps or exploratory or not stands.complete else stands.word
    return Verdict(
        plan, registered_at, word, tuple(looks), stands, caps, exploratory, tuple(changes), dropped,
        tuple(said for said, _ in corrected),
    )  # fmt: skip


# --- inside ----------------------------------------------------------------------------------------------


def _look(
    plan: Plan,
    number: int,
    alpha: float,
    bins: Mapping[str, Bin],
    entries: Mapping[str, Sequence[AnyEntry]],
    dropped: Sequence[str],
    now: datetime,
) -> Look:
    found: list[Taken] = []
    lost: list[NotTaken] = []
    for name in plan.arms:
        if name in dropped:
            lost.append(NotTaken(name, "dropped after the plan was registered"))
        elif name not in bins:
            lost.append(NotTaken(name, "there is no such bin in the journal"))
        else:
            one = taken(plan, number, bins[name], entries.get(name, ()), now)
            (found if isinstance(one, Taken) else lost).append(one)  # type: ignore[arg-type]
    over = now.date() > last_day(plan, number)
    complete = over or all(one.bin in dropped for one in lost)
    due = due_day(plan, number)
    control, changed = (_arm(plan, name, found) for name in ARMS)
    spread, limits = SPREAD[plan.unit], plan.stated_on_scale
    effect: Estimated
    level = 1 - 2 * plan.alpha
    try:
        if limits is not None:
            effect = stated(changed, *limits, spread)
        else:
            effect = difference(control, changed, spread, _assumed_cv(plan, control, changed))
    except CannotCompare as error:
        return Look(
            number,
            due,
            alpha,
            tuple(found),
            tuple(lost),
            complete,
            None,
            None,
            level,
            None,
            None,
            OPEN,
            cannot=str(error),
        )
    slack = sum(_vagueness(arm) for arm in (control, changed))
    last = number == len(plan.looks) - 1
    # Of a stated number, which is that of the end, earlier looks say nothing.
    failing_level = level if limits is not None else 1 - 2 * alpha
    holding, failing = (_widened(effect.interval(each), slack) for each in (level, failing_level))
    wide = _widened(effect.interval(1 - alpha), slack)
    low, high = limits or (-plan.margin_on_scale, plan.margin_on_scale)
    word, narrow = OPEN, holding if last else failing
    if last and low < holding[0] and holding[1] < high:
        word = HOLDS
    elif (failing[0] > high or failing[1] < low) and (last or limits is None):
        word, narrow = FAILS, failing
    told = effect.finding if isinstance(effect, Stated) else finding(narrow, wide, plan.margin_on_scale)
    shown = level if narrow is holding else failing_level
    return Look(number, due, alpha, tuple(found), tuple(lost), complete, effect, narrow, shown, wide, told, word, slack)


def _vagueness(arm: Arm) -> float:
    """How far the mean of an arm may lie from where it is taken to be, if all its words err the same way."""
    widths = arm.high - arm.low
    bounded = widths[np.isfinite(widths)]
    return float(bounded.mean()) / 2 if len(bounded) else 0.0


def _widened(interval: tuple[float, float], by: float) -> tuple[float, float]:
    return interval[0] - by, interval[1] + by


def _dropped_late(
    plan: Plan,
    changes: Sequence[PlanChange],
    bins: Mapping[str, Bin],
    entries: Mapping[str, Sequence[AnyEntry]],
    now: datetime,
) -> tuple[str, ...]:
    """Bins that were dropped when what they gave was known."""
    late: list[str] = []
    for change in changes:
        if change.what != "bin dropped" or change.bin is None or change.bin not in {*bins} & {*plan.arms}:
            continue
        for number in range(len(plan.looks)):
            one = taken(plan, number, bins[change.bin], entries.get(change.bin, ()), min(now, change.noted_at))
            if isinstance(one, Taken):
                late.append(change.bin)
                break
    if not late:
        return ()
    named = " and ".join(sorted(set(late)))
    return (f"What {named} gave was known before it was dropped, so leaving it out may mislead.",)


def _chains(standing: Sequence[AnyEntry], superseded: Sequence[AnyEntry]) -> tuple[Chain, ...]:
    """Each entry that stands, after those that it took the place of."""
    by_id = {one.id: one for one in superseded}
    chains = []
    for one in standing:
        chain: Chain = (one,)
        while (of := by_id.get(chain[0].corrects or "")) is not None:
            chain = (of, *chain)
        chains.append(chain)
    return tuple(chains)


def _known_before(one: Taken, chains: Sequence[Chain], registered_at: datetime) -> bool:
    """Whether a bin's outcome, or what it was corrected from, is older than the plan; its time in the bin's zone."""
    noted = [each.noted_at for chain in chains if chain[-1].id in one.ids for each in chain]
    return one.day < registered_at.date() or any(each is not None and each < registered_at for each in noted)


def _corrected(plan: Plan, number: int, record: Bin, chains: Sequence[Chain], now: datetime) -> tuple[str, bool] | None:
    """What corrections did to what a bin gave at a look, and whether that was done before its last day was over.

    None where it gives what it gave at first. A correction that nobody knows the time of counts as one that came late.
    """
    firsts, lasts = ([chain[end] for chain in chains] for end in (0, -1))
    if firsts == lasts:
        return None
    over = datetime.combine(last_day(plan, number) + timedelta(days=1), time(), ZoneInfo(record.timezone))
    # What stood when the look was over; of an entry that was only noted later, its first version.
    stood = [
        next((one for one in reversed(chain) if one.noted_at is not None and one.noted_at < over), chain[0])
        for chain in chains
    ]
    at_first, in_time, gives = (taken(plan, number, record, each, now) for each in (firsts, stood, lasts))
    for was, when in ((in_time, "after"), (at_first, "before")):
        if _value(was) != _value(gives):
            said = (
                f"What {record.name} gave on day {plan.looks[number]} was corrected {when} the last day of that look "
                f"was over: from {_told(was)} to {_told(gives)}."
            )
            return said, when == "before"
    return None


def _value(one: Taken | NotTaken) -> tuple[float, float, float] | None:
    return (one.low, one.high, one.noise) if isinstance(one, Taken) else None


def _told(one: Taken | NotTaken) -> str:
    return "; ".join(f"“{words}”" for words in one.words) if isinstance(one, Taken) else "nothing"


def _arm(plan: Plan, name: ArmName, found: Sequence[Taken]) -> Arm:
    mine = [one for one in found if plan.arms[one.bin] == name]
    return Arm.between(name, [one.low for one in mine], [one.high for one in mine], [one.noise for one in mine])


def _assumed_cv(plan: Plan, control: Arm, changed: Arm) -> float | None:
    """Borrowed for a description where one bin stands against another; it decides nothing (see `_caps`)."""
    alone = min(len(control), len(changed)) < FEWEST <= 1 + min(len(control), len(changed))
    return (plan.assumed_cv or USUAL_CV) if alone and plan.scale == "ratio" else None


def _caps(plan: Plan, look: Look) -> tuple[str, ...]:
    """What makes the arms unlike in more than the change."""
    said = []
    if not plan.bins("control") and plan.stated is None:
        said.append("There is no bin to compare with, so nothing can be said of the change: only of this bin.")
    elif look.effect is None:
        said.append(look.cannot)
    elif look.effect.assumed_cv is not None:
        said.append(
            f"Each arm needs {FEWEST} bins that gave an outcome: how much bins differ anyway is not known from fewer, "
            f"and only assumed here ({100 * look.effect.assumed_cv:.0f} %)."
        )
    if not plan.same_sort:
        said.append("By the plan the arms were not sorted alike, so what was overlooked may differ between them.")
    usual = Counter(one.alike for one in look.values).most_common(1)[0][0]
    if odd := [one for one in look.values if one.alike != usual]:
        named = "; ".join(f"{one.bin}: {', '.join(one.alike)}" for one in odd)
        said.append(f"Not all bins were looked at alike ({named}; the others: {', '.join(usual)}).")
    return tuple(said)
