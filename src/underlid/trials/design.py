"""From a claim to a plan: arms by lot, looks, stop rules, and what simulated trials of it come to."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlid.fit.colony import EDIBLE
from underlid.fit.evidence import Situation
from underlid.quantity.amount import VagueAmount
from underlid.quantity.points import three
from underlid.trials.claims import Claim, Outcome, Stated
from underlid.trials.compare import FEWEST
from underlid.trials.judged import Rule
from underlid.trials.looks import spend
from underlid.trials.plan import ARMS, TAKEN, Plan, PlanProblem, by_lot
from underlid.trials.power import HOPELESS, TRIALS, Power, Surface, answer, power, surface
from underlid.trials.scene import Counted, Scene
from underlid.trials.shown import plain
from underlid.trials.simulated import LONGEST_DAYS, simulate
from underlid.trials.sizes import USUAL_CV, tost_power
from underlid.worms.habitat import DRY_SHARE, Habitat
from underlid.worms.species import Species

COUNTED: Mapping[Outcome, Counted] = {"worms": "worms", "adults": "adults", "young": "young", "cocoons": "cocoons"}
AT_DRAWS = 9  # steady temperatures that stand for a range
DAY_H, WEEK_H = 24, 168
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What is expected of a plan: sentences for the keeper, and the numbers that are registered with it."""

    said: tuple[str, ...]
    expected: Mapping[str, float]
    power: Power | None


def plan_of(
    claim: Claim,
    name: str,
    bins: Sequence[str],
    starts: str,
    founders: int,
    seed: int,
    *,
    outcome: Outcome | None = None,
    margin: float | None = None,
    because: str | None = None,
    looks: Sequence[int] = (),
    alone: bool = False,
    same_sort: bool = True,
    blind: bool = False,
) -> Plan:
    """A plan by the claim's design; what is given takes the place of the design's.

    alone : all bins are changed and none is a control: it can show what is possible, and no more

    Raises PlanProblem for a claim that is not to be tested, or that the journal cannot answer.
    """
    if claim.design is None:
        raise PlanProblem(f"“{claim.sentence}” is not to be tested on animals: {claim.not_tested_because}")
    design, against = claim.design, claim.design.against
    what = outcome or design.outcome
    if twice := sorted({name for name in bins if list(bins).count(name) > 1}):
        raise PlanProblem(f"Bin “{twice[0]}” is named twice; name each bin of the trial once.")
    if isinstance(against, Stated):
        if margin is not None:
            raise PlanProblem("The claim states a range, which stands in place of a margin; leave --margin out.")
        if what not in TAKEN:
            raise PlanProblem(
                f"The journal does not hold “{what}”, which this claim states, so it cannot be tested here."
            )
    if what not in TAKEN:
        raise PlanProblem(
            f"The journal does not hold “{what}”, by which this claim is tested; choose another with --outcome: "
            f"{', '.join(TAKEN)}."
        )
    days = tuple(sorted(set(looks))) or tuple(day for day in design.counts if day > 0)
    stated = None
    if isinstance(against, Stated):
        stated = _stated(against, what, founders, days[-1])
        control, changed, least = "", claim.statement, 1.0
        reason = f"stated: {against.what}, {against.low:g} to {against.high:g} {against.unit}"
    else:
        if margin is not None and because is None:
            raise PlanProblem("A margin of your own needs its reason, with --because: why less would not matter.")
        if margin is None and what != design.outcome:
            raise PlanProblem(f"The claim's margin is of {design.outcome}; for {what} give your own with --margin.")
        control, changed, least, reason = against.control, against.changed, against.margin, against.margin_because
    compared = stated is None and not alone
    return Plan(
        name=name, claim=claim.name, statement=claim.statement, control=control, changed=changed, outcome=what,
        scale="difference" if TAKEN[what] else "ratio", unit=TAKEN[what], margin=least if margin is None else margin,
        because=because or reason, founders=founders, starts=starts, looks=days,
        arms=by_lot(bins, seed) if compared else dict.fromkeys(bins, "changed"), seed=seed, same_sort=same_sort,
        blind=blind, stop=design.stop, stated=stated,
    )  # fmt: skip


def steady_scene(
    kind: Species, of: Situation, litres: float, bedding_c: tuple[float, float], days: int, founders: VagueAmount
) -> Scene:
    """Bins of that kind whose bedding stays at one temperature of the range, for want of weather."""
    at = np.linspace(*bedding_c, AT_DRAWS)
    whole = [Habitat.steady(kind, float(each), days * DAY_H) for each in at]
    worms_c, cocoons_c, outside_k, frozen, moisture = (
        np.concatenate([getattr(one, part) for one in whole])
        for part in ("worms_c", "cocoons_c", "outside_k", "frozen", "moisture")
    )
    habitat = Habitat(worms_c, cocoons_c, outside_k, frozen, moisture, whole[0].food_kg, kind.band_c)
    vessel = of.vessel
    return Scene(
        kind, habitat, vessel.length_m * vessel.width_m, litres, vessel.bedding_m3 * of.dry_kg_m3 * EDIBLE, founders
    )


