"""From a fitted colony, a balance of what was laid and fed, and the month's entries to facts of the living bin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.chemistry.account import Account, Tolerance, accounts
from underlid.chemistry.readings import NoReading
from underlid.counting import CannotTell
from underlid.counting.account import span_of
from underlid.counting.detection import chances
from underlid.counting.found import samples_of
from underlid.counting.parts import Bedding, bedding_litres, shares
from underlid.counting.samples import estimate
from underlid.fit.balance_sheet import Sheet
from underlid.fit.census import DOUBTFUL, Census
from underlid.fit.evidence import middle_of, situation
from underlid.fit.reckoning import Reckoning
from underlid.fit.study import Study
from underlid.fit.tally import DAY_H, Tally
from underlid.quantity.points import points, three
from underlid.quantity.show import show_amount
from underlid.records import STAGES, AnyEntry, Feeding, Reading, SampleCount, Sighting
from underlid.update import noted
from underlid.update.facts import Array, Provenance, Range
from underlid.update.lifefacts import Acid, Animals, Daily, Eaten, Found, Step
from underlid.weather.series import DAY_S

SEED = 1
ADULT = STAGES.index("adult")
FROST = 0.1  # chance of ice in the bedding, from which a day is told of: our judgement
ICE_SHARE = 0.01  # of the bedding's water that is ice, from which there is frost in it: our judgement
FROST_DAYS = 31  # how far ahead frost is looked for


class Colony(NamedTuple):
    """What was fitted of a bin's animals: the counts and sightings used, the lives that fit, and what they come to.

    doubts : sentences on what was counted or seen and hardly any life agrees with
    """

    counted: Tally
    census: Census
    told: Reckoning
    doubts: tuple[str, ...]

    def day(self, hour: int) -> int:
        """The day of the census whose state is nearest to an hour of the study's grid."""
        last: int = self.census.lives.stages.shape[1] - 1
        return min(round(hour / DAY_H), last)


def animals(
    study: Study, colony: Colony, span: tuple[int, int], entries: Sequence[AnyEntry], zone: ZoneInfo
) -> Animals:
    """Who lives there at the end of the hours `span` of the study's grid, and at their beginning.

    entries : those that stand, of all months
    """
    census, told = colony.census, colony.told
    stages = census.lives.stages
    first, last = colony.day(span[0]), colony.day(span[1] - 1)
    worms = stages[:, :, 1:].sum(axis=2)
    provenance: Provenance = "estimated" if last <= told.now else "predicted"

    def ranged(values: NDArray[np.generic], unit: str = "1") -> Range:
        return Range(*three(values), unit, provenance)

    low, _, high = (1000 * value for value in told.usual_kg_m2)
    area = study.case.situation.vessel.length_m * study.case.situation.vessel.width_m
    density = 1000 * census.lives.kg[:, last, 0] / area
    samples = sum(isinstance(entry, SampleCount) for entry in colony.counted.entries)
    begins, ends = (_date(int(study.case.time_utc[at]), zone) for at in (span[0], span[1] - 1))
    return Animals(
        at=ends,  # of the hour told: the nearest state may stand beyond midnight
        worms=ranged(worms[:, last]),
        before=ranged(worms[:, first]),
        change=ranged(worms[:, last] - worms[:, first]),
        stages=tuple((stage, ranged(stages[:, last, i])) for i, stage in enumerate(STAGES)),
        live_g=ranged(1000 * census.lives.kg[:, last, 0], "g"),
        alive=float((worms[:, last] > 0).mean()),
        density_g_m2=ranged(density, "g/m2"),
        usual_g_m2=(low, high),
        crowded=float((density > high).mean()),
        samples=samples,
        sightings=len(colony.counted.entries) - samples,
        founders=study.case.bin.founders.words,
        careful=census.warnings if census.used else (),  # that nothing was counted is told with what it rests on
        daily=Daily(
            census.time_utc, points(worms).T, points(stages[:, :, ADULT]).T, told.now + 1,
            tuple(counted(study, entries, zone)), seen(entries, zone),
        ),
        found=tuple(_found(colony, begins, ends, zone)),
    )  # fmt: skip


