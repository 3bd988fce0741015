"""One month of one bin as one HTML file that needs no network and no other file, and reads well without its script."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files

import altair as alt
from altair.utils.schemapi import debug_mode
from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from underlid.update import background, charts, lifecharts, live, phrases, telling, words
from underlid.update.crosscut import DARK, ICE, SHADES, WIDTH, Crosscut
from underlid.update.drawing import frame, svg
from underlid.update.facts import ReadingFact, Story
from underlid.update.own import readable
from underlid.update.said import Said

PAPER, NIGHT = "#f3efe6", "#23282d"  # the darkest light and the lightest dark ground that accents stand on
WEIGHTS = (400, 600)
MOST_LINKS = 3  # readings named one by one under a sentence
NAMES = {
    "weather": "weather", "fit": "fit", "counts": "counts", "feedings": "feedings", "species": "species",
    "readings": "readings",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawn:
    """One chart at both widths; the page's style shows one of them."""

    desk: Markup
    phone: Markup


@dataclass(frozen=True, slots=True)
class Live:
    """What the script needs to read a chart off: which of its series, and where the axes lie in each drawing."""

    series: str
    label: str
    desk: str
    phone: str


def page(story: Story) -> str:
    """The account as a self-contained HTML page; the same story gives the same bytes."""
    drawn = {
        "month": both_widths(partial(charts.month_chart, story), "month", words.month_caption(story)),
        "refuge": both_widths(partial(charts.refuge_chart, story), "refuge", words.refuge_caption(story)),
        "animals": both_widths(partial(lifecharts.animals_chart, story), "animals", lifecharts.caption(story))
        if story.animals
        else None,
        "outlook": both_widths(partial(charts.outlook_chart, story), "outlook", words.outlook_caption(story))
        if story.days
        else None,
    }
    cut = Crosscut(story, story.cut) if story.cut is not None else None
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    targets = _targets(story)
    return template("page.html.j2").render(
        story=story,
        month=f"{story.month:%B %Y}",
        lede=_lede(story),
        style=Markup(_faces() + text_of("page.css")),
        accent=readable(story.own.accent, PAPER),
        accent_at_night=readable(story.own.accent, NIGHT),
        script=Markup(text_of("page.js")),
        data=Markup(live.as_json(story, cut)),
        figures=words.key_figures(story),
        sections=telling.sections(story),
        plain=telling.short(story),
        links=partial(_links, story, targets),
        anchor=anchor,
        truth=words.truth(story),
        charts=drawn,
        live={
            name: _live(drawn[name], series, label)
            for name, series, label in (
                ("month", "hours", "Hour to read off"), ("refuge", "hours", "Hour to read off"),
                ("animals", "days", "Day to read off"),
            )
        },
        cut=cut,
        shades=SHADES,
        dark_shades=DARK,
        cut_width=WIDTH,
        ice_height=ICE,
        estimated=split > 0,
        predicted=split < hours,
        ice=charts.shows_ice(story),
        log=story.animals is not None and lifecharts.animals_scale(story.animals.daily) == "log",
        places=[place for place in charts.PLACE_MARKS if any(_place(fact) == place for fact in story.readings)],
        marks=charts.PLACE_MARKS,
        colours={
            "blue": charts.BLUE, "green": charts.GREEN, "purple": charts.PURPLE, "ink": charts.INK, "grey": charts.GREY,
            "worms": lifecharts.WORMS, "adults": lifecharts.ADULTS,
        },
        window=phrases.window,
        day=phrases.day,
        band=phrases.band(*story.refuge.band_c),
        outlook_note=words.outlook_note(story),
        readings=[_row(fact) for fact in story.readings],
        pictures=[(f"photo-{i}", picture, _data("image/jpeg", picture.jpeg)) for i, picture in enumerate(
            story.own.pictures, start=1)],
        used=phrases.count(story.readings_used, "reading"),
        parameters=[words.parameter(found) for found in story.parameters],
        bin=background.bin_facts(story),
        sources=background.sources(story),
    )  # fmt: skip


