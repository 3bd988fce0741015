"""What pH readings teach of the bedding, on journals whose truth is known."""

import importlib
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import numba
import numpy as np
import pytest

from tests.update.sample import BIN
from underlid.bedding.materials import material
from underlid.chemistry.readings import PH
from underlid.entry import parse_line
from underlid.fit.acidhistory import NoHistory, history
from underlid.fit.acidity import NAMES, acidity, drawn_sets, forward, levels, steps_of
from underlid.fit.acidtelling import ph_now, sentences
from underlid.fit.feedcheck import Amount, Question
from underlid.fit.feedharm import exposed
from underlid.fit.feeding import bedding_of, feed_of
from underlid.quantity import VagueTime, parse_amount
from underlid.worms.species import species

ZONE = ZoneInfo("Europe/London")
BEGIN = datetime(2025, 9, 1, 9, tzinfo=ZONE)
HOME = replace(BIN, timezone="Europe/London", started=VagueTime(BEGIN, BEGIN, "exact", "1 Sep 2025 9:00"))
NOW = BEGIN + timedelta(days=20)
TOOLS = Path(__file__).parents[2] / "tools"


@pytest.fixture(scope="module")
def tool():
    with pytest.MonkeyPatch.context() as patch:
        # The tool takes one thread where nothing is said; here the threads have been launched already.
        patch.setenv("NUMBA_NUM_THREADS", str(numba.config.NUMBA_NUM_THREADS))  # type: ignore[attr-defined]
        patch.syspath_prepend(str(TOOLS))
        return importlib.import_module("calibrate_acidity")


def told(*lines, now=NOW, **other):
    ids = count()
    entries = [
        entry for line in lines for entry in parse_line(line, bin=HOME, now=now, new_id=lambda: str(next(ids))).records
    ]
    return history(HOME, entries, now, **other)


def width(points):
    return points[2] - points[0]


def test_a_lone_vague_reading_hardly_moves_the_buffer_and_the_text_says_so():
    found = acidity(told("5 Sep 2025: pH 5 to 9"), 1, sets=200, rounds=3)
    for name in ("buffer", "half_life"):
        assert found.told[name].narrowed > 0.8
        assert not found.learned(name)
    said = " ".join(sentences(found))
    assert "Hardly learned" in said
    assert "the range after is that before" in said


def test_a_close_reading_tells_the_ph_now():
    found = acidity(told(*(f"2025-09-{day:02d} 12:00: middle pH 6.2 with a meter; edge pH 6.3 with a meter"
                           for day in (8, 12, 16, 20))), 1)  # fmt: skip
    low, middle, high = found.told["now_ph"].after
    assert low < 6.25 < high
    assert middle == pytest.approx(6.25, abs=0.2)
    assert found.told["now_ph"].narrowed < 0.5
    assert found.learned("now_ph")
    assert "8 readings" in ph_now(found)


@pytest.mark.parametrize("true", [0.10, 0.30])
def test_many_readings_about_a_known_dose_narrow_the_buffer_towards_the_truth(true):
    # Shown values are those of one set whose buffer is known; the readings are of a good meter, everywhere.
    of = told("2025-09-08 12:00: fed 6 kg lemon")
    rng = np.random.default_rng(3)
    pool = bedding_of(of.bed, 4000, rng)
    wide = replace(pool, buffer_mol_kg_ph=np.linspace(0.05, 0.45, 4000))
    z = np.zeros((1, len(NAMES)))
    z[0, NAMES.index("buffer")] = {0.10: -1.15, 0.30: 0.32}[true]
    one = drawn_sets(of, wide, z, rng)
    assert float(np.asarray(one.bedding.buffer_mol_kg_ph)[0]) == pytest.approx(true, abs=0.01)
    ran = forward(of, one, steps_of(of))
    days = [*range(2, 8), *range(8, 21)]
    lines = ["2025-09-08 12:00: fed 6 kg lemon"]
    for day in days:
        moment = datetime(2025, 9, day, 18, tzinfo=ZONE)
        at = np.array([(moment - BEGIN).total_seconds() / 3600])
        for place in ("middle", "edge"):
            shown = levels(of, one, ran, place, at)[0][0][0, 0] + rng.normal(0, 0.15)
            lines.append(f"{moment:%Y-%m-%d %H:%M}: {place} pH {shown:.1f} with a meter")
    found = acidity(told(*lines), 2, sets=300, rounds=6)
    before, after = found.told["buffer"].before, found.told["buffer"].after
    assert width(after) < width(before)
    assert abs(after[1] - true) < abs(before[1] - true) or after[0] <= true <= after[2]


