"""The few units keepers use, to the canonical unit and back.

Every factor is exact by definition and held as a fraction, so that no digit is lost on the way:

* yard and pound: the international agreement of 1959 (1 in = 0.0254 m, 1 lb = 0.45359237 kg);
* US gallon: 231 cubic inches; UK (imperial) gallon: 4.54609 L; litre: 0.001 m3;
* degree Fahrenheit: t(°C) = (t(°F) - 32) / 1.8

as listed in NIST Special Publication 811 (Thompson and Taylor, 2008), Appendix B (recalled). A metric cup
of 250 mL is a kitchen custom, not a standard, so a cup is read as the US one and flagged.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

CANONICAL = ("degC", "L", "kg", "m", "pH", "%", "mS/cm", "1")

# Bounds that no true value can pass, by canonical unit.
FLOOR = dict.fromkeys(CANONICAL, Fraction(0)) | {"degC": Fraction("-273.15")}
CEILING = {"pH": Fraction(14), "%": Fraction(100)}

KIND_OF_UNIT = {
    "degC": "a temperature",
    "L": "a volume",
    "kg": "a mass",
    "m": "a length",
    "pH": "a pH",
    "%": "a percentage",
    "mS/cm": "an electrical conductivity",
    "1": "a count",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as written: `canonical = (written - offset) * factor`; `flag` says what was assumed."""

    name: str
    canonical: str
    factor: Fraction
    offset: Fraction = Fraction(0)
    flag: str = ""

    def to_canonical(self, written: Fraction) -> Fraction:
        """A value in this unit, in the canonical one."""
        return (written - self.offset) * self.factor

    def from_canonical(self, value: Fraction) -> Fraction:
        """A value in the canonical unit, in this one."""
        return value / self.factor + self.offset


_INCH = Fraction("0.0254")
_POUND = Fraction("0.45359237")
_US_GALLON = 231 * _INCH**3 * 1000
_UK_GALLON = Fraction("4.54609")
_ONE = Fraction(1)

CELSIUS = Unit("°C", "degC", _ONE)
FAHRENHEIT = Unit("°F", "degC", Fraction(5, 9), Fraction(32))
DEGREES = Unit("degrees", "degC", _ONE)  # no letter written
COUNT = Unit("", "1", _ONE)
INCH = Unit("in", "m", _INCH)
FOOT = Unit("ft", "m", 12 * _INCH)
POUND = Unit("lb", "kg", _POUND)
OUNCE = Unit("oz", "kg", _POUND / 16)

# (unit, its spellings in lower case); a final dot or plural s is handled by `find_unit`.
_TABLE: tuple[tuple[Unit, str], ...] = (
    (CELSIUS, "c|°c|° c|℃|celsius|centigrade|deg c|degc|degree c|degrees c|degree celsius|degrees celsius"),
    (FAHRENHEIT, "f|°f|° f|℉|fahrenheit|deg f|degf|degree f|degrees f|degree fahrenheit|degrees fahrenheit"),
    (DEGREES, "°|deg|degree|degrees"),
    (Unit("L", "L", _ONE), "l|litre|liter"),
    (Unit("mL", "L", Fraction(1, 1000)), "ml|millilitre|milliliter|cc"),
    (Unit("kg", "kg", _ONE), "kg|kilo|kilogram|kilogramme"),
    (Unit("g", "kg", Fraction(1, 1000)), "g|gr|gram|gramme"),
    (POUND, "lb|pound"),
    (OUNCE, "oz|ounce"),
    (Unit("m", "m", _ONE), "m|metre|meter"),
    (Unit("cm", "m", Fraction(1, 100)), "cm|centimetre|centimeter"),
    (Unit("mm", "m", Fraction(1, 1000)), "mm|millimetre|millimeter"),
    (INCH, 'in|inch|inches|"'),
    (FOOT, "ft|foot|feet|'"),
    (Unit("pH", "pH", _ONE), "ph"),
    (Unit("%", "%", _ONE), "%|percent|per cent|pct"),
    (Unit("mS/cm", "mS/cm", _ONE), "ms/cm|ds/m"),
    (Unit("µS/cm", "mS/cm", Fraction(1, 1000)), "µs/cm|us/cm"),
    (COUNT, "animal|worm|adult|juvenile|hatchling|cocoon|sub-adult|individual|piece"),
)


def _kitchen() -> Iterator[tuple[Unit, str]]:
    # A bare gallon differs by a fifth between the US and the UK: the US one is taken, and said so.
    for name, spellings, parts, twin in (
        ("gal", ("gal", "gallon"), 1, 1),
        ("qt", ("qt", "quart"), 4, 4),
        ("pt", ("pt", "pint"), 8, 8),
        ("cup", ("cup",), 16, 0),
        ("fl oz", ("fl oz", "fluid ounce"), 128, 160),
    ):
        us = _US_GALLON / parts
        other = f"UK {name} {float(_UK_GALLON / twin):.3g} L" if twin else "metric cup 0.25 L"
        flag = f"{name} taken as the US one, {float(us):.3g} L ({other})"
        yield Unit(name, "L", us, flag=flag), "|".join(spellings)
        yield Unit(f"US {name}", "L", us), "|".join(f"us {s}" for s in spellings)
        if twin:
            uk = "|".join(f"{country} {s}" for s in spellings for country in ("uk", "imp", "imperial"))
            yield Unit(f"UK {name}", "L", _UK_GALLON / twin), uk


_BY_SPELLING = {spelling: unit for unit, spellings in (*_TABLE, *_kitchen()) for spelling in spellings.split("|")}

UNIT_OF = {
    "degC": CELSIUS,
    "1": COUNT,
    **{name: Unit(name, name, _ONE) for name in CANONICAL if name not in ("degC", "1")},
}


def find_unit(words: str) -> Unit | None:
    """The unit of that spelling (lower case, plural or not), or None."""
    words = " ".join(words.replace(".", " ").split())
    return _BY_SPELLING.get(words) or _BY_SPELLING.get(words.removesuffix("s"))


def is_unit(name: str) -> bool:
    """Whether a name is a unit of one plain meaning, which no container of the keeper's may take.

    A cup, a pint or a gallon has several, and so the keeper may say which; so may a piece.
    """
    unit = find_unit(name.strip().lower())
    return unit is not None and not unit.flag and unit is not COUNT


def to_fahrenheit(celsius: float) -> float:
    """A temperature in °F from °C."""
    return celsius * 1.8 + 32.0


def to_celsius(fahrenheit: float) -> float:
    """A temperature in °C from °F."""
    return (fahrenheit - 32.0) / 1.8
