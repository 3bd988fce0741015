"""The colony of a bin as a keeper asks for it."""

import pytest

from tests.cli.conftest import NOW

pytestmark = pytest.mark.usefixtures("quick")


@pytest.fixture
def ask(logged, winter):
    def call(*words):
        return logged("population", "north", "--weather", winter, "--now", NOW, *words)

    return call


def test_stages_now_and_later_and_the_answers(ask):
    told = ask()
    assert told.code == 0, told.err
    assert told.out.startswith("Bin north: estimated from ")
    for name in ("cocoons", "hatchlings", "juveniles", "sub-adults", "adults", "worms in all", "live mass"):
        assert name in told.out
    for question in ("Young in the cold?", "Twice as many?", "Crowded?", "How much to feed?", "Eaten through?"):
        assert question in told.out


def test_json_has_every_stage_on_every_day(ask):
    told = ask("--json").json
    days = len(told["time"])
    assert days > 60
    for stage in ("cocoon", "hatchling", "juvenile", "sub-adult", "adult", "worms"):
        low, middle, high = (told["stages"][stage][name] for name in ("p5", "p50", "p95"))
        assert len(low) == len(middle) == len(high) == days
        assert all(a <= b <= c for a, b, c in zip(low, middle, high, strict=True))
    assert told["time"].index(told["now"]) < days
    assert told["provenance"] == {"until_now": "estimated", "later": "predicted"}
    assert told["answers"]["eats_kg"] is None  # the weather ends here
    assert 0 <= told["answers"]["casts_kg"][0] <= told["answers"]["casts_kg"][2]


def test_a_census_is_remembered_and_the_same_again(ask):
    first = ask("--json").out
    assert ask("--json").out == first


def test_a_bin_without_a_count_is_told_as_resting_on_the_founders_alone(with_bin, winter):
    told = with_bin("population", "north", "--weather", winter, "--now", NOW)
    assert told.code == 0, told.err
    assert "no count or sighting" in told.out
    assert "Nothing was counted or seen" in told.out


def test_an_unknown_bin_is_said_in_one_sentence(with_bin, winter):
    told = with_bin("population", "south", "--weather", winter, "--now", NOW)
    assert told.code == 2
    assert "south" in told.err
