"""An invented keeper, three invented bins, a typical year of public weather, and a truth that the fit does not know.

The truth comes from the heat model on a finer grid with parameters the fit is not told, plus a slow
straying of each spot from any model. The keeper looks in every few days, often at night, and writes down
words. Everything is drawn from one seed: the same seed gives the same journal.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.counting.detection import JUDGED
from underlid.demo.acid import strip_lines
from underlid.demo.drawn import photographed
from underlid.entry import parse_line
from underlid.files import write_whole
from underlid.fit.evidence import Situation, food_kg, middle_of, situation
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.outlook import stray
from underlid.heat.films import films
from underlid.heat.model import Drive, Thermal, simulate, standard_probes
from underlid.quantity.amount import NINETY, parse_amount, parse_size
from underlid.quantity.when import parse_when
from underlid.records import STAGES, AnyEntry, Base, BeddingLayer, Bin
from underlid.weather.files import demo_weather, read_weather
from underlid.weather.series import HOUR_S, Weather, lay_over
from underlid.worms.habitat import DRY_SHARE, Habitat, Strain, colony, course
from underlid.worms.lifecycle import ADULTS, COCOON_STEPS, YOUNG_STEPS, live
from underlid.worms.species import species

if TYPE_CHECKING:
    from underlid.fit.census import Census
    from underlid.fit.study import Study

Array = NDArray[np.float64]

SEED = 20251018
KIND = species("Eisenia fetida")
TIMEZONE = ZoneInfo("America/Anchorage")
START = datetime(2025, 10, 18, 14, tzinfo=TIMEZONE)
NOW = datetime(2026, 2, 3, 21, tzinfo=TIMEZONE)
WINTER_ENDS = datetime(2026, 4, 20, tzinfo=TIMEZONE)
MONTH = (2026, 1)
TRUE_DRYING = 1.4  # vapour leaves the invented bins faster than usual
TRUE_GRID = (8, 7, 12)  # finer than the fit's, so that the demo shows what the coarser one costs
TRUE_FROST_PER_H = 0.006  # the invented worms stand frost better than is thought likely, as the keeper will find
COUNTED = (datetime(2025, 11, 2, 13, tzinfo=TIMEZONE), datetime(2026, 1, 25, 13, tzinfo=TIMEZONE))
STRIPS = (
    (datetime(2025, 12, 14, 17, 30, tzinfo=TIMEZONE), "middle"),
    (datetime(2026, 1, 12, 17, 30, tzinfo=TIMEZONE), "middle"),
    (datetime(2026, 1, 12, 17, 40, tzinfo=TIMEZONE), "edge"),
)
SAMPLE_L = 4.0  # a small bucket: of a few dozen worms a litre would hold none


@dataclass(frozen=True, slots=True)
class InventedBin:
    """How an invented bin is described by its keeper, and what is true of it."""

    name: str
    size: str
    bedding: tuple[tuple[str, str], ...]
    moisture: str
    founders: str
    base: Base
    wall: str
    loss: float
    lid: float
    base_factor: float
    true_moisture: float
    heat: float
    bias_k: float
    stray_k: float


BINS = (
    InventedBin(
        "larch", "17 x 12 x 11 in", (("leaves", "about 5 in"), ("old horse manure", "4 in")), "about 70 %",
        "a couple of dozen", "slab", "polypropylene", 1.15, 0.9, 0.6, 0.72, 1.5, 0.4, 0.35,
    ),
    InventedBin(
        "rowan", "24 x 16 x 13 in", (("cardboard", "3 in"), ("leaves", "about 6 in")), "not noted",
        "30 or so", "slab", "polypropylene", 0.85, 1.2, 1.3, 0.66, 0.9, -0.3, 0.4,
    ),
    InventedBin(
        "alder", "13 x 10 x 9 in", (("leaves", "7 in"),), "65-75 %",
        "about 20", "feet", "wood", 1.3, 1.0, 0.8, 0.68, 0.7, 0.0, 0.4,
    ),
)  # fmt: skip

FOODS = ("pear cores", "carrot peel", "squash rind", "tea leaves", "potato peel", "apple cores", "oatmeal")
SIGHTINGS = {"about a dozen near the top": 14, "a few worms in the middle": 5, "a couple of dozen in the middle": 30}


@dataclass(frozen=True, slots=True)
class Course:
    """What was really so, hour by hour [degC], and animals by stage day by day, (days, 5); invented."""

    time_utc: NDArray[np.int64]
    middle_c: Array
    edge_c: Array
    surface_c: Array
    animals: NDArray[np.int64]

    def on(self, moment: datetime) -> NDArray[np.int64]:
        """Animals by stage on the day of a moment, (5,)."""
        day = round((moment.timestamp() - int(self.time_utc[0])) / HOUR_S / 24)
        return np.asarray(self.animals[day])


def weather() -> Weather:
    """The typical year shipped with underlid."""
    return read_weather(demo_weather())


def make_bin(invented: InventedBin) -> Bin:
    """The record a keeper would make of an invented bin."""
    size = parse_size(invented.size)
    layers = tuple(
        BeddingLayer(
            id=_id(invented.name, "layer", i),
            position=i,
            material=material,
            depth=parse_amount(depth, expect="m"),
            moisture=parse_amount(invented.moisture, expect="%"),
            words=f"{material} {depth}",
        )
        for i, (material, depth) in enumerate(invented.bedding)
    )
    return Bin(
        id=_id(invented.name, "bin"),
        name=invented.name,
        started=parse_when("2025-10-18 14:00", now=NOW, tz=TIMEZONE),
        timezone=TIMEZONE.key,
        length=size.length,
        width=size.width,
        height=size.height,
        siting="open shelter",
        base=invented.base,
        wall=invented.wall,
        wall_thickness=parse_amount("3 mm" if invented.wall == "polypropylene" else "18 mm", expect="m"),
        founders=parse_amount(invented.founders, expect="1"),
        species=KIND.name,
        layers=layers,
        words=f"invented for the demo: {invented.size}, {invented.founders} worms",
        noted_at=START,
    )


def feeding_lines(invented: InventedBin) -> list[tuple[datetime, str]]:
    """When and what the invented keeper fed: small amounts, one to three weeks apart."""
    rng = _rng(invented.name, "food")
    lines, day = [], START + timedelta(days=4)
    while day < NOW - timedelta(days=1):
        grams = int(rng.choice([80, 100, 120, 150, 200, 250]))
        evening = day.replace(hour=int(rng.integers(17, 22)))
        lines.append((evening, f"fed {grams} g {rng.choice(FOODS)}"))
        day += timedelta(days=int(rng.integers(8, 20)))
    return lines


def true_course(invented: InventedBin, record: Bin, fed: list[AnyEntry], air: Weather) -> Course:
    """The bin as it really was and will be, from its start to the end of winter."""
    place = situation(record)
    laid = lay_over(air, START, WINTER_ENDS + timedelta(hours=2)) if air.typical else air
    base = films(place.vessel).base * invented.base_factor
    values = (
        place.dry_kg_m3, invented.true_moisture, invented.loss, invented.lid, base, invented.heat, TRUE_DRYING
    )  # fmt: skip
    drive = Drive(
        laid.air_c, food_kg(fed, laid.time_utc)[0], 0.0 if laid.wind_m_s is None else laid.wind_m_s,
        float(laid.air_c[:48].mean()), laid.humidity_pct,
    )  # fmt: skip
    bedding = simulate(
        place.vessel, Thermal(*(np.array([value]) for value in values)), drive,
        list(standard_probes(place.vessel).values()), grid=TRUE_GRID, full=True, bands_c=(KIND.band_c,),
    )  # fmt: skip
    strays = stray(np.full(3, invented.stray_k), len(laid.time_utc), _rng(invented.name, "stray"))
    middle, edge, surface = bedding.probes_c[0].T + strays
    home = Habitat(
        bedding.probes_c[:, :, 0], bedding.probes_c[0].T.mean(axis=0, keepdims=True), bedding.outside_k[:, :, 0],
        bedding.frozen, bedding.moisture, DRY_SHARE * food_kg(fed, laid.time_utc)[0].sum(axis=1), KIND.band_c,
    )  # fmt: skip
    return Course(laid.time_utc, middle, edge, surface, _true_colony(invented, place, home))


def _true_colony(invented: InventedBin, place: Situation, home: Habitat) -> NDArray[np.int64]:
    """How the animals really fared, by stage and day; the founders are of mixed ages, one in five an adult."""
    strain = Strain.usual()._replace(frost_per_h=np.array([TRUE_FROST_PER_H]))
    rng = _rng(invented.name, "founders")
    founders = np.zeros(ADULTS + 1, np.int64)
    many = round(middle_of(parse_amount(invented.founders, expect="1")))
    founders[ADULTS] = adults = rng.binomial(many, KIND.founders_adult_share.value)
    founders[COCOON_STEPS:ADULTS] = rng.multinomial(many - adults, np.full(YOUNG_STEPS, 1 / YOUNG_STEPS))
    founders[:COCOON_STEPS] = rng.multinomial(rng.poisson(0.3 * many), np.full(COCOON_STEPS, 1 / COCOON_STEPS))
    own = colony(KIND, place.vessel.length_m * place.vessel.width_m, strain)
    food = 0.5 * place.dry_kg_m3 * place.vessel.bedding_m3
    lives = live(founders, food, course(KIND, home, strain), own, int(rng.integers(2**31)))
    return np.asarray(lives.stages[0])


def spoken(reading_c: float, rng: np.random.Generator) -> str:
    """What a keeper writes of a thermometer that shows `reading_c`: words that are true of it, and vague."""
    whole = int(np.floor(reading_c))
    kind = rng.choice(
        ["plain", "range", "about", "fahrenheit", "above", "under"], p=[0.3, 0.25, 0.2, 0.1, 0.075, 0.075]
    )
    if kind == "plain":
        return f"{round(reading_c)} C"
    if kind == "range":
        return f"{whole} to {whole + 1} C" if whole < 0 else f"{whole}-{whole + 1} C"
    if kind == "about":
        return f"about {round(reading_c + rng.normal(0, 1.5 / NINETY))} C"
    if kind == "fahrenheit":
        return f"{round(reading_c * 1.8 + 32)} F"
    if kind == "above":
        return f"just above {whole} C"
    return f"under {whole + 1 + int(rng.integers(0, 2))} C"


def visit_lines(invented: InventedBin, truth: Course) -> Iterator[tuple[datetime, str]]:
    """The keeper's visits: when each was made and the line written then."""
    rng = _rng(invented.name, "visits")
    moment = START + timedelta(days=2, hours=8)
    while moment < NOW:
        hour = int(rng.choice([7, 13, 18, 21, 23], p=[0.15, 0.1, 0.2, 0.24, 0.31]))
        at = moment.astimezone(TIMEZONE).replace(hour=hour, minute=int(rng.choice([0, 10, 20, 30, 40, 50])))
        if at >= NOW:
            return
        index = round((at.timestamp() - int(truth.time_utc[0])) / HOUR_S)
        places = [("middle", truth.middle_c), ("edge", truth.edge_c), ("surface", truth.surface_c)]
        chosen = [places[i] for i in sorted(rng.choice(3, size=int(rng.integers(1, 4)), replace=False))]
        shown = [(place, course[index] + invented.bias_k + rng.normal(0, INSTRUMENT_K)) for place, course in chosen]
        clauses = [f"{place} {spoken(value, rng)}" for place, value in shown]
        if rng.random() < 0.25 and truth.middle_c[index] > 1.0:
            saw = str(rng.choice(list(SIGHTINGS)))
            if truth.on(at)[1:].sum() >= SIGHTINGS[saw]:
                clauses.append(saw)
        yield at, f"{_date_words(at, rng)}: {', '.join(clauses)}"
        moment = at + timedelta(days=float(rng.choice([2, 3, 4, 5, 7, 9, 12])))


