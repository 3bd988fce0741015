import re
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.quantity import AmountError, VagueAmount, parse_amount, parse_size, unit_written
from underlid.quantity.phrase import examples
from underlid.quantity.units import CANONICAL

WORDS = [
    "6", "7", "6,5", "43", "-3", "−3", "1e9", "1e999", "½", "1/2", "C", "F", "°", "°C", "degrees", "pH", "%",
    "L", "gal", "lb", "oz", "kg", "in", '"', "bucket", "handful", "about", "~", "just above", "at least",
    "at most", "under", "over", "+", "ish", "or so", "or more", "to", "or", "-", "–", "between", "and", "a",
    "half a", "dozen", "couple of", "a few", "none", "no", "not noted", "?", "/", ",", "(", ")", "x", "by",
    "worms", "exactly", "two", "twenty-five", "hundreds",
]  # fmt: skip
PHRASE_LIKE = st.lists(st.sampled_from(WORDS), max_size=9).flatmap(
    lambda words: st.sampled_from([" ".join(words), "".join(words)])
)
BUCKET = {"bucket": parse_amount("10 L")}


def test_json_is_the_documented_one() -> None:
    assert parse_amount("6 or 7 C").as_json() == {
        "low": 6.0,
        "high": 7.0,
        "unit": "degC",
        "kind": "between",
        "words": "6 or 7 C",
        "flags": [],
    }


def test_an_open_side_is_null_in_json() -> None:
    assert parse_amount("at least 25").as_json()["high"] is None


def test_rounding_is_in_the_unit_written() -> None:
    amount = parse_amount("43F")
    assert amount.low == pytest.approx((42.5 - 32) * 5 / 9)
    assert amount.high == pytest.approx((43.5 - 32) * 5 / 9)


@pytest.mark.parametrize(("expect", "low"), [("degC", 5.5), ("pH", 5.5), ("kg", 5.5), ("1", 6.0), ("%", 5.5)])
def test_a_bare_number_takes_the_expected_unit(expect: str, low: float) -> None:
    amount = parse_amount("6", expect=expect)
    assert (amount.low, amount.unit, amount.flags) == (low, expect, ())


def test_a_bare_temperature_that_may_be_fahrenheit_is_flagged() -> None:
    assert "as °F it would be 7.2 °C" in parse_amount("45", expect="degC").flags[0]
    assert parse_amount("29", expect="degC").flags == ()


@pytest.mark.parametrize(("text", "expect"), [("3 kg", "degC"), ("6 C", "1"), ("a bucket", "kg")])
def test_the_wrong_kind_of_unit_is_refused(text: str, expect: str) -> None:
    with pytest.raises(AmountError, match="makes"):
        parse_amount(text, expect=expect, containers=BUCKET)


def test_an_unknown_expectation_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="furlong"):
        parse_amount("6", expect="furlong")


def test_a_container_carries_its_own_vagueness() -> None:
    pail = {"Pail": parse_amount("9 to 11 L")}
    amount = parse_amount("half a pail", containers=pail)
    assert (amount.low, amount.high) == pytest.approx((9 / 2 * 0.8, 11 / 2 * 1.2))
    assert amount.kind == "about"


def test_a_keepers_cup_comes_before_the_kitchen_one() -> None:
    amount = parse_amount("two cups", containers={"cup": parse_amount("exactly 0.3 to 0.3 L")})
    assert amount.high == pytest.approx(2 * 0.3 * 1.2)
    assert amount.flags == ()


def test_a_container_without_bounds_is_refused() -> None:
    with pytest.raises(AmountError, match="no bounds"):
        parse_amount("a pail", containers={"pail": parse_amount("at least 9 L")})


def test_the_error_points_at_the_place_and_says_how_to_mend_it() -> None:
    with pytest.raises(AmountError) as caught:
        parse_amount("about 6x C")
    assert caught.value.position == 7
    what, line, caret, mend = str(caught.value).splitlines()
    assert "'x'" in what
    assert line[caret.index("^")] == "x"
    assert "6 to 7 C" in mend


def test_an_unknown_container_is_told_how_to_be_defined() -> None:
    with pytest.raises(AmountError, match=r'say first what it holds: underlid container handful "0\.2 L"'):
        parse_amount("a handful")


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("250 C", "Check the number and its unit."),
        ("110 C", "Was it in °F? Then write '110 F'."),
        ("-41 C", "Check the number and its unit."),  # -41 °F is as impossible
        ("400 F", "Check the number and its unit."),
    ],
)
def test_a_temperature_that_no_bin_has_is_refused_and_fahrenheit_asked_about_where_it_fits(
    text: str, mend: str
) -> None:
    with pytest.raises(AmountError, match="from -40 to 90 °C") as caught:
        parse_amount(text)
    assert caught.value.mend == mend


@pytest.mark.parametrize("text", ["0 g", "0 L", "0.0 kg", "zero g"])
def test_no_food_and_no_water_are_none_at_all(text: str) -> None:
    amount = parse_amount(text)
    assert (amount.low, amount.high, amount.kind) == (0, 0, "exact")


