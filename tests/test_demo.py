"""The invented keeper: every line is understood, true of what was read, and the same each time."""

from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.demo import winter as demo
from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount
from underlid.records import Note, Reading, SampleCount, Sighting

AIR = demo.weather()


@given(reading_c=st.floats(-20, 35), seed=st.integers(0, 10**6))
@settings(deadline=None)
def test_what_the_keeper_writes_is_true_of_the_thermometer(reading_c, seed):
    words = demo.spoken(reading_c, np.random.default_rng(seed))
    meaning = parse_amount(words, expect="degC")
    # An "about" is right in nine of ten; it may be off by its own spread and rounding.
    slack = 4.0 if meaning.kind == "about" else 0.01
    assert meaning.low - slack <= reading_c <= meaning.high + slack, words


def test_an_about_holds_the_thermometer_nine_times_in_ten():
    rng = np.random.default_rng(0)
    held: list[bool] = []
    while len(held) < 3000:
        reading_c = rng.uniform(-5, 20)
        meaning = parse_amount(demo.spoken(reading_c, rng), expect="degC")
        if meaning.kind == "about":
            held.append(meaning.low <= reading_c <= meaning.high)
    assert np.mean(held) == pytest.approx(0.9, abs=0.03)


@pytest.mark.parametrize("invented", demo.BINS, ids=lambda invented: invented.name)
def test_every_line_is_understood_and_nothing_is_left_as_a_note(invented):
    record = demo.make_bin(invented)
    truth = demo.true_course(invented, record, [], AIR)
    numbers = count()
    counts = demo.count_lines(invented, record, truth)
    lines = [*demo.feeding_lines(invented), *demo.visit_lines(invented, truth), *counts]
    entries = [
        entry
        for at, line in lines
        for entry in parse_line(line, bin=record, now=at, new_id=lambda: str(next(numbers))).records
    ]
    assert not [entry for entry in entries if isinstance(entry, Note)]
    assert sum(isinstance(entry, Reading) for entry in entries) >= 20
    assert sum(isinstance(entry, SampleCount) for entry in entries) == 4


def test_the_demo_leaves_a_journal_that_is_not_its_own_alone(tmp_path):
    folder = tmp_path / "invented-journal"
    with Journal.create(folder) as mine:
        mine.add_bin(replace(demo.make_bin(demo.BINS[0]), name="mine"))
    with pytest.raises(demo.NotTheDemos, match="of your own"):
        demo.run(tmp_path)
    with Journal.open(folder) as mine:
        assert [record.name for record in mine.bins()] == ["mine"]


@pytest.mark.parametrize("invented", demo.BINS, ids=lambda invented: invented.name)
def test_the_keeper_sees_no_more_worms_than_there_are(invented):
    record = demo.make_bin(invented)
    truth = demo.true_course(invented, record, [], AIR)
    numbers = count()
    for at, line in demo.visit_lines(invented, truth):
        for entry in parse_line(line, bin=record, now=at, new_id=lambda: str(next(numbers))).records:
            if isinstance(entry, Sighting):
                assert entry.amount.low <= truth.on(at)[1:].sum()


def test_the_same_seed_tells_the_same_winter():
    invented = demo.BINS[1]
    record = demo.make_bin(invented)
    first, second = (demo.true_course(invented, record, [], AIR) for _ in range(2))
    assert first.edge_c.tobytes() == second.edge_c.tobytes()
    assert list(demo.visit_lines(invented, first)) == list(demo.visit_lines(invented, second))
    assert demo.make_bin(invented) == record
