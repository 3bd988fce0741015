"""Invented stories with animals, food, acid, steps, trials and pictures for the account's tests; quick, no fit.

living.story()          a full month
living.bare()           nothing but the weather: no reading, no animal, no picture
living.three()          three readings and no more
living.year()           a bin of twelve months, its animals day by day, with a reading a day
living.STORIES          all of them and more, by name
"""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
from PIL import Image

from tests.update.sample import ENTRIES, NOW, READINGS, ZONE, amount, on, reading, sample, truth
from underlid.records import Feeding
from underlid.update.facts import Provenance, Range, Story, TrialFact
from underlid.update.lifefacts import Acid, Animals, Daily, Eaten, Found, Own, Picture, Step
from underlid.update.story import tell

DAY_S = 86400
START = datetime(2025, 12, 6, 12, tzinfo=ZONE)
WORDS = (
    ("", ("A slow month under the porch.", "I was away for a week.")),
    ("animals", ("They hide under the wet card & <do not> come up.",)),
)
SAYS = {
    "reading": "Take the temperature in the middle and at the edge of the bedding. The last reading is of 24 Jan 2026.",
    "count": "Sort a known volume of bedding: “sample of 1 litre: 3 adults, 12 juveniles”. Not on a freezing day.",
    "look": "Due on 10 Feb 2026 (look 2 of 3); it may be taken on any of these days.",
    "frost": "Ice may form in the bedding: look at the outlook before each night.",
}


def ranged(low: float, middle: float, high: float, unit: str = "1", provenance: Provenance = "estimated") -> Range:
    return Range(low, middle, high, unit, provenance)


