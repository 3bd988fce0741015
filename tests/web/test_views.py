"""What the worker computes for a page, of a bin whose posterior is the prior's draws, which is quick."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from underlid.entry import parse_line
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.posterior import PARAMETERS, Posterior
from underlid.fit.study import study
from underlid.fit.tally import tally
from underlid.journal.store import Journal
from underlid.weather.files import demo_weather
from underlid.web import views
from underlid.web.bintold import View
from underlid.web.kept import kept
from underlid.web.views import NO_WEATHER, made, view_of

DRAWS = 16
MORE = (
    "10 Dec 14:00: sample 2 L middle: 3 adults, 1 juvenile",
    "20 Dec: about a dozen near the top; moisture 70-80 %",
    "21 Dec: pH 6.5-7; note lid was wet",
)


def _unfitted(book, case, seed=1, progress=lambda done: None):
    z = np.random.default_rng(5).standard_normal((DRAWS, len(PARAMETERS)))
    progress(1.0)
    return study(case, Posterior(case.prior.parameters(z), 200.0, 0.01, len(case.evidence), 0.0, 5, ()))


def _census(book, of, seed=1, progress=lambda done: None):
    thought = prior(of)
    counted = tally(of.case.entries, of.case.time_utc, thought.bedding.litres.high)
    return thought, counted, census(thought, counted, seed, sets=40, particles=8, draws=30)


def _written_down(folder):
    with Journal.open(folder) as book:
        record = book.bin("north")
        for i, line in enumerate(MORE):
            ids = iter([f"more-{i}-{j}" for j in range(9)])
            now = datetime(2026, 2, 3, 21, tzinfo=UTC)
            book.add(parse_line(line, bin=record, now=now, new_id=ids.__next__).records)


@pytest.fixture
def fitted(settings, monkeypatch):
    """The settings of a served journal with weather, whose fits are only the prior's draws."""
    _written_down(settings.journal)
    monkeypatch.setattr(views, "answer", _unfitted)
    monkeypatch.setattr(views, "census_of", _census)
    return replace(settings, weather=demo_weather())


@pytest.fixture
def shares():
    return []


@pytest.fixture
def view(fitted, shares):
    return view_of(fitted, "north", shares.append)


@pytest.mark.computes
def test_a_view_holds_what_the_page_says_it_does(view, shares):
    told = View.model_validate(view)  # the documented form
    assert json.loads(json.dumps(view, allow_nan=False)) == view  # plain types, and no number that is none
    assert shares == sorted(shares)
    assert told.missing is None

    series, step = view["series"], 3 * 3600 * 1000
    places = ("middle", "edge", "surface", "air", "moisture", "refuge", "ice")
    assert set(np.diff(series["at"])) == {step, step + step // 3}  # once the clocks go forward
    for place in places:
        low, middle, high = (np.array(row) for row in series[place])
        assert len(low) == len(series["at"])
        assert (low <= middle).all()
        assert (middle <= high).all()
    now = series["at"][series["predicted_from"] - 1]
    assert now <= view["now"] < now + step
    # A cut through the middle and the middle's own course agree, but for what lies between their points.
    cut = view["cut"]
    assert len(cut["tenths"]["p50"][0]) == cut["rows"] * (cut["columns"] + 1) // 2
    assert cut["at"][cut["now"]] == now
    core = [cell / 10 for cell in np.array(cut["tenths"]["p50"])[cut["now"]].reshape(cut["rows"], -1)[2:4, -1]]
    at_now = series["predicted_from"] - 1
    assert min(core) - 1.5 <= series["middle"][1][at_now] <= max(core) + 1.5

    # Every figure has a range and says where it is from.
    for figure in view["figures"]:
        low, middle, high = figure["points"]
        assert low <= middle <= high
        assert figure["provenance"] in ("estimated", "predicted")
        assert figure["unit"] != "degC" or ("°C" in figure["range"] and "°F" in figure["range"])

    # The days to come come after today, in order, and their chances are chances.
    dates = [day["date"] for day in view["days"]]
    assert dates == sorted(dates)
    assert dates[0] >= "2026-02-03"
    assert all(0 <= day["frost_share"] <= 1 and day["provenance"] == "predicted" for day in view["days"])

    # Worms in all are those of the stages but cocoons, as far as rounding and percentiles go.
    population = view["population"]
    low, middle, high = population["stages"]["worms"]
    assert all(a <= b <= c for a, b, c in zip(low, middle, high, strict=True))
    (counted,) = population["counted"]
    assert counted["day"] == "10 Dec 2025"
    assert counted["points"][0] >= 4 or math.isclose(counted["points"][0], 4, abs_tol=1)  # no fewer than were found
    assert [one["at_least"] for one in population["seen"]] == [pytest.approx(12, abs=3)]

    # Everything noted is on the time axis.
    kinds = {item["kind"] for item in view["items"]}
    assert kinds >= {"reading", "feeding", "samplecount", "sighting", "note"}
    assert {item["quantity"] for item in view["items"] if item["kind"] == "reading"} == {
        "temperature",
        "moisture",
        "pH",
    }

    panels = [one["name"] for one in view["charts"]["lately"]["desk"]]
    assert panels[:3] == ["temperature", "share", "moisture"]
    assert "ph" in [one["name"] for one in view["charts"]["whole"]["phone"]]


def test_without_weather_only_what_was_noted_is_shown(settings):
    view = view_of(settings, "north")
    assert view["missing"] == NO_WEATHER
    assert (view["series"], view["cut"], view["population"], view["figures"], view["days"]) == (
        None,
        None,
        None,
        [],
        [],
    )
    assert len(view["items"]) == 5
    assert [one["name"] for one in view["charts"]["whole"]["desk"]] == ["temperature", "done"]
    View.model_validate(view)


def test_what_is_made_is_kept_with_its_moment(settings):
    told = made(settings, lambda done: None, "north")
    view = kept(settings.journal, "north")
    assert view is not None
    assert told["made_at"] == view["made_at"] == "2026-02-03T21:00:00+00:00"
    assert view["entries"] == 5


def test_what_is_still_to_come_is_not_known_yet(settings):
    early = replace(settings, now=_on_the_tenth)
    view = view_of(early, "north")
    assert [item["says"].split(",")[0] for item in view["items"]] == ["temperature", "temperature"]
    assert view["entries"] == 5  # of the journal: none of them is newer


def _on_the_tenth():
    return datetime(2025, 12, 5, tzinfo=UTC) + timedelta(days=5)