def count_lines(invented: InventedBin, record: Bin, truth: Course) -> Iterator[tuple[datetime, str]]:
    """The keeper's counts: a small bucket from the middle and one from the edge, sorted by stage on two afternoons."""
    rng = _rng(invented.name, "counts")
    litres = 1000 * situation(record).vessel.bedding_m3
    for at in COUNTED:
        for place, density in (("middle", 1.3), ("edge", 0.7)):
            share = rng.beta(3 * density * SAMPLE_L, 3 * (litres - density * SAMPLE_L))  # they clump, k 1.5 a fistful
            found = [
                rng.binomial(rng.binomial(animals, share), JUDGED[stage])
                for stage, animals in zip(STAGES, truth.on(at), strict=True)
            ]
            counts = ", ".join(
                f"{many} {stage}{'' if many == 1 else 's'}" for stage, many in zip(STAGES, found, strict=True)
            )
            yield at, f"sample {SAMPLE_L:g} L {place}: {counts}"
            at += timedelta(minutes=20)


def _date_words(at: datetime, rng: np.random.Generator) -> str:
    day = f"{at.day} {at:%b}"
    if rng.random() < 0.08:
        return f"{'early' if at.day <= 10 else 'mid' if at.day <= 20 else 'late'} {at:%B}"
    if at.hour == 23:
        return f"{day} around midnight"
    if rng.random() < 0.3:
        return day
    return f"{day} {at:%H:%M}"