def anchor(name: str) -> str:
    """The id in the page of a piece of evidence; no two names give the same one."""
    return re.sub(r"[^A-Za-z0-9_-]", lambda sign: f".{ord(sign[0]):x}.", name)


def _targets(story: Story) -> frozenset[str]:
    """The names of evidence that the page shows."""
    return frozenset({
        *NAMES, *(f"reading-{fact.id}" for fact in story.readings), *(f"trial-{one.name}" for one in story.trials),
    })  # fmt: skip


def _links(story: Story, targets: frozenset[str], said: Said) -> list[tuple[str, str]]:
    """Where in the page the evidence of a sentence is, and a word for it; many readings are one link."""
    names = [name if name in targets else "readings" for name in said.evidence]
    if sum(name.startswith("reading-") for name in names) > MOST_LINKS:
        names = ["readings" if name.startswith("reading-") else name for name in names]
    days = {f"reading-{fact.id}": f"reading of {phrases.day(fact.start)}" for fact in story.readings}
    return [(f"#{anchor(name)}", NAMES.get(name) or days.get(name) or "trial") for name in dict.fromkeys(names)]


def _row(fact: ReadingFact) -> dict[str, object]:
    place = _place(fact)
    return {
        "fact": fact,
        "where": "air" if place == "air" else fact.place,
        "mark": charts.PLACE_MARKS[place] if place else None,
        "amount": phrases.interval(fact.amount),
        "expected": phrases.temperature_range(fact.expected) if fact.expected else "",
        "verdict": words.verdict(fact),
    }


def _place(fact: ReadingFact) -> str | None:
    """The mark a reading is drawn with, if it is drawn."""
    if not fact.temperature:
        return None
    return "air" if fact.quantity == "air temperature" else fact.place


def _lede(story: Story) -> str:
    by = f"Kept by {story.keeper}. " if story.keeper else ""
    return f"{by}{background.kind_of_bin(story)}; told on {phrases.day(story.now)} {story.now:%Y, %H:%M}."


def both_widths(chart: Callable[[charts.Size], alt.LayerChart], name: str, says: str) -> Drawn:
    """A chart for desk and phone as it stands in a page, with what it shows in words."""
    sizes = {"desk": charts.DESK, "phone": charts.PHONE}
    with debug_mode(False):  # every row of numbers would be looked through, at the cost of seconds
        # The SVG holds numbers and dates only, never a keeper's words, so it may stand in the page as it is.
        return Drawn(**{target: Markup(svg(chart(size), f"{name}-{target}", says)) for target, size in sizes.items()})


def _live(drawn: Drawn | None, series: str, label: str) -> Live | None:
    return None if drawn is None else Live(series, label, _shares(drawn.desk), _shares(drawn.phone))


def _shares(drawn: str) -> str:
    """Where the axes lie in a drawing, as shares of its width and height: left, top, width, height."""
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawn)
    assert size is not None
    width, height = float(size[1]), float(size[2])
    return " ".join(
        f"{part / whole:.5f}" for part, whole in zip(frame(drawn), (width, height, width, height), strict=True)
    )


@cache
def template(name: str) -> Template:
    """A page's template, of the files beside this one."""
    return Environment(
        loader=PackageLoader("underlid", "update"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)  # fmt: skip


def text_of(name: str) -> str:
    """The text of a file beside this one."""
    return files(__package__).joinpath(name).read_text("utf-8")


@cache
def _faces() -> str:
    """The page's own fonts, as CSS that holds them."""
    return "".join(
        f'@font-face {{ font-family: "Source Sans 3"; font-weight: {weight}; src: url({_data("font/woff2", content)}) '
        'format("woff2"); }\n'
        for weight in WEIGHTS
        for content in [files(__package__).joinpath(f"fonts/source-sans-3-latin-{weight}-normal.woff2").read_bytes()]
    )


def _data(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{b64encode(content).decode('ascii')}"
