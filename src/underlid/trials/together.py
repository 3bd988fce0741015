"""One claim tested by several keepers: the verdict on them together, and what each brings to it.

Bins are never thrown together as if one keeper had kept them all: each keeper's effect goes in with its own error and
may differ from the others' (see `pooled`). Only trials of the same claim, outcome and margin can be taken together,
each registered before its counts and fair by itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from underlid.trials.arm import CannotCompare
from underlid.trials.compare import Difference
from underlid.trials.plan import Plan
from underlid.trials.pooled import Keeper, Pooled, keeper, pool
from underlid.trials.shown import effect_sentence, margin_words
from underlid.trials.verdict import FAILS, HOLDS, OPEN, Verdict, Word


class NotTogether(CannotCompare):
    """Trials that ask different questions."""


@dataclass(frozen=True, slots=True)
class Together:
    """The verdict on all keepers: `level` is that of the interval that decides, `left_out` says who and why."""

    plan: Plan
    word: Word
    pooled: Pooled
    interval: tuple[float, float]
    level: float
    keepers: tuple[Keeper, ...]
    left_out: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        found = effect_sentence(self.plan, self.interval)
        basis = (
            f"estimated from {len(self.keepers)} keepers, {100 * self.level:.3g} % interval of the mean over keepers"
        )
        margin = margin_words(self.plan)
        if self.word == HOLDS:
            return f"Holds within the margin: {found} ({basis}), all of it inside {margin}."
        if self.word == FAILS:
            return f"Fails: {found} ({basis}), all of it beyond {margin}."
        return f"Cannot tell yet: {found} ({basis}), which reaches across {margin}: it is not resolved."


def together(told: Mapping[str, Verdict]) -> Together:
    """The verdict on several keepers' trials of one claim, by keeper's name.

    Raises NotTogether where the trials ask different questions, and CannotCompare where fewer than two can be used.
    """
    first = next(iter(told.values())).plan
    for name, one in told.items():
        for what in ("claim", "outcome", "scale", "unit", "margin", "stated"):
            if getattr(one.plan, what) != getattr(first, what):
                raise NotTogether(
                    f"The trial of {name} has another {what} ({getattr(one.plan, what)}, not {getattr(first, what)}); "
                    "only trials of one question can be taken together."
                )
    if first.stated is not None:
        raise NotTogether("Trials against a stated number are not pooled: each keeper's bins differ in place and food.")
    keepers, left_out, slack = [], [], []
    for name, one in told.items():
        effect = None if one.decided_by is None else one.decided_by.effect
        if one.caps or one.exploratory or not isinstance(effect, Difference):
            why = (
                one.caps[0]
                if one.caps
                else "It was registered after its counts."
                if one.exploratory
                else "No count yet."
            )
            left_out.append(f"{name} is left out: {why[:1].lower()}{why[1:]}")
        else:
            keepers.append(keeper(name, effect))
            slack.append(0.0 if one.decided_by is None else one.decided_by.slack)
    found = pool(keepers)
    level = 1 - 2 * first.alpha
    low, high = found.interval(level)
    vague = sum(slack) / len(slack)  # all words may err the same way
    low, high = low - vague, high + vague
    inside = -first.margin_on_scale < low and high < first.margin_on_scale
    beyond = low > first.margin_on_scale or high < -first.margin_on_scale
    word = HOLDS if inside else FAILS if beyond else OPEN
    return Together(first, word, found, (low, high), level, tuple(keepers), tuple(left_out))
