"""The check of the fit as a keeper calls it."""

import pytest

from tests.cli.conftest import LINES, NOW


@pytest.fixture
def ask(logged, winter):
    def call(*words):
        return logged("fitcheck", "north", "--weather", winter, "--now", NOW, *words)

    return call


def test_the_verdict_comes_first_and_a_page_is_written(ask, tmp_path):
    told = ask()
    assert told.code == 0, told.err
    assert told.out.splitlines()[0].startswith("Bin north. ")
    assert "90\u00a0% range (expected" in told.out.splitlines()[0]
    assert told.out.rstrip().endswith("Written to north-fitcheck.html.")
    html = (tmp_path / "north-fitcheck.html").read_text("utf-8")
    assert "Readings and what was expected" in html


@pytest.mark.computes
def test_json_judges_every_used_reading(ask, tmp_path):
    told = ask("--json", "--out", "x.html").json
    assert told["file"] == "x.html"
    assert (tmp_path / "x.html").exists()
    assert told["count"] == len(told["readings"]) == 5
    assert told["few"]
    for row in told["readings"]:
        low, middle, high = row["expected"].values()
        assert low < middle < high
        assert 0 <= row["pit"][0] <= row["pit"][1] <= 1
        assert row["provenance"] == "estimated"
        assert any(row["words"].split()[0] in line for line in LINES)
    rounding = 0.0005 * len(told["parts"])  # each is given to the third decimal
    assert sum(told["parts"]) == pytest.approx(5, abs=rounding)
    assert told["inside"]["by_luck"][0] <= told["inside"]["by_luck"][1]


@pytest.mark.computes
def test_the_same_question_has_the_same_answer(ask):
    assert ask("--json").out == ask("--json").out


def test_a_bin_without_readings_is_answered_all_the_same(with_bin, winter):
    told = with_bin("fitcheck", "north", "--weather", winter, "--now", NOW)
    assert told.code == 0, told.err
    assert "nothing to check" in told.out


@pytest.mark.parametrize(("words", "part"), [(("south",), "south"), (("north", "--weather", "none.csv"), "none.csv")])
def test_what_is_not_there_is_said_in_one_sentence(with_bin, winter, words, part):
    told = with_bin("fitcheck", *words, *([] if "--weather" in words else ["--weather", winter]), "--now", NOW)
    assert told.code == 2
    assert told.err.startswith("underlid: ")
    assert part in told.err
