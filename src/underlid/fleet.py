"""Many bins at once: the fit and the days ahead of every bin of a journal, worst first; the one path for every door.

A bin is fitted quickly (see `underlid.fit.quick`), which is remembered in the journal's memory: only bins whose
readings, feedings or past weather have changed are fitted again. What cannot be fitted is told with its reason and
stops no other.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np

from underlid.answer import SEED, case_of, rules_of, weather_from
from underlid.fit.posterior import Posterior
from underlid.fit.quick import DRAWS, QuickPosterior, quick_fit_case, quick_study
from underlid.fit.study import FORECAST_DAYS, Case, Study, fit_case, model_text, study
from underlid.heat.model import State
from underlid.journal.memory import Arrays, recall, remember
from underlid.journal.store import Journal
from underlid.quantity.points import three
from underlid.quantity.units import to_fahrenheit
from underlid.records import Reading
from underlid.spread import workers
from underlid.trials.stopping import StopRule
from underlid.trials.watch import alarms
from underlid.weather.series import Weather

REFUGE_SHARE = 0.2  # of the bedding, below which a refuge is told as small: our judgement
WORTH_TELLING = 0.1  # chance below which nothing is said: our judgement
SILENT_DAYS = 30  # without a reading, after which that is told: our judgement
FREEZES_C = 0.0
MADE_BY = (("fit", frozenset({"quick"})),)

Kind = Literal[
    "stop rule", "freezing", "little refuge", "too hot", "too dry", "too wet", "misfit", "unsettled", "silent"
]  # fmt: skip
Provenance = Literal["read", "estimated", "predicted"]

#: How bad each is, if it is sure; worst first is by this times the chance: our judgement.
WEIGHT: dict[Kind, float] = {
    "stop rule": 1.0, "freezing": 0.9, "little refuge": 0.9, "too hot": 0.9, "too dry": 0.5, "too wet": 0.5,
    "misfit": 0.3, "unsettled": 0.2, "silent": 0.1,
}  # fmt: skip

Points = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Alert:
    """Something to see to in a bin, in a sentence; `chance` is None where it is so, or where none can be given."""

    kind: Kind
    chance: float | None
    provenance: Provenance
    says: str

    @property
    def badness(self) -> float:
        """What the list is sorted by."""
        return WEIGHT[self.kind] * (1.0 if self.chance is None else self.chance)


@dataclass(frozen=True, slots=True)
class Ahead:
    """The days ahead of a bin, each 5, 50 and 95 %, predicted: the coldest and the warmest hour [degC], least refuge.

    moisture : at the end, fraction of wet mass
    """

    until: datetime
    coldest_c: Points
    warmest_c: Points
    refuge: Points
    moisture: Points


@dataclass(frozen=True, slots=True)
class Told:
    """What a fleet's list tells of a bin; `ahead` is None where the weather ends before the present.

    full : whether it was fitted in full; notes : what to beware of
    """

    bin: str
    alerts: tuple[Alert, ...]
    ahead: Ahead | None
    readings: int
    effective: float
    settled: bool
    full: bool
    notes: tuple[str, ...]

    @property
    def order(self) -> tuple[float, float, float]:
        """Worst first: by the worst alert, then by all together, then by the coldest hour [degC]."""
        each = [one.badness for one in self.alerts]
        return -max(each, default=0.0), -sum(each), 0.0 if self.ahead is None else self.ahead.coldest_c[1]


@dataclass(frozen=True, slots=True)
class NotTold:
    """A bin that nothing can be told of, and why."""

    bin: str
    reason: str


@dataclass(frozen=True, slots=True)
class Fleet:
    """The bins of a fleet, worst first and by name where equal, and those of which nothing can be told, by name.

    fitted : how many had to be fitted; the others' fits were remembered
    """

    now: datetime
    days: int
    told: tuple[Told, ...]
    not_told: tuple[NotTold, ...]
    fitted: int


@dataclass(frozen=True, slots=True)
class Part:
    """All that one bin's work rests on; what is remembered of it is given along."""

    case: Case
    rules: tuple[StopRule, ...]
    seed: int
    careful: bool = False
    quick: QuickPosterior | None = None
    full: Posterior | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """A part that is done, with the fits to be remembered."""

    told: Told | NotTold
    quick: QuickPosterior | None
    full: Posterior | None


