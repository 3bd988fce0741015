"""Feedings: under a heading, of water, and more than the bin takes."""

import math

import pytest

from tests.test_entry import BIN, only, understood
from underlid.entry import EntryError, describe, inside_l, looks_like, too_much
from underlid.quantity import parse_amount
from underlid.records import Feeding, Note


@pytest.mark.parametrize("verb", ["Feeding: ", "Fed: ", "feeding : ", "fed ", "FEEDING:"])
@pytest.mark.parametrize(
    ("words", "material"), [("100 g coffee grounds", "coffee grounds"), ("coffee grounds 100 g", "coffee grounds")]
)
def test_a_heading_feeds_as_the_verb_does(verb: str, words: str, material: str) -> None:
    record = only(verb + words)
    assert isinstance(record, Feeding)
    assert (record.material, record.amount.low, record.amount.high) == (material, 0.0995, 0.1005)


def test_a_heading_takes_pieces_and_a_little_and_goes_on_after_a_comma() -> None:
    skins, peel = understood("Feeding: 2 banana skins, 50 g peel").records
    assert isinstance(skins, Feeding)
    assert isinstance(peel, Feeding)
    assert (skins.material, skins.amount.low, peel.material) == ("banana skins", 2, "peel")
    some = only("Feeding: a bit of peel")
    assert isinstance(some, Feeding)
    assert some.amount.kind == "not noted"


@pytest.mark.parametrize(
    "line", ["Feeding: skipped", "Feeding: 2 days late", "Feeding: half eaten", "Feeding: none", "feeding well"]
)
def test_a_heading_without_an_amount_is_a_note(line: str) -> None:
    assert isinstance(only(line), Note)


@pytest.mark.parametrize("line", ["added half a litre of water", "watered 0.5 L"])
def test_water_is_shown_as_added(line: str) -> None:
    record = only(f"23 Jan: {line}")
    assert isinstance(record, Feeding)
    assert (record.material, describe(record)) == ("water", "added water: 0.5 L, 23 Jan 2026")


def told(line: str) -> str:
    return "; ".join(understood(f"23 Jan: {line}").notes_on)


def test_more_than_the_bin_holds_is_hardly_possible() -> None:
    # 17.5 x 12.5 x 11.5 in, the largest that "17 x 12 x 11 in" may be, is 41.2 L (1 in = 2.54 cm).
    assert inside_l(BIN) == pytest.approx(17.5 * 12.5 * 11.5 * 2.54**3 / 1000)
    doubt = (
        "150 kg is hardly possible: that is at least 150 L if no denser than water, and the bin holds at most 41.2 L"
    )
    assert doubt in told("fed 150.0 kg lemons")
    assert "is hardly possible: that is at least 59.5 L, and" in told("watered 60 L")


def test_more_than_a_third_of_the_bin_at_once_is_much() -> None:
    doubt = "15 kg is much for one feeding: that is at least 14.5 L if no denser than water, more than a third of"
    assert doubt in told("fed 15 kg lemons")
    third = inside_l(BIN) / 3
    assert told(f"fed {third - 0.1:.2f} kg lemons") == ""
    assert "is much" in told(f"fed {third + 0.1:.2f} kg lemons")


@pytest.mark.parametrize("line", ["added 20 L leaves", "fed 500 lemons", "fed at most 90 kg lemons", "fed 3 kg peel"])
def test_what_may_have_fitted_is_not_doubted(line: str) -> None:
    assert told(line) == ""


def test_open_ends_and_a_bin_of_unknown_size() -> None:
    assert too_much(parse_amount("1 to 90 kg"), 40) is None
    assert too_much(parse_amount("90 kg"), math.inf) is None
    assert too_much(parse_amount("at least 90 kg"), 40) is not None
    assert too_much(parse_amount("not noted", expect="kg"), 40) is None


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("fed 200 g tomorrow", "'tomorrow' is still to come"), ("fed 100 g peel next week", "'next week' is still to"),
        ("fed 100 g apple at 4 C", "a temperature stands in"), ("fed apple 100 g, gave 50 g pear 4 C", "a temperature"),
    ],
)  # fmt: skip
def test_what_is_to_come_and_a_temperature_are_no_food(line: str, what: str) -> None:
    with pytest.raises(EntryError, match=what):
        only(line)


@pytest.mark.parametrize(("line", "litres"), [("added a litre of water", 1.0), ("added a cup of water", 0.2366)])
def test_a_measure_with_an_article_is_an_amount(line: str, litres: float) -> None:
    given = only(line)
    assert isinstance(given, Feeding)
    assert given.material == "water"
    assert given.amount.low < litres < given.amount.high


@pytest.mark.parametrize(
    "line", ["didn't feed the 100 g of apple", "will feed 200 g peel", "lost about 5 worms to a robin"]
)
def test_what_was_not_done_has_no_hint(line: str) -> None:
    assert looks_like(line) is None
