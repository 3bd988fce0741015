"""What the species command tells, and what it refuses."""

from dataclasses import asdict

import pytest

from underlid.worms.projection import doubling_days
from underlid.worms.species import species


@pytest.fixture(autouse=True)
def wide(monkeypatch):
    """A terminal so wide that no cell of a table is broken."""
    monkeypatch.setenv("COLUMNS", "1000")


def flat(text):
    """The words of a table without its columns' line breaks."""
    return " ".join(text.split())


def test_all_species_are_listed_on_both_scales(underlid):
    told = underlid("species").out
    for name in ("Eisenia fetida", "Eisenia andrei", "Dendrobaena veneta"):
        assert name in told
    assert "0 to 35 °C (32 to 95 °F)" in flat(told)
    assert [one["name"] for one in underlid("species", "--json").json] == [
        "Dendrobaena veneta", "Eisenia andrei", "Eisenia fetida",
    ]  # fmt: skip


def test_facts_come_with_range_source_and_conflict(underlid):
    told = underlid("species", "E. fetida").out
    assert told.startswith("Eisenia fetida (brandling")
    assert "0 °C (32 °F)" in told
    assert "83.2 % (70 to 90 %) of all" in flat(told)
    assert "Edwards 1988" in told
    assert "Sources conflict on: tolerated down to; grows best at" in told
    assert "degC" not in told
    assert "survived −8 °C (18 °F) for 3 months" in told


def test_what_is_not_known_is_said(underlid):
    told = flat(underlid("species", "D. veneta").out)
    assert "life span not known" in told
    assert underlid("species", "D. veneta", "--json").json["facts"]["life_span_years"] is None


def test_json_keeps_value_range_source_mark_and_conflict(underlid):
    found = underlid("species", "European nightcrawler", "--json").json
    assert found["name"] == "Dendrobaena veneta"
    hatching = found["facts"]["hatching_share"]
    assert (hatching["low"], hatching["high"], hatching["conflict"]) == (0.2, 0.88, True)
    assert "Viljoen et al. 1991" in hatching["source"]
    assert hatching["mark"] == "seen second-hand"
    assert [row["bedding_c"] for row in found["facts"]["incubation_days"]["at"]] == [15, 25]
    assert len(found["growth"]) == 4
    assert "rates" not in found


def test_rates_at_a_temperature_have_ranges(underlid):
    """Incubation at 15 degC 40-60 days, to clitellum 70-170 (see the file), 1-1.5 cocoons a week."""
    rates = underlid("species", "E. fetida", "--at", "15.0 C", "--json").json["rates"]
    assert rates["provenance"] == "predicted"
    assert rates["bedding_c"][0] < 15 < rates["bedding_c"][1]
    assert rates["beyond_the_sources"] == []
    assert rates["incubation_days"] == pytest.approx({"value": 50, "low": 40, "high": 60}, rel=0.02)
    assert rates["maturation_weeks"] == pytest.approx({"value": 85 / 7, "low": 10, "high": 170 / 7}, rel=0.02)
    assert rates["cocoons_per_week"] == pytest.approx({"value": 1.25, "low": 1, "high": 1.5}, rel=0.03)


def test_numbers_double_at_best_in_so_many_weeks(underlid):
    told = underlid("species", "E. fetida", "--at", "15.0 C")
    rates = underlid("species", "E. fetida", "--at", "15.0 C", "--json").json["rates"]
    assert rates["doubling_days_at_best"] == asdict(doubling_days(species("E. fetida"), *rates["bedding_c"]))
    assert rates["doubling_days_at_best"]["value"] == pytest.approx(4.6 * 7, rel=0.01)
    assert "doubles in number, at best 4.6 weeks 3.3 to 12 weeks predicted from the rows above" in flat(told.out)
    assert "0.4 % of the young dying a day: no source (judgement)" in told.out
    assert "Real bins grow more slowly" in told.out
    assert "life span of 1.5 years: as Eisenia fetida" in underlid("species", "D. veneta", "--at", "15 C").out


def test_a_vaguer_temperature_gives_a_wider_range(underlid):
    def width(at):
        span = underlid("species", "E. fetida", "--at", at, "--json").json["rates"]["incubation_days"]
        return span["high"] - span["low"]

    assert width("12 C") < width("10-14 C")
    assert width("50-57 F") == pytest.approx(width("10-14 C"), rel=0.2)


def test_rates_are_told_with_source_and_conflict(underlid):
    told = flat(underlid("species", "E. fetida", "--at", "24 C").out)
    assert "taken as 23.5 to 24.5 °C (74 to 76 °F)" in told
    assert "predicted" in told
    assert "laying to hatching" in told
    assert "Sources conflict." in told


def test_where_nothing_develops_it_is_said_and_frost_is_named(underlid):
    told = underlid("species", "E. fetida", "--at", "-3 C")
    assert "not within 10 years" in flat(told.out)
    assert "0 a week" in told.out
    assert "our judgement" in told.out
    assert "frozen bedding kills" in told.out
    rates = underlid("species", "E. fetida", "--at", "-3 C", "--json").json["rates"]
    assert rates["incubation_days"] == {"value": None, "low": None, "high": None}
    assert rates["doubling_days_at_best"] == {"value": None, "low": None, "high": None}


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("L. terrestris",), "known species: "),
        (("--at", "12 C"), "--at needs a species"),
        (("E. fetida", "--at", "below 10 C"), "one end open"),
        (("E. fetida", "--at", "not noted"), "one end open"),
        (("E. fetida", "--at", "12 kg"), "temperature"),
        (("E. fetida", "--at", "warm"), "^"),
        (("",), "known species: "),
    ],
)
def test_what_cannot_be_told_is_refused_in_a_sentence(underlid, words, part):
    told = underlid("species", *words)
    assert told.code == 2
    assert told.err.startswith("underlid: ")
    assert part in told.err
    assert not told.out