def _rng(*names: str) -> np.random.Generator:
    return np.random.default_rng([SEED, *(ord(letter) for name in names for letter in name)])


def _id(*parts: object) -> str:
    return str(uuid.uuid5(uuid.UUID(int=SEED), "/".join(map(str, parts))))


def run(
    out: Path, *, say: Callable[[str], None] = print, progress: Callable[[float], None] = lambda done: None
) -> dict[str, object]:
    """Log the invented winter, fit every bin, write its update, and compare what was inferred with the truth.

    The journal is made anew each time from the same seed; fits made before are taken from its memory. `progress` is
    called with the share of the fitting that is done.
    """
    # Heavy or later layers, needed only here.
    from underlid.answer import answer, case_of, census_of
    from underlid.demo.accounts import told_in_full, told_of_one, told_of_the_year, told_together
    from underlid.journal.store import Journal

    folder = out / "invented-journal"
    clear(folder, [invented.name for invented in BINS])
    air = weather()
    results: dict[str, object] = {}
    lines: list[str] = []
    stories = []

    def so_far(step: int) -> Callable[[float], None]:
        """Each bin has two steps: its bedding, then its colony."""
        return lambda done: progress((step + done) / (2 * len(BINS)))

    with Journal.create(folder) as journal:
        for number, invented in enumerate(BINS):
            record = make_bin(invented)
            journal.add_bin(record)
            written, entries, truth = kept_by(invented, record, air)
            entries += photographed(folder, record, NOW, partial(_id, record.name, "photo"))
            journal.add(entries)
            lines += [f"{at:%Y-%m-%d %H:%M}  {record.name}: {line}" for at, line in written]
            say(f"{record.name}: {len(written)} lines in the keeper's own words, {len(entries)} entries stored")
            case = case_of(journal, record.name, air, NOW, WINTER_ENDS)
            study = answer(journal, case, progress=so_far(2 * number))
            _, _, found = census_of(journal, study, progress=so_far(2 * number + 1))
            story, target = told_of_one(journal, study, truth, out)
            stories.append(story)
            result = compare(study, truth) | compare_worms(found, truth)
            results[record.name] = {**result, "update": str(target)}
            _say_how_close(result, say)
            say(f"  update written to {target}")
            if invented is BINS[0]:
                results |= told_of_the_year(journal, study, out, say)
    results |= told_in_full(stories[0], out, say)
    results |= told_together(stories, out, say)
    write_whole(out / "keeper-lines.txt", ("\n".join(lines) + "\n").encode())
    say(f"Everything the invented keeper wrote is in {out / 'keeper-lines.txt'}; the journal is {folder}.")
    say("Bins, keeper and readings are invented; the weather is a public typical year (see the page's sources).")
    return results


