from fractions import Fraction

import pytest

from underlid.quantity.units import find_unit, is_unit, to_celsius, to_fahrenheit

# NIST SP 811 (Thompson and Taylor, 2008), Appendix B.8 and B.9, recalled: factors to SI as printed there.
NIST = [
    ("in", "m", 2.54e-2),
    ("ft", "m", 3.048e-1),
    ("lb", "kg", 4.535924e-1),
    ("oz", "kg", 2.834952e-2),
    ("us gal", "L", 3.785412),
    ("uk gal", "L", 4.54609),
    ("us qt", "L", 9.463529e-1),
    ("us pt", "L", 4.731765e-1),
    ("us cup", "L", 2.365882e-1),
    ("us fl oz", "L", 2.957353e-2),
    ("uk fl oz", "L", 2.841306e-2),
    ("uk pt", "L", 5.682612e-1),
]


@pytest.mark.parametrize(("spelling", "canonical", "factor"), NIST)
def test_factors_are_those_of_nist(spelling: str, canonical: str, factor: float) -> None:
    unit = find_unit(spelling)
    assert unit is not None
    assert unit.canonical == canonical
    assert float(unit.to_canonical(Fraction(1))) == pytest.approx(factor, rel=2e-7)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)],  # the fixed points by definition
)
def test_temperatures_convert_both_ways(celsius: float, fahrenheit: float) -> None:
    assert to_fahrenheit(celsius) == pytest.approx(fahrenheit)
    assert to_celsius(fahrenheit) == pytest.approx(celsius)


@pytest.mark.parametrize(
    "spelling", ["degrees celsius", "°c", "℃", "litres", "lbs", "inches", "feet", "fl. oz", "worms"]
)
def test_spellings_are_found(spelling: str) -> None:
    assert find_unit(spelling) is not None


@pytest.mark.parametrize("spelling", ["", "furlong", "cc d", "s"])
def test_other_words_are_no_unit(spelling: str) -> None:
    assert find_unit(spelling) is None


def test_every_unit_goes_there_and_back_without_loss() -> None:
    for spelling in ("f", "gal", "lb", "in", "µs/cm", "ml"):
        unit = find_unit(spelling)
        assert unit is not None
        assert unit.from_canonical(unit.to_canonical(Fraction("12.34"))) == Fraction("12.34")


@pytest.mark.parametrize("name", ["kg", "g", "KG", "litres", "ml", "lb", "oz", " kilo ", "US gal", "cm", "C"])
def test_a_plain_unit_is_no_name_for_a_container(name: str) -> None:
    assert is_unit(name)


@pytest.mark.parametrize("name", ["cup", "pint", "gallon", "bucket", "handful", "piece", ""])
def test_a_container_may_have_another_name(name: str) -> None:
    assert not is_unit(name)
