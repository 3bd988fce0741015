"""What has become of bedding and food, as a keeper asks for it."""

from dataclasses import replace

import pytest
import typer

from tests.cli.conftest import NOW
from tests.update.sample import ZONE, sample
from underlid.cli.castings import castings, sentences
from underlid.fit.balance_sheet import balance_sheet
from underlid.fit.reckoning import Reached

pytestmark = pytest.mark.usefixtures("quick")


@pytest.fixture
def ask(logged, winter, monkeypatch):
    """The command, on an app of its own beside one more, so that it is called by its name."""
    for line in ("10 Dec: fed 300 g kitchen scraps", "12 Jan: fed two banana peels", "20 Jan: fed 1 L coffee grounds"):
        done = logged("log", "north", line, "--yes", "--now", NOW)
        assert done.code == 0, done.err
    small = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    small.command("castings")(castings)
    small.command("other")(lambda: None)
    monkeypatch.setattr("underlid.cli.app.app", small)

    def call(*words):
        return logged("castings", "north", "--weather", winter, "--now", NOW, *words)

    return call


def test_the_table_and_the_answers(ask):
    told = ask()
    assert told.code == 0, told.err
    assert told.out.startswith("Bin north: estimated from what was laid and two feedings, ")
    for name in ("leaves", "old horse manure", "kitchen scraps", "coffee grounds", "in all"):
        assert name in told.out
    for question in ("Lost to the air?", "Water?", "Nitrogen?", "Sunk?", "Castings so far?", "Harvest?"):
        assert question in told.out
    flat = " ".join(told.out.split())
    assert "One feeding could not be weighed, so every mass here is a lower bound." in flat
    assert "25 °C (77 °F)" in flat
    assert "Predicted: " in flat
    assert "judgement" in flat


def test_json_holds_every_figure_with_its_range(ask):
    told = ask("--json").json
    assert told["provenance"] == {"until_now": "estimated", "later": "predicted"}
    assert told["lower_bound"] is True
    assert len(told["left_out"]) == 1
    named = {row["name"] for row in told["materials"]}
    assert named == {"old horse manure", "leaves", "kitchen scraps", "coffee grounds"}
    whole = told["in_all"]
    for figure in whole.values():
        assert figure["p5"] <= figure["p50"] <= figure["p95"]
    assert 0 < whole["lost"]["p50"] < 1
    assert whole["co2"]["p50"] == pytest.approx(whole["carbon_gone"]["p50"] * 44.009 / 12.011, rel=1e-3)
    assert told["through_worms_kg"] is None
    assert len(told["time"]) == len(told["ripeness"]["p50"]) == len(told["castings_kg"]["p95"])
    assert told["now"] in told["time"]
    assert 0 <= told["harvest"]["chance"] <= 1


def test_with_the_colony_it_tells_what_has_passed_through_worms(ask):
    told = ask("--worms", "--json").json
    assert 0 < told["through_worms_kg"]["p50"] <= told["castings"]["dry_kg"]["p95"]


def test_the_same_seed_prints_the_same_again(ask):
    first = ask("--json").out
    assert ask("--json").out == first


def test_an_unknown_bin_is_said_in_one_sentence(ask, logged, winter):
    told = logged("castings", "south", "--weather", winter, "--now", NOW)
    assert told.code == 2
    assert "south" in told.err


@pytest.fixture(scope="module")
def sheet():
    return balance_sheet(sample(), 1)


def said(sheet, question):
    return dict(sentences(sheet, ZONE))[question]


def test_a_harvest_is_dated_with_its_chance_and_what_it_gives(sheet):
    first, middle, last = (int(second) for second in sheet.time_utc[[60, 70, 80]])
    never = said(sheet, "Harvest?")
    assert "ripe in none of the draws by 31 Mar 2026" in never
    maybe = replace(sheet, ripe=Reached(0.4, (first, middle, last)), at_ripe=sheet.at_end)
    told = said(maybe, "Harvest?")
    assert "the chance that it is ripe by 31 Mar 2026 is about 40" in told
    assert "between 3 Feb 2026 and 23 Feb 2026, most likely about 13 Feb 2026" in told
    assert "A harvest then would give" in told
    sure = said(replace(maybe, ripe=Reached(1.0, (first, first, first))), "Harvest?")
    assert "Predicted: ripe on 3 Feb 2026." in sure
    assert "chance" not in sure


@pytest.mark.parametrize(
    ("sunk", "words"),
    [
        ((0.1, 0.2, 0.3), "it has sunk by 10 to 30 % (about 20)"),
        ((-0.3, -0.2, -0.1), "it has risen by 10 to 30 % (about 20)"),
        ((-0.1, 0.1, 0.3), "it may have sunk by up to 30 % or risen by up to 10 %"),
    ],
)
def test_sinking_is_told_as_such_only_where_the_draws_agree(sheet, sunk, words):
    assert words in said(replace(sheet, sunk=sunk), "Sunk?")


@pytest.mark.parametrize(
    ("added", "let_go", "words"),
    [
        ((1.0, 2.0, 3.0), (0.0, 0.0, 0.0), "1 to 3 kg (about 2) has come by wetting"),
        ((0.0, 0.0, 0.0), (1.0, 2.0, 3.0), "1 to 3 kg (about 2) has evaporated or drained"),
        ((0.0, 0.0, 2.0), (0.0, 1.0, 3.0), "cannot be told"),
    ],
)
def test_water_is_told_to_have_come_or_gone_only_where_the_draws_agree(sheet, added, let_go, words):
    assert words in said(replace(sheet, water_added=added, water_let_go=let_go), "Water?")
