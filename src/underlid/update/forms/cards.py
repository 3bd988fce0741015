"""Picture cards of a month, for films and for phones, and panels to lie over a film: PNGs of an exact size.

A card shows one thing: a figure with its range, a chart, or a few sentences. What does not belong to the story has no
card. Type steps down until the words fit (card.typ), and never below what can be read.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial

from altair import LayerChart
from PIL import Image

from underlid.update.drawn import charts
from underlid.update.drawn.drawing import svg, unchecked
from underlid.update.drawn.keys import Key, key_of
from underlid.update.facts import Provenance, Range, Story
from underlid.update.forms import typeset
from underlid.update.lifefacts import Animals, Picture
from underlid.update.own import readable
from underlid.update.pictures import crop_box
from underlid.update.prose import background, heatwords, phrases, telling, words
from underlid.update.prose.aloud import sentences
from underlid.update.prose.said import SECTIONS, Said, unsaid
from underlid.update.prose.words import KeyFigure

#: Shape of a card: its folder and its size [px].
SHAPES = {"wide": (1920, 1080), "tall": (1080, 1920)}
PAPER = "#fbfaf7"
#: Drawn small and scaled up, so that lines and marks grow with the type: 33 px of text at least on either shape.
CHART = charts.Size(520, 330, 18, 7)
BESIDE, BELOW, ALONE = 160, 110, 700  # characters said beside a drawing, below many bars, and alone: our judgement
QUOTED, QUOTES = 620, 3  # characters of the keeper's own words on one card, and cards they take at most: the same
WORKERS = 2  # photos at a time
PNG_LEVEL = 1  # photos hardly get smaller with more, but take far longer
LONG_WORD = 24  # characters after which a word may break
WATER_SCALE, PH_SCALE = (30.0, 100.0), (4.0, 10.0)  # ends of the bars [% of wet weight, pH]

Plain = dict[str, object]
Sentences = tuple[tuple[str, Provenance | None], ...]  # each with where its figures come from


@dataclass(frozen=True, slots=True)
class Card:
    """What one card shows, whatever its shape.

    layout : "title", "photo" or "account"; said : sentences with where their figures come from
    drawing : name of a chart, and what it shows in words; legend : what its lines and marks are
    bars : rows for card.typ, each with its words
    """

    name: str
    heading: str
    said: Sentences = ()
    layout: str = "account"
    kicker: str = ""
    figure: KeyFigure | None = None
    drawing: tuple[str, str] | None = None
    legend: tuple[Key, ...] = ()
    bars: tuple[Plain, ...] = ()
    bars_note: str = ""
    photo: Picture | None = None

    @property
    def alt(self) -> str:
        """All that it shows, in words."""
        parts = [self.heading, *(_spoken(self.figure) if self.figure else ())]
        parts += [f"{row['label']}: {row['says']}, {row['chip']}" for row in self.bars]
        parts += [text for text, _ in self.said]
        parts += [self.drawing[1]] if self.drawing else []
        parts += [self.kicker] if self.layout != "account" else []
        return " ".join(part if part[-1] in ".?!…" else f"{part}." for part in parts if part)


def cards(story: Story) -> dict[str, bytes]:
    """Each card wide and tall: "cards/wide/01-title.png" and so on. The same story gives the same bytes."""
    data, pictures, under = laid_out(story)
    pages = typeset.pngs("card.typ", data, pictures)
    with ThreadPoolExecutor(WORKERS) as workers:
        return dict(zip(under, workers.map(_over, under.values(), pages), strict=True))


def overlays(story: Story) -> dict[str, bytes]:
    """Transparent lower thirds for the title and each large figure: "overlays/01-title.png" and so on."""
    data, names = laid_over(story)
    return dict(zip(names, typeset.pngs("overlay.typ", data, {}), strict=True))


def alt(story: Story) -> dict[str, str]:
    """What every card and overlay shows, for those who cannot see it, by file name."""
    made = tuple(_cards(story))
    said = dict(zip(_names(made), [card.alt for card in made] * len(SHAPES), strict=True))
    title, month, lines = story.title, f"{story.month:%B %Y}", _about(story)
    over = [" ".join((f"{title}, {month}.", *(f"{line}." for line in lines)))]
    over += [" ".join(f"{part}." for part in (key.label, *_spoken(key))) for key in words.key_figures(story)]
    return said | dict(zip(laid_over(story)[1], over, strict=True))


def laid_out(story: Story) -> tuple[Plain, dict[str, bytes], dict[str, Picture | None]]:
    """Data and pictures for card.typ, and for each of its pages the file name and the photo that lies under it."""
    made = tuple(_cards(story))
    pictures: dict[str, bytes] = {}
    for card in made:
        if card.drawing:
            name, says = card.drawing
            drawn = unchecked(partial(_chart, story, name))
            pictures[f"{name}.svg"] = svg(drawn, name, says).encode()
    running = _breakable(f"{story.title} · {story.month:%B %Y}")
    pages = [_page(card, shape, running) for shape in SHAPES for card in made]
    under = dict(zip(_names(made), [card.photo for card in made] * len(SHAPES), strict=True))
    return {"accent": readable(story.own.accent, PAPER), "cards": pages}, pictures, under


def laid_over(story: Story) -> tuple[Plain, list[str]]:
    """Data for overlay.typ, and the file name of each of its pages."""
    about = [f"{story.month:%B %Y}", *_about(story)]
    shown: list[tuple[str, Plain]] = [
        ("title", {"heading": _breakable(story.title), "lines": [_breakable(line) for line in about], "figure": None})
    ]
    for key in words.key_figures(story):
        shown.append((_slug(key.label), {"heading": key.label, "lines": [], "figure": _figure(key)}))
    names = [f"overlays/{number:02}-{name}.png" for number, (name, _) in enumerate(shown, 1)]
    return {"accent": readable(story.own.accent, PAPER), "overlays": [one for _, one in shown]}, names


# --- what the cards are ----------------------------------------------------------------------------------------


def _cards(story: Story) -> Iterator[Card]:
    told = {section.name: section.said for section in telling.sections(story)}
    keys = words.key_figures(story)
    opening = story.own.pictures[0] if story.own.pictures else None
    yield Card(
        "title", story.title, tuple((line, None) for line in _about(story)), "title", f"{story.month:%B %Y}",
        photo=opening,
    )  # fmt: skip
    for number, text in enumerate(_quoted(story.own.paragraphs("")), 1):
        yield Card(f"words-{number}", "In the keeper’s words", ((text, None),))
    yield Card(
        "coldest", keys[0].label, _beside(heatwords.coldest(story), heatwords.basis(story)), figure=keys[0],
        drawing=("month", words.month_caption(story)), legend=key_of(story, "month"),
    )  # fmt: skip
    yield Card(
        "refuge", keys[1].label, _beside(heatwords.refuge(story)), figure=keys[1],
        drawing=("refuge", words.refuge_caption(story)), legend=key_of(story, "refuge"),
    )  # fmt: skip
    if story.animals is not None:
        yield _animals(story.animals, keys[-1], told["animals"])
    if story.eaten is not None and story.eaten.feedings:
        yield Card("eaten", SECTIONS["done"], _alone(told["done"]))
    yield _wet(story, told["chemistry"])
    # Without a trial the section holds a sentence that says so, which needs no card.
    for number, (trial, said) in enumerate(zip(story.trials, told["tests"], strict=False), 1):
        yield Card(f"test-{number}", f"{SECTIONS['tests']}: {trial.name}", _alone((said,)))
    if any(fact.surprise for fact in story.readings):
        yield Card("surprises", SECTIONS["surprises"], _alone(told["surprises"]))
    *particular, always = told["unknown"]
    yield Card("unknown", SECTIONS["unknown"], (*_alone(particular, ALONE - len(always.full)), *_alone((always,))))
    if story.days is not None:
        yield _outlook(story, keys[2] if story.soon is not None else None)
    if story.steps:
        yield Card("steps", SECTIONS["next"], _alone(told["next"][-len(story.steps) :]))
    # The opening photo comes again only for its caption, which the title has no room for.
    for number, photo in enumerate(story.own.pictures[0 if opening and opening.caption else 1 :], 1):
        caption = ((photo.caption, None),) if photo.caption else ()
        when = f"{phrases.day(photo.when)} {photo.when:%Y}"
        yield Card(f"photo-{number}", "", caption, "photo", when, photo=photo)
    yield Card("care", SECTIONS["care"], _alone(told["care"]))


def _animals(found: Animals, figure: KeyFigure, told: Sequence[Said]) -> Card:
    most = max(1.0, *(count.high for _, count in found.stages))
    bars = tuple(_bar(stage, phrases.animals_range(count), count, (0, most)) for stage, count in found.stages)
    return Card("animals", figure.label, _beside(*told, most=BELOW), figure=figure, bars=bars, bars_note=BARS)


def _wet(story: Story, told: Sequence[Said]) -> Card:
    water = story.water
    ranged = phrases.percent_range(water.now)
    bears = f"{phrases.ends(*water.tolerated_pct, '%')} tolerated"
    bars = [_bar("Water by weight", ranged, water.now, WATER_SCALE, water.tolerated_pct)]
    for one in story.acid:
        scale = PH_SCALE if one.quantity == "pH" else (0.0, max(1.0, 1.5 * one.whole.high))
        label = "Acidity" if one.quantity == "pH" else "Salts (EC)"
        bars.append(_bar(label, phrases.level_range(one.whole), one.whole, scale, one.tolerated))
    figure = KeyFigure("Water", phrases.percent(water.now), "water by weight", (ranged, bears), water.now.provenance)
    note = f"{BARS} {TOLERATED}"
    return Card("water", SECTIONS["chemistry"], _beside(*told), figure=figure, bars=tuple(bars), bars_note=note)


def _chart(story: Story, name: str) -> LayerChart:
    spread: LayerChart = CHARTS[name](story, CHART).configure_axisX(labelSeparation=CHART.text / 2)
    return spread


def _outlook(story: Story, figure: KeyFigure | None) -> Card:
    assert story.days is not None
    further = heatwords.rest(story)
    return Card(
        "next", figure.label if figure else SECTIONS["next"],
        _beside(heatwords.soon(story), *(() if further is None else (further,))), figure=figure,
        drawing=("outlook", words.outlook_caption(story)), legend=key_of(story, "outlook"),
    )  # fmt: skip


CHARTS: dict[str, Callable[[Story, charts.Size], LayerChart]] = {
    "month": charts.month_chart,
    "refuge": charts.refuge_chart,
    "outlook": charts.outlook_chart,
}
BARS = "Bar: nine in ten. Stroke: the middle."
TOLERATED = "Grey, between two strokes: what is tolerated."


# --- their words -----------------------------------------------------------------------------------------------


def _beside(*told: Said, most: int = BESIDE) -> Sentences:
    """What has room beside a drawing: the short forms, since the figure says the range, or the first in full."""
    short = [(one.short, one.provenance) for one in told if one.short]
    return _first(short or [(told[0].full, told[0].provenance)], most)


def _alone(told: Sequence[Said], most: int = ALONE) -> Sentences:
    """What has room on a card of its own: the first sentences in full, with their ranges."""
    return _first([(one.full, one.provenance) for one in told], most)


def _first(told: Sequence[tuple[str, Provenance | None]], most: int) -> Sentences:
    """As many from the start as hold no more characters than this, one at least."""
    room = [sum(len(text) for text, _ in told[:count]) <= most for count in range(2, len(told) + 1)]
    return tuple(told[: 1 + sum(room)])


def _about(story: Story) -> tuple[str, ...]:
    by = (f"Kept by {story.keeper}",) if story.keeper else ()
    return (background.kind_of_bin(story), *by)


def _quoted(paragraphs: Sequence[str]) -> list[str]:
    """The keeper's own words in pieces that fit a card, broken between sentences where that can be."""
    pieces: list[str] = []
    for sentence in (part for text in paragraphs for part in sentences(text)):
        for word in sentence.split():
            if pieces and len(pieces[-1]) + 1 + len(word) <= QUOTED:
                pieces[-1] += f" {word}"
            else:
                pieces.append(word)
    left = len(pieces) > QUOTES
    pieces = pieces[:QUOTES]
    return [*pieces[:-1], f"{pieces[-1]} …"] if left else pieces


