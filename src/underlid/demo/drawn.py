"""Pictures for the demo, drawn by rule and called invented: bedding from above, as a phone would take it.

They carry a place and a camera in their EXIF data on purpose, so that it can be seen that an account holds neither.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from underlid.quantity.when import parse_when
from underlid.records import Bin, Photo

SIZE = (1600, 1200)
GPS, CAMERA_MAKER, ORIENTATION = 0x8825, 0x010F, 0x0112
LEAVES = ("#6b4a2b", "#8a6238", "#a27a48", "#54401f", "#7d5a3a", "#94703f", "#5f5a32")
WORM, FROST, PEEL = "#a4524c", "#e8eef2", "#d8922e"
TAKEN: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("2025-11-23 15:10", "invented picture: under the lid in November", {"worms": 9, "food": 3}),
    ("2026-01-09 11:20", "invented picture: rime on the leaves after a cold night", {"frost": True}),
    ("2026-01-25 13:40", "invented picture: turned over for the count", {"worms": 5}),
)


def photographed(folder: Path, record: Bin, now: datetime, id_of: Callable[[int], str]) -> list[Photo]:
    """The pictures of a bin, kept beside the journal in `folder` as a phone's would be; `id_of` names each entry."""
    from underlid.journal.photos import add_photo

    entries: list[Photo] = []
    for number, (at, words, what) in enumerate(TAKEN):
        when = parse_when(at, now=now, tz=ZoneInfo(record.timezone))
        with TemporaryDirectory() as place:
            picture = Path(place) / "invented.jpg"
            picture.write_bytes(bedding_picture(sum(map(ord, record.name)) + number, **what))
            kept = add_photo(folder, picture)
        entries.append(
            Photo(
                id=id_of(number), bin=record.name, when=when, words=words, noted_at=when.end, file=kept.file,
                sha256=kept.sha256,
            )
        )  # fmt: skip
    return entries


def bedding_picture(seed: int, *, worms: int = 0, frost: bool = False, food: int = 0) -> bytes:
    """A JPEG of leaf bedding with so many worms and pieces of food on it, white with frost if asked."""
    rng = np.random.default_rng(seed)
    ground = Image.new("RGB", SIZE, "#3b2c1b")
    pen = ImageDraw.Draw(ground)
    for _ in range(900):
        _leaf(ground, rng, str(rng.choice(LEAVES)))
    for _ in range(food):
        x, y = (float(rng.uniform(0.25, 0.7)) * side for side in SIZE)
        pen.pieslice((x, y, x + 150, y + 130), float(rng.uniform(0, 360)), float(rng.uniform(360, 540)), fill=PEEL)
    for _ in range(worms):
        _worm(pen, rng)
    if frost:
        rime = Image.fromarray((rng.random((150, 200)) ** 3 * 190).astype(np.uint8)).resize(
            SIZE, Image.Resampling.BICUBIC
        )
        ground.paste(Image.new("RGB", SIZE, FROST), (0, 0), rime)
    shade = Image.radial_gradient("L").resize(SIZE).point(lambda value: round(value * 0.45))
    ground.paste(Image.new("RGB", SIZE, "#120c06"), (0, 0), shade)
    exif = Image.Exif()
    exif[CAMERA_MAKER] = "Invented"
    exif[ORIENTATION] = 1
    exif[GPS] = {1: "N", 2: (52.0, 6.0, 0.0), 3: "W", 4: (1.0, 18.0, 0.0)}
    out = io.BytesIO()
    ground.filter(ImageFilter.GaussianBlur(0.8)).save(out, "JPEG", quality=85, exif=exif)
    return out.getvalue()


def _leaf(ground: Image.Image, rng: np.random.Generator, colour: str) -> None:
    length = int(rng.integers(90, 220))
    leaf = Image.new("RGBA", (length, length // 2))
    pen = ImageDraw.Draw(leaf)
    pen.ellipse((0, length // 12, length - 1, length // 2 - length // 12), fill=colour, outline="#2d2013")
    pen.line((0, length // 4, length, length // 4), fill="#3a2a18", width=2)
    turned = leaf.rotate(float(rng.uniform(0, 360)), expand=True, resample=Image.Resampling.BICUBIC)
    ground.paste(turned, (int(rng.integers(-100, SIZE[0])), int(rng.integers(-100, SIZE[1]))), turned)


def _worm(pen: ImageDraw.ImageDraw, rng: np.random.Generator) -> None:
    start, turn = rng.uniform((200, 200), (SIZE[0] - 300, SIZE[1] - 300)), float(rng.uniform(0, 2 * np.pi))
    bend = np.cumsum(rng.normal(0, 0.16, 34)) + turn
    path = start + 11.0 * np.cumsum(np.stack([np.cos(bend), np.sin(bend)], axis=1), axis=0)
    for (x, y), radius in zip(path, 10 - 5 * np.abs(np.linspace(-1, 1, len(path))) ** 3, strict=True):
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=WORM)
    x, y = path[11]
    pen.ellipse((x - 13, y - 13, x + 13, y + 13), fill="#c98a78")  # the saddle of an adult
