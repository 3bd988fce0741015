"""An invented bin, journal and winter for the account's tests; quick, since the posterior is the prior's draws."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np

from underlid.fit.evidence import food_kg, moisture_evidence, situation, temperature_evidence
from underlid.fit.posterior import PARAMETERS, Posterior, Prior
from underlid.fit.study import Case, Study, study
from underlid.heat.model import Drive
from underlid.quantity.amount import Kind, VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import (
    AnyEntry,
    BeddingLayer,
    Bin,
    Feeding,
    Note,
    Place,
    Reading,
    SampleCount,
    Sighting,
)
from underlid.update.facts import Array, Truth
from underlid.weather.series import HOUR_S
from underlid.worms.species import species

ZONE = ZoneInfo("America/New_York")
START = datetime(2025, 12, 6, 12, tzinfo=ZONE)
NOW = datetime(2026, 1, 27, 9, tzinfo=ZONE)
END = datetime(2026, 3, 31, 12, tzinfo=ZONE)
INF = float("inf")


def amount(low: float, high: float, unit: str = "degC", kind: Kind = "between", words: str = "") -> VagueAmount:
    return VagueAmount(low, high, unit, kind, words if words or kind == "not noted" else f"{low:g} to {high:g}")


def on(day: int, month: int, hour: float, words: str, *, window_h: float = 1, year: int = 2026) -> VagueTime:
    begin = datetime(year, month, day, tzinfo=ZONE) + timedelta(hours=hour)
    return VagueTime(begin, begin + timedelta(hours=window_h), "about", words)


BIN = Bin(
    id="b1", name="Porch tote", started=VagueTime(START, START, "exact", "6 Dec, noon"), timezone="America/New_York",
    length=amount(0.54, 0.56, "m", words="about 55 cm"), width=amount(0.37, 0.39, "m", words="38 cm"),
    height=amount(0.3, 0.34, "m", words="a foot or so"), siting="open shelter", base="slab", wall="polypropylene",
    wall_thickness=amount(0.003, 0.003, "m", "exact", "3 mm"),
    founders=amount(30, 50, "1", "about", "three dozen or more"), species="Eisenia fetida",
    layers=(
        BeddingLayer("l1", 0, "leaves", amount(0.1, 0.12, "m", words="10-12 cm"), amount(60, 75, "%", words="damp"),
                     "leaves from the yard"),
        BeddingLayer("l2", 1, "cardboard", amount(0.08, 0.1, "m", words="8-10 cm"), amount(65, 80, "%", words="wet"),
                     "torn boxes"),
    ),
    words="an old storage tote under the porch roof",
)  # fmt: skip


def reading(id: str, when: VagueTime, place: Place, value: VagueAmount, words: str) -> Reading:
    return Reading(id=id, bin=BIN.name, when=when, words=words, quantity="temperature", amount=value, place=place)


READINGS: tuple[Reading, ...] = (
    reading("r0", on(14, 12, 18, "14 Dec, evening", window_h=4, year=2025), "middle",
            amount(5.5, 6.5, words="about 6", kind="about"), "middle about 6"),
    reading("r1", on(2, 1, 19, "2 Jan, after supper", window_h=3), "middle", amount(2.5, 3.5), "between 2.5 and 3.5"),
    reading("r2", on(6, 1, 0, "6 Jan", window_h=24), "edge", amount(-INF, 2, kind="at most", words="not over 2"),
            "edge not over 2"),
    reading("r3", on(11, 1, 7, "11 Jan, early", window_h=2), "surface",
            amount(-1, 1, kind="about", words="around 0"), "surface around 0"),
    reading("r4", on(18, 1, 0, "18-19 Jan", window_h=48), "not noted", amount(0.3, 2.2, words="33-36 F"),
            "thirty-something, F I think"),
    reading("r5", on(24, 1, 20, "24 Jan, 8 pm", window_h=0.5), "middle",
            amount(1, INF, kind="at least", words="over 1"), "over 1 in the middle"),
)  # fmt: skip

ENTRIES: tuple[AnyEntry, ...] = (
    *READINGS,
    Feeding(id="f1", bin=BIN.name, when=on(4, 1, 17, "4 Jan"), words="a cup of peelings & coffee <grounds>",
            material="kitchen scraps", amount=amount(0.2, 0.3, "kg", "about", "half a pound")),
    Feeding(id="f2", bin=BIN.name, when=on(20, 1, 17, "20 Jan"), words="some more peelings",
            material="kitchen scraps", amount=amount(-INF, INF, "kg", "not noted", "")),
    Sighting(id="s1", bin=BIN.name, when=on(11, 1, 7, "11 Jan, early"), words="a dozen or so under the card",
             amount=amount(10, 14, "1", "about", "a dozen or so"), stage="adult", place="surface"),
    SampleCount(id="c1", bin=BIN.name, when=on(25, 1, 14, "25 Jan"), words="one litre by hand",
                volume=amount(1, 1, "L", "exact", "1 L"), place="middle",
                counts=(("adult", amount(4, 4, "1", "exact", "4")), ("cocoon", amount(1, 1, "1", "exact", "1")))),
    Note(id="n1", bin=BIN.name, when=on(9, 1, 8, "9 Jan"), words="lid was frozen shut, had to pry"),
)  # fmt: skip


def air(time_utc: np.ndarray, shift_days: float = 0.0, colder_k: float = 0.0) -> Array:
    """Air [degC]: a winter, cold spells and the day's swing, all sines."""
    days = time_utc / 86400.0 + shift_days - 20428.0  # days since 6 Dec 2025
    winter = 6.0 - 5.0 * np.sin(np.pi * days / 100.0)
    spells = 3.5 * np.sin(2 * np.pi * days / 9.3) + 2.5 * np.sin(2 * np.pi * days / 23.0)
    swing = 3.5 * np.cos(2 * np.pi * (days - 0.83))
    return np.asarray(winter + spells + swing - colder_k)