def _spoken(key: KeyFigure) -> tuple[str, ...]:
    figure = f"{key.figure}, {key.beside}" if key.beside else key.figure
    return (figure, f"Nine in ten: {key.range[0]} ({key.provenance}); {key.range[1]}")


# --- their shape -----------------------------------------------------------------------------------------------


def _names(made: Sequence[Card]) -> Iterator[str]:
    for shape in SHAPES:
        yield from (f"cards/{shape}/{number:02}-{card.name}.png" for number, card in enumerate(made, 1))


def _page(card: Card, shape: str, running: str) -> Plain:
    return {
        "shape": shape,
        "layout": card.layout,
        "heading": _breakable(card.heading),
        "kicker": _breakable(card.kicker) if card.layout != "account" else running,
        "said": [{"text": _breakable(text), "chip": unsaid(text, provenance)} for text, provenance in card.said],
        "figure": None if card.figure is None else _figure(card.figure),
        "chart": None if card.drawing is None else f"{card.drawing[0]}.svg",
        "legend": [asdict(key) for key in card.legend],
        "bars": card.bars,
        "bars-note": card.bars_note,
        "photo": card.photo is not None,
    }


def _over(photo: Picture | None, png: bytes) -> bytes:
    """A page that is transparent beside its words, laid over a photo that fills it around its focus."""
    if photo is None:
        return png
    with (
        Image.open(io.BytesIO(png), formats=["PNG"]) as page,
        Image.open(io.BytesIO(photo.jpeg), formats=["JPEG"]) as whole,
    ):
        left, top, width, height = crop_box(*whole.size, page.width / page.height, photo.focus)
        card = whole.convert("RGB").resize(page.size, Image.Resampling.BICUBIC, (left, top, left + width, top + height))
        card.paste(page, mask=page)
    out = io.BytesIO()
    card.save(out, "PNG", compress_level=PNG_LEVEL)
    return out.getvalue()


def _figure(key: KeyFigure) -> Plain:
    return {"figure": key.figure, "beside": key.beside, "ends": key.range, "chip": key.provenance}


def _bar(
    label: str, says: str, found: Range, scale: tuple[float, float], tolerated: tuple[float, float] | None = None
) -> Plain:
    return {
        "label": label.capitalize() if label.islower() else label, "says": says, "low": found.low,
        "middle": found.middle, "high": found.high, "least": scale[0], "most": scale[1], "tolerated": tolerated,
        "chip": found.provenance,
    }  # fmt: skip


def _breakable(text: str) -> str:
    """The same words, with places at which an endless one may break."""
    return re.sub(rf"(\S{{{LONG_WORD}}})(?=\S)", "\\1\u200b", text)


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
