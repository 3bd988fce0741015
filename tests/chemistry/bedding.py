"""Readings of an invented bin."""

from datetime import datetime
from zoneinfo import ZoneInfo

from underlid.quantity import parse_amount, parse_when
from underlid.records import Measured, Reading

ZONE = ZoneInfo("Europe/London")
NOW = datetime(2026, 2, 3, 21, 0, tzinfo=ZONE)
SHARES = {"middle": 0.55, "edge": 0.45}


def taken(words, place="middle", when="1 Feb", instrument=""):
    """A reading of "pH 6.5" or "EC 1.2 mS/cm"."""
    quantity: Measured = "EC" if words.startswith("EC") else "pH"
    amount = parse_amount(words.removeprefix("EC "), expect="mS/cm" if quantity == "EC" else "pH")
    return Reading(
        id=f"{words} {place}", bin="north", when=parse_when(when, now=NOW, tz=ZONE), words=words, quantity=quantity,
        amount=amount, place=place, instrument=instrument,
    )  # fmt: skip
