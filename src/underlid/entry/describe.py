"""One short sentence for the screen on what a record holds."""

from __future__ import annotations

from underlid.quantity import VagueAmount, show_amount, show_when
from underlid.records import AnyEntry, Claim, Feeding, Note, Photo, Reading, SampleCount, Sighting


def describe(record: AnyEntry) -> str:
    """The record in a line: "temperature, middle: 2 to 3 °C (36 to 37 °F), 23 Jan 2026 22:30 to 24 Jan 01:30"."""
    return f"{_what(record)}, {show_when(record.when)}"


def _what(record: AnyEntry) -> str:
    match record:
        case Reading(quantity=quantity, amount=amount, depth=depth):
            down = f", {show_amount(depth)} down" if depth is not None else ""
            shown = show_amount(amount)
            shown = shown.removeprefix("pH ") if quantity == "pH" else shown
            return f"{quantity}{_at(record.place)}{down}: {shown}"
        case Feeding(material=material, amount=amount):
            counted = amount.unit == "1" and amount.kind != "not noted"
            shown = _counted(amount, "piece") if counted else show_amount(amount)
            given = "added" if material == "water" else "fed"
            return f"{given} {material}{_at(record.place)}: {shown}"
        case SampleCount(volume=volume, counts=counts):
            found = ", ".join(_counted(n, stage) for stage, n in counts)
            return f"sample of {show_amount(volume)}{_at(record.place)}: {found or 'nothing counted'}"
        case Sighting(amount=amount, stage=stage):
            animal = "worm" if stage == "not noted" else stage
            return f"seen{_at(record.place)}: {_counted(amount, animal)}"
        case Photo(file=file):
            return f"photo “{record.words}”" if record.words.strip() else f"photo {file}"
        case Claim(sentence=sentence):
            return f"claim under watch: {sentence}"
        case Note(words=words):
            return words if words.lower().startswith("note") else f"note: {words}"


def _at(place: str) -> str:
    return "" if place == "not noted" else f", {place}"


def _counted(amount: VagueAmount, noun: str) -> str:
    shown = show_amount(amount)
    one = shown.split()[-1] == "1" and " to " not in shown  # "at least 1 worm", but "0 to 1 worms"
    return f"{shown} {noun}" if one else f"{shown} {noun}s"