@pytest.mark.parametrize(
    ("text", "expect", "mend"),
    [
        ("wet", "%", "70 %"),
        ("70 wet", "%", "70 %"),
        ("6 C", "L", "10 L"),
        ("2 hands", "m", "20 cm"),
        ("6 C wow mate", None, "6 C"),
        ("12 hundredweight ago", "kg", "150 g"),
    ],
)
def test_the_mend_is_an_example_of_what_was_expected(text: str, expect: str | None, mend: str) -> None:
    with pytest.raises(AmountError, match=f"for example '{mend}'"):
        parse_amount(text, expect=expect)


def test_the_examples_in_mends_can_be_read() -> None:
    for expect in CANONICAL:
        for example in re.findall("'([^']+)'", examples(expect)):
            assert parse_amount(example, expect=expect).unit == expect


def test_a_number_takes_the_unit_lent() -> None:
    assert parse_amount("38", expect="degC", unit="F").high == pytest.approx((38.5 - 32) / 1.8)
    assert parse_amount("38 C", expect="degC", unit="F").high == 38.5


@pytest.mark.parametrize(
    ("text", "unit"),
    [("40F", "f"), ("6 to 7 C", "c"), ("43 F / 6 C", "f"), ("6 degrees", ""), ("minus 3", ""), ("6x", None)],
)
def test_the_unit_written(text: str, unit: str | None) -> None:
    assert unit_written(text) == unit


def test_an_opinion_changes_no_bounds() -> None:
    assert parse_amount("maybe 7 or 8 C I think").as_json()["kind"] == "between"


@pytest.mark.parametrize(
    ("text", "flag"),
    [
        ("1 C, 50 F", "1 °C is 33.8 °F, but 50 °F is 10 °C: please check"),
        ("1 lb / 2 kg", "1 lb is 0.4536 kg, but 2 kg is 4.409 lb: please check"),
    ],
)
def test_a_contradiction_is_kept_whole_and_flagged(text: str, flag: str) -> None:
    amount = parse_amount(text)
    assert amount.kind == "between"
    assert amount.flags == (flag,)


def test_two_units_that_agree_are_both_heeded() -> None:
    assert parse_amount("at least 43 F / 6 C").low == pytest.approx(6.0)
    assert parse_amount("43-45 F / 6-7 C").high == 7.0


def test_a_box_has_sides_and_a_volume() -> None:
    size = parse_size("17 x 12 x 11 in")
    assert size.length.low == pytest.approx(16.5 * 0.0254)
    assert size.height.high == pytest.approx(11.5 * 0.0254)
    assert size.volume.low == pytest.approx(16.5 * 11.5 * 10.5 * 0.016387064)  # a cubic inch in litres
    assert (size.volume.unit, size.volume.kind) == ("L", "exact")
    assert size.as_json()["volume"] == size.volume.as_json()


@pytest.mark.parametrize("text", ["43 × 30 × 28 cm", "43cm by 30cm by 28cm", "43x30x28cm", "0.43 m x 300 mm x 28 cm"])
def test_boxes_are_written_in_many_ways(text: str) -> None:
    size = parse_size(text)
    middles = [(side.low + side.high) / 2 for side in (size.length, size.width, size.height)]
    assert middles == pytest.approx([0.43, 0.30, 0.28])


def test_about_before_a_size_is_about_each_side():
    about, each = parse_size("about 43 x 30 x 28 cm"), parse_size("43ish x 30ish x 28ish cm")
    for side in ("length", "width", "height"):
        ours, theirs = getattr(about, side), getattr(each, side)
        assert (ours.low, ours.high, ours.kind) == (theirs.low, theirs.high, "about")


def test_a_vague_side_makes_a_vague_volume() -> None:
    volume = parse_size("43ish x 30 x 28 cm").volume
    assert volume.kind == "about"
    assert volume.high == pytest.approx(43 * 1.2 * 30.5 * 28.5 / 1000)


@pytest.mark.parametrize(
    "text", ["", "17 x 12 in", "17 x 12 x 11", "17 x 12 x 11 kg", "0 x 1 x 1 m", "17", "a x b x c"]
)
def test_other_words_are_no_box(text: str) -> None:
    with pytest.raises(AmountError):
        parse_size(text)


def test_a_letter_is_no_amount() -> None:
    with pytest.raises(AmountError, match="501 characters"):
        parse_amount("6" * 501)


def test_importing_words_does_not_import_the_grammar_library() -> None:
    code = "import sys, underlid.quantity; sys.exit('lark' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def check(amount: VagueAmount, text: str) -> None:
    assert amount.low <= amount.high
    assert amount.unit in CANONICAL
    assert amount.words == text


def read(text: str, expect: str | None) -> VagueAmount | AmountError:
    try:
        return parse_amount(text, expect=expect, containers=BUCKET)
    except AmountError as error:
        return error


@settings(deadline=None, max_examples=300)
@given(st.one_of(st.text(max_size=60), PHRASE_LIKE), st.sampled_from([None, *CANONICAL]))
def test_no_words_break_the_parser(text: str, expect: str | None) -> None:
    found = read(text, expect)
    if isinstance(found, AmountError):
        assert 0 <= found.position <= len(text)
    else:
        check(found, text)
        assert expect in (None, found.unit)


@settings(deadline=None)
@given(st.one_of(st.text(max_size=60), PHRASE_LIKE))
def test_no_words_break_the_box(text: str) -> None:
    try:
        size = parse_size(text)
    except AmountError:
        return
    check(size.volume, text)