def fleet(
    journal: Journal,
    weather: Path | Mapping[str, Path],
    now: datetime,
    *,
    bins: Sequence[str] | None = None,
    days: int = FORECAST_DAYS,
    past: Sequence[Path] = (),
    fill_gaps_h: int = 0,
    place: tuple[float | None, float | None] = (None, None),
    seed: int = SEED,
    careful: bool = False,
    count: int | None = 1,
    cluster: str | None = None,
    progress: Callable[[float], None] = lambda done: None,
) -> Fleet:
    """The list of all bins of a journal, or of some.

    weather : one file for all, or each bin's; careful : fit a bin in full whose quick fit has not settled; count,
    cluster : who does the work, see `underlid.spread.workers`; the answer is the same whoever does
    """
    names = sorted({record.name for record in journal.bins()}) if bins is None else sorted(set(bins))
    refused: list[NotTold] = []
    keys: dict[str, str] = {}

    def parts() -> Iterator[Part]:
        for number, name in enumerate(names):
            progress(number / len(names))
            try:
                record = journal.bin(name)
                path = weather if isinstance(weather, Path) else weather.get(name)
                if path is None:
                    refused.append(NotTold(name, "No weather file is given for it."))
                    continue
                air, *years = (weather_from(each, record.timezone, fill_gaps_h, place) for each in (path, *past))
                part = _part(journal, name, air, years, now, days, seed, careful)
            except (ValueError, OSError) as reason:
                refused.append(NotTold(name, str(reason)))
                continue
            keys[name] = part.case.key(seed)
            yield part

    told, fitted = [], 0
    with workers(count, cluster) as pool:
        for done in pool.map(look, parts()):
            key = keys.pop(done.told.bin)
            fitted += done.quick is not None
            if done.quick is not None:
                remember(journal.folder, _quick_key(key), *to_keep(done.quick))
            if done.full is not None:
                values = {each.name: getattr(done.full, each.name) for each in fields(Posterior)}
                remember(journal.folder, key, values.pop("draws"), values)
            if isinstance(done.told, NotTold):
                refused.append(done.told)
            else:
                told.append(done.told)
    progress(1.0)
    told.sort(key=lambda one: (one.order, one.bin))
    return Fleet(now, days, tuple(told), tuple(sorted(refused, key=lambda one: one.bin)), fitted)


def look(part: Part) -> Done:
    """Fit one bin, if its fit is not known, and see what is ahead of it; pure, so that anybody may do it."""
    try:
        quick = part.quick or quick_fit_case(part.case, part.seed)
        full, of = part.full, None
        if part.careful and not quick.trusted:
            full = full or fit_case(part.case, part.seed)
            of = study(part.case, full)
        told = tell(part, of or quick_study(part.case, quick), of is not None)
    except ValueError as reason:
        return Done(NotTold(part.case.bin.name, str(reason)), None, None)
    return Done(told, None if part.quick else quick, None if part.full else full)


def tell(part: Part, of: Study, full: bool) -> Told:
    """What the list tells of a studied bin."""
    outlook, case = of.outlook, part.case
    begin, hours = outlook.now_index + 1, len(outlook.time_utc)
    ahead = None
    if begin < hours and int(outlook.time_utc[-1]) > case.now.timestamp():
        middle = outlook.draws_c["middle"][:, begin:]
        until = datetime.fromtimestamp(int(outlook.time_utc[-1]), case.now.tzinfo)
        ahead = Ahead(
            until, three(middle.min(axis=1)), three(middle.max(axis=1)), outlook.least_refuge(begin, hours),
            three(outlook.moisture_draws[:, -1]),
        )  # fmt: skip
    alerts = [*_read(part), *(_predicted(of, begin) if ahead else ()), *_of_fit(of)]
    alerts.sort(key=lambda one: (-one.badness, one.kind, one.says))
    return Told(
        case.bin.name, tuple(alerts), ahead, of.posterior.readings, of.posterior.effective, of.posterior.trusted, full,
        of.notes,
    )  # fmt: skip


def to_keep(quick: QuickPosterior) -> tuple[Arrays, dict[str, object]]:
    """A quick fit as arrays and plain values, for the journal's memory."""
    arrays = {f"draw_{name}": values for name, values in quick.draws.items()}
    if quick.end is not None:
        arrays |= {f"end_{each.name}": getattr(quick.end, each.name) for each in fields(State)}
    values = {each.name: getattr(quick, each.name) for each in fields(QuickPosterior)}
    return arrays, {name: value for name, value in values.items() if name not in ("draws", "end")}


# --- inside ----------------------------------------------------------------------------------------------


