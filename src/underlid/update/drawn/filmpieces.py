"""The pieces of the film that are drawn over its still parts: letters, stripes, the course of the month, the clock."""

from __future__ import annotations

import io
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from underlid.update.drawn.filmstage import INK, PAPER, STRIP, Stage

FINE = 4  # drawn so many times larger and scaled down, for smooth edges
BLUE, GREY = "#0072B2", "#6b7076"  # blue of Okabe and Ito 2008
FROST_EVERY = 14  # px between stripes
CLOCK = (1816, 150, 52)  # centre and radius


@cache
def font(weight: str, size: int) -> ImageFont.FreeTypeFont:
    """One of the fonts of the account at a size in pixels."""
    data = files("underlid.update").joinpath("fonts", f"SourceSans3-{weight}.ttf").read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size, layout_engine=ImageFont.Layout.BASIC)


def clipped(text: str, size: int, width: int) -> str:
    """A text no wider than `width` px, with "…" where it had to be cut."""
    face = font("Semibold", size)
    if face.getlength(text) <= width:
        return text
    while text and face.getlength(f"{text}…") > width:
        text = text[:-1].rstrip()
    return f"{text}…"


@lru_cache(maxsize=512)
def lettering(text: str, weight: str, size: int) -> tuple[Image.Image, tuple[int, int]]:
    """A text as a mask, and where its left upper corner stands from where the text does."""
    left, top, right, bottom = (int(side) for side in font(weight, size).getbbox(text))
    mask = Image.new("L", (right - left + 1, bottom - top + 1))
    ImageDraw.Draw(mask).text((-left, -top), text, font=font(weight, size), fill=255)
    return mask, (left, top)


def stripes(width: int, height: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where slanting stripes for frost are, dark and, narrower, white: together they show on any colour."""
    across, down = np.meshgrid(np.arange(width), np.arange(height))
    phase = (across + down) % FROST_EVERY
    return phase < 5, phase < 3


def course(stage: Stage, strong: bool) -> Image.Image:
    """The month's air and bedding, as it looks where the clock has been, or has yet to come."""
    left, top, width, height = STRIP
    hours = stage.month.story.hours
    picture = Image.new("RGB", (FINE * width, FINE * height), "#ffffff" if strong else PAPER)
    pen = ImageDraw.Draw(picture)
    x = [FINE * (stage.x(float(second)) - left) for second in hours.time_utc]

    def line(values_c: NDArray[np.float64]) -> list[tuple[float, float]]:
        return [(at, FINE * (stage.y(float(value)) - top)) for at, value in zip(x, values_c, strict=True)]

    if hours.predicted_from < len(x):
        for at in range(int(x[hours.predicted_from]) - FINE * height, FINE * width, FINE * 12):
            pen.line((at, FINE * height, at + FINE * height, 0), "#dcd8cf", FINE * 2)
        pen.rectangle((0, 0, x[hours.predicted_from], FINE * height), "#ffffff" if strong else PAPER)
    pen.polygon(
        [*line(hours.middle_c[:, 0]), *reversed(line(hours.middle_c[:, 2]))], "#7fb8d8" if strong else "#dbe8ef"
    )
    pen.line(line(hours.air_c[:, 1]), GREY if strong else "#c9cbcd", FINE * 2)
    pen.line(line(hours.middle_c[:, 1]), BLUE if strong else "#a9cbdf", FINE * 3)
    return picture.resize((width, height), Image.Resampling.LANCZOS)


@cache
def dial(minute: int) -> Image.Image:
    """A day as a ring, noon at the top: a sun by day, a moon by night, by the clock and not by the sky."""
    radius = FINE * CLOCK[2]
    side = 2 * radius
    picture = Image.new("RGBA", (side, side), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    inner = (FINE * 8, FINE * 8, side - FINE * 8, side - FINE * 8)
    pen.pieslice(inner, 180, 360, "#fff3c4")
    pen.pieslice(inner, 0, 180, "#3a4662")
    pen.ellipse(inner, outline=INK, width=FINE * 3)
    hour = minute / 60
    angle = 2 * np.pi * hour / 24
    reach = radius - FINE * 26
    x, y = radius - reach * np.sin(angle), radius + reach * np.cos(angle)
    size = FINE * 14
    if 6 <= hour < 18:
        pen.ellipse((x - size, y - size, x + size, y + size), "#e69f00", INK, FINE * 3)
    else:
        pen.ellipse((x - size, y - size, x + size, y + size), "#ffffff", INK, FINE * 2)
        pen.ellipse((x - size / 4, y - size, x + size, y + size / 3), "#3a4662")
    return picture.resize((side // FINE, side // FINE), Image.Resampling.LANCZOS)
