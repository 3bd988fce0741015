"""Several feedings in turn: the pH of the bedding over months, with what each left behind still there at the next.

    >>> bin = Bedding(dry_kg=3.0, water_kg=7.0, litres=20.0, ph=7.2, buffer_mol_kg_ph=0.31)
    >>> peel = Feed(kg=0.3, litres=0.8, water_kg=0.24, citrate_mol=0.006, base_mol=0.036, decay_per_day=0.02)
    >>> rates = draw_rates(20, np.random.default_rng(1))
    >>> told = succession(bin, [Meal(peel, 24.0), Meal(peel, 240.0)], rates, 15.0, steps_for([24.0, 240.0], 480.0))
    >>> told.bulk_ph.shape == (20, told.time_h.size)
    True

Only the latest feeding has a pocket of its own. When the next comes, in another spot, the pocket before is stirred into
the bulk with all it holds, and its scraps go on giving there; the water of its juice has dried or drained by then, and
leaves what was dissolved in it. One feeding at the start is a `pocket.course`, step by step the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.chemistry import balance, meals
from underlid.chemistry.aftermath import Course, Ledger
from underlid.chemistry.pocket import (
    NITROGEN_G_MOL,
    UNBALANCED,
    Bedding,
    Feed,
    ImpossibleFeeding,
    case_of,
    draw_rates,
    given,
    held_at_first,
    hours_of,
    hours_to,
    rows_of,
    scraps_of,
)
from underlid.chemistry.rates import Rates
from underlid.chemistry.souring import BULK, CALCITE, HELD, POCKET
from underlid.chemistry.speciation import COLDEST_C, WARMEST_C, ChargeError
from underlid.threads import deal

__all__ = ["Meal", "Succession", "draw_rates", "hours_to", "steps_for", "succession"]

Array = NDArray[np.float64]

STEP_H, FINE_H, FINE_FOR_H = 24.0, 6.0, 72.0  # of steps, and of those soon after a feeding
GIVEN = -1  # step of a meal given before the run
NOTHING = Feed(kg=1.0, litres=1.0)  # stands for what bedding gets that is not fed


@dataclass(frozen=True, slots=True)
class Meal:
    """A feeding, and when it is given [h] from the start: a number or (draws,), taken to the nearest step."""

    feed: Feed
    at_h: ArrayLike


@dataclass(frozen=True, slots=True)
class State:
    """Where a succession stands at its end, from which the next goes on: (draws, ...), all stirred into the bulk.

    held : (draws, 7) mol in the bedding; ph : of it; left : (draws, meals, 7) mol in the scraps
    juice, solid : (draws, meals) of their carbon
    """

    held: Array
    ph: Array
    left: Array
    juice: Array
    solid: Array

    def some(self, which: NDArray[np.int64]) -> State:
        """Those draws."""
        return State(self.held[which], self.ph[which], self.left[which], self.juice[which], self.solid[which])


@dataclass(frozen=True, slots=True)
class Succession:
    """What happens, arrays (draws, steps) but for those noted.

    time_h (steps,) : ends of the steps; start_ph (draws,)
    pocket_ph : of the latest feeding, as the bulk before there is one; pocket_share : of the dry bedding, 0 before
    pocket_ammonia, bulk_ammonia : free NH3-N [mg per kg wet bedding], the juice's water left out of the weight
    step : (draws, meals) at whose beginning each was given
    fed, made, left : (draws, meals, 7) mol, of what the meals given brought, what was made of it, what is still in them
    start, own, gone : (draws, 7) mol, of the bedding at first, what it made itself, what has left
    state : where it stands at the end
    """

    time_h: Array
    start_ph: Array
    pocket_ph: Array
    bulk_ph: Array
    pocket_share: Array
    pocket_ammonia: Array
    bulk_ammonia: Array
    step: NDArray[np.int64]
    fed: Array
    made: Array
    left: Array
    start: Array
    own: Array
    gone: Array
    state: State

    @property
    def whole_ph(self) -> Array:
        """Mean over all bedding by its dry mass."""
        return self.pocket_share * self.pocket_ph + (1 - self.pocket_share) * self.bulk_ph

    def after_last(self) -> Course:
        """What follows the last of the meals, which all draws are given at one step, as a course of its own."""
        first = int(self.step[0, -1])
        if not np.all(self.step[:, -1] == first) or not 0 <= first < self.time_h.size or np.any(self.step > first):
            raise ImpossibleFeeding("The last feeding must be the latest, at one and the same hour in all draws.")
        later = slice(first, None)
        begins = self.time_h[first - 1] if first else 0.0
        nothing = np.zeros_like(self.pocket_ph[:, later])
        return Course(
            time_h=self.time_h[later] - begins,
            start_ph=self.whole_ph[:, first - 1] if first else self.start_ph,
            pocket_ph=self.pocket_ph[:, later], bulk_ph=self.bulk_ph[:, later],
            pocket_ammonia=self.pocket_ammonia[:, later], bulk_ammonia=self.bulk_ammonia[:, later],
            pocket_calcite_mol=nothing, bulk_calcite_mol=nothing, pocket_share=self.pocket_share[:, -1],
            ledger=Ledger(
                self.start, self.fed[:, -1], self.made[:, -1], np.zeros_like(self.state.held), self.state.held,
                self.left[:, -1],
                self.gone, np.zeros((len(self.start_ph), 3)),
            ),
        )  # fmt: skip


def steps_for(fed_h: Iterable[float], until_h: float) -> Array:
    """Ends of steps [h] up to `until_h`: one a day, and every few hours for three days after each time of feeding."""
    if not 0 < until_h <= 24 * 3660:
        raise ImpossibleFeeding(f"{until_h / 24:g} days cannot be run; give more than 0 and at most 3660.")
    ends = [np.arange(STEP_H, until_h, STEP_H), np.array([until_h])]
    for at in fed_h:
        ends.append(FINE_H * round(at / FINE_H) + np.arange(0.0, FINE_FOR_H + 1, FINE_H))
    every = np.unique(np.concatenate(ends))
    inside = every[(every > 0) & (every < until_h - 1)]
    return np.append(inside, until_h)


def succession(
    bedding: Bedding,
    fed: Sequence[Meal],
    rates: Rates,
    bedding_c: ArrayLike,
    time_h: Array,
    *,
    own_base_mol_kg_day: ArrayLike = 0.0,
    unbalanced: bool = False,
    after: State | None = None,
) -> Succession:
    """Run feedings forward, all draws in one compiled call.

    Parameters
    ----------
    bedding, rates : numbers or (draws,), as are the feeds
    bedding_c : temperature of the bedding [degC]: a number, (steps,) or (draws, steps); constants of equilibrium are
        taken at its mean over the draws, and how fast microbes work at each
    time_h : ends of the steps [h], rising; see `steps_for`
    own_base_mol_kg_day : base that the bedding's own decay leaves [mol/kg dry/day]; below 0 it leaves acid
    unbalanced : give no number for the pH of draws in which no pH balances what is there, instead of an error
    after : where the first of `fed`, as many as it knows, have brought the same bedding; their hours no longer count

    Raises
    ------
    ImpossibleFeeding, ChargeError : saying what cannot be
    """
    ends = np.asarray(time_h, dtype=float)
    if ends.ndim != 1 or ends.size == 0 or not np.all(np.diff(ends, prepend=0.0) > 0):
        raise ImpossibleFeeding("The ends of the steps must rise, from more than 0 hours.")
    each = [given(bedding, meal.feed, rates) for meal in fed] or [given(bedding, NOTHING, rates)]
    draws = max(
        np.size(own_base_mol_kg_day), *(g["ph"].size for g in each), *(np.size(meal.at_h) for meal in fed),
        np.shape(bedding_c)[0] if np.ndim(bedding_c) == 2 else 1,
    )  # fmt: skip
    each = [{name: np.broadcast_to(values, draws).copy() for name, values in g.items()} for g in each]
    warm = np.atleast_2d(np.broadcast_to(np.asarray(bedding_c, dtype=float), np.broadcast_shapes(
        np.shape(bedding_c), ends.shape)))  # fmt: skip
    if warm.shape not in {(1, ends.size), (draws, ends.size)} or not np.all((warm > -40) & (warm <= WARMEST_C)):
        raise ImpossibleFeeding(
            f"The bedding's temperature must be one number or {ends.size}, from -40 to {WARMEST_C:g} degC."
        )
    first_c = max(float(warm[:, 0].mean()), COLDEST_C)
    g, rows, names = each[0], *rows_of()
    # A copy, as what only may be read would be compiled for anew.
    start = np.broadcast_to(held_at_first(g, bedding, rates, first_c), (draws, HELD)).copy()
    case = case_of(g, start, scraps_of(g))
    begins = np.concatenate([[0.0], ends[:-1]])
    laid, ph_first = _meals(fed, each, begins, float(ends[-1]), draws, after), g["ph"]
    if after is not None:
        start, ph_first = after.held, after.ph
    own_base = np.broadcast_to(np.asarray(own_base_mol_kg_day, float), draws).copy()
    bed = meals.Bed(start, ph_first, g["dry_kg"], g["water_kg"], own_base)
    ph, ammonia = np.empty((2, draws, ends.size)), np.empty((2, draws, ends.size))
    out = meals.Run(
        ph, ammonia, np.empty((draws, ends.size)), np.empty((draws, 2, HELD)), np.zeros((draws, len(fed), HELD)),
        np.zeros((draws, len(fed))), np.zeros((draws, len(fed))), np.zeros((draws, len(fed), HELD)),
        np.zeros((draws, HELD)), np.zeros((draws, HELD)), np.zeros(draws, np.int64),
    )  # fmt: skip
    deal(meals.run, draws, rows, names.index("NH3"), case, bed, laid, hours_of(ends, warm, rates, draws), out)
    odd = out.verdict != balance.SETTLED
    ph[:, odd] = np.nan
    if odd.any() and not unbalanced:
        raise ChargeError(UNBALANCED)
    to_mg = 1e3 * NITROGEN_G_MOL * (g["water_kg"] / (g["water_kg"] + g["dry_kg"]))[:, None]
    brought = np.where((laid.step < ends.size)[:, :, None], laid.mol, 0.0)
    out.left[laid.step >= ends.size] = 0.0  # never given
    brought[:, :, CALCITE] += np.where(laid.step < ends.size, laid.calcite, 0.0)
    return Succession(
        time_h=ends, start_ph=ph_first, pocket_ph=ph[POCKET], bulk_ph=ph[BULK], pocket_share=out.share,
        pocket_ammonia=ammonia[POCKET] * to_mg, bulk_ammonia=ammonia[BULK] * to_mg, step=laid.step,
        fed=brought, made=out.made, left=out.left, start=np.asarray(start), own=out.own,
        gone=out.gone, state=State(out.end.sum(axis=1), _whole(ph, out.share), out.left, out.juice, out.solid),
    )  # fmt: skip


def _whole(ph: Array, share: Array) -> Array:
    """pH of all bedding at the end, by its dry mass."""
    return np.asarray(share[:, -1] * ph[POCKET, :, -1] + (1 - share[:, -1]) * ph[BULK, :, -1])


def _meals(
    fed: Sequence[Meal], each: list[dict[str, Array]], begins: Array, end: float, draws: int, after: State | None
) -> meals.Meals:
    """The feedings side by side; one after the end is never given."""
    scraps = [scraps_of(g) for g, _ in zip(each, fed, strict=False)]
    step = np.zeros((draws, len(fed)), np.int64)
    for i, meal in enumerate(fed):
        at = np.broadcast_to(np.asarray(meal.at_h, dtype=float), draws)
        if not np.all(at >= 0):
            raise ImpossibleFeeding("A feeding cannot come before the start.")
        nearest = np.searchsorted((begins[1:] + begins[:-1]) / 2, at)
        step[:, i] = np.where(at < end, nearest, begins.size)
    columns = {
        name: np.stack([getattr(one, name) for one in scraps], axis=1) if scraps
        else np.zeros((draws, 0, HELD) if name == "mol" else (draws, 0))
        for name in meals.Meals._fields[1:-2]
    }  # fmt: skip
    juice = np.repeat(each[0]["soluble"][:, None], len(fed), axis=1)
    solid = 1.0 - juice
    if after is not None:
        known = after.left.shape[1]
        step[:, :known] = GIVEN
        columns["mol"][:, :known] = after.left
        columns["calcite"][:, :known] = 0.0  # lies in the bedding by now
        juice[:, :known], solid[:, :known] = after.juice, after.solid
    return meals.Meals(
        step=step, juice=juice, solid=solid, **{name: np.ascontiguousarray(one) for name, one in columns.items()}
    )
