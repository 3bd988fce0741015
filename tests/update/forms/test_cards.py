"""Picture cards and overlays: their sizes, that nothing is cut or covered, and that every one can be read."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from importlib.resources import as_file, files
from typing import Any

import numpy as np
import pytest
import typst
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from tests.update import sample
from underlid.records import STAGES
from underlid.update.facts import Range, Story, TrialFact
from underlid.update.forms import cards, typeset
from underlid.update.lifefacts import Acid, Animals, Daily, Own, Picture
from underlid.update.own import contrast, readable
from underlid.update.story import tell

PAPER = (0xFB, 0xFA, 0xF7)
INK, SOFT = "#22262a", "#565d64"  # of shared.typ
DOT = (250, 0, 0)
FOCUS = (0.8, 0.25)
FULL = (
    "title", "words-1", "coldest", "refuge", "animals", "eaten", "water", "test-1", "surprises", "unknown",
    "next", "steps", "photo-1", "photo-2", "care",
)  # fmt: skip


def counted(low: float, middle: float, high: float, unit: str = "1") -> Range:
    return Range(low, middle, high, unit, "estimated")


def animals() -> Animals:
    nought = np.zeros((2, 3))
    return Animals(
        at=date(2026, 1, 27), worms=counted(3, 9, 21), before=counted(4, 12, 30), change=counted(-14, -3, 2),
        stages=tuple((stage, counted(n, 2 + 3 * n, 9 * n + 4)) for n, stage in enumerate(STAGES)),
        live_g=counted(1, 2, 5, "g"), alive=1.0, density_g_m2=counted(5, 9, 20, "g/m2"), usual_g_m2=(500.0, 3000.0),
        crowded=0.0, samples=1, sightings=1, founders="three dozen or more", careful=(),
        daily=Daily(np.array([0, 86400]), nought, nought, 1, (), ()),
    )  # fmt: skip


def photo(width: int, height: int, caption: str = "Under the card, early.") -> Picture:
    """A grey picture with a dot of one colour at its focus."""
    image = Image.new("RGB", (width, height), (90, 100, 90))
    x, y, r = FOCUS[0] * width, FOCUS[1] * height, 30
    ImageDraw.Draw(image).ellipse((x - r, y - r, x + r, y + r), fill=DOT)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90)
    return Picture("p", caption, datetime(2026, 1, 9, 8, tzinfo=sample.ZONE), out.getvalue(), width, height, FOCUS)


def full(own: Own) -> Story:
    bare = tell(sample.sample(), (2026, 1), own=own)
    return replace(
        bare,
        animals=animals(),
        acid=(Acid("pH", counted(6.1, 6.6, 7.1, "pH"), (), (5.0, 8.0), 0.02, ("a",), ()),),
        trials=(TrialFact("Fewer meals", "once a month", "Fed less, a bin stays warmer.", "Not resolved so far."),),
    )


OWN = Own(
    title="The tote #panic() *by* the porch $x$", keeper="M. <Okafor>", accent="#ffe94a",
    words=(("", ("A hard month.", "Still something moved under the card.")),),
    pictures=(photo(900, 600), photo(500, 700)),
)  # fmt: skip
LONG = Own(
    title="A bin of which there is much to say before anything else can be said, " * 4 + "W" * 90,
    keeper="Anna Maria " * 20,
    words=(("", ("There is so much to tell and so little room for it. " * 60, "W" * 900)),),
    pictures=(photo(640, 480, "endless " * 300), photo(640, 480, "W" * 700)),
)


@pytest.fixture(scope="module")
def story() -> Story:
    return full(OWN)


@pytest.fixture(scope="module")
def made(story: Story) -> dict[str, bytes]:
    return cards.cards(story)


@pytest.fixture(scope="module")
def panels(story: Story) -> dict[str, bytes]:
    return cards.overlays(story)


def pixels(png: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))


def names(files: Mapping[str, object], shape: str) -> list[str]:
    return [name.split("/")[-1][3:-4] for name in files if name.startswith(f"cards/{shape}/")]


def reported(template: str, data: object, pictures: dict[str, bytes]) -> list[dict[str, object]]:
    """What the template says of each text that it fitted into its room."""
    parts = {**pictures, "data.json": json.dumps(data).encode()}
    parts |= {
        name: files("underlid.update.forms").joinpath(file).read_bytes()
        for name, file in (("main", template), ("shared.typ", "shared.typ"))
    }
    query: Any = typst.query  # its stub knows no files in memory
    with as_file(typeset.FONTS) as folder:
        found: list[dict[str, object]] = json.loads(
            query(parts, "<fit>", field="value", font_paths=[str(folder)], ignore_system_fonts=True)
        )
    return found


def test_every_card_comes_in_both_shapes_at_its_exact_size(made: dict[str, bytes]) -> None:
    assert names(made, "wide") == names(made, "tall") == list(FULL)
    for name, png in made.items():
        with Image.open(io.BytesIO(png)) as image:
            assert image.size == cards.SHAPES[name.split("/")[1]]
            assert image.format == "PNG"


def test_cards_are_numbered_in_the_order_they_are_shown(made: dict[str, bytes]) -> None:
    wide = [name for name in made if "/wide/" in name]
    assert wide == sorted(wide)
    assert wide[0] == "cards/wide/01-title.png"


def test_what_the_story_does_not_hold_has_no_card() -> None:
    found = names(cards.alt(tell(sample.sample(()), (2026, 1))), "tall")
    assert found == [name for name in FULL if name in found]
    assert set(FULL) - set(found) == {"words-1", "animals", "eaten", "test-1", "surprises", "photo-1", "photo-2"}


def test_without_weather_to_come_there_is_no_outlook() -> None:
    ended = tell(sample.sample(end=sample.NOW, members=0), (2026, 1))
    assert "next" not in names(cards.alt(ended), "wide")


def test_the_same_story_gives_the_same_bytes(story: Story, made: dict[str, bytes], panels: dict[str, bytes]) -> None:
    assert cards.cards(story) == made
    assert cards.overlays(story) == panels


def test_all_words_of_a_usual_story_are_set_whole_and_large_enough(story: Story) -> None:
    data, pictures, under = cards.laid_out(story)
    found = reported("card.typ", data, pictures)
    assert len(found) > 2 * len(under)
    assert {one["least"] for one in found} == {34, 42}
    assert all(float(str(one["size"])) >= float(str(one["least"])) for one in found)
    assert all(one["whole"] for one in found), "its text claims what the card has dropped"
    data, _ = cards.laid_over(story)
    assert all(one["whole"] for one in reported("overlay.typ", data, {}))


def test_words_without_end_are_cut_and_never_run_over() -> None:
    story = full(LONG)
    assert sum("words-" in name for name in cards.alt(story)) == 2 * cards.QUOTES
    data, pictures, _ = cards.laid_out(story)
    laid_over, _ = cards.laid_over(story)
    for found in (reported("card.typ", data, pictures), reported("overlay.typ", laid_over, {})):
        assert all(one["fits"] for one in found)
        assert any(not one["whole"] for one in found)
        assert all(float(str(one["size"])) >= float(str(one["least"])) for one in found)


@pytest.mark.parametrize("shape", cards.SHAPES)
def test_margins_and_what_players_cover_stay_free(made: dict[str, bytes], shape: str) -> None:
    top, bottom, side = {"wide": (54, 54, 54), "tall": (250, 340, 54)}[shape]
    for name, png in made.items():
        if f"/{shape}/" not in name or "photo" in name or "title" in name:
            continue
        with Image.open(io.BytesIO(png)) as card:
            wide, high = card.size
            edges = (
                (0, 20, wide, top),  # below the coloured edge
                (0, high - bottom, wide, high),
                (0, 20, side, high),
                (wide - side, 20, wide, high),
            )
            assert all(card.crop(edge).convert("RGB").getcolors(1) for edge in edges), name
            assert np.asarray(card.convert("L")).min() < 100


@pytest.mark.parametrize("name", ["cards/wide/01-title.png", "cards/tall/01-title.png", "cards/tall/13-photo-1.png"])
def test_a_photo_fills_its_card_and_keeps_its_focus_in_sight(made: dict[str, bytes], name: str) -> None:
    drawn = pixels(made[name]).astype(int)
    assert (drawn[..., 3] == 255).all()
    for corner in (drawn[0, 0], drawn[0, -1], drawn[-1, 0], drawn[-1, -1]):
        assert np.abs(corner[:3] - (90, 100, 90)).max() < 12
    dot = np.abs(drawn[..., :3] - DOT).max(axis=2) < 40
    assert dot.sum() > 1000


def test_overlays_are_transparent_beside_an_opaque_panel(panels: dict[str, bytes]) -> None:
    assert [name.split("/")[1][:3] for name in panels] == [f"{n:02}-" for n in range(1, len(panels) + 1)]
    for png in panels.values():
        drawn = pixels(png)
        assert drawn.shape == (1080, 1920, 4)
        opaque = drawn[..., 3] == 255
        assert (drawn[:54, :, 3] == 0).all()
        assert (drawn[-54:, :, 3] == 0).all()
        assert (drawn[:, :54, 3] == 0).all()
        assert (drawn[:, -54:, 3] == 0).all()
        assert 0.02 < opaque.mean() < 0.35
        assert (drawn[opaque][:, :3] == PAPER).all(axis=1).mean() > 0.5


@pytest.mark.parametrize("accent", ["#ffe94a", "#24485c", "#ffffff", "#000000"])
def test_words_of_overlays_can_be_read_over_any_film(story: Story, accent: str) -> None:
    told = replace(story, own=replace(story.own, accent=accent))
    panel = Image.open(io.BytesIO(list(cards.overlays(told).values())[1])).convert("RGBA")
    for film in ((0, 0, 0), (255, 255, 255), (128, 128, 128)):
        over = Image.new("RGBA", panel.size, (*film, 255))
        over.alpha_composite(panel)
        drawn = np.asarray(over)[..., :3]
        inside = drawn[-72 - 10, 96 + 60]  # in the panel, below its words
        for ink in (INK, SOFT, readable(accent, cards.PAPER)):
            assert contrast(ink, f"#{bytes(inside.tolist()).hex()}") >= 4.5
            assert (drawn == tuple(bytes.fromhex(ink[1:]))).all(axis=2).any(), ink  # words in it are there


def test_every_file_is_told_in_words(story: Story, made: dict[str, bytes], panels: dict[str, bytes]) -> None:
    told = cards.alt(story)
    assert list(told) == [*made, *panels]
    assert OWN.title is not None
    assert OWN.title in told["cards/wide/01-title.png"]
    assert told["cards/wide/03-coldest.png"] == told["cards/tall/03-coldest.png"]
    assert "°F" in told["cards/wide/03-coldest.png"]
    assert "estimated" in told["cards/wide/05-animals.png"]
    assert "Adult: 4" in told["cards/wide/05-animals.png"]
    assert "Under the card, early." in told["cards/tall/13-photo-1.png"]
    assert all(says.endswith((".", "!", "?", "…")) for says in told.values())
