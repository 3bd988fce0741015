"""A keeper's words for a change into the change: what `underlid whatif` is asked."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from underlid.cli.keeping import one_of

if TYPE_CHECKING:
    from underlid.bedding.vessel import Insulation
    from underlid.fit.change import Changer
    from underlid.records import Bin, Feeding


_SITING_NAMES = {"shed": "unheated shed"}


class NoChange(ValueError):
    """Nothing to compare with was given, or two questions at once."""


def moved(siting: str | None, base: str | None, room: str | None) -> list[Changer]:
    """--move, --base and --room."""
    from underlid.fit.change import move
    from underlid.quantity import parse_amount
    from underlid.records import BASES, SITINGS

    if siting is None and base is None:
        if room is not None:
            raise NoChange("--room says how warm it is indoors; add --move indoors.")
        return []
    where: Any = None if siting is None else one_of(_SITING_NAMES.get(siting.lower(), siting), SITINGS, "--move")
    stand: Any = None if base is None else one_of(base, BASES, "--base")
    air = None if room is None else parse_amount(room, expect="degC")
    return [partial(move, siting=where, base=stand, room=air)]


def resized(size: str | None, depth: str | None) -> list[Changer]:
    """--size and --depth."""
    from underlid.fit.change import resize
    from underlid.fit.evidence import middle_of
    from underlid.quantity import parse_amount, parse_size

    if size is None:
        if depth is not None:
            raise NoChange("--depth says how deep the bedding lies in the bin of --size; add that, or use --bedding.")
        return []
    box = parse_size(size)
    deep = None if depth is None else middle_of(parse_amount(depth, expect="m"))
    length, width, height = (middle_of(side) for side in (box.length, box.width, box.height))
    return [partial(resize, length_m=length, width_m=width, height_m=height, depth_m=deep)]


def topped(bedding: str | None) -> list[Changer]:
    """--bedding."""
    from underlid.bedding.laying import layers_of
    from underlid.fit.change import add_bedding
    from underlid.fit.evidence import middle_of
    from underlid.quantity import parse_amount

    if bedding is None:
        return []
    layers = []
    for material, words, _ in layers_of(bedding):
        depth = parse_amount(words, expect="m")
        if depth.kind == "not noted":
            raise NoChange(f"--bedding {material!r} needs a depth; write it as “{material} 10 cm”.")
        layers.append((material, middle_of(depth)))
    if not layers:
        raise NoChange("--bedding names no bedding to add; write it as “leaves 10 cm”.")
    return [partial(add_bedding, layers=layers)]


def wrapped(words: str | None, faces: str | None) -> list[Changer]:
    """--insulate and --faces."""
    from underlid.fit.change import insulate

    if words is None:
        if faces is not None:
            raise NoChange("--faces says where to wrap; add --insulate “3 cm expanded polystyrene”.")
        return []
    return [partial(insulate, layer=layer_of(words, faces or "sides,lid"))]


_LAYER = re.compile(
    r"\s*(?P<amount>(?:about|around|~)?\s*[\d½¼¾][^a-zA-Z\"]*(?:(?:to|or)\s[^a-zA-Z\"]*)?(?:mm|cm|m|inch(?:es)?|in|\")?)"
    r"(?![a-z])\s*(?:of\s+|thick\s+)?(?P<material>[a-zA-Z].*?)\s*",
    re.IGNORECASE,
)


def layer_of(words: str, faces: str) -> Insulation:
    """The layer that “3 cm expanded polystyrene” and “sides,lid” say."""
    from underlid.bedding.vessel import FACES, Insulation
    from underlid.fit.evidence import middle_of
    from underlid.quantity import parse_amount, unit_written

    parts = _LAYER.fullmatch(words)
    if parts is None:
        raise NoChange(f"--insulate {words!r} is not a thickness and a material; write “3 cm expanded polystyrene”.")
    chosen: list[Any] = [one_of(face.strip().lower(), FACES, "--faces") for face in faces.split(",")]
    amount = parts["amount"].strip()
    if unit_written(amount) == "":
        thick = parts["material"]
        raise NoChange(f"--insulate {words!r}: the thickness has no unit; write “{amount} cm {thick}”.")
    thickness = middle_of(parse_amount(amount, expect="m"))
    return Insulation(
        parts["material"].lower().replace("’", "'"), thickness, tuple(face for face in FACES if face in chosen)
    )


def fed(words: str | None, when: str | None, record: Bin, moment: datetime, containers: Any) -> list[Changer]:
    """--feed and --feed-when; `containers` are what the keeper's own measures hold."""
    from underlid.fit.change import feed

    if words is None:
        if when is not None:
            raise NoChange("--feed-when says when to feed; add what, e.g. --feed “500 g melon rind”.")
        return []
    return [partial(feed, feeding=_feeding(words, when, record, moment, containers))]


def _feeding(words: str, when: str | None, record: Bin, moment: datetime, containers: Any) -> Feeding:
    from underlid.entry import parse_line
    from underlid.quantity import parse_when
    from underlid.records import Feeding

    line = words if words.lower().startswith("fed ") else f"fed {words}"
    said = parse_line(line, bin=record, now=moment, new_id=lambda: "if", containers=containers).records
    if len(said) != 1 or not isinstance(said[0], Feeding):
        raise NoChange(f"--feed {words!r} is not one feeding; write it as “500 g melon rind”, and when as --feed-when.")
    if when is None:
        return said[0]
    tz = ZoneInfo(record.timezone)
    # Words for records are of the past and know no tomorrow.
    when = re.sub(r"\btomorrow\b", f"{moment + timedelta(days=1):%-d %b %Y}", when, flags=re.IGNORECASE)
    return replace(said[0], when=parse_when(when, now=moment, tz=tz, start=record.started.start, allow_future=True))


def numbers(text: str) -> list[float]:
    """--litres: numbers divided by commas."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise NoChange(f"--litres {text!r} is not a list of numbers; write it as 10,20,40,80,160.") from None
