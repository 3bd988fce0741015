"""One month of one bin as one HTML file that needs no network, no script and no other file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files

import altair as alt
from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from underlid.update import background, charts, phrases, words
from underlid.update.drawing import svg
from underlid.update.facts import ReadingFact, Story


@dataclass(frozen=True, slots=True)
class Drawn:
    """One chart at both widths; the page's style shows one of them."""

    desk: Markup
    phone: Markup


def page(story: Story) -> str:
    """The account as a self-contained HTML page; the same story gives the same bytes."""
    drawn = {
        "month": both_widths(partial(charts.month_chart, story), "month", words.month_caption(story)),
        "refuge": both_widths(partial(charts.refuge_chart, story), "refuge", words.refuge_caption(story)),
        "outlook": both_widths(partial(charts.outlook_chart, story), "outlook", words.outlook_caption(story))
        if story.days
        else None,
    }
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    return template("page.html.j2").render(
        story=story,
        month=f"{story.month:%B %Y}",
        lede=_lede(story),
        style=Markup(text_of("page.css")),
        figures=words.key_figures(story),
        in_short=words.in_short(story),
        truth=words.truth(story),
        charts=drawn,
        estimated=split > 0,
        predicted=split < hours,
        ice=charts.shows_ice(story),
        places=[place for place in charts.PLACE_MARKS if any(_place(fact) == place for fact in story.readings)],
        marks=charts.PLACE_MARKS,
        colours={
            "blue": charts.BLUE, "green": charts.GREEN, "purple": charts.PURPLE, "ink": charts.INK, "grey": charts.GREY,
        },
        window=phrases.window,
        band=phrases.band(*story.refuge.band_c),
        outlook_note=words.outlook_note(story),
        readings=[_row(fact) for fact in story.readings],
        unknown=words.unknown(story),
        used=phrases.count(story.readings_used, "reading"),
        parameters=[words.parameter(found) for found in story.parameters],
        bin=background.bin_facts(story),
        cautions=background.cautions(story),
        sources=background.sources(story),
    )  # fmt: skip


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
    # The SVG holds numbers and dates only, never a keeper's words, so it may stand in the page as it is.
    return Drawn(**{target: Markup(svg(chart(size), f"{name}-{target}", says)) for target, size in sizes.items()})


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