def fed_weekly(scene: Scene, kg: float) -> Scene:
    """The same bins given so much food [kg wet] every week instead of what was given before."""
    food = np.zeros_like(scene.habitat.food_kg)
    food[::WEEK_H] = DRY_SHARE * kg
    return replace(scene, habitat=replace(scene.habitat, food_kg=food))


def foresee(
    plan: Plan, scene: Scene | None, *, trials: int = TRIALS, progress: Progress = lambda done: None
) -> Foreseen:
    """What trials of the plan come to: simulated whole where animals are counted, else by the spread of like bins.

    scene : where it takes place; None where nothing is known of that, or nothing is counted
    """
    few = min(len(plan.bins(arm)) for arm in ARMS) if plan.bins("control") else 0
    if scene is not None and plan.outcome in COUNTED and plan.days <= min(LONGEST_DAYS, scene.days):
        scene = replace(scene, outcome=COUNTED[plan.outcome])
        if not plan.bins("control"):
            return _forecast(plan, scene, trials, progress)
        rule = Rule(plan.margin, plan.looks, spend(len(plan.looks), plan.alpha))
        found = power(scene, few, rule, trials=trials, seed=plan.seed, progress=progress)
        sizes = None if found.can_answer else _sizes(plan, scene, trials)
        return Foreseen((answer(found, sizes), *found.notes), _expected(found), found)
    if few >= FEWEST and plan.scale == "ratio":
        cv = plan.assumed_cv or USUAL_CV
        holds = tost_power(few, plan.margin, cv, plan.alpha)
        said = (
            f"If the change does nothing and like bins differ by {100 * cv:.0f} %, {few} bins in each arm show that "
            f"within a margin of {plan.margin:g} times with a chance of {holds:.0%}."
        )
        verdict = () if holds >= HOPELESS else ("This trial cannot answer the question.",)
        return Foreseen((said, *verdict), {"holds if nothing": round(holds, 4)}, None)
    if few < FEWEST and plan.stated is None:
        said = (
            "This trial cannot answer the question: with fewer than two bins in an arm nothing is known of how bins "
            "differ. It can show what is possible here."
        )
    else:
        said = f"How far like bins differ in {plan.outcome} is not known, so the chance of an answer is not reckoned."
    return Foreseen((said,), {}, None)


# --- inside ----------------------------------------------------------------------------------------------


def _stated(against: Stated, outcome: str, founders: int, days: int) -> tuple[float, float]:
    """The stated range in terms of the outcome at the end."""
    if against.unit == "days" and outcome == "worms" and against.low > 0:  # a time to double
        return founders * 2 ** (days / against.high), founders * 2 ** (days / against.low)
    if against.unit == "per adult and week" and outcome == "cocoons":  # of founders that are all adult
        return founders * days / 7 * against.low, founders * days / 7 * against.high
    raise PlanProblem(f"The claim states {against.what} in {against.unit}, which cannot be told from {outcome}.")


def _expected(found: Power) -> dict[str, float]:
    expected = {
        "holds if nothing": found.idle.holds,
        "fails if nothing": found.idle.fails,
        "trials": float(found.trials),
    }
    if found.at_margin is not None:
        expected["holds at margin"] = found.at_margin.holds
    if found.twice is not None:
        expected["fails at twice the margin"] = found.twice.fails
    if math.isfinite(found.within[1]):
        expected["interval reaches times"] = found.within[1]
    return {name: round(value, 4) for name, value in expected.items()} | {"trials": float(found.trials)}


def _forecast(plan: Plan, scene: Scene, trials: int, progress: Progress) -> Foreseen:
    """Of bins without a control: what the model expects to be counted."""
    counted = simulate(scene, 1, trials, plan.looks, (1.0,), plan.seed, progress)[:, 0, 0]
    expected = {}
    for look, day in enumerate(plan.looks):
        for part, value in zip(("p5", "p50", "p95"), three(counted[:, look].astype(float)), strict=True):
            expected[f"day {day} {part}"] = round(value, 2)
    last = f"day {plan.looks[-1]}"
    range_words = f"{plain(expected[f'{last} p5'])} to {plain(expected[f'{last} p95'])}"
    comparing = (
        "All bins are compared with the stated range." if plan.stated is not None else
        "No bin is there to compare with: it can show what is possible here, and whether this forecast is missed."
    )  # fmt: skip
    return Foreseen(
        (f"The model forecasts {range_words} {plan.outcome} counted on {last} (90 %, predicted). {comparing}",),
        expected, None,
    )  # fmt: skip


def _sizes(plan: Plan, scene: Scene, trials: int) -> Surface:
    return surface(
        scene, plan.looks, alphas=spend(len(plan.looks), plan.alpha), spreads=(USUAL_CV,), trials=trials, seed=plan.seed
    )