def _part(
    journal: Journal, name: str, air: Weather, years: Sequence[Weather], now: datetime, days: int, seed: int,
    careful: bool,
) -> Part:  # fmt: skip
    case = case_of(journal, name, air, now, now + timedelta(days=days), years)
    key = case.key(seed)
    kept, full = recall(journal.folder, _quick_key(key)), None
    quick = None if kept is None else _restored(*kept)
    if careful and (kept := recall(journal.folder, key)) is not None:
        arrays, values = kept
        try:
            full = Posterior(arrays, **{**values, "notes": tuple(values["notes"])})  # type: ignore[arg-type]
        except (KeyError, TypeError):
            full = None
    return Part(case, rules_of(journal, name), seed, careful, quick, full)


def _read(part: Part) -> Iterator[Alert]:
    """What the entries themselves say."""
    case = part.case
    for one in alarms(part.rules, case.bin, case.entries, case.now):
        yield Alert("stop rule", None if one.sure else 0.5, "read", one.sentence)
    last = max((one.when.end for one in case.entries if isinstance(one, Reading)), default=None)
    since = last or case.bin.started.start
    quiet = (case.now - since).days
    if quiet >= SILENT_DAYS:
        never = "No reading yet" if last is None else "No reading"
        yield Alert("silent", None, "read", f"{never} for {quiet} days: look in and read the middle.")


def _predicted(of: Study, begin: int) -> Iterator[Alert]:
    """What the days ahead may bring."""
    outlook, kind = of.outlook, of.case.species
    hours = len(outlook.time_utc)
    middle = outlook.draws_c["middle"][:, begin:]
    low, high = kind.moisture
    dry, wet = outlook.chance_of_moisture(begin, hours, low, high)
    small = float((outlook.refuge_draws[:, begin:, 0].min(axis=1) < REFUGE_SHARE).mean())
    hot = outlook.band_c[1]
    for what, chance, says in (
        ("freezing", float((middle.min(axis=1) < FREEZES_C).mean()), f"the middle falls below {_both(FREEZES_C)}"),
        ("little refuge", small, f"less than {REFUGE_SHARE:.0%} of the bedding stays within what the worms tolerate"),
        ("too hot", float((middle.max(axis=1) > hot).mean()), f"the middle rises above {_both(hot)}"),
        ("too dry", dry, f"the bedding gets drier than {low:.0%} water"),
        ("too wet", wet, f"the bedding gets wetter than {high:.0%} water"),
    ):
        if chance >= WORTH_TELLING:
            yield Alert(what, chance, "predicted", f"Chance {chance_words(chance)} (predicted) that {says}.")  # type: ignore[arg-type]


def _of_fit(of: Study) -> Iterator[Alert]:
    """What the fit says of itself."""
    if of.posterior.misfit:
        says = "Readings and weather do not fit together (estimated): check the weather's place and the readings."
        yield Alert("misfit", None, "estimated", says)
    if not of.posterior.trusted and of.posterior.readings:
        says = (
            f"The fit has not settled: its ranges are doubtful. Fit it by itself: underlid outlook {of.case.bin.name}."
        )
        yield Alert("unsettled", None, "estimated", says)


def chance_words(chance: float) -> str:
    """A chance as so few draws can tell it: what comes in all of them is not certain."""
    most = 1 - 1 / DRAWS
    return f"over {most:.0%}" if chance > most else f"of {chance:.0%}"


def _both(celsius: float) -> str:
    return f"{celsius:g} °C ({to_fahrenheit(celsius):.0f} °F)"


def _quick_key(key: str) -> str:
    """Under which a quick fit is remembered, beside the full one of the same case."""
    return hashlib.blake2b(b"quick" + key.encode() + model_text(MADE_BY), digest_size=16).hexdigest()


def _restored(arrays: Arrays, values: dict[str, object]) -> QuickPosterior | None:
    """A remembered quick fit; None where what is kept is not one."""
    draws = {name.removeprefix("draw_"): found for name, found in arrays.items() if name.startswith("draw_")}
    end = {name.removeprefix("end_"): found for name, found in arrays.items() if name.startswith("end_")}
    try:
        state = State(**{**end, "could_be": end["could_be"].astype(np.bool_)}) if end else None  # type: ignore[arg-type]
        return QuickPosterior(draws, **{**values, "notes": tuple(values["notes"]), "end": state})  # type: ignore[arg-type]
    except (KeyError, TypeError):
        return None
