"""One claim tested by several keepers: the verdict on them together, and what each brings to it.

Bins are never thrown together as if one keeper had kept them all: each keeper's own difference goes in and may differ
from the others' (see `hierarchy`). A keeper with one bin in each arm counts too, though nothing can be said of that
trial by itself. Only trials of the same claim, outcome and margin can be taken together, each registered before its
counts and fair by itself.

A trial that failed at an early look counts as it was then, since it may have been ended for the animals' sake. “Holds”
takes every keeper's last look, as in one trial.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from underlid.trials.arm import CannotCompare
from underlid.trials.compare import Difference
from underlid.trials.hierarchy import LOGS, Keeper, OverKeepers, Prior, TooFewKeepers, over_keepers
from underlid.trials.plan import ARMS, Plan
from underlid.trials.shown import effect_sentence, effect_words, margin_words
from underlid.trials.taken import Taken
from underlid.trials.verdict import FAILS, HOLDS, OPEN, Look, Verdict, Word

#: Before any bin, on scales that are not logs: tau is as large beside the usual scatter as on that of logs, and the
#: scatter has its middle and its ends where `verdict.SPREAD` has them. Our judgement.
PRIORS: Mapping[str, Prior] = {
    "": LOGS,
    "pH units": Prior(tau=0.4, sigma=0.25, spread=1.3),
    "K": Prior(tau=1.2, sigma=0.7, spread=1.3),
    "days": Prior(tau=17.0, sigma=10.0, spread=1.5),
}


class NotTogether(CannotCompare):
    """Trials that ask different questions."""


@dataclass(frozen=True, slots=True)
class Together:
    """The verdict on all keepers.

    interval : of the mean over keepers, of the `level` that decides; predicted : what one more keeper with about as
    many bins would find, of that level; both widened by what all words may err in the same way
    left_out : who and why; remarks : what should make one doubt it
    """

    plan: Plan
    word: Word
    found: OverKeepers
    interval: tuple[float, float]
    predicted: tuple[float, float]
    level: float
    keepers: tuple[Keeper, ...]
    left_out: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The verdict in one sentence, and what the next keeper may find in another."""
        found = effect_sentence(self.plan, self.interval)
        percent = f"{100 * self.level:.3g} %"
        basis = f"estimated from {len(self.keepers)} keepers, {percent} interval of the mean over keepers"
        margin = margin_words(self.plan)
        following = (
            f" The next keeper, with about as many bins, may find {effect_words(self.plan, self.predicted)} "
            f"(predicted, {percent} interval)."
        )
        if self.word == HOLDS:
            return f"Holds within the margin: {found} ({basis}), all of it inside {margin}.{following}"
        if self.word == FAILS:
            return f"Fails: {found} ({basis}), all of it beyond {margin}.{following}"
        where = "inside" if _inside(self.interval, self.plan) else "which reaches across"
        return f"Cannot tell yet: {found} ({basis}), {where} {margin}: it is not resolved.{following}"


def together(told: Mapping[str, Verdict], said: Sequence[str] = ()) -> Together:
    """The verdict on several keepers' trials of one claim, by keeper's name.

    said : how they were chosen (see `by_keeper`), which stands among the remarks

    Raises NotTogether where the trials ask different questions, and CannotCompare where too few can be used.
    """
    if not told:
        raise TooFewKeepers(" ".join(["No keeper's trial can be used.", *said]))
    first = _same_question(told)
    keepers, left_out, looks = [], [], []
    for name, one in told.items():
        brought = _brought(name, one)
        if isinstance(brought, str):
            left_out.append(f"{name} is left out: {brought[:1].lower()}{brought[1:]}")
        else:
            keepers.append(brought[0])
            looks.append((name, one.plan, brought[1]))
    try:
        found = over_keepers(keepers, PRIORS[first.unit])
    except CannotCompare as error:
        raise type(error)(" ".join([str(error), *left_out, *said])) from None
    level = 1 - 2 * first.alpha
    vague = sum(_vagueness(plan, look) for _, plan, look in looks) / len(looks)  # all words may err the same way
    (low, high), predicted = (
        (ends[0] - vague, ends[1] + vague) for ends in (found.mean.interval(level), found.next_found.interval(level))
    )
    early = [name for name, plan, look in looks if look.number < len(plan.looks) - 1]
    margin, word = first.margin_on_scale, OPEN
    if _inside((low, high), first) and not early:
        word = HOLDS
    elif low > margin or high < -margin:
        word = FAILS
    remarks = (*found.remarks, *said)
    if early:
        remarks += (
            f"Counted at a look before the last: {', '.join(early)}. That it holds can be said at the end only.",
        )
    return Together(first, word, found, (low, high), predicted, level, tuple(keepers), tuple(left_out), remarks)


