"""The film of a month: the bin cut through, hour after hour, as an MP4, with its captions.

What stands still is typeset once (film.typ); what moves is drawn over it and only where it moves. The same story gives
the same bytes: two threads, no clock, no name of a maker but the encoder's own.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from underlid.update.drawn import filmpieces as pieces
from underlid.update.drawn import palette, standing
from underlid.update.drawn.filmstage import INK, PANEL, READS, ROWS, SIZE, SOFT, STRIP, Stage
from underlid.update.drawn.frames import Month, Plan, Shown, plan
from underlid.update.facts import ColdestHour, ReadingFact, Story
from underlid.update.forms import captions, typeset
from underlid.update.prose import heatwords, phrases

Pixels = NDArray[np.uint8]
Region = tuple[int, int, int, int]  # left, top, right and bottom, all even [px]
Drawn = tuple[Image.Image, Sequence[Region], int]  # a picture, where it differs from the last one, and its frames

MOST_READS = 3  # in sight at once
#: The colours of the shades, and after them those of the stripes for frost, in the order of `filmpieces.stripes`.
COLOURS = b"".join(bytes.fromhex(colour[1:]) for colour in (*palette.SHADES, palette.INK, palette.WHITE))
#: Drawings move little and have no noise: the quickest preset keeps them truer than slower ones do at twice the work,
#: in a file about twice as large.
ENCODER = {"preset": "ultrafast", "crf": "25", "x264-params": "cabac=1", "threads": "2"}
#: From RGB to luma and the differences of blue and red, 16 to 235 and 16 to 240 (ITU-R BT.709, recalled):
#: each row three factors and an offset.
BT709 = (
    0.182586, 0.614231, 0.062007, 16.0,
    -0.100644, -0.338572, 0.439216, 128.0,
    0.439216, -0.398942, -0.040274, 128.0,
)  # fmt: skip
RIGHT = SIZE[0] - 40  # where the panel ends


def film(story: Story, progress: Callable[[float], None] = lambda done: None) -> dict[str, bytes]:
    """ "film.mp4", "film.vtt" and "film-descriptions.vtt"; nothing where the story has no cut.

    progress : called with the share done
    """
    if story.cut is None:
        return {}
    month = Month(story, story.cut)
    if not len(month):
        return {}
    order = plan(month)
    return {
        "film.mp4": _encoded(_pictures(Stage(month), order), order, progress),
        "film.vtt": captions.spoken_vtt(order).encode(),
        "film-descriptions.vtt": captions.described_vtt(month, order).encode(),
    }


class Painter:
    """Draws the moving parts of the month over the still ones, and only those that differ from the moment before."""

    def __init__(self, stage: Stage, still: Image.Image, chips: dict[str, Image.Image]) -> None:
        self.stage, self.month, self.still, self.chips = stage, stage.month, still, chips
        self.canvas = still.copy()
        self.pen = ImageDraw.Draw(self.canvas)
        box = stage.box
        self.bedding = (box.left, box.bedding, box.right, box.bottom)
        stripes = pieces.stripes(box.right - box.left, box.bottom - box.bedding)
        self.striped = [(stripe, len(palette.SHADES) + number) for number, stripe in enumerate(stripes)]
        self.past, self.ahead = (pieces.course(stage, strong) for strong in (True, False))
        self.last: dict[str, object] = {}
        self.changed: list[Region] = []
        self.x = STRIP[0]

    def draw(self, shown: Shown) -> tuple[Image.Image, list[Region]]:
        """The picture of a moment, to be drawn over by the next, and where it differs from the one before."""
        self.changed = []
        self._bedding(shown)
        self._panel(shown)
        self._time(shown)
        return self.canvas, self.changed

    def _wiped(self, name: str, region: Region, key: object) -> bool:
        """Whether a part has to be drawn again; the still picture then stands in its region."""
        if self.last.get(name) == key:
            return False
        self.last[name] = key
        self.canvas.paste(self.still.crop(region), region)
        self.changed.append(region)
        return True

    def _bedding(self, shown: Shown) -> None:
        left, top, right, bottom = self.bedding
        size = (right - left, bottom - top)
        smooth = Image.fromarray(shown.bedding_c.astype(np.float32)).resize(size, Image.Resampling.BILINEAR)
        shade = palette.shades(np.asarray(smooth))
        frost = shade < palette.DARK
        places = {one.place for one in shown.reads}
        if frost.any():
            for stripe, colour in self.striped:
                shade[frost & stripe] = colour
        key = (shade.tobytes(), places)
        if not self._wiped("bedding", _even(left - 30, top - 30, right + 30, bottom + 10), key):
            return
        bands = Image.fromarray(shade)
        bands.putpalette(COLOURS)
        self.canvas.paste(bands.convert("RGB"), (left, top))
        spots = {
            "middle": ((left + right) // 2, (top + bottom) // 2),
            "edge": (left + 14, (top + bottom) // 2),
            "surface": ((left + right) // 2, top),
        }
        for place in sorted(places & spots.keys()):
            self._diamond(*spots[place], 16)

    def _panel(self, shown: Shown) -> None:
        if self._wiped("day", _even(PANEL - 4, 30, RIGHT, 94), shown.day):
            self._text(PANEL, 36, shown.day, 46)
        if self._wiped("clock", _even(PANEL - 4, 94, PANEL + 206, 206), shown.clock):
            self._text(PANEL, 92, shown.clock, 84)
        if self._wiped("chip", _even(PANEL + 214, 110, PANEL + 422, 190), shown.provenance):
            self._chip(shown.provenance, PANEL + 214, 118)
        x, y, radius = pieces.CLOCK
        if self._wiped("dial", _even(x - radius, y - radius, x + radius, y + radius), shown.clock):
            dial = pieces.dial(60 * shown.moment.hour + shown.moment.minute)
            self.canvas.paste(dial, (x - radius, y - radius), dial)
        rows = {
            "air": (shown.air, shown.air_range, 48),
            "middle": (shown.middle, shown.middle_range, 60),
            "refuge": (shown.refuge, shown.refuge_range, 48),
        }
        for name, (figure, ranged, size) in rows.items():
            _, first, second = ROWS[name]
            if self._wiped(name, _even(PANEL - 4, first, RIGHT, second + 38), (figure, ranged)):
                self._text(PANEL, first, figure, size)
                if ranged:
                    self._text(PANEL, second, f"nine in ten {ranged}", 28, "Regular", SOFT)
        if self._wiped("reads", _even(PANEL - 4, READS, RIGHT, READS + 194), (shown.coldest, shown.reads)):
            self._told(shown)

    def _told(self, shown: Shown) -> None:
        """The coldest hour, or else what has just been read."""
        if shown.coldest:
            cold = self.month.story.coldest
            self._chip(cold.temperature.provenance, PANEL - 4, READS)
            self._text(PANEL, READS + 56, f"Coldest hour: about {phrases.temperature(cold.temperature)}", 34)
            for row, line in enumerate(coldest_lines(cold)):
                self._text(PANEL, READS + 101 + 27 * row, line, 25, "Regular", SOFT)
        elif shown.reads:
            self._chip("read", PANEL - 4, READS)
            for row, line in enumerate(read_lines(shown.reads)):
                self._text(PANEL, READS + 62 + 40 * row, pieces.clipped(line, 32, RIGHT - PANEL), 32)

    def _time(self, shown: Shown) -> None:
        left, top, width, height = STRIP
        x = round(self.stage.x(shown.moment.timestamp()))
        region = _even(min(x, self.x) - 30, top - 14, max(x, self.x) + 30, top + height + 10)
        if not self._wiped("time", region, x):
            return
        self.canvas.paste(self.past.crop((0, 0, x - left, height)), (left, top))
        self.canvas.paste(self.ahead.crop((x - left, 0, width, height)), (x, top))
        for one in self.month.readings[: shown.come]:
            first, last = (self.stage.x(end.timestamp()) for end in (one.start, one.end))
            if last - first > 8:
                self.pen.line((first, top + height - 14, min(last, x), top + height - 14), INK, 4)
            self._diamond(round(first), top + height - 14, 9)
        self.pen.rectangle((x - 2, top - 12, x + 1, top + height + 8), INK)
        self.x = x

    def _diamond(self, x: int, y: int, size: int) -> None:
        corners = [(x, y - size), (x + size, y), (x, y + size), (x - size, y)]
        self.pen.polygon(corners, fill="#ffffff", outline=INK, width=max(3, size // 4))

    def _chip(self, name: str, x: int, y: int) -> None:
        self.canvas.paste(self.chips[name], (x, y), self.chips[name])

    def _text(self, x: int, y: int, text: str, size: int, weight: str = "Semibold", colour: str = INK) -> None:
        letters, (left, top) = pieces.lettering(text, weight, size)
        self.canvas.paste(colour, (x + left, y + top), letters)


def coldest_lines(cold: ColdestHour) -> tuple[str, ...]:
    """The range of the coldest hour, the days between which it fell, and why the hour shown may be warmer."""
    first, last = cold.when.early.date(), cold.when.late.date()
    when = f"on {phrases.day(first)}" if first == last else f"within {phrases.days(first, last)}"
    lines = (f"nine in ten {phrases.temperature_range(cold.temperature)}", f"nine in ten {when}")
    return (*lines, standing.IN_BRIEF) if heatwords.apart(cold) else lines


def read_lines(reads: tuple[ReadingFact, ...]) -> list[str]:
    """What was read, in the keeper's words, the newest first."""
    lines = [f"{one.words} ({one.when_words})" for one in reversed(reads)]
    if len(lines) > MOST_READS:
        left = len(lines) - MOST_READS + 1
        lines = [*lines[: MOST_READS - 1], f"and {left} more"]
    return lines


