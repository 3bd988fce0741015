"""One short sentence for the screen on what a record holds."""

from __future__ import annotations

from underlid.quantity import show_amount, show_when
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
            pieces = " pieces" if amount.unit == "1" and amount.kind != "not noted" else ""
            return f"fed {material}{_at(record.place)}: {show_amount(amount)}{pieces}"
        case SampleCount(volume=volume, counts=counts):
            found = ", ".join(f"{show_amount(n)} {_plural(stage, n.high)}" for stage, n in counts)
            return f"sample of {show_amount(volume)}{_at(record.place)}: {found or 'nothing counted'}"
        case Sighting(amount=amount, stage=stage):
            animal = "worm" if stage == "not noted" else stage
            return f"seen{_at(record.place)}: {show_amount(amount)} {_plural(animal, amount.high)}"
        case Photo(file=file):
            return f"photo {file}"
        case Claim(sentence=sentence):
            return f"claim under watch: {sentence}"
        case Note(words=words):
            return words if words.lower().startswith("note") else f"note: {words}"


def _at(place: str) -> str:
    return "" if place == "not noted" else f", {place}"


def _plural(noun: str, count: float) -> str:
    return noun if count == 1 else f"{noun}s"
