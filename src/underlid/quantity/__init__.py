"""Words and units: what a keeper writes, as vague amounts and vague times."""

from underlid.quantity.amount import AmountError, Kind, VagueAmount, VagueSize, parse_amount, parse_size, unit_written
from underlid.quantity.anything import parse_any
from underlid.quantity.mistake import Mistake
from underlid.quantity.show import format_amount, format_when, show_amount, show_size, show_when
from underlid.quantity.units import find_unit, is_unit, to_celsius, to_fahrenheit
from underlid.quantity.when import VagueTime, WhenError, parse_when

__all__ = [
    "AmountError",
    "Kind",
    "Mistake",
    "VagueAmount",
    "VagueSize",
    "VagueTime",
    "WhenError",
    "find_unit",
    "format_amount",
    "format_when",
    "is_unit",
    "parse_amount",
    "parse_any",
    "parse_size",
    "parse_when",
    "show_amount",
    "show_size",
    "show_when",
    "to_celsius",
    "to_fahrenheit",
    "unit_written",
]