def eaten(
    study: Study,
    in_month: Sequence[AnyEntry],
    colony: Colony | None,
    sheet: Sheet | None,
    zone: ZoneInfo,
    late: bool = False,
) -> Eaten:
    """What was fed in the month, and what the worms and the bedding have made of it all up to now.

    late : whether now lies so long after the month that nothing of now belongs to its account
    """
    if late:
        colony = sheet = None
    fed = [entry for entry in in_month if isinstance(entry, Feeding) and entry.material != "water"]
    weighed = [
        entry.amount for entry in fed
        if entry.amount.unit == "kg" and math.isfinite(entry.amount.low) and math.isfinite(entry.amount.high)
    ]  # fmt: skip
    given = None
    if weighed:
        low, middle, high = (
            1000 * sum(part) for part in zip(*((one.low, middle_of(one), one.high) for one in weighed), strict=True)
        )
        given = Range(low, middle, high, "g", "read")
    eats = None if colony is None else colony.told.eats_kg
    ripe = None if sheet is None else sheet.ripe
    return Eaten(
        feedings=len(fed),
        unweighed=len(fed) - len(weighed),
        given_g=given,
        can_eat_g=None if eats is None else _range(eats, "g", "predicted", 1000),
        lost_pct=None if sheet is None else _range(sheet.whole.lost, "%", "estimated", 100),
        castings_l=None if sheet is None else Range(*sheet.castings.litres, "L", "estimated"),
        ripe=None if ripe is None or ripe.time_utc is None else _dates(ripe.time_utc, zone),
        ripe_chance=0.0 if ripe is None else ripe.chance,
        ripe_by=None if sheet is None else _date(int(sheet.time_utc[-1]), zone),
        at=study.case.now.astimezone(zone).date(),
        late=late,
    )


def acid(study: Study, in_month: Sequence[AnyEntry], end: datetime) -> tuple[Acid, ...]:
    """What the month's readings of pH and EC come to; nothing where none were taken."""
    readings = [entry for entry in in_month if isinstance(entry, Reading)]
    vessel, kind = study.case.situation.vessel, study.case.species
    tolerance = Tolerance(
        kind.name, _ends(kind.tolerated_low_ph), _ends(kind.tolerated_high_ph), (kind.best_ph.low, kind.best_ph.high),
        kind.tolerated_low_ph.source,
    )  # fmt: skip
    try:
        found = accounts(
            study.case.bin.name,
            readings,
            end,
            None,
            None,
            lambda places: shares(vessel, {*places, "middle"}),
            tolerance,
        )
    except NoReading:
        return ()
    return tuple(_acid(one) for one in found.values() if one is not None)


def steps(study: Study, due: Sequence[Step], zone: ZoneInfo) -> tuple[Step, ...]:
    """What is due by the keeper's plans, and the days on which frost may reach the bedding, by date."""
    return tuple(sorted((*due, *_frost(study, zone)), key=lambda step: (step.first, step.last, step.kind)))


def counted(study: Study, entries: Sequence[AnyEntry], zone: ZoneInfo) -> Iterator[tuple[datetime, Range]]:
    """Worms in the bin by the samples of each day alone."""
    record = study.case.bin
    vessel = situation(record).vessel
    for day in dict.fromkeys(_date(e.when.start.timestamp(), zone) for e in entries if isinstance(e, SampleCount)):
        start = datetime(day.year, day.month, day.day, tzinfo=zone)
        span = span_of(entries, study.case.now, zone, start, start + timedelta(seconds=DAY_S))
        if span is None:
            continue
        samples, _ = samples_of(span.samples)
        bedding = Bedding(bedding_litres(record, vessel), shares(vessel, {sample.place for sample in samples}))
        try:
            told = estimate(samples, bedding, chances(()), np.random.default_rng(SEED))
        except CannotTell:
            continue
        if told.worms is not None:
            yield _middle(span.samples[0], zone), Range(*told.worms, "1", "estimated")