def kept_by(
    invented: InventedBin, record: Bin, air: Weather
) -> tuple[list[tuple[datetime, str]], list[AnyEntry], Course]:
    """What the keeper wrote of a bin, by time, what is understood of it, and the truth behind it."""
    ids = _ids(invented)

    def understood(written: list[tuple[datetime, str]]) -> list[AnyEntry]:
        return [e for at, line in written for e in parse_line(line, bin=record, now=at, new_id=ids).records]

    fed_lines = feeding_lines(invented)
    fed = understood(fed_lines)
    truth = true_course(invented, record, fed, air)
    seen_lines = list(visit_lines(invented, truth))
    counted = list(count_lines(invented, record, truth))
    strips = list(strip_lines(record, fed, NOW, STRIPS, _rng(invented.name, "strips")))
    return sorted(fed_lines + seen_lines + counted + strips), fed + understood(seen_lines + counted + strips), truth


def _say_how_close(result: dict[str, Any], say: Callable[[str], None]) -> None:
    say(
        f"  {result['readings']} readings fitted; the 90 % range held the true middle in "
        f"{result['covered']:.0%} of the hours up to now"
    )
    low, _, high = result["coldest_inferred_c"]
    true_low = result["coldest_true_c"]
    by = max(low - true_low, true_low - high)
    held = "held" if by <= 0 else f"missed by {by:.2g} °C; one in ten such ranges should miss"
    say(f"  coldest hour in the middle so far: {low:.1f} to {high:.1f} °C, in truth {true_low:.1f} °C ({held})")
    low, _, high = result["worms_inferred"]
    many = result["worms_true"]
    held = "held" if low <= many <= high else "missed; one in ten such ranges should miss"
    say(f"  worms on {NOW:%-d %b %Y}: {low:.0f} to {high:.0f} estimated, in truth {many} ({held})")


