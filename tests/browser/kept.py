"""A small journal on the disk, and a view of its first bin, made by hand so that no test waits for a fit."""

from __future__ import annotations

import itertools
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from PIL import Image

from underlid import __version__
from underlid.answer import known_claims, register
from underlid.entry import parse_line
from underlid.entry.describe import describe
from underlid.fleet import Ahead, Alert, NotTold, Told
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount, parse_size
from underlid.quantity.when import parse_when
from underlid.records import BeddingLayer, Bin, Photo
from underlid.trials.claims import claim
from underlid.trials.design import plan_of
from underlid.update.drawn.charts import as_utc_ms
from underlid.update.drawn.timeline import DESK, PHONE, Courses, Timeline, panels
from underlid.web import looking
from underlid.web.kept import form, keep

ZONE = "Europe/London"
BINS = ("north", "south", "east bin", "west")
DAYS, AHEAD_DAYS, EVERY_H = 40, 10, 3
ROWS, COLUMNS = 5, 7
LINES = (
    (30, "middle 7-8 C, edge 6 C; pH 6.5 to 7"),
    (20, "middle about 5 C; moist as a wrung-out sponge"),
    (9, "sample 0.5 L: 4 adults, 7 juveniles, 2 cocoons"),
    (3, "middle 2-3 C; fed 150 g pear cores; about a dozen near the top"),
)


def build(folder, now):
    """Four bins started forty days ago, entries and a picture of the first, a registered trial, views and looks."""
    number = itertools.count(1)
    with Journal.create(folder) as book:
        for name in BINS:
            book.add_bin(_bin(name, now))
        north = book.bin("north")
        for ago, line in LINES:
            then = now - timedelta(days=ago)
            book.add(parse_line(line, bin=north, now=then, new_id=lambda: f"entry-{next(number)}").records)
        book.add([_picture(folder, now)])
        plan = plan_of(
            claim("citrus-scraps", known_claims(book)), "citrus", BINS, f"{now + timedelta(days=1):%Y-%m-%d}", 24, 1,
            margin=2.0, because="half as many would matter",
        )  # fmt: skip
        register(book, plan, now)
        every = {name: book.entries(name, superseded=True) for name in BINS}
    view = _view(now.astimezone(ZoneInfo(ZONE)))
    for name in BINS:
        # It knows every entry, so that the page does not ask for a new one.
        items = [_item(entry, ZoneInfo(ZONE)) for entry in every[name]]
        keep(folder, name, view | {"bin": name, "entries": len(items), "items": items})
    looking.keep(folder, {one.bin: looking.Look(one, now, 0, "") for one in _looked(now)})
    return folder


def words_held(folder, name):
    """The words of every entry of a bin, the withdrawn and the corrected too."""
    with Journal.open(folder) as book:
        return [one.words for one in book.entries(name, superseded=True)]


# --- inside ----------------------------------------------------------------------------------------------


def _looked(now):
    """A look of each kind, as the fleet's page shows it; one bin was not looked at."""
    ahead = Ahead(now + timedelta(days=7), (-2.0, 0.5, 3.0), (4.0, 5.0, 6.0), (0.1, 0.4, 0.8), (0.6, 0.7, 0.8))
    alerts = (
        Alert("stop rule", None, "read", "Bin north: the middle is too cold for the worms: look closer."),
        Alert("freezing", 0.4, "predicted", "Chance of 40% (predicted) that the middle falls below 0 °C (32 °F)."),
        Alert("unsettled", None, "estimated", "The fit has not settled."),
    )
    north = Told("north", alerts, ahead, 12, 8.0, False, False, ("Calm air is assumed.",))
    south = Told("south", (), ahead, 0, 40.0, True, False, ())
    return north, south, NotTold("east bin", "The weather begins after it was started.")


def _bin(name, now):
    size = parse_size("17 x 12 x 11 in")
    layer = BeddingLayer(
        id=f"layer-{name}", position=0, material="leaves", depth=parse_amount("9 in", expect="m"),
        moisture=parse_amount("about 70 %", expect="%"), words="leaves 9 in",
    )  # fmt: skip
    started = (now - timedelta(days=DAYS)).date().isoformat()
    return Bin(
        id=f"bin-{name}", name=name, started=parse_when(started, now=now, tz=ZoneInfo(ZONE)), timezone=ZONE,
        length=size.length, width=size.width, height=size.height, siting="open shelter", base="slab",
        wall="polypropylene", wall_thickness=parse_amount("3 mm", expect="m"), species="Eisenia fetida",
        founders=parse_amount("a couple of dozen", expect="1"), layers=(layer,), words="17 x 12 x 11 in", noted_at=now,
    )  # fmt: skip


def _picture(folder, now):
    drawn = folder.parent / "worms.png"
    Image.linear_gradient("L").resize((640, 480)).save(drawn)
    kept = add_photo(folder, drawn)
    return Photo(
        id="entry-photo", bin="north", when=parse_when("today", now=now, tz=ZoneInfo(ZONE)), words="the top, lid off",
        noted_at=now, file=kept.file, sha256=kept.sha256,
    )  # fmt: skip


