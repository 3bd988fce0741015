"""What the bedding would do if something were changed now: the difference it makes, draw by draw.

Each draw of the posterior is run twice into the same air, with the same straying of each spot from the model: once
as the bin is and once changed. What both share cancels, so a difference is known far better than either course.
The change is made at the present hour: both go on from the one state that the past has left the bin in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.vessel import Vessel
from underlid.fit.change import Change, Changer
from underlid.fit.fate import fate_of, gathered, of_sets, run
from underlid.fit.outlook import PLACES, Fate
from underlid.fit.posterior import Posterior
from underlid.fit.study import Case, Study
from underlid.heat.films import films
from underlid.heat.model import DEFAULT_HUMIDITY_PCT, BeddingTemperature, Drive, State
from underlid.heat.moisture import vapour_kg_m3
from underlid.quantity import VagueAmount
from underlid.quantity.amount import NINETY
from underlid.quantity.points import PERCENT, three

Points = tuple[float, float, float]  # 5, 50 and 95 %

#: What a keeper's wrapping is worth of the dry book value, equally likely: gaps, damp and squashing. Our judgement.
WRAPPING_WORTH = (0.5, 0.65, 0.8, 0.9, 1.0)
#: Log spreads added where the bin moves: the wind of the new place, and the ratio of two bases. Our judgement.
SITING_LOG_SD = 0.2
BASE_RATIO_LOG_SD = float(np.log(2.0)) / NINETY
NIGHT_H = 12  # hours before and after the coldest one that count as its night
NOTICED_K = 0.1  # a change warms if it does so by what a thermometer can show: our judgement


class NothingToCome(ValueError):
    """The weather ends at the present, so a change now could make no difference."""


@dataclass(frozen=True, slots=True)
class Compared:
    """A predicted figure as the bin is, changed, and the difference draw by draw; each 5, 50 and 95 %."""

    now: Points
    changed: Points
    difference: Points

    @property
    def verdict(self) -> str:
        """*more* or *less* if nine draws in ten lie on that side of no effect, *same* if none differs, *undecided*."""
        low, _, high = self.difference
        if low == high == 0:
            return "same"
        return "more" if low > 0 else "less" if high < 0 else "undecided"


@dataclass(frozen=True, slots=True)
class Difference:
    """What changes made now would do from now to the end of the outlook; everything in it is predicted.

    coldest, mean : place -> temperature of the coldest hour, and the mean [degC]
    coldest_night : place -> lowest temperature within NIGHT_H of the coldest hour of the middle as the bin is
    night_utc : when that hour comes, 5, 50 and 95 % [s]
    refuge, refuge_litres : the least refuge as a share of the bedding and in litres
    hours_below, hours_above : hours in which the middle is colder, warmer than the tolerated band
    frozen : share of the bedding's water that is ice at worst
    helps : share of draws in which the middle is warmer on the coldest night by NOTICED_K or more
    """

    sentences: tuple[str, ...]
    begin_utc: int
    end_utc: int
    band_c: tuple[float, float]
    coldest: dict[str, Compared]
    mean: dict[str, Compared]
    coldest_night: dict[str, Compared]
    night_utc: tuple[int, int, int]
    refuge: Compared
    refuge_litres: Compared
    hours_below: Compared
    hours_above: Compared
    frozen: Compared
    helps: float
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def whatif(study: Study, changers: Sequence[Changer]) -> Difference:
    """The difference that changes, each made to the case the one before has left, would make from now on.

    The fitted factors on loss, heat and moisture carry over to the changed bin; the fitted coefficient of the base is
    scaled by the ratio of the nominal ones. Raises NothingToCome, and whatever a change refuses.
    """
    case, posterior = study.case, study.posterior
    begin, hours = study.index(case.now), len(case.time_utc)
    if begin >= hours - 1:
        raise NothingToCome(
            "The weather ends at the present, so nothing ahead can be told; give a newer file, or earlier years with "
            "--past."
        )
    changes = follow(case, changers)
    altered = changes[-1].case if changes else case
    lots = fate_of(case, posterior)
    thermal = case.prior.thermal(posterior.draws)
    before, ahead = slice(0, begin + 1), slice(begin, hours)
    state = run(case, thermal, lots, before).end
    rng = np.random.default_rng(posterior.seed + 2)
    plain = run(case, thermal, lots, ahead, state)
    other = _changed(altered, case, posterior, lots, ahead, state, _room(changes), rng)
    assumed = (
        "Ranges are 5 to 95 %, all predicted: the change begins now, and the same air and the same fitted factors act "
        "on the bin as it is and as it would be.",
        *(note for change in changes for note in change.notes),
    )
    if altered.situation.vessel.insulation != case.situation.vessel.insulation:
        low, high = WRAPPING_WORTH[0], WRAPPING_WORTH[-1]
        worth = f"{100 * low:.0f} to {100 * high:.0f} %"
        assumed += (f"Wrapping is taken to be worth {worth} of its dry book value, as keepers wrap.",)
    return _difference(
        study, lots, ahead, plain, other, altered.situation.vessel, tuple(change.sentence for change in changes),
        assumed, tuple(dict.fromkeys(caution for change in changes for caution in change.cautions)),
    )  # fmt: skip


def _changed(
    altered: Case, case: Case, posterior: Posterior, lots: Fate, ahead: slice, state: State,
    room: VagueAmount | None, rng: np.random.Generator,
) -> BeddingTemperature:  # fmt: skip
    """The changed bin from now on, with what is unknown about the change itself drawn for each draw."""
    old, new = case.situation.vessel, altered.situation.vessel
    siting, base, warmth = rng.standard_normal((3, len(posterior.draws["loss"])))
    parameters = dict(posterior.draws)
    if new.siting != old.siting:
        for films_factor in {"loss", "lid"} & set(parameters):
            parameters[films_factor] = parameters[films_factor] * np.exp(SITING_LOG_SD * siting)
    ratio = films(new).base / films(old).base
    spread = np.exp(BASE_RATIO_LOG_SD * base) if new.base != old.base else 1.0
    parameters["base"] = parameters["base"] * ratio * spread
    thermal = altered.prior.thermal(parameters)
    if room is not None:
        middle, half = (room.low + room.high) / 2, (room.high - room.low) / 2
        altered = replace(altered, drive=_indoors(altered.drive, lots.air_c, middle))
        lots = replace(lots, air_c=np.repeat((middle + half / NINETY * warmth)[:, None], lots.air_c.shape[1], axis=1))
    if new.insulation == old.insulation:
        return run(altered, thermal, lots, ahead, state)
    parts, orders = [], []
    for level, worth in enumerate(WRAPPING_WORTH):
        mine = np.arange(level, len(thermal), len(WRAPPING_WORTH))
        some = replace(lots, air_c=lots.air_c[mine], whole=lots.whole[mine])
        worn = replace(altered, situation=replace(altered.situation, vessel=_worn(new, len(old.insulation), worth)))
        parts.append(run(worn, of_sets(thermal, mine), some, ahead, of_sets(state, mine)))
        orders.append(mine)
    whole: BeddingTemperature = gathered(parts, orders)
    return whole


def _indoors(drive: Drive, outside_c: NDArray[np.float64], room_c: float) -> Drive:
    """The same vapour in a warmer room: drier air [% relative humidity]."""
    humidity_pct = DEFAULT_HUMIDITY_PCT if drive.humidity_pct is None else drive.humidity_pct
    vapour = humidity_pct * vapour_kg_m3(np.nanmean(outside_c, axis=0))
    return replace(drive, humidity_pct=np.clip(vapour / vapour_kg_m3(room_c), 1.0, 100.0))


def _worn(vessel: Vessel, kept: int, worth: float) -> Vessel:
    """The layers beyond the first `kept` ones as much thinner as they are worth less."""
    added = (replace(layer, thickness_m=max(0.001, layer.thickness_m * worth)) for layer in vessel.insulation[kept:])
    return replace(vessel, insulation=(*vessel.insulation[:kept], *added))


def follow(case: Case, changers: Sequence[Changer]) -> tuple[Change, ...]:
    """Changes made one after the other to a case. Raises whatever a change refuses."""
    changes: list[Change] = []
    for changer in changers:
        changes.append(changer(changes[-1].case if changes else case))
    return tuple(changes)


def _room(changes: Sequence[Change]) -> VagueAmount | None:
    return next((change.room for change in reversed(changes) if change.room is not None), None)


def _difference(
    study: Study, lots: Fate, ahead: slice, plain: BeddingTemperature, other: BeddingTemperature, vessel: Vessel,
    sentences: tuple[str, ...], notes: tuple[str, ...], cautions: tuple[str, ...],
) -> Difference:  # fmt: skip
    """Both courses reduced to figures, draw by draw, from the hour after the present on."""
    time_utc, later = study.case.time_utc[ahead][1:], slice(1, None)
    courses = [
        {place: (run.probes_c[:, :, i] + lots.spots[place][:, ahead])[:, later] for i, place in enumerate(PLACES)}
        for run in (plain, other)
    ]
    coldest_hour = courses[0]["middle"].argmin(axis=1)
    hour = np.arange(len(time_utc))
    night = np.abs(hour - coldest_hour[:, None]) <= NIGHT_H
    on_night = [{place: np.where(night, course[place], np.inf).min(axis=1) for place in PLACES} for course in courses]
    low, high = study.case.species.band_c
    shares = [run.refuge[:, later, 0].min(axis=1) for run in (plain, other)]
    litres = [1000 * v.bedding_m3 for v in (study.case.situation.vessel, vessel)]
    warmer = on_night[1]["middle"] - on_night[0]["middle"] >= NOTICED_K
    early, usual, late = np.percentile(time_utc[coldest_hour], PERCENT, method="nearest")
    return Difference(
        sentences, int(study.case.time_utc[ahead][0]), int(time_utc[-1]), (low, high),
        coldest={place: _compare(*(course[place].min(axis=1) for course in courses)) for place in PLACES},
        mean={place: _compare(*(course[place].mean(axis=1) for course in courses)) for place in PLACES},
        coldest_night={place: _compare(*(found[place] for found in on_night)) for place in PLACES},
        night_utc=(int(early), int(usual), int(late)),
        refuge=_compare(*shares),
        refuge_litres=_compare(*(share * held for share, held in zip(shares, litres, strict=True))),
        hours_below=_compare(*((course["middle"] < low).sum(axis=1) for course in courses)),
        hours_above=_compare(*((course["middle"] > high).sum(axis=1) for course in courses)),
        frozen=_compare(*(run.frozen[:, later].max(axis=1) for run in (plain, other))),
        helps=float(warmer.mean()), notes=notes, cautions=cautions,
    )  # fmt: skip


def _compare(now: NDArray[Any], changed: NDArray[Any]) -> Compared:
    return Compared(_points(now), _points(changed), _points(changed - now))


def _points(values: NDArray[Any]) -> Points:
    return three(values)
