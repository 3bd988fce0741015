import io
import json
import shutil
import subprocess
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from itertools import pairwise

import av
import numpy as np
import pytest
from PIL import Image

from tests.update import filmed
from underlid.update import film, filmstage, frames, own, phrases, typeset
from underlid.update.facts import Range, TimeRange
from underlid.update.filmstage import LEGEND, PANEL, SIZE, Stage, scale_of, shades
from underlid.update.frames import Plan, Shot

# Protanopia, deuteranopia and tritanopia on linear RGB (Vienot, Brettel and Mollon 1999 for the first two, recalled).
DICHROMATS = {
    "protan": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
    "deutan": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
}


def linear(colour):
    share = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIELAB under D65 (CIE 1976)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    x, y, z = np.cbrt(xyz / np.array([0.9505, 1.0, 1.089]))
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.fixture(scope="module")
def month():
    return filmed.month()


@pytest.fixture(scope="module")
def order(month):
    """A few moments of the film: the title, the first and the coldest hour, a reading, the last hour, the end."""
    steps = sorted({0, month.coldest, month.at(month.readings[0].start), len(month) - 1})
    return Plan(10, (Shot("title", 0, 2), *(Shot("month", step, 2) for step in steps), Shot("end", 0, 2)), ())


def made(month, order):
    return film._encoded(film._pictures(Stage(month), order), order, lambda done: None)


@pytest.fixture(scope="module")
def bytes_of(month, order):
    return made(month, order)


@pytest.fixture(scope="module")
def decoded(bytes_of):
    with av.open(io.BytesIO(bytes_of), "r") as container:
        stream = container.streams.video[0]
        return stream.codec_context.name, stream.average_rate, [frame for frame in container.decode(stream)]


def test_the_film_decodes_again(decoded, order):
    name, rate, pictures = decoded
    assert name == "h264"
    assert rate == order.fps
    assert len(pictures) == order.frames
    assert {(one.width, one.height, one.format.name) for one in pictures} == {(*SIZE, "yuv420p")}


def test_the_same_story_gives_the_same_bytes(month, order, bytes_of):
    assert made(month, order) == bytes_of


def test_its_index_comes_first_and_no_date_stands_in_it(bytes_of):
    assert 0 < bytes_of.index(b"moov") < bytes_of.index(b"mdat")
    header = bytes_of.index(b"mvhd") + 8  # after the kind, version and flags
    assert bytes_of[header : header + 8] == bytes(8)
    assert b"Lavf" not in bytes_of


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
def test_ffprobe_agrees(bytes_of, tmp_path, order):
    path = tmp_path / "film.mp4"
    path.write_bytes(bytes_of)
    asked = ["ffprobe", "-v", "error", "-of", "json", "-show_streams", "-count_frames", str(path)]
    told = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)["streams"][0]
    assert (told["codec_name"], told["pix_fmt"], told["width"], told["height"]) == ("h264", "yuv420p", *SIZE)
    assert (told["color_space"], told["color_range"]) == ("bt709", "tv")
    assert int(told["nb_read_frames"]) == order.frames
    assert float(told["duration"]) == pytest.approx(order.length_s)


