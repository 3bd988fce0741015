"""A verdict in words: one sentence, a table, what would settle it, and what else could explain it.

An unresolved test is told as such, and never as no difference; every effect has its interval, and says that it is
estimated, from how many bins, and beside which margin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from underlid.quantity.amount import NINETY
from underlid.quantity.show import listed
from underlid.trials.arm import BadValues
from underlid.trials.compare import FEWEST
from underlid.trials.plan import ARMS, COUNTED, Plan
from underlid.trials.shown import amount_words, effect_sentence, effect_words, margin_words, outcome_words, plain
from underlid.trials.sizes import USUAL_CV, bins_needed
from underlid.trials.taken import STAGES_OF
from underlid.trials.verdict import FAILS, HOLDS, OPEN, Look, Verdict

MOST_BINS = 60  # in an arm; nobody keeps more


@dataclass(frozen=True, slots=True)
class Row:
    """One bin at the look told of: its arm, the outcome as a range, when, and the keeper's words."""

    bin: str
    arm: str
    outcome: str
    day: str
    words: str


def sentence(told: Verdict) -> str:
    """The verdict in one sentence."""
    plan, look = told.plan, told.decided_by
    if look is None:
        return f"Cannot tell yet: nothing that trial “{plan.name}” is judged by is in the journal."
    if look.effect is None or look.narrow is None or not told.controlled:
        return f"Cannot tell yet: {_single(told, look)}"
    found = _effect(told, look)
    if plan.stated is not None:
        return _stated(told, look)
    if told.word == HOLDS:
        small = ". A difference is there, but a small one" if look.finding == "both" else ""
        return (
            f"Holds within the margin: {found}, all of it inside {margin_words(plan)}, which was set beforehand{small}."
        )
    if told.word == FAILS:
        return f"Fails: {found}, all of it beyond {margin_words(plan)}, which was set beforehand."
    if told.caps or told.exploratory:
        return f"Cannot tell yet: {found}, but {_first(told)}"
    if look.word != OPEN:
        return f"Cannot tell yet: {found}, but not all bins are counted yet: it is not resolved."
    if look.finding == "differs":
        return (
            f"Cannot tell yet: {found}. A difference is there, but whether it is beyond {margin_words(plan)} is not "
            "resolved."
        )
    early = "" if look.complete else ", and not all bins are counted yet"
    return f"Cannot tell yet: {found}, which reaches across an end of {margin_words(plan)}{early}: it is not resolved."


def _stated(told: Verdict, look: Look) -> str:
    assert look.narrow is not None
    plan = told.plan
    limits = plan.stated or (0.0, 0.0)
    level = f"{100 * look.level:.3g} %"
    came = (
        f"{plan.outcome} came to {amount_words(plan, look.narrow)} (estimated from {len(look.values)} bins, {level} "
        f"interval of their mean, day {plan.looks[look.number]}{_without(told)}{_alone(plan, look)})"
    )
    claimed = f"the {plain(limits[0])} to {plain(limits[1])} {plan.unit}".rstrip() + " that is stated"
    if told.caps or told.exploratory:
        return f"Cannot tell yet: {came}, but {_first(told)}"
    if told.word == HOLDS:
        return f"Holds within the margin: {came}, all of it inside {claimed}."
    if told.word == FAILS:
        return f"Fails: {came}, all of it outside {claimed}."
    if look.word != OPEN:
        return f"Cannot tell yet: {came}, but not all bins are counted yet: it is not resolved."
    return f"Cannot tell yet: {came}, which reaches across an end of {claimed}: it is not resolved."


def settles(told: Verdict) -> tuple[str, ...]:
    """What would settle it."""
    plan, look = told.plan, told.decided_by
    if told.word != OPEN:
        return ("The same trial by another keeper, elsewhere, would show whether it is so in general.",)
    said = []
    if not told.controlled:
        said.append("Bins without the change, started alike and on the same day, to compare with.")
    if told.exploratory:
        said.append("The same trial registered before its first count.")
    counted = max((one.number for one in told.looks), default=-1)
    left = [number for number, _ in enumerate(plan.looks) if number > counted]
    if left:
        said.append(f"The looks still to come: {', '.join(f'day {plan.looks[number]}' for number in left)}.")
    if plan.scale == "ratio" and plan.bins("control"):
        said.append(_more_bins(plan, look))
    elif told.controlled:
        said.append("More bins, counted or read less vaguely: either makes the interval narrower.")
    return tuple(said)