# --- pictures ------------------------------------------------------------------------------------------------


def _pictures(stage: Stage, order: Plan) -> Iterator[Drawn]:
    """Each picture, where it differs from the last one, and for how many frames it stands."""
    made = [Image.open(io.BytesIO(page)) for page in typeset.pngs("film.typ", stage.data(), {})]
    title, still, end = (page.convert("RGB") for page in made[:3])
    chips = dict(zip(("read", "estimated", "predicted"), (page.convert("RGBA") for page in made[3:]), strict=True))
    painter = Painter(stage, still, chips)
    everywhere = [(0, 0, *SIZE)]
    for number, shot in enumerate(order.shots):
        if shot.scene == "month":
            new = order.shots[number - 1].scene != "month"
            picture, changed = painter.draw(stage.month.shown(shot.step))
            yield picture, everywhere if new else changed, shot.frames
        else:
            yield title if shot.scene == "title" else end, everywhere, shot.frames


def _encoded(pictures: Iterator[Drawn], order: Plan, progress: Callable[[float], None]) -> bytes:
    """The pictures as H.264 in MP4, its index first."""
    width, height = SIZE
    buffer = np.zeros((height * 3 // 2, width), np.uint8)
    count = 0
    with tempfile.TemporaryDirectory() as folder:  # the index can only be moved to the front in a file
        path = Path(folder) / "film.mp4"
        options = {"movflags": "+faststart", "fflags": "+bitexact"}
        with av.open(str(path), "w", format="mp4", options=options) as container:
            stream = container.add_stream("libx264", rate=order.fps, options=ENCODER)
            stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
            stream.codec_context.flags |= av.codec.context.Flags.bitexact
            stream.codec_context.color_range = ColorRange.MPEG
            stream.codec_context.colorspace = Colorspace.ITU709
            stream.codec_context.color_primaries = stream.codec_context.color_trc = 1  # of BT.709 too
            for picture, regions, frames in pictures:
                for region in regions:
                    _convert(picture, region, buffer)
                frame = av.VideoFrame.from_ndarray(buffer, format="yuv420p")
                for _ in range(frames):
                    frame.pts = count
                    container.mux(stream.encode(frame))
                    count += 1
                progress(count / order.frames)
            container.mux(stream.encode())
        return path.read_bytes()


def _convert(picture: Image.Image, region: Region, buffer: Pixels) -> None:
    """Put a region of a picture into a yuv420p buffer, its three planes one below the other."""
    left, top, right, bottom = region
    width, height = SIZE
    luma, *colours = picture.crop(region).convert("RGB", BT709).split()
    buffer[top:bottom, left:right] = np.asarray(luma)
    planes = buffer[height:].reshape(2, height // 2, width // 2)
    for plane, colour in zip(planes, colours, strict=True):
        plane[top // 2 : bottom // 2, left // 2 : right // 2] = np.asarray(colour.reduce(2))


def _even(left: int, top: int, right: int, bottom: int) -> Region:
    return (left // 2 * 2, top // 2 * 2, (right + 1) // 2 * 2, (bottom + 1) // 2 * 2)
