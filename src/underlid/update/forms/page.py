"""One month of one bin as one HTML file that needs no network and no other file, and reads well without its script."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial

from markupsafe import Markup

from underlid.update.drawn import charts, lifecharts, palette
from underlid.update.drawn.crosscut import FROST_HEIGHT, WIDTH, Crosscut
from underlid.update.drawn.drawing import frame
from underlid.update.drawn.keys import key_of, place_of
from underlid.update.facts import ReadingFact, Story
from underlid.update.forms import heads, live
from underlid.update.forms.webpage import NIGHT, PAPER, Drawn, both_widths, data_url, style, template, text_of
from underlid.update.own import readable
from underlid.update.prose import background, phrases, telling, words
from underlid.update.prose.said import Said

MOST_LINKS = 3  # readings named one by one under a sentence
NAMES = {
    "weather": "weather", "fit": "fit", "counts": "counts", "feedings": "feedings", "species": "species",
    "readings": "readings",
}  # fmt: skip


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
    targets = _targets(story)
    return template("page.html.j2").render(
        story=story,
        month=f"{story.month:%B %Y}",
        lede=heads.lede(story),
        style=style(),
        accent=readable(story.own.accent, PAPER),
        accent_at_night=readable(story.own.accent, NIGHT),
        script=Markup(text_of("page.js")),
        data=Markup(live.as_json(story, cut)),
        figures=[(key, heads.ends(key)) for key in words.key_figures(story)],
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
        cut_width=WIDTH,
        frost=Markup(palette.FROST),
        frost_height=FROST_HEIGHT,
        freezing=palette.FREEZING,
        keys={name: key_of(story, name) for name, chart in drawn.items() if chart is not None},
        log=story.animals is not None and lifecharts.animals_scale(story.animals.daily) == "log",
        window=phrases.window,
        day=phrases.day,
        band=phrases.band(*story.refuge.band_c),
        outlook_note=words.outlook_note(story),
        readings=[_row(fact) for fact in story.readings],
        pictures=[(f"photo-{i}", picture, data_url("image/jpeg", picture.jpeg)) for i, picture in enumerate(
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
    read = {f"reading-{fact.id}": fact for fact in story.readings}
    days = [phrases.day(read[name].start) for name in names if name in read]

    def called(name: str) -> str:
        if name not in read:
            return NAMES.get(name, "trial")
        day = phrases.day(read[name].start)  # two of one day are told apart by their places
        return f"reading of {day}" + (f", {where(read[name])}" if days.count(day) > 1 else "")

    return [(f"#{anchor(name)}", called(name)) for name in dict.fromkeys(names)]


def where(fact: ReadingFact) -> str:
    """Where a reading was taken."""
    return "air" if fact.quantity == "air temperature" else fact.place


def _row(fact: ReadingFact) -> dict[str, object]:
    place = place_of(fact)
    return {
        "fact": fact,
        "where": where(fact),
        "mark": charts.PLACE_MARKS[place] if place else None,
        "amount": phrases.interval(fact.amount),
        "expected": phrases.temperature_range(fact.expected) if fact.expected else "",
        "verdict": words.verdict(fact),
    }


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
