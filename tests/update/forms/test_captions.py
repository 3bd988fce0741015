import io
import re
from dataclasses import replace
from itertools import pairwise

import pytest
import webvtt

from tests.update import filmed
from underlid.update.drawn import frames
from underlid.update.forms import captions
from underlid.update.lifefacts import Own


def parsed(text):
    return webvtt.from_buffer(io.StringIO(text)).captions


def tracks(month):
    order = frames.plan(month)
    return order, captions.spoken_vtt(order), captions.described_vtt(month, order)


@pytest.mark.parametrize(("readings", "of"), [(6, (2026, 1)), (3, (2026, 1)), (0, (2026, 1)), (0, (2026, 3))])
def test_tracks_parse_and_can_be_read(readings, of):
    month = filmed.month(readings, of)
    order, *texts = tracks(month)
    for text in texts:
        cues = parsed(text)
        assert len(cues) > 2
        for cue, after in pairwise(cues):
            assert cue.end_in_seconds <= after.start_in_seconds
        for cue in cues:
            lines = cue.text.splitlines()
            assert len(lines) <= 2
            assert max(map(len, lines)) <= 42
        times = [tuple(float(part[-6:]) + 60 * int(part[3:5]) for part in (cue.start, cue.end)) for cue in cues]
        for cue, (start, end) in zip(cues, times, strict=True):
            assert len(cue.text) / (end - start) <= 20
        assert times[-1][1] <= order.length_s


def test_the_coldest_hour_is_spoken_of_when_the_clock_reaches_it():
    month = filmed.month()
    order = frames.plan(month)
    first = frames.script(month.story).coldest[0].split(",")[0]
    cue = next(cue for cue in order.cues if " ".join(cue.lines).startswith(first))
    assert cue.start == pytest.approx(order.start("month", month.coldest), abs=0.2)


def test_signs_of_markup_in_a_title_are_harmless():
    month = filmed.month()
    month.story = replace(month.story, own=Own(title="Tom & <b>Jerry --> bin"))
    order = frames.plan(month)
    text = captions.spoken_vtt(order)
    assert "<b>" not in text
    assert text.count("-->") == len(order.cues)
    assert len(parsed(text)) == len(order.cues)


def test_nothing_spoken_holds_a_sign():
    sheet = captions.notes(filmed.story())
    spoken = re.findall(r"^- “(.*)”", sheet, re.MULTILINE)
    assert len(spoken) > 8
    assert not any(sign in line for line in spoken for sign in "°%−\u00a0")


def test_the_sheet_times_each_scene_at_the_same_pace():
    assert captions._minutes(captions._seconds(["word " * 150])) == "1 min 00 s"
    assert captions._minutes(captions._seconds(["word " * 10])) == "5 s"


def test_the_sheet_says_what_is_known_and_what_is_not():
    sheet = captions.notes(filmed.story())
    known, unknown = sheet[sheet.index("How it is known") :].split("What is not known")
    assert "readings" in known
    assert "One bin without a comparison" in unknown


def test_the_keepers_words_are_no_markup():
    story = replace(filmed.story(), own=Own(words=(("month", ("# shout\n*now*",)),)))
    assert "\\# shout \\*now\\*" in captions.notes(story)
    assert "\n# shout" not in captions.notes(story)


def test_every_picture_has_a_text():
    text = captions.alt_texts(filmed.story())
    parts = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    assert any(part.startswith("film.mp4") for part in parts)
    assert all(len(part.split("\n\n", 1)[1].strip()) > 10 for part in parts)
    assert len({part.split("\n")[0] for part in parts}) == len(parts)


def test_no_film_is_told_of_where_there_is_none():
    story = replace(filmed.story(), cut=None)
    assert "film" not in captions.alt_texts(story)
    assert "The film" not in captions.notes(story)