def seen(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[tuple[datetime, float], ...]:
    """When worms were seen, and how many at least."""
    return tuple(
        (_middle(entry, zone), float(noted.least(entry.amount)))
        for entry in entries
        if isinstance(entry, Sighting) and entry.stage != "cocoon" and noted.least(entry.amount) >= 1
    )


# --- inside ----------------------------------------------------------------------------------------------


def _acid(one: Account) -> Acid:
    unit = "pH" if one.quantity == "pH" else "mS/cm"

    def level(values: Array) -> Range:
        low, middle, high = three(values if unit == "pH" else np.exp(values))  # EC is held as its logarithm
        return Range(low, middle, high, unit, "estimated")

    limits = one.tolerance
    # What a part that nobody read comes to is in the whole, and no finding of its own.
    named = {read.place for read in one.used} & set(one.field.shares)
    return Acid(
        quantity=one.quantity,
        whole=level(one.field.whole),
        places=tuple((place, level(values)) for place, values in one.field.levels.items() if place in named),
        tolerated=None if limits is None else (limits.low[1], limits.high[1]),
        outside=None if one.outside is None else one.outside.either,
        readings=tuple(read.taken.id for read in one.used),
        refused=one.unusable,
    )


def _frost(study: Study, zone: ZoneInfo) -> Iterator[Step]:
    """Days in a row on which the bedding's water may begin to freeze are one step."""
    out = study.outlook
    rows: dict[date, list[int]] = {}
    for hour in range(out.now_index + 1, min(len(out.time_utc), out.now_index + 1 + 24 * FROST_DAYS)):
        rows.setdefault(_date(int(out.time_utc[hour]), zone), []).append(hour)
    frosty = [
        day for day, hours in rows.items()
        if (out.frozen_draws[:, hours[0] : hours[-1] + 1].max(axis=1) > ICE_SHARE).mean() >= FROST
    ]  # fmt: skip
    spells: list[list[date]] = []
    for day in frosty:
        if spells and day - spells[-1][-1] == timedelta(days=1):
            spells[-1].append(day)
        else:
            spells.append([day])
    for spell in spells:
        yield Step("frost", spell[0], spell[-1], "Ice may form in the bedding: look at the outlook before each night.")


def _found(colony: Colony, first: date, last: date, zone: ZoneInfo) -> Iterator[Found]:
    """What was found in hand from the first to the last day, and all that is doubted."""
    used = zip(colony.counted.used, colony.census.slip > DOUBTFUL, strict=True)
    for entries, doubted in sorted(used, key=lambda one: one[0][0].when.start):
        for entry in entries:
            day = _middle(entry, zone).date()
            if doubted or first <= day <= last:
                yield Found(day, _what(entry), bool(doubted))


def _what(entry: SampleCount | Sighting) -> str:
    """ "6 adults, 3 juveniles counted in 2 L", "about 10 to 14 adults seen"."""
    if isinstance(entry, Sighting):
        kind = "animal" if entry.stage == "not noted" else entry.stage
        return f"{show_amount(entry.amount)} {kind}{noted.plural(entry.amount)} seen"
    counts = [f"{show_amount(amount)} {stage}{noted.plural(amount)}" for stage, amount in entry.counts]
    return f"{', '.join(counts) or 'nothing'} counted in {show_amount(entry.volume)}"


def _range(found: tuple[float, float, float], unit: str, provenance: Provenance, times: float = 1.0) -> Range:
    low, middle, high = (times * value for value in found)
    return Range(low, middle, high, unit, provenance)


def _ends(fact: object) -> tuple[float, float, float]:
    return (fact.low, fact.value, fact.high)  # type: ignore[attr-defined]


def _middle(entry: AnyEntry, zone: ZoneInfo) -> datetime:
    return (entry.when.start + (entry.when.end - entry.when.start) / 2).astimezone(zone)


def _date(second: float, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(int(second), zone).date()


def _dates(seconds: tuple[int, int, int], zone: ZoneInfo) -> tuple[date, date, date]:
    early, usual, late = (_date(second, zone) for second in seconds)
    return early, usual, late