def by_keeper(
    name: str, plans: Mapping[str, Plan], bin_keepers: Mapping[str, str]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """The trials of one journal that ask what the named one asks: by keeper, and remarks on how they were chosen.

    plans : by the trial's name, in the order of registration; bin_keepers : whose each bin is, where it is known
    """
    chosen: dict[str, str] = {}
    said = []
    for trial, plan in plans.items():
        if plan.claim != plans[name].claim:
            continue
        owners = {bin_keepers.get(each) for each in plan.arms}
        known = sorted(owner for owner in owners if owner is not None)
        if other := _unlike(plan, plans[name]):
            said.append(f"The trial “{trial}” is left out: it has another {other}.")
        elif len(known) > 1:
            said.append(f"The trial “{trial}” is left out: its bins are of several keepers ({', '.join(known)}).")
        elif not known or None in owners:
            said.append(f"Whose all bins of “{trial}” are is not noted: it is taken for a keeper of its own.")
            chosen[f"trial {trial}" if trial in {*chosen, *bin_keepers.values()} else trial] = trial
        elif known[0] in chosen:
            said.append(f"The trial “{trial}” is left out: {known[0]} registered “{chosen[known[0]]}” before it.")
        else:
            chosen[known[0]] = trial
    return chosen, tuple(said)


# --- inside ----------------------------------------------------------------------------------------------


def _inside(ends: tuple[float, float], plan: Plan) -> bool:
    return -plan.margin_on_scale < ends[0] and ends[1] < plan.margin_on_scale


def _same_question(told: Mapping[str, Verdict]) -> Plan:
    first = next(iter(told.values())).plan
    for name, one in told.items():
        if other := _unlike(one.plan, first):
            raise NotTogether(
                f"The trial of {name} has another {other}; only trials of one question can be taken together."
            )
    if first.stated is not None:
        raise NotTogether("Trials against a stated number are not pooled: each keeper's bins differ in place and food.")
    return first


def _unlike(plan: Plan, first: Plan) -> str:
    """What makes a plan's question another than that of the first; empty if it is the same."""
    for what in ("claim", "outcome", "scale", "unit", "margin", "stated"):
        if getattr(plan, what) != getattr(first, what):
            return f"{what} ({getattr(plan, what)}, not {getattr(first, what)})"
    return ""


def _brought(name: str, one: Verdict) -> tuple[Keeper, Look] | str:
    """What a keeper's trial says and the look it is of, or why it does not count."""
    if one.decided_by is None:
        return "No count yet."
    if one.exploratory:
        return "It was registered after its counts."
    look, caps = one.decided_by, one.caps
    values = _values(one.plan, look)
    alone = min(len(arm) for arm in values) == 1 and not _learned(look.effect)
    if alone:
        # With a scatter that was assumed no look decides, so the latest counts. The lack of bins, which the others make
        # up for, is the first of its caps.
        look, caps = one.looks[-1], caps[1:]
        values = _values(one.plan, look)
        if not all(values):
            return "an arm gave nothing at its last look."
        if not caps and len({each.alike for each in look.values}) > 1:
            caps = ("Not all bins were looked at alike.",)
    if caps:
        return caps[0]
    if not look.complete:
        return f"its look of {look.due:%-d %b %Y} is not over yet."
    if all(math.isfinite(end) for arm in values for each in arm for end in (each.low, each.high)):
        return _of_values(name, values), look
    if alone:
        return (
            "a bin's value has no upper or no lower end yet, and there is no other to tell it by: what is found "
            "without it may be too small."
        )
    assert isinstance(look.effect, Difference)
    return _of_belief(name, look.effect), look


def _learned(effect: object) -> bool:
    """Whether a keeper's own bins told how bins scatter."""
    return isinstance(effect, Difference) and effect.df is not None


def _values(plan: Plan, look: Look) -> tuple[list[Taken], list[Taken]]:
    control, changed = ([one for one in look.values if plan.arms[one.bin] == arm] for arm in ARMS)
    return control, changed


def _of_values(name: str, values: tuple[list[Taken], list[Taken]]) -> Keeper:
    """By the middles of the values; what a value may err by itself is carried as a variance."""
    middles = [np.array([(one.low + one.high) / 2 for one in arm]) for arm in values]
    own = [float(np.mean([one.noise**2 + (one.high - one.low) ** 2 / 12 for one in arm])) for arm in values]
    squares = sum(float(((arm - arm.mean()) ** 2).sum()) for arm in middles)
    bins = (len(values[0]), len(values[1]))
    return Keeper(name, float(middles[1].mean() - middles[0].mean()), bins, squares, sum(bins) - 2, (own[0], own[1]))


def _of_belief(name: str, effect: Difference) -> Keeper:
    """By what is believed where values are open on one side.

    The error is the half-width of the middle 50 % over that of t. What that error has beyond the scatter of bins is the
    values' own.
    """
    assert effect.df is not None
    bins = (effect.bins[0], effect.bins[1])
    low, high = effect.interval(0.5)
    total = ((high - low) / 2 / float(stdtrit(effect.df, 0.75))) ** 2 / (1 / bins[0] + 1 / bins[1])
    own = max(0.0, total - effect.sd**2)
    return Keeper(name, effect.estimate, bins, (effect.sd**2 + own) * effect.df, effect.df, (own, own))


def _vagueness(plan: Plan, look: Look) -> float:
    """By how much all of a keeper's words may shift the difference: half the mean width of an arm, both arms."""
    widths = [[one.high - one.low for one in arm if math.isfinite(one.high - one.low)] for arm in _values(plan, look)]
    return sum(float(np.mean(each)) / 2 for each in widths if each)