def test_sets_that_were_read_higher_are_not_likelier_for_it():
    of = told("2025-09-10 12:00: middle pH 6 to 7 with a strip")
    rng = np.random.default_rng(1)
    pool = bedding_of(of.bed, 4000, rng)
    drawn = drawn_sets(of, pool, np.zeros((1, len(NAMES))), rng)
    ran = forward(of, drawn, steps_of(of))
    found = levels(of, drawn, ran, "middle", of.heard[0].at_h)
    assert sum(float(weight[0, 0]) for _, weight in found) == pytest.approx(1.0)
    assert drawn.scatter[0] == pytest.approx(PH.spots)


def test_a_reading_at_the_place_of_the_food_may_be_of_its_pocket():
    of = told("2025-09-08 12:00: fed 500 g lemon in the middle", "2025-09-09 12:00: edge pH 7")
    rng = np.random.default_rng(1)
    drawn = drawn_sets(of, bedding_of(of.bed, 4000, rng), np.zeros((1, len(NAMES))), rng)
    ran = forward(of, drawn, steps_of(of))
    for place, at_h, beside in (("middle", 180.0, True), ("edge", 180.0, False), ("middle", 100.0, False)):
        weights = [float(weight[0, 0]) for _, weight in levels(of, drawn, ran, place, np.array([at_h]))]
        assert (weights[1] > 0) is beside
    mixed = levels(of, drawn, ran, "not noted", np.array([180.0]))
    assert len(mixed) == 4
    assert sum(float(weight[0, 0]) for _, weight in mixed) == pytest.approx(1.0)
    assert sum(of.shares[place] * drawn.offset[place][0] for place in of.shares) == pytest.approx(0.0, abs=1e-12)


def test_what_cannot_be_used_is_said():
    of = told("2025-09-05 12:00: fed 200 g unobtainium", "2025-09-08: middle pH 7")
    assert not of.fed
    assert len(of.heard) == 1
    assert any("unobtainium" in said for said in of.refused)
    with pytest.raises(NoHistory):
        told(now=BEGIN + timedelta(minutes=10))


def test_the_same_seed_gives_the_same_draws_and_without_readings_the_prior():
    of = told("2025-09-08 12:00: fed 300 g lemon peel")
    one, two = acidity(of, 4, draws=40), acidity(of, 4, draws=40)
    np.testing.assert_array_equal(one.told["now_ph"].draws, two.told["now_ph"].draws)
    assert not any(one.learned(name) for name in one.told)
    assert "No pH reading counts" in sentences(one)[0]


def test_a_second_feeding_soon_after_the_first_is_not_judged_as_if_the_first_had_never_been():
    lemon, every = material("lemon"), np.arange(60)
    start, lowest = {}, {}
    for name, lines in {"once": (), "twice": ("2025-09-20 12:00: fed 3 kg lemon",)}.items():
        of = told("2025-09-02 12:00: fed 1 g lemon", *lines, ph=parse_amount("6.9-7.1", expect="pH"))
        found = acidity(of, 1, draws=60)
        ran = found.fed_now(feed_of(lemon, 0.5, 60, np.random.default_rng(1)), every, np.full(60, 11.0), 10.0)
        start[name], lowest[name] = ran.start_ph, ran.bulk_ph.min(axis=1)
    assert (start["twice"] < start["once"]).mean() > 0.9
    assert np.median(lowest["twice"]) < np.median(lowest["once"])
    asked = Question(of.bed, lemon, Amount(0.5, 0.5), (10.0, 12.0), species("Eisenia fetida"), acidity=found)
    acid = exposed(asked, asked.amount, 5, 60).harms[0]
    np.testing.assert_allclose(np.sort(acid.also["start"]), np.sort(start["twice"]), atol=1e-9)


def test_a_feeding_now_is_that_of_the_learned_bedding():
    found = acidity(told("2025-09-08 12:00: fed 300 g lemon peel"), 4, draws=40)
    ran = found.fed_now(feed_of(material("lemon peel"), 0.3, 40, np.random.default_rng(1)), np.arange(40),
                        np.full(40, 12.0), 5.0)  # fmt: skip
    np.testing.assert_allclose(ran.start_ph, found.told["now_ph"].draws, atol=0.01)
    assert ran.time_h[-1] == 120.0


def test_ranges_of_invented_journals_hold_their_truth_mostly(tool):
    outcomes = []
    for seed in (1, 2, 3):
        of = tool.invent(seed)
        outcomes.append(tool.outcome(seed, acidity(of.laid, seed, sets=150, rounds=4), of, 1.0))
    held = [held for one in outcomes for held in one.held.values()]
    assert sum(held) >= 8  # of 12, each with nine chances in ten: fewer once in 200
    text = tool.report(outcomes)
    assert text.startswith(tool.ACID)