def _view(now):
    """What the worker would write, of courses that are plain waves; the real code draws them."""
    hours = EVERY_H * np.arange(-8 * DAYS + 1, 8 * AHEAD_DAYS + 1)
    seconds = int(now.timestamp()) + 3600 * hours
    wave = 6 - 5 * np.sin(hours / 200) + np.sin(2 * np.pi * hours / 24)
    split = int(np.searchsorted(hours, 0)) + 1
    wide = np.where(hours > 0, 1.0 + hours / 100, 0.6)

    def course(middle, spread=1.0):
        return np.stack([middle - spread * wide, middle, middle + spread * wide], axis=1)

    air, middle, edge, surface = course(wave - 2), course(wave, 0.5), course(wave - 1.2, 0.7), course(wave - 0.6, 0.6)
    share = np.clip(course(60 + 8 * wave, 5), 0, 100)
    ice, wet = np.clip(course(-wave, 2), 0, 100), course(70 + 0 * wave, 3)
    first, last = (datetime.fromtimestamp(int(one), now.tzinfo) for one in (seconds[0], seconds[-1]))
    told = Timeline(first, last, ZONE, Courses(seconds, air, middle, edge, share, ice, wet, split), (), (), None)
    at = [as_utc_ms(datetime.fromtimestamp(int(one), now.tzinfo)) for one in seconds]
    places = {"middle": middle, "edge": edge, "surface": surface, "air": air}
    shares = {"refuge": share, "moisture": wet, "ice": ice}
    charts = {
        "first": as_utc_ms(first), "last": as_utc_ms(last),
        **{
            target: [
                {"name": one.name, "svg": one.svg, "frame": list(one.frame), "whole": list(one.whole)}
                for one in panels(told, size, f"lately-{target}")
            ]
            for target, size in (("desk", DESK), ("phone", PHONE))
        },
    }  # fmt: skip
    return {
        "made_at": now.isoformat(), "made_by": __version__, "form": form(), "timezone": ZONE,
        "now": as_utc_ms(now), "unit": "degC", "seed": 1, "weather": {"source": None, "stamps": []}, "missing": None,
        "shrinking": [], "alarms": [], "trials": [],
        "readings_used": 6, "settled": True, "careful": ["This view was made by hand."], "band_c": [3.0, 28.0],
        "typical": False, "figures": [_figure(middle[split - 1])],
        "series": {
            "at": at, "predicted_from": split,
            "units": dict.fromkeys(places, "degC") | dict.fromkeys(shares, "%"),
            **{one: values.T.round(1).tolist() for one, values in (places | shares).items()},
        },
        "days": [_day(now.date() + timedelta(days=n)) for n in range(1, 4)], "cut": _cut(at, middle, share, split),
        "population": None, "notes": ["The bedding was taken to be 9 in deep."], "charts": {"lately": charts},
    }  # fmt: skip


def _item(entry, zone):
    return {
        "id": entry.id, "kind": type(entry).__name__.lower(), "says": describe(entry), "words": entry.words,
        "start": as_utc_ms(entry.when.start.astimezone(zone)), "end": as_utc_ms(entry.when.end.astimezone(zone)),
    }  # fmt: skip


def _figure(points):
    low, middle, high = (float(one) for one in points)
    return {
        "label": "Middle of the bedding now", "shown": f"{middle:.1f} °C ({middle * 1.8 + 32:.0f} °F)",
        "range": f"{low:.1f} to {high:.1f} °C ({low * 1.8 + 32:.0f} to {high * 1.8 + 32:.0f} °F)",
        "provenance": "estimated", "unit": "degC", "points": [low, middle, high],
    }  # fmt: skip


def _day(day: date):
    return {
        "day": f"{day:%a} {day.day} {day:%b}", "date": day.isoformat(), "forecast": True,
        "air": "−1 to 6 °C (30 to 43 °F)", "middle": "2 to 4 °C (36 to 39 °F)", "edge": "1 to 3 °C (34 to 37 °F)",
        "refuge": "50 to 90 %",
        "frost": "about 1 in 10", "frost_share": 0.1, "provenance": "predicted", "middle_c": [2.0, 3.0, 4.0],
    }  # fmt: skip


def _cut(at, middle, share, split):
    """Every other step of the courses, colder towards the walls and the surface."""
    half = (COLUMNS + 1) // 2
    rows, columns = np.mgrid[ROWS - 1 : -1 : -1, half - 1 : -1 : -1]
    steps = middle[::2, None, :] - (0.2 * rows + 0.6 * columns).reshape(1, -1, 1)
    tenths = np.round(10 * steps).astype(int)
    return {
        "at": at[::2], "now": (split - 1) // 2, "rows": ROWS, "columns": COLUMNS, "band_c": [3.0, 28.0],
        "width_m": 0.305, "height_m": 0.23, "depth_m": [0.02, 0.07, 0.12, 0.16, 0.21],
        "wall_m": [0.02, 0.06, 0.11, 0.15, 0.2, 0.24, 0.29],
        "tenths": {one: tenths[:, :, i].tolist() for i, one in enumerate(("p5", "p50", "p95"))},
        "refuge_pct": share[::2].T.round().tolist(), "species": "Eisenia fetida",
    }  # fmt: skip
