"""How many worms live in a bin, as a keeper asks it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.cli.conftest import NOW, dump
from underlid.cli import count
from underlid.counting import CannotTell
from underlid.counting.detection import Recovery
from underlid.records import STAGES

pytestmark = pytest.mark.usefixtures("quick")

LINES = (
    "30 Jan: sample 0.5 L middle: 9 adults",
    "2 Feb: sample 0.5 L middle: 3 adults, 8 juveniles, 2 cocoons",
    "2 Feb: sample 0.5 L middle: 5 adults, about a dozen juveniles, 0 cocoons",
    "2 Feb: sample 0.5 L edge: 0 adults, 2 juveniles, 0 cocoons",
    "2 Feb: sample 0.5 L edge: 1 adult, 4 juveniles, 1 cocoon",
    "2 Feb: saw about 30 worms near the top",
)


@pytest.fixture
def ask(with_bin):
    for line in LINES:
        assert with_bin("log", "north", line, "--yes", "--now", NOW).code == 0
    return lambda *words: with_bin("count", "north", "--now", NOW, *words)


def test_the_total_comes_first_with_its_range_and_its_entries(ask):
    told = ask()
    assert told.code == 0, told.err
    lines = told.out.splitlines()
    assert lines[0].startswith("Bin north: about ")
    assert "nine chances in ten" in lines[0]
    assert "4 samples, 2 litres" in told.out
    assert told.out.count("  sample of 0.5 L") == 4
    assert "30 Jan" not in told.out  # only the latest day with samples
    for part in (
        "all but cocoons",
        "at least 24 worms",
        "our judgement",
        "What would narrow it",
        "more samples of 0.5 L",
    ):
        assert part in told.out


def test_json_has_every_stage_with_its_range(ask):
    told = ask("--json").json
    assert [stage["stage"] for stage in told["stages"]] == ["cocoon", "juvenile", "adult"]
    assert told["not_looked_for"] == ["hatchling", "sub-adult"]
    assert len(told["entries"]) == 4
    for stage in told["stages"]:
        assert stage["found"][0] <= stage["total"]["p5"] <= stage["total"]["p50"] <= stage["total"]["p95"]
        assert 0 < stage["detection"]["p5"] < stage["detection"]["p95"] <= 1
    assert told["worms"]["p5"] >= 24
    assert told["worms"]["p5"] < told["worms"]["p50"] < told["worms"]["p95"]
    assert told["seen_at_least"][0]["at_least"] == {"worm": 24}
    assert told["provenance"] == "estimated"
    assert told["refused"] == []
    widths = list(told["narrowing"]["width_with_more_samples"].values())
    assert widths == sorted(widths, reverse=True)


def test_the_same_question_has_the_same_answer_and_the_journal_stays(ask):
    before = dump()
    assert ask("--json").out == ask("--json").out
    assert dump() == before


def test_a_span_takes_more_days(ask):
    assert len(ask("--since", "29 Jan", "--json").json["entries"]) == 5
    assert len(ask("--until", "31 Jan", "--json").json["entries"]) == 1


def test_the_bedding_as_it_is_and_a_trial_narrow_the_range(ask):
    def wide(*words):
        worms = ask("--json", *words).json["worms"]
        return (worms["p95"] - worms["p5"]) / worms["p50"]

    trial = ("--recovered", "juvenile 70 of 100, adults 19 of 20", "--recovered", "cocoon 3 of 10")
    assert wide("--litres", "about 20 L", *trial) < wide()
    assert [row["stage"] for row in ask("--json", *trial).json["recovered"]] == ["juvenile", "adult", "cocoon"]


def test_a_bucket_of_the_keepers_is_a_volume_of_bedding(ask, with_bin):
    assert with_bin("container", "bucket", "10 L").code == 0
    litres = ask("--json", "--litres", "2 buckets").json["bedding_litres"]
    assert 15 < litres["p5"] < 20 < litres["p95"] < 26


def test_passes_and_two_sorters_need_no_samples(with_bin):
    told = with_bin("count", "north", "--passes", "38,26,12", "--observers", "20,15,both 12", "--now", NOW)
    assert told.code == 0, told.err
    assert "about 92 animals" in told.out
    assert "about 25 were there" in told.out.replace("\n", " ")
    facts = with_bin("count", "north", "--passes", "38,26,12", "--json", "--now", NOW).json
    assert facts["passes"]["number"] == 92
    assert facts["stages"] == []
    few = with_bin("count", "north", "--passes", "3,0", "--json", "--now", NOW).json["passes"]
    assert (few["p5"], few["number"], few["p95"]) == (3, 3, 10)
    assert with_bin("count", "north", "--passes", "2,1", "--json", "--now", NOW).json["passes"]["p95"] is None
    unequal = ("count", "north", "--passes", "100,60,36", "--effort", "1,1,1", "--json", "--now", NOW)
    assert with_bin(*unequal).json["passes"]["number"] == pytest.approx(250)


def test_rising_catches_are_told_beside_the_total(ask):
    told = ask("--passes", "5,7,8")
    assert told.code == 0
    assert "Cannot be told." in told.out
    assert "do not fall" in told.out
    assert "119" not in told.out


def test_how_many_samples_a_wanted_precision_needs(ask):
    assert "standard error of 20 %" in ask("--precision", "20").out
    assert ask("--precision", "20", "--json").json["narrowing"]["samples_for_precision"] > 1


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "No sample"),
        (("--passes", "5,7,8"), "do not fall"),
        (("--passes", "5"), "One pass"),
        (("--passes", "many"), "38,26,12"),
        (("--passes", "5.5,2"), "whole numbers"),
        (("--passes", "1e400,2"), "38,26,12"),
        (("--effort", "1,2"), "--passes"),
        (("--passes", "9,5,2", "--effort", "1,2"), "an effort above 0 for each"),
        (("--passes", "0,0,5", "--effort", "1,1,1"), "does not fall"),
        (("--observers", "20,15,0"), "set no upper end"),
        (("--observers", "20 and 15"), "20,15,both 12"),
        (("--recovered", "worms 3 of 5"), "juvenile 14 of 20"),
        (("--recovered", "adult 7 of 5"), "put in"),
        (("--litres", "at least 5 L"), "no bounds"),
        (("--litres", "5 kg"), "kg"),
        (("--since", "3 Mrch"), "^"),
        (("--precision", "0"), "--precision"),
    ],
)
def test_what_cannot_be_told_is_said_in_a_sentence(with_bin, words, part):
    before = dump()
    told = with_bin("count", "north", "--now", NOW, *words)
    assert told.code == 2, told.out
    assert "Traceback" not in told.err
    assert part in told.err
    assert dump() == before


def test_a_bin_that_is_not_there(with_bin):
    told = with_bin("count", "nroth", "--now", NOW)
    assert told.code == 2
    assert "north" in told.err


def test_more_bedding_sampled_than_there_is(with_bin):
    for place in ("middle", "edge"):
        assert with_bin("log", "north", f"2 Feb: sample 30 L {place}: 90 adults", "--yes", "--now", NOW).code == 0
    told = with_bin("count", "north", "--now", NOW)
    assert told.code == 2
    assert "more than" in told.err


@given(st.text() | st.from_regex(r"[a-z-]{0,12} \d+ of \d+|[\d., both]+", fullmatch=True))
def test_any_words_are_understood_or_refused(words):
    for read in (lambda: count._whole(words, "--passes", ""), lambda: count._recoveries([words]),
                 lambda: count._observers(words)):  # fmt: skip
        try:
            found = read()
        except (count.NotUnderstood, CannotTell):
            continue
        assert found


@given(st.sampled_from(STAGES), st.integers(0, 500), st.integers(0, 500), st.sampled_from(["", "s"]))
def test_trials_and_sorters_are_read_as_written(stage, found, missed, plural):
    if found + missed:
        said = f"{stage}{plural} {found} of {found + missed}"
        assert count._recoveries([f"{said}, {said}"]) == (Recovery(stage, found, found + missed),) * 2
    assert count._observers(f"{found}, {missed},both {found}") == (found, missed, found)
    assert count._whole(f"{found},{missed}", "--passes", "") == (found, missed)