def test_the_colours_that_are_seen_are_those_of_the_scale(month, order, decoded):
    """A player turns the frame back to the colours that the legend names."""
    stage = Stage(month)
    pixels = decoded[2][2].to_ndarray(format="rgb24").astype(int)
    left, top, width, height = LEGEND
    each = height / len(stage.scale.colours)
    for number, colour in enumerate(reversed(stage.scale.colours)):
        if stage.scale.high - stage.scale.step * number <= 0:
            break  # stripes from here on
        seen = pixels[round(top + each * (number + 0.5)), left + width // 2]
        assert np.abs(seen - [int(colour[at : at + 2], 16) for at in (1, 3, 5)]).max() <= 6


def test_a_picture_drawn_over_others_is_the_one_drawn_alone(month):
    """Only what differs is drawn again: nothing of an earlier moment may stay."""
    stage = Stage(month)
    pages = [Image.open(io.BytesIO(page)) for page in typeset.pngs("film.typ", stage.data(), {})]
    still = pages[1].convert("RGB")
    chips = dict(zip(("read", "estimated", "predicted"), (page.convert("RGBA") for page in pages[3:]), strict=True))
    running, kept = film.Painter(stage, still, chips), None
    for step in range(len(month)):
        picture, changed = running.draw(month.shown(step))
        kept = picture.copy() if kept is None else kept
        for region in changed:
            kept.paste(picture.crop(region), region)
    alone, _ = film.Painter(stage, still, chips).draw(month.shown(len(month) - 1))
    assert np.array_equal(np.asarray(picture), np.asarray(kept)), "a change lies outside of what was said to change"
    assert np.array_equal(np.asarray(picture)[:, PANEL - 4 :], np.asarray(alone)[:, PANEL - 4 :])
    assert np.array_equal(np.asarray(picture), np.asarray(alone))


def test_the_whole_film_comes_with_its_captions(monkeypatch):
    monkeypatch.setattr(film, "plan", partial(frames.plan, fps=2))
    done: list[float] = []
    told = film.film(filmed.story(3), done.append)
    assert sorted(told) == ["film-descriptions.vtt", "film.mp4", "film.vtt"]
    assert done == sorted(done)
    assert done[-1] == 1.0


def test_without_a_cut_there_is_no_film():
    assert film.film(replace(filmed.story(), cut=None)) == {}


def test_ice_is_striped_and_the_rest_is_not(month):
    stage = Stage(month)
    page = Image.open(io.BytesIO(typeset.pngs("film.typ", stage.data(), {})[1])).convert("RGB")
    blank = Image.new("RGBA", (9, 9))
    painter = film.Painter(stage, page, {"read": blank, "estimated": blank, "predicted": blank})
    shown = replace(month.shown(0), reads=())
    box = stage.box
    white = {}
    for degrees_c in (-1.0, 1.0):
        picture, _ = painter.draw(replace(shown, bedding_c=np.full_like(shown.bedding_c, degrees_c)))
        bedding = np.asarray(picture)[box.bedding + 2 : box.bottom - 2, box.left + 2 : box.right - 2]
        white[degrees_c] = float((bedding == 255).all(axis=2).mean())
    assert white[-1.0] == pytest.approx(3 / film.ICE_EVERY, abs=0.01)
    assert white[1.0] == 0


@pytest.mark.parametrize("count", [6, 12, 20])
def test_colours_rise_in_even_steps_of_lightness(count):
    found = np.array([lab(linear(colour)) for colour in shades(count)])
    steps = np.linalg.norm(np.diff(found, axis=0), axis=1)
    assert (np.diff(found[:, 0]) > 0).all()
    assert steps.max() / steps.min() < 2


@pytest.mark.parametrize("kind", DICHROMATS)
def test_colours_stay_apart_for_the_colour_blind(kind):
    seen = np.array([lab(np.clip(np.array(DICHROMATS[kind]) @ linear(colour), 0, 1)) for colour in shades(12)])
    assert np.linalg.norm(np.diff(seen, axis=0), axis=1).min() > 3
    assert (np.diff(seen[:, 0]) > 0).all()


@pytest.mark.parametrize(("low", "high"), [(-0.4, 3.0), (-17.2, 0.5), (18.0, 33.7), (-30.0, 41.0)])
def test_the_scale_holds_all_values_and_breaks_at_freezing(low, high):
    scale = scale_of(np.array([low, high]))
    assert scale.low <= low
    assert scale.high >= high
    assert len(scale.colours) <= filmstage.BANDS
    assert scale.low % scale.step == 0
    assert scale.band(np.array([-0.001]))[0] < scale.band(np.array([0.0]))[0] or scale.low >= 0


@pytest.mark.parametrize("colour", [filmstage.INK, filmstage.SOFT])
def test_text_stands_out_from_the_paper(colour):
    assert own.contrast(colour, filmstage.PAPER) >= 4.5


def test_many_readings_at_once_are_counted(month):
    lines = film.read_lines(month.readings)
    assert len(lines) == film.MOST_READS
    assert lines[-1] == f"and {len(month.readings) - film.MOST_READS + 1} more"


def test_no_line_of_the_panel_is_wider_than_the_panel(month):
    room = film.RIGHT - PANEL
    for day in (datetime(2026, 9, 1) + timedelta(days=n) for n in range(30)):
        shown = replace(month.story.coldest, when=TimeRange(datetime(2026, 9, 20), day, datetime(2026, 9, 30)))
        assert film._font("Semibold", 46).getlength(f"{day:%a} {day.day} {day:%B %Y}") <= room
        assert max(film._font("Regular", 28).getlength(line) for line in film.coldest_lines(shown)) <= room
    for low in (-38.5, -10.0, 20.0):
        found = Range(low, low + 1, low + 3, "degC", "predicted")
        assert film._font("Regular", 28).getlength(f"nine in ten {phrases.temperature_range(found)}") <= room
        assert film._font("Semibold", 34).getlength(f"Coldest hour: about {phrases.temperature(found)}") <= room
        assert film._font("Semibold", 60).getlength(phrases.temperature(found)) <= room


def test_long_words_are_cut_to_the_panel():
    text = film._clipped("a very long entry " * 20, 32, 500)
    assert text.endswith("…")
    assert film._font("Semibold", 32).getlength(text) <= 500


@pytest.mark.parametrize("of", [(2025, 12), (2026, 1), (2026, 3)])
def test_everything_stands_inside_the_picture(of):
    stage = Stage(filmed.month(of=of))
    box, strip = stage.box, stage._strip()
    assert filmstage.ROOM[0] <= box.left < box.right <= filmstage.ROOM[2]
    assert filmstage.ROOM[1] <= box.top <= box.bedding < box.bottom == filmstage.ROOM[3]
    shape = (box.right - box.left) / (box.bottom - box.bedding)
    assert shape == pytest.approx(stage.month.cut.width_m / stage.month.cut.height_m, rel=0.02)
    days = strip["days"]
    assert all(after["x"] - before["x"] > 90 for before, after in pairwise(days))