class NotTheDemos(ValueError):
    """The folder holds a journal that the demo did not make."""


def clear(folder: Path, bins: Collection[str]) -> None:
    """Remove the journal of an earlier demo, which holds those bins and no others, and nothing else."""
    from underlid.journal.errors import NoJournal
    from underlid.journal.store import FILE, Journal

    try:
        with Journal.open(folder) as earlier:
            names, elsewhere = {record.name for record in earlier.bins()}, earlier.url
    except NoJournal:
        return
    if elsewhere is not None or not names <= set(bins):
        raise NotTheDemos(f"{folder} holds a journal of your own; give the demo another folder with --out.")
    for leftover in folder.glob(f"{FILE}*"):
        leftover.unlink()


def compare(study: Study, truth: Course) -> dict[str, Any]:
    """How often the 90 % range of the middle held the truth so far, and the coldest hour, inferred and true."""
    told = study.outlook
    seen = slice(24, told.now_index + 1)
    band = told.bedding_c["middle"][seen]
    true_c = truth.middle_c[: len(told.time_utc)][seen]
    cold = told.coldest(24, told.now_index + 1)
    return {
        "readings": study.posterior.readings,
        "settled": study.posterior.trusted,
        "covered": float(((true_c >= band[:, 0]) & (true_c <= band[:, 2])).mean()),
        "coldest_inferred_c": cold.temperature_c,
        "coldest_true_c": float(true_c.min()),
    }


def compare_worms(found: Census, truth: Course) -> dict[str, Any]:
    """How many worms are estimated to live there now, and how many do."""
    day = round((NOW.timestamp() - int(found.time_utc[0])) / HOUR_S / 24)
    return {"worms_inferred": found.on(day)["worms"], "worms_true": int(truth.on(NOW)[1:].sum())}


def _ids(invented: InventedBin) -> Callable[[], str]:
    numbers = count()
    return lambda: _id(invented.name, "entry", next(numbers))
