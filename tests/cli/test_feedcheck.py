"""Whether a feeding is fine, as a keeper asks it."""

import pytest

from tests.cli.conftest import NOW, dump

pytestmark = pytest.mark.usefixtures("quick")

PEEL = ("50 g lemon peel", "--at", "10-12 C")


@pytest.fixture
def ask(with_bin):
    return lambda *words: with_bin("feedcheck", "north", "--now", NOW, *words)


@pytest.fixture
def manure(underlid):
    """A bin of 30 L of old manure."""
    made = underlid(
        "new", "heap", "--size", "50 x 30 x 25 cm", "--bedding", "old horse manure 20 cm", "--founders", "20 to 30",
        "--started", "1 Dec 2025", "--timezone", "Europe/London", "--now", NOW,
    )  # fmt: skip
    assert made.code == 0, made.err
    return lambda *words: underlid("feedcheck", "heap", "--now", NOW, *words)


def test_the_verdict_comes_first_and_the_figures_after(manure):
    told = manure(*PEEL)
    assert told.code == 0, told.err
    assert told.out.startswith("Fine: 50 g of lemon peel (citrus peel) in bin heap.\n")
    said = " ".join(told.out.split())
    for part in (
        "acid, lowest pH", "ammonia, mg N/g", "salt added", "heat, warmest", "air, g oxygen/h", "appetite", "°F",
        "whatif --feed", "our judgement", "No --ph is given", "Heed.", "Taken for granted.",
    ):  # fmt: skip
        assert part in said


def test_words_need_no_quotes_and_may_begin_with_fed(manure):
    one = manure("--at", "10-12 C", "50", "g", "lemon", "peel").out
    assert one == manure(*PEEL).out
    assert manure("fed 50 g lemon peel", "--at", "10-12 C").out == one


def test_much_fresh_poultry_manure_is_not_now(manure):
    told = manure("2 kg fresh poultry manure", "--at", "10-12 C")
    assert told.code == 0, told.err
    assert told.out.startswith("Not now: 2 kg of fresh poultry manure (poultry manure) in bin heap.\nBecause: ")
    assert "At most" not in told.out.splitlines()[0]
    assert "ten worms" in told.out


def test_smaller_names_an_amount_that_is_fine(manure):
    told = manure("400 g lettuce", "--at", "10-12 C", "--json").json
    assert told["verdict"] == "smaller"
    assert told["fine_portion"]
    grams = 1000 * told["fine_kg"]
    assert 0 < grams < 400
    assert manure(f"{grams:.6g} g lettuce", "--at", "10-12 C", "--json").json["verdict"] == "fine"
    assert f"At most {grams:.6g} g, {told['fine_portion']}, would be fine." in manure(
        "400 g lettuce", "--at", "10-12 C"
    ).out.replace("\n", " ")


def test_json_has_every_figure_with_its_range(ask):
    before = dump()
    told = ask("300 g lemon peel", "--at", "10-12 C", "--ph", "6.5-7", "--heaps", "3", "--json")
    assert told.code == 0, told.err
    found = told.json
    assert found["provenance"] == "predicted"
    assert found["heaps"] == 3
    assert found["bedding"]["ph"] == [6.5, 7.0]
    assert found["bedding"]["bedding_c"] == [10.0, 12.0]
    assert [one["material"] for one in found["bedding"]["layers"]] == ["leaves", "old horse manure"]
    for one in found["items"]:
        for points in filter(None, (one["figure"], one["limit"])):
            assert points["p5"] <= points["p50"] <= points["p95"]
    assert ask("300 g lemon peel", "--at", "10-12 C", "--ph", "6.5-7", "--heaps", "3", "--json").out == told.out
    assert ask("300 g lemon peel", "--at", "10-12 C", "--seed", "2", "--json").out != told.out
    assert dump() == before


def test_the_temperature_is_read_from_the_journal_or_asked_for(ask, with_bin):
    told = ask("50 g lemon peel")
    assert told.code == 2
    assert told.err.count("\n") == 1
    assert "--at “10-12 C”" in told.err
    assert with_bin("log", "north", "28 Jan: middle 7-8 C", "--yes", "--now", NOW).code == 0
    told = ask("50 g lemon peel", "--json")
    assert told.json["bedding"]["bedding_c"] == [7.0, 8.0]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("100 g lemmon peel", "--at", "10 C"), "Did you mean 'lemon peel'"),
        (("2 lemons", "--at", "10 C"), "both ends"),
        (("middle 7 C; edge 6 C", "--at", "10 C"), ""),
        (("100 g lemon peel", "--at", "warm"), "warm"),
        (("100 g lemon peel", "--at", "above 5 C"), "--at"),
        (("100 g lemon peel", "--at", "80 C"), "--at"),
        (("100 g lemon peel", "--at", "10 C", "--ph", "above 6"), "--ph"),
        (("0 g lemon peel", "--at", "10 C"), "not one feeding"),
    ],
)
def test_what_cannot_be_asked_is_said_in_one_sentence(ask, words, says):
    told = ask(*words)
    assert told.code == 2, told.out
    assert says in told.err
    assert told.out == ""
    assert "Traceback" not in told.err


def test_a_bin_that_is_not_there(ask, with_bin):
    told = with_bin("feedcheck", "nort", *PEEL)
    assert told.code == 2
    assert "Did you mean 'north'" in told.err


def test_the_ph_now_is_that_of_the_journal_and_what_was_fed_is_still_there(ask, with_bin):
    for line in ("20 Jan: edge pH 6 to 6.5 with a strip", "28 Jan: middle 7-8 C, pH 6.2 with a meter"):
        assert with_bin("log", "north", line, "--yes", "--now", NOW).code == 0
    assert with_bin("log", "north", "1 Feb 12:00: fed 500 g lemon", "--yes", "--now", NOW).code == 0
    told = ask("50 g lemon peel", "--json")
    assert told.code == 0, told.err
    bedding = told.json["bedding"]
    assert (bedding["ph_from"], bedding["ph_readings"], bedding["fed_before"]) == ("readings", 2, 1)
    assert bedding["ph"][0] < 6.4 < bedding["ph"][1]
    assert any("estimated from 2 readings and 1 feeding" in note for note in told.json["notes"])
    assert any("With --weather" in note for note in told.json["notes"])
    said = ask("50 g lemon peel", "--ph", "6.5-7", "--json").json["bedding"]
    assert (said["ph"], said["ph_from"], said["fed_before"]) == ([6.5, 7.0], "said or judged", 1)
