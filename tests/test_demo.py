"""The invented keeper: every line is understood, true of what was read, and the same each time."""

import io
from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from underlid.demo import trial
from underlid.demo import winter as demo
from underlid.demo.acid import strip_lines
from underlid.demo.drawn import GPS, photographed
from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.monthly import photos_of, pictures_of
from underlid.quantity.amount import parse_amount
from underlid.records import STAGES, Note, Reading, SampleCount, Sighting
from underlid.trials.plan import digest, plan_from

AIR = demo.weather()


@given(reading_c=st.floats(-20, 35), seed=st.integers(0, 10**6))
@settings(deadline=None)
def test_what_the_keeper_writes_is_true_of_the_thermometer(reading_c, seed):
    words = demo.spoken(reading_c, np.random.default_rng(seed))
    meaning = parse_amount(words, expect="degC")
    # An "about" is right in nine of ten; it may be off by its own spread and rounding.
    slack = 4.0 if meaning.kind == "about" else 0.01
    assert meaning.low - slack <= reading_c <= meaning.high + slack, words


@pytest.mark.computes
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


def test_what_the_strip_showed_is_understood_and_the_same_each_time():
    invented = demo.BINS[0]
    record = demo.make_bin(invented)
    lines = [list(strip_lines(record, (), demo.NOW, demo.STRIPS, np.random.default_rng(3))) for _ in range(2)]
    assert lines[0] == lines[1]
    for at, line in lines[0]:
        (reading,) = parse_line(line, bin=record, now=at, new_id=lambda: "1").records
        assert isinstance(reading, Reading)
        assert reading.quantity == "pH"
        assert 3 < reading.amount.low < reading.amount.high < 10


@pytest.mark.computes
def test_invented_pictures_say_where_they_were_taken_until_an_account_shows_them(tmp_path):
    record = demo.make_bin(demo.BINS[0])
    with Journal.create(tmp_path) as journal:
        journal.add_bin(record)
        kept = photographed(tmp_path, record, demo.NOW, str)
        journal.add(kept)
        assert len(photos_of(journal, record.name, demo.MONTH)) == 2
        (shown, _) = pictures_of(journal, photos_of(journal, record.name, demo.MONTH))
    with Image.open(tmp_path / "photos" / kept[1].file) as taken:
        assert taken.getexif().get_ifd(GPS)
    with Image.open(io.BytesIO(shown.jpeg)) as bare:
        assert not bare.getexif()
    assert shown.caption.startswith("invented picture")


def test_the_same_seed_tells_the_same_winter():
    invented = demo.BINS[1]
    record = demo.make_bin(invented)
    first, second = (demo.true_course(invented, record, [], AIR) for _ in range(2))
    assert first.edge_c.tobytes() == second.edge_c.tobytes()
    assert list(demo.visit_lines(invented, first)) == list(demo.visit_lines(invented, second))
    assert demo.make_bin(invented) == record


# --- the trial ---------------------------------------------------------------------------------------------


def test_every_count_of_the_trial_is_understood_and_nothing_is_left_as_a_note():
    numbers = count()
    lines = trial.count_lines()
    assert len(lines) == len(trial.BINS) * len(trial.LOOKS)
    assert any("about" in line for _, _, line in lines)
    for at, name, line in lines:
        understood = parse_line(line, bin=trial.make_bin(name), now=at, new_id=lambda: str(next(numbers)))
        (one,) = understood.records
        assert isinstance(one, SampleCount), line
        assert {stage for stage, _ in one.counts} == set(STAGES)
    assert trial.count_lines() == lines
    assert trial.count_lines(trial.SEED + 1) != lines


@pytest.mark.computes
def test_the_invented_trial_runs_to_its_verdict_the_same_each_time(tmp_path, monkeypatch):
    monkeypatch.setattr(trial, "TRIALS", 50)  # the power is no part of this
    said: list[str] = []
    told = trial.run(tmp_path / "one", say=said.append)
    assert told["verdict"] in ("holds within the margin", "cannot tell yet")  # in truth the change does nothing
    assert str(told["sentence"]) in "\n".join(said)
    again = trial.run(tmp_path / "two", say=said.append)
    names = (f"{trial.NAME}.json", f"trial-{trial.NAME}.html")
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert again["sha256"] == told["sha256"]
    plan = plan_from((tmp_path / "one" / names[0]).read_text("utf-8"))
    assert digest(plan) == told["sha256"]
    assert plan.expected["trials"] == 50
    with Journal.open(tmp_path / "one" / "invented-trial") as journal:
        assert journal.plan(trial.NAME).sha256 == told["sha256"]
        assert {record.name for record in journal.bins()} == set(trial.BINS)


def test_the_trial_leaves_a_journal_that_is_not_its_own_alone(tmp_path):
    with Journal.create(tmp_path / "invented-trial") as mine:
        mine.add_bin(replace(trial.make_bin("ash"), name="mine"))
    with pytest.raises(demo.NotTheDemos, match="of your own"):
        trial.run(tmp_path)