def case(
    entries: tuple[AnyEntry, ...] = ENTRIES, now: datetime = NOW, end: datetime = END, *, members: int = 6,
) -> Case:  # fmt: skip
    """The invented bin on an hourly grid, without any weather file."""
    time_utc = np.arange(int(START.timestamp()), int(end.timestamp()) + 1, HOUR_S, dtype=np.int64)
    now_index = int((now.timestamp() - time_utc[0]) // HOUR_S)
    forecast_until = min(len(time_utc), now_index + 7 * 24 + 1) if members else len(time_utc)
    observed = air(time_utc)
    observed[forecast_until:] = np.nan
    past = np.array([air(time_utc, 365.0 * (i + 1) + 3.1 * i, i - 2.5) for i in range(members)])
    placed = situation(BIN)
    food, notes = food_kg(entries, time_utc)
    evidence = temperature_evidence(entries, placed.vessel, time_utc[: now_index + 1])
    moist = moisture_evidence(entries, time_utc[: now_index + 1])
    return Case(
        bin=BIN, entries=entries, now=now, situation=placed, evidence=evidence, moist=moist, prior=Prior(placed),
        drive=Drive(observed, food, 1.5, float(observed[:48].mean())), time_utc=time_utc, now_index=now_index,
        forecast_until=forecast_until, members_c=past.reshape(members, len(time_utc)),
        species=species("Eisenia fetida"),
        weather_source="an invented winter of sines", typical=False, notes=(*placed.notes, *notes),
    )  # fmt: skip


def from_prior(one: Case, draws: int = 64) -> Posterior:
    """Draws of the prior, standing in for a fit."""
    z = np.random.default_rng(5).standard_normal((draws, len(PARAMETERS)))
    return Posterior(one.prior.parameters(z), 200.0, 0.01, len(one.evidence), 0.0, 5, ())


@cache
def sample(
    entries: tuple[AnyEntry, ...] = ENTRIES, now: datetime = NOW, end: datetime = END, members: int = 6
) -> Study:
    one = case(entries, now, end, members=members)
    return study(one, from_prior(one))


def truth(of: Study, off_k: float = 0.0) -> Truth:
    """One draw of the study itself, taken as the truth."""
    one = {place: values[3] + off_k for place, values in of.outlook.draws_c.items()}
    return Truth(one["middle"], one["edge"], one["surface"], "invented by one run of the model")
