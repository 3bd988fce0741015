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
from underlid.update import own
from underlid.update.drawn import filmpieces, filmstage, frames, palette
from underlid.update.drawn.filmstage import LEGEND, PANEL, SIZE, Stage, scale_of
from underlid.update.drawn.frames import Plan, Shot
from underlid.update.facts import Range, TimeRange
from underlid.update.forms import film, typeset
from underlid.update.prose import phrases


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
    last = stage.scale.last
    each = height / (last - stage.scale.first + 1)
    for number, colour in enumerate(palette.SHADES[last : palette.DARK - 1 : -1]):  # stripes from there on
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


def test_frost_is_striped_and_the_rest_is_not(month):
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
    assert white[-1.0] == pytest.approx(3 / filmpieces.FROST_EVERY, abs=0.01)
    assert white[1.0] == 0


@pytest.mark.parametrize(("low", "high"), [(-0.4, 3.0), (-17.2, 0.5), (18.0, 33.7), (-30.0, 41.0), (2.0, 2.0)])
def test_the_legend_holds_all_values_and_always_freezing(low, high):
    scale = scale_of(np.array([low, high]))
    assert scale.first <= palette.shade(low) <= palette.shade(high) <= scale.last
    assert 0 in scale.edges
    ends = [scale.share(edge) for edge in scale.edges]
    assert np.allclose(np.diff([0.0, *ends, 1.0]), 1 / (scale.last - scale.first + 1))
    assert scale.share(-99) == 0
    assert scale.share(99) == 1


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
        assert filmpieces.font("Semibold", 46).getlength(f"{day:%a} {day.day} {day:%B %Y}") <= room
        assert max(filmpieces.font("Regular", 28).getlength(line) for line in film.coldest_lines(shown)) <= room
    for low in (-38.5, -10.0, 20.0):
        found = Range(low, low + 1, low + 3, "degC", "predicted")
        assert filmpieces.font("Regular", 28).getlength(f"nine in ten {phrases.temperature_range(found)}") <= room
        assert filmpieces.font("Semibold", 34).getlength(f"Coldest hour: about {phrases.temperature(found)}") <= room
        assert filmpieces.font("Semibold", 60).getlength(phrases.temperature(found)) <= room


def test_long_words_are_cut_to_the_panel():
    text = filmpieces.clipped("a very long entry " * 20, 32, 500)
    assert text.endswith("…")
    assert filmpieces.font("Semibold", 32).getlength(text) <= 500


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
