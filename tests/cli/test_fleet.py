"""The fleet command as a keeper of many bins calls it."""

import pytest

from tests.cli.conftest import NOW


@pytest.fixture
def both(logged, winter):
    """Two bins, one with a few readings and one with none, looked at together."""
    made = logged(
        "new", "south", "--size", "60 x 40 x 35 cm", "--bedding", "leaves 8 in", "--moisture", "about 75 %",
        "--founders", "about 50", "--started", "1 Dec 2025", "--timezone", "Europe/London", "--now", NOW,
    )  # fmt: skip
    assert made.code == 0, made.err

    def call(*words):
        return logged("fleet", "--weather", winter, "--now", NOW, "--workers", "1", *words)

    return call


def test_a_table_worst_first_then_how_many(both, tmp_path):
    (tmp_path / "journal" / "fits").unlink()  # those of other tests are not looked up
    told = both()
    assert told.code == 0, told.err
    assert "predicted" in told.out.splitlines()[0] + told.out.splitlines()[1]
    assert "°C" in told.out
    assert "°F" in told.out
    assert "2 bins:" in told.out
    assert "2 fitted anew" in told.out
    said = [line.partition(": ")[2] for line in told.out.splitlines() if line.startswith("Bin")]
    assert said
    assert len(set(said)) == len(said), "what is said of both alike stands once"


def test_json_has_ranges_chances_and_where_they_come_from(both):
    told = both("--json").json
    assert {one["bin"] for one in told["bins"]} == {"north", "south"}
    for one in told["bins"]:
        assert one["ahead"]["provenance"] == "predicted"
        assert one["ahead"]["coldest"]["p5"] <= one["ahead"]["coldest"]["p50"] <= one["ahead"]["coldest"]["p95"]
        for alert in one["alerts"]:
            assert alert["provenance"] in ("read", "estimated", "predicted")
            assert alert["chance"] is None or 0 <= alert["chance"] <= 1
    worst = [max((each["chance"] or 0 for each in one["alerts"]), default=0) for one in told["bins"]]
    assert worst == sorted(worst, reverse=True)


def test_some_bins_can_be_named_and_an_unknown_one_is_refused(both):
    assert [one["bin"] for one in both("--bins", "south", "--json").json["bins"]] == ["south"]
    assert both("--bins", "elsewhere").code != 0


def test_a_bin_may_have_weather_of_its_own_and_what_has_none_is_told_why(both, tmp_path):
    (tmp_path / "none.csv").write_text("nothing")
    told = both("--weather-of", f"south={tmp_path / 'none.csv'}", "--json").json
    assert [one["bin"] for one in told["bins"]] == ["north"]
    assert told["not_told"][0]["bin"] == "south"
    assert "none.csv" in told["not_told"][0]["reason"]
    missing = both("--weather-of", f"south={tmp_path / 'nowhere.csv'}")
    assert missing.code == 2
    assert "there is no file" in missing.err
    refused = both("--weather-of", "south")
    assert refused.code != 0
    assert "north=weather.csv" in refused.err


def test_without_a_bin_it_says_how_to_begin(underlid, winter):
    from underlid.journal.store import Journal

    Journal.create("journal").close()
    told = underlid("fleet", "--weather", winter, "--now", NOW)
    assert told.code != 0
    assert "underlid new" in told.err