def rivals(told: Verdict) -> tuple[str, ...]:
    """What else could make the arms differ, or look alike."""
    plan, look = told.plan, told.decided_by
    said = []
    if not told.controlled:
        said += [
            "Season, the age of the bin and the growth of the colony change everything in a year by themselves.",
            "One bin can show that something is possible, not that it is true in general, nor why.",
        ]
    if not plan.blind and told.looks:
        said.append("Whoever counted knew which bins were changed, and may have looked longer where more was expected.")
    said += [one for one in told.corrected if one not in told.caps]
    if look is not None and (left := _searched_for(plan, look)[1]):
        said.append(f"“{plan.outcome.capitalize()}” are here those that were counted: {left} were not looked for.")
    said.append("All bins had one keeper and stood in one place: elsewhere it may be otherwise.")
    if look is not None and look.lost and look.complete:
        named = "; ".join(f"{one.bin}: {one.because}" for one in look.lost)
        said.append(f"Bins that gave nothing ({named}) may have been lost to what is tested.")
    if plan.outcome in COUNTED and told.looks:
        said.append(
            "Numbers are those found: small and dark animals are overlooked, alike in each arm only if sorted alike."
        )
    return tuple(said)


def rows(told: Verdict) -> tuple[Row, ...]:
    """The bins at the look that the verdict rests on, control first."""
    if told.decided_by is None:
        return ()
    by_bin = {one.bin: one for one in told.decided_by.values}
    lost = {one.bin: one for one in told.decided_by.lost}
    found = []
    for arm in ARMS:
        for name in told.plan.bins(arm):
            one = by_bin.get(name)
            if one is None:
                found.append(Row(name, arm, "nothing", "", lost[name].because))
            else:
                found.append(
                    Row(name, arm, outcome_words(told.plan, one), f"{one.day:%-d %b %Y}", "; ".join(one.words))
                )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class LookRow:
    """One look for people: its day, the effect with its interval, and what was found."""

    day: str
    due: str
    effect: str
    level: str
    found: str


def looks(told: Verdict) -> tuple[LookRow, ...]:
    """Every look so far."""
    return tuple(
        LookRow(
            f"day {told.plan.looks[look.number]}",
            f"{look.due:%-d %b %Y}",
            ""
            if look.narrow is None
            else (effect_words if told.plan.stated is None else amount_words)(told.plan, look.narrow),
            ""
            if look.narrow is None
            else f"{100 * look.level:.3g} % interval"
            + (
                f", assumed CV {100 * look.effect.assumed_cv:.0f} %"
                if look.effect is not None and look.effect.assumed_cv is not None
                else ""
            ),
            (look.finding or "nothing can be told") + ("" if look.complete else "; not all bins are counted yet"),
        )
        for look in told.looks
    )


def expected(plan: Plan) -> str:
    """What simulated trials of this plan came to, in a sentence; empty where none were made."""
    nothing, at_margin, twice = (
        None if plan.expected.get(name) is None else 100 * plan.expected[name]
        for name in ("holds if nothing", "holds at margin", "fails at twice the margin")
    )
    if nothing is None:
        return ""
    if at_margin is None or twice is None:
        return (
            "By the spread of like bins, before the start: if the change does nothing, it would be found to hold in "
            f"{nothing:.0f} % of such trials."
        )
    return (
        f"By simulated trials of this plan, before the start: if the change does nothing, it would be found to hold in "
        f"{nothing:.0f} % of them; with an effect as large as the margin, wrongly so in {at_margin:.1f} %; with one "
        f"twice as large it would be found to fail in {twice:.0f} %."
    )