def daily(days: int = 110, now: int = 53, start: datetime = START) -> Daily:
    """Day by day: they fall off in the cold and come back."""
    n = np.arange(days)
    middle = np.round(26 + 14 * np.cos(2 * np.pi * n / 365) + n / 20)
    worms = np.stack([np.floor(0.6 * middle), middle, np.ceil(1.7 * middle)], axis=1)
    at = start + timedelta(days=now // 2)
    return Daily(
        time_utc=np.int64(start.timestamp()) + DAY_S * n.astype(np.int64),
        worms=worms,
        adults=np.round(worms / 3),
        predicted_from=now,
        counted=((at, ranged(8, 31, 96)), (at + timedelta(days=now // 3), ranged(12, 35, 80))),
        seen=((at + timedelta(days=3), 10.0),),
    )


def animals(provenance: Provenance = "estimated") -> Animals:
    def of(low: float, middle: float, high: float, unit: str = "1") -> Range:
        return Range(low, middle, high, unit, provenance)

    return Animals(
        at=date(2026, 1, 27),
        worms=of(14.0, 23.5, 41.95),
        before=of(18.0, 29.0, 44.0),
        change=of(-12.95, -5.0, 0.0),
        stages=(
            ("cocoon", of(2, 11, 30.95)), ("hatchling", of(0, 1, 5)), ("juvenile", of(2, 6, 14)),
            ("sub-adult", of(1, 4, 9)), ("adult", of(6, 11, 17)),
        ),
        live_g=of(3.42, 6.13, 10.87, "g"),
        alive=0.991,
        density_g_m2=of(16.1, 28.9, 51.4, "g/m2"),
        usual_g_m2=(770.0, 3000.0),
        crowded=0.0,
        samples=1,
        sightings=1,
        founders="three dozen or more",
        careful=(),
        daily=daily(),
    )  # fmt: skip


EATEN = Eaten(
    feedings=2, unweighed=1, given_g=ranged(200, 250, 300, "g", "read"),
    can_eat_g=ranged(6.1, 14.7, 33.2, "g", "predicted"),
    lost_pct=ranged(3.1, 5.4, 9.3, "%"), castings_l=ranged(0.21, 0.62, 1.44, "L"),
    ripe=(date(2026, 8, 3), date(2026, 9, 12), date(2027, 1, 20)), ripe_chance=0.62, ripe_by=date(2026, 12, 31),
    at=date(2026, 1, 27),
)  # fmt: skip
ACID = (
    Acid(
        "pH", ranged(6.31, 6.84, 7.22, "pH"),
        (("edge", ranged(6.12, 6.52, 6.93, "pH")), ("middle", ranged(6.44, 6.97, 7.51, "pH"))), (5.0, 9.0), 0.013,
        ("p1", "p2"), (),
    ),
    Acid("EC", ranged(0.84, 1.13, 1.62, "mS/cm"), (("middle", ranged(0.71, 1.16, 1.74, "mS/cm")),), None, None, ("e1",),
         ("“EC high” (20 Jan) holds no number, so nothing is taken from it.",)),
)  # fmt: skip
STEPS = tuple(
    Step(kind, first, last, SAYS[kind])  # type: ignore[arg-type]
    for kind, first, last in (
        ("reading", date(2026, 1, 31), date(2026, 1, 31)),
        ("frost", date(2026, 2, 2), date(2026, 2, 5)),
        ("look", date(2026, 2, 8), date(2026, 2, 12)),
        ("count", date(2026, 4, 25), date(2026, 4, 25)),
    )
)
TRIALS = (
    TrialFact(
        "citrus scraps", "changed", "Citrus scraps make no difference to how many worms there are.",
        "Cannot tell yet: 0.7 to 1.6 times as many worms (estimated from 4 changed and 4 control bins, 90 % interval, "
        "day 60), which reaches across an end of the margin of 0.5 to 2: it is not resolved.",
    ),
)  # fmt: skip


@cache
def picture(name: str = "0011aabbccdd", size: tuple[int, int] = (640, 480), colour: str = "#7a5a3a") -> Picture:
    """A photo of one colour with a lighter corner, so that a turned or cropped one can be told."""
    made = Image.new("RGB", size, colour)
    made.paste("#d8c8a8", (0, 0, size[0] // 4, size[1] // 4))
    bytes_ = io.BytesIO()
    made.save(bytes_, "JPEG", quality=80)
    return Picture(name, "two worms under the card, 11 Jan", datetime(2026, 1, 11, 7, 30, tzinfo=ZONE),
                   bytes_.getvalue(), *size, (0.3, 0.6))  # fmt: skip


def own(pictures: int = 2) -> Own:
    sizes = ((640, 480), (480, 640), (900, 400))
    return Own(
        title="The porch winter", keeper="M. Example", accent="#2a5a4c", words=WORDS,
        pictures=tuple(picture(f"picture{n:05d}", sizes[n % 3]) for n in range(pictures)),
    )  # fmt: skip


def living(of: Story, **change: object) -> Story:
    """A story with everything that lives in it, and with changes."""
    whole = {"animals": animals(), "eaten": EATEN, "acid": ACID, "steps": STEPS, "trials": TRIALS, "own": own()}
    return replace(of, **{**whole, **change})  # type: ignore[arg-type]


@cache
def _plain(kind: str) -> Story:
    if kind == "year":
        days = tuple(
            reading(f"d{day}", on(day, 1, 6 + day % 12, f"{day} Jan"), "middle" if day % 2 else "edge",
                    amount(day % 5 - 1, day % 5), f"{day % 5} or a bit less")
            for day in range(1, 27)
        )  # fmt: skip
        return tell(sample((*ENTRIES, *days)), (2026, 1))
    return {
        "full": lambda: tell(sample(), (2026, 1), truth=truth(sample())),
        "bare": lambda: tell(sample(()), (2026, 1)),
        "three": lambda: tell(sample(READINGS[:3]), (2026, 1)),
        "december": lambda: tell(sample(), (2025, 12)),
        "predicted": lambda: tell(sample(), (2026, 3)),
        "ends now": lambda: tell(sample(end=NOW, members=0), (2026, 1)),
        "odd": lambda: tell(sample((*ENTRIES, *ODD)), (2026, 1)),
    }[kind]()


ODD = (
    # 34 written down as °C, meant as °F; one in the other sense; one that nothing explains; air, too.
    reading(
        "o1", on(22, 1, 12, "22 Jan, noon"), "middle", amount(33.5, 34.5, words="34 C", kind="exact"), "middle 34 C"
    ),
    reading("o2", on(23, 1, 12, "23 Jan"), "edge", amount(-16.4, -15.8, words="3 F", kind="exact"), "edge 3 F"),
    reading("o3", on(23, 1, 13, "23 Jan, later"), "surface", amount(19, 21, words="20 C"), "surface 20 C"),
    reading("o4", on(24, 1, 13, "24 Jan"), "not noted", amount(-9, -8, words="-8 to -9"), "-8 to -9 somewhere"),
)


def story(**change: object) -> Story:
    """A full month of a bin where something lives."""
    return living(_plain("full"), **change)


def bare() -> Story:
    """Nothing was read, fed, counted or fitted but the temperature."""
    return _plain("bare")


def three() -> Story:
    """Three readings, nothing else."""
    return _plain("three")


def year() -> Story:
    """The thirteenth month of a bin: animals day by day through a year, a reading a day."""
    long = daily(400, 372, START - timedelta(days=320))
    counted = tuple((START + timedelta(days=30 * n - 310), ranged(6 + n, 30 + 2 * n, 90 + 3 * n)) for n in range(12))
    seen = tuple((START + timedelta(days=21 * n - 300), float(3 + n)) for n in range(16))
    lived = replace(animals(), samples=12, sightings=16, daily=replace(long, counted=counted, seen=seen))
    return living(_plain("year"), animals=lived)


def gone() -> Story:
    """Hardly any worm may be left."""
    none = ranged(0, 0, 2)
    return story(
        animals=replace(
            animals(), worms=none, before=ranged(1, 3, 7), change=ranged(-6, -3, -1), alive=0.22,
            stages=tuple((stage, ranged(0, 0, 1)) for stage, _ in animals().stages), live_g=ranged(0, 0, 0.3, "g"),
            density_g_m2=ranged(0, 0, 2, "g/m2"), samples=0, sightings=0,
            careful=(),
        ),
        eaten=replace(
            EATEN, feedings=0, unweighed=0, given_g=None, can_eat_g=ranged(0, 0.004, 0.6, "g", "predicted"), ripe=None,
        ),
        acid=(replace(ACID[0], outside=0.4),),
    )  # fmt: skip


def crowded() -> Story:
    """A big colony that grows, with counts that contradict it."""
    in_hand = (
        Found(date(2026, 1, 11), "about 10 to 14 adults seen", False),
        Found(date(2026, 1, 25), "4 adults, 1 cocoon counted in 1 L", True),
    )
    return story(
        animals=replace(
            animals(), worms=ranged(1204, 1713, 2388), before=ranged(700, 903, 1190), change=ranged(311, 806, 1302),
            live_g=ranged(402, 613, 1106, "g"), density_g_m2=ranged(1902, 2901, 5230, "g/m2"), crowded=0.43,
            found=in_hand, samples=5, sightings=1,
        ),
        eaten=replace(EATEN, feedings=1, unweighed=0, given_g=ranged(1480, 1520, 1560, "g", "read")),
        trials=(
            replace(TRIALS[0], name="tea", sentence="Holds within the margin: all of it inside 0.5 to 2 times."),
            replace(TRIALS[0], name="shade", sentence="Fails: all of it beyond 0.5 to 2 times."),
        ),
    )  # fmt: skip


def one_of_each() -> Story:
    """Numbers of one, for the grammar."""
    one = ranged(1, 1, 1)
    feeding = Feeding(id="f9", bin="Porch tote", when=on(4, 1, 17, "4 Jan"), words="one peel", material="banana peel",
                      amount=amount(-np.inf, np.inf, "kg", "not noted", ""))  # fmt: skip
    base = tell(sample((READINGS[1], feeding)), (2026, 1))
    return living(
        base,
        animals=replace(
            animals(), worms=one, before=one, change=ranged(0, 0, 0), live_g=ranged(1, 1, 1, "g"), samples=1,
            sightings=0, stages=(("cocoon", ranged(0, 0, 0)), ("adult", one)),
        ),
        eaten=replace(EATEN, feedings=1, unweighed=1, given_g=None, castings_l=ranged(1, 1, 1, "L")),
        acid=(replace(ACID[0], readings=("p1",)),),
    )  # fmt: skip


#: Stories by name, made when asked for.
STORIES = {
    "full": story,
    "bare": bare,
    "three": three,
    "year": year,
    # Told long afterwards, as `tell` leaves it.
    "december": lambda: living(
        _plain("december"),
        steps=(),
        eaten=replace(EATEN, can_eat_g=None, lost_pct=None, castings_l=None, ripe=None, late=True),
    ),
    "predicted": lambda: living(_plain("predicted"), animals=animals("predicted")),
    "ends now": lambda: living(_plain("ends now"), eaten=replace(EATEN, can_eat_g=None), steps=()),
    "odd": lambda: living(_plain("odd")),
    "gone": gone,
    "crowded": crowded,
    "one": one_of_each,
}