# --- inside ----------------------------------------------------------------------------------------------


def _effect(told: Verdict, look: Look) -> str:
    assert look.narrow is not None
    plan = told.plan
    bins = [sum(plan.arms[one.bin] == arm for one in look.values) for arm in ARMS]
    level = f"{100 * look.level:.3g} %"
    many = (
        f"estimated from {bins[1]} changed and {bins[0]} control bins, {level} interval, day {plan.looks[look.number]}"
        f"{_without(told)}{_alone(plan, look)}"
    )
    return f"{effect_sentence(plan, look.narrow)} ({many})"


def _alone(plan: Plan, look: Look) -> str:
    """Which stages alone an effect is of, where others of the outcome were not looked for."""
    seen, left = _searched_for(plan, look)
    return f"; {seen} alone were counted" if left else ""


def _without(told: Verdict) -> str:
    return f"; without {', '.join(told.dropped)}, dropped after registration" if told.dropped else ""


def _single(told: Verdict, look: Look) -> str:
    plan = told.plan
    if not told.controlled:
        low, high, at = (plan.expected.get(f"day {plan.looks[look.number]} {part}") for part in ("p5", "p95", "p50"))
        one = look.values[0]
        seen = f"bin {one.bin} gave {plan.outcome} {outcome_words(plan, one)}"
        late = " It was registered after the counts were known, so it is exploratory." if told.exploratory else ""
        if low is None or high is None or at is None:
            return f"{seen}, and there is no bin to compare it with and no forecast that was registered."
        spread = NINETY * one.noise
        value = (math.exp(one.low - spread), math.exp(one.high + spread))
        within = "inside" if low <= value[0] and value[1] <= high else "across an end of"
        if value[1] < low or value[0] > high:
            within = "outside"
        return (
            f"{seen}, {within} the {plain(low)} to {plain(high)} that the model forecast at the trial's registration "
            "(90 %, predicted). No bin is there to compare with: it shows what is possible here, not whether the "
            f"change did it.{late}"
        )
    return _first(told)


def _searched_for(plan: Plan, look: Look) -> tuple[str, str]:
    """The stages of the outcome that bins were searched for and those that none was, in words; "" if it is no count."""
    if plan.outcome not in COUNTED or not look.values:
        return "", ""
    seen = {stage for one in look.values for stage in one.stages}
    stages = STAGES_OF[plan.outcome]
    return listed([f"{each}s" for each in stages if each in seen]), listed(
        [f"{each}s" for each in stages if each not in seen]
    )


def _first(told: Verdict) -> str:
    if told.caps:
        return told.caps[0][:1].lower() + told.caps[0][1:]
    if told.exploratory:
        return "it was registered after the counts were known, so it is exploratory and decides nothing."
    return "fewer than two bins of an arm gave anything."


def _more_bins(plan: Plan, look: Look | None) -> str:
    seen = None if look is None or look.effect is None or look.effect.assumed_cv is not None else look.effect.cv
    usual = plan.assumed_cv or USUAL_CV
    cv = max(seen or 0.0, usual)  # that few bins look alike may be luck
    of = "as these did" if seen and seen > usual else f"by {100 * cv:.0f} %"
    try:
        need = max(FEWEST, bins_needed(plan.margin, cv, plan.alpha, 0.8).exact)
    except BadValues:  # beyond reach, or bins that differ beyond all reason
        need = MOST_BINS + 1
    if need > MOST_BINS:
        return (
            f"With bins that differ {of}, no trial of a size that anybody keeps could show that it lies inside "
            f"{margin_words(plan)}: a wider margin, or bins more alike, would be needed."
        )
    fewest = min(len(plan.bins(arm)) for arm in ARMS)
    more = (
        "" if need > fewest else f" ({fewest} were there: it came out otherwise by luck, or there is something in it)"
    )
    return (
        f"About {need} bins in each arm would show that it lies inside {margin_words(plan)} in 8 of 10 trials, if the "
        f"change does nothing and bins differ {of}{more}."
    )
