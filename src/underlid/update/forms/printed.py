"""The account for paper: a PDF to read at a table, and a poster to read from two metres.

Both are typeset from the same sections, figures and charts as every other form of the account. A keeper's words travel
as JSON strings and are never taken for markup. A chart is drawn once for both.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, replace
from functools import lru_cache, partial

import altair as alt

from underlid.update.drawn import charts, lifecharts
from underlid.update.drawn.cutaway import cutaway
from underlid.update.drawn.drawing import svg, unchecked
from underlid.update.drawn.keys import Key, key_of, place_of
from underlid.update.facts import Noted, ReadingFact, Story
from underlid.update.forms import heads, typeset
from underlid.update.lifefacts import Own, Picture
from underlid.update.own import readable
from underlid.update.prose import background, lifewords, phrases, telling, words
from underlid.update.prose.said import Said, Section, unsaid

Plain = dict[str, object]

PAPER = charts.Size(704, 310, 15, 4)  # for a page of A4
WIDE, WIDE_LOW = charts.Size(1070, 330, 22, 4), charts.Size(1070, 270, 22, 4)  # for the width of a poster
COLUMN, COLUMN_LOW = charts.Size(515, 270, 21, 14), charts.Size(515, 235, 21, 14)  # for half of it
CHARTS: dict[str, Callable[[Story, charts.Size], alt.LayerChart]] = {
    "month": charts.month_chart,
    "refuge": charts.refuge_chart,
    "outlook": charts.outlook_chart,
    "animals": lifecharts.animals_chart,
}
TITLES = {
    "month": "Air and bedding", "refuge": "The refuge", "outlook": "The days to come", "animals": "The animals",
}  # fmt: skip
PLACES = {"temperatures": ("month", "refuge"), "animals": ("animals",), "next": ("outlook",)}
EXPECTED = "“Expected” is what the model, which has already seen these readings, gives a thermometer there and then."
TIMES = (
    "A reading is drawn as wide as its time is vague and as high as its amount is; a dashed outline means “about”, an "
    "arrow an open side."
)


def account(story: Story) -> bytes:
    """The account as a PDF for A4 (PDF/UA-1); the same story gives the same bytes."""
    told, cut = telling.sections(story), cutaway(story)
    drawn = {name: _chart(story, name) for names in PLACES.values() for name in names if _shows(story, name)}
    data = _common(story) | {
        "kicker": f"Monthly account · {story.month:%B %Y}",
        "lede": heads.lede(story),
        "voice": f"In {story.keeper}’s words" if story.keeper else "In the keeper’s words",
        "opening": story.own.paragraphs(""),
        "short": telling.short(story),
        "cut": None if cut is None else {"file": "cut.svg", "alt": cut[1], "title": "The bedding cut through"},
        "sections": [_section(story, one, drawn) for one in told],
        "pictures": [_photo(story, one) for one in story.own.pictures],
        "truth": _truth(story),
        "expected": EXPECTED,
        "readings": [_row(fact) for fact in story.readings],
        "nothing": _nothing(story),
        "noted": list(_noted(story)),
        "learned": f"Nine-in-ten ranges after {phrases.count(story.readings_used, 'reading')}, and before any."
        if story.readings_used
        else "Nothing yet: without readings the ranges stay as they were before.",
        "parameters": [words.parameter(found) for found in story.parameters],
        "bin_words": story.bin.words,
        "bin": [{"term": term, "words": quoted, "said": said} for term, quoted, said in background.bin_facts(story)],
        "sources": [{"term": term, "words": "", "said": said} for term, said in background.sources(story)],
    }
    return _typeset("account.typ", data, _pictures(story, drawn) | ({} if cut is None else {"cut.svg": cut[0]}))


def poster(story: Story) -> bytes:
    """The month as a poster of A2 (PDF/UA-1), with as much as fits in type that is read from two metres."""
    told = {one.name: one for one in telling.sections(story)}
    cut = cutaway(story)
    names = ["month", "animals" if story.animals else "refuge"]
    if story.days is not None and cut is None and not story.own.pictures:
        names.append("outlook")  # so that no wall shows an empty half
    crowded = cut is not None or bool(story.own.pictures)
    wide, narrow = (WIDE_LOW, COLUMN_LOW) if crowded else (WIDE, COLUMN)
    drawn = {name: _chart(story, name, wide if name == "month" else narrow) for name in names}
    pictures = _pictures(story, drawn)
    if cut is not None:
        pictures["cut.svg"] = cut[0]
    data = _common(story) | {
        "about": heads.lede(story),
        "said": [_said(one) for one in told["month"].said],
        "drawn": {name: _figure(story, name) for name in names},
        "cut": None
        if cut is None
        else {"file": "cut.svg", "alt": cut[1], "title": "Inside, at the hour thought the coldest"},
        "photo": _photo(story, story.own.pictures[0]) if story.own.pictures else None,
        "parts": [
            {"name": name, "title": told[name].title, "said": [_said(one) for one in told[name].said]}
            for name in ("tests", "next", "unknown", "care")
            if told[name].said and (name != "tests" or story.trials)
        ],
        "sources": " ".join(f"{term}: {said.rstrip('.')}." for term, said in background.sources(story)[:1]),
    }
    return _typeset("poster.typ", data, pictures)


# --- parts -------------------------------------------------------------------------------------------------


def _common(story: Story) -> Plain:
    return {
        "title": story.title,
        "month": f"{story.month:%B %Y}",
        "author": story.keeper or "",
        "accent": readable(story.own.accent),
        "colour": story.own.accent,
        "figures": [
            {"label": key.label, "figure": key.figure, "beside": key.beside, "ends": heads.ends(key),
             "provenance": key.provenance}
            for key in words.key_figures(story)
        ],
    }  # fmt: skip


def _section(story: Story, section: Section, drawn: dict[str, bytes]) -> Plain:
    return {
        "name": section.name,
        "title": section.title,
        "said": [_said(one) for one in section.said],
        "own": story.own.paragraphs(section.name),
        "charts": [_figure(story, name) for name in PLACES.get(section.name, ()) if name in drawn],
    }


def _said(one: Said) -> Plain:
    """A sentence in both forms, each with what a chip beside it has to say."""
    short = one.short or one.full
    return {"full": one.full, "chip": one.unsaid, "short": short, "short-chip": unsaid(short, one.provenance)}


def _photo(story: Story, picture: Picture) -> Plain:
    return {
        "file": f"photo-{story.own.pictures.index(picture)}.jpg",
        "aspect": picture.width / picture.height,
        "caption": picture.caption,
        "alt": picture.caption or f"Photo of {phrases.day(picture.when)}",
    }


def _truth(story: Story) -> Plain | None:
    if story.truth is None:
        return None
    return {
        "title": "How close was it? (demo only)",
        "lede": f"This bin, its journal and its true temperatures are invented data ({story.truth.label}), so that the "
        "account can be checked. With a real bin nobody knows this line.",
        "said": words.truth(story),
    }


def _nothing(story: Story) -> list[str]:
    said = []
    if not story.readings:
        before = "" if story.readings_used else ", nor in any month before it"
        said.append(f"No readings were noted this month{before}.")
    if not story.feedings:
        said.append("No feeding was noted.")
    return said


def _noted(story: Story) -> Iterator[Plain]:
    parts: tuple[tuple[str, str, Iterable[Noted]], ...] = (
        ("Fed", "", story.feedings),
        ("Seen", "Lower bounds on who lives here, never counts.", story.sightings),
        ("Sorted out of a known volume", "", story.samples),
        ("In the keeper’s words", "", story.notes),
        ("Corrected", "Both entries stay in the journal; the later one counts.", story.corrections),
    )
    for title, note, rows in parts:
        entries = [
            {"term": phrases.window(row.start, row.end), "words": row.words, "said": row.meaning} for row in rows
        ]
        yield {"title": title, "note": note, "rows": entries}


def _row(fact: ReadingFact) -> Plain:
    place = place_of(fact)
    mark = None if place is None else asdict(Key("", *charts.PLACE_MARKS[place]))
    verdict = words.verdict(fact)
    return {
        "when_words": fact.when_words,
        "when": phrases.window(fact.start, fact.end),
        "where": "air" if place == "air" else fact.place,
        "depth": f"{fact.depth_words} deep" if fact.depth_words else "",
        "mark": mark,
        "amount": phrases.interval(fact.amount),
        "words": fact.words,
        "flags": fact.flags,
        "expected": phrases.temperature_range(fact.expected) if fact.expected else "",
        "verdict": f"{verdict}, {fact.expected.provenance}" if fact.expected else verdict,
        "surprise": fact.surprise,
    }


# --- charts ------------------------------------------------------------------------------------------------


def _shows(story: Story, name: str) -> bool:
    return {"outlook": story.days is not None, "animals": story.animals is not None}.get(name, True)


def _figure(story: Story, name: str) -> Plain:
    alt_text, note = {
        "month": (words.month_caption, f"Times are those of {story.timezone}. {TIMES}"),
        "refuge": (words.refuge_caption, ""),
        "outlook": (words.outlook_caption, words.outlook_note(story)),
        "animals": (_animals_caption, ""),
    }[name]
    return {
        "file": f"{name}.svg", "title": TITLES[name], "alt": alt_text(story), "note": note,
        "key": [asdict(key) for key in key_of(story, name)],
    }  # fmt: skip


def _animals_caption(story: Story) -> str:
    assert story.animals is not None
    return f"Worms in all and the adults among them, day by day. {lifewords.living(story.animals).full}"


def _chart(story: Story, name: str, size: charts.Size = PAPER) -> bytes:
    # What a chart shows does not hang on the cut or the keeper's words, so they are left out of the key.
    return _drawn(pickle.dumps(replace(story, cut=None, own=Own())), name, size)


@lru_cache(maxsize=16)
def _drawn(facts: bytes, name: str, size: charts.Size) -> bytes:
    """A chart of a pickled story, so that the same facts are drawn once for the account and the poster."""
    story: Story = pickle.loads(facts)
    drawn = svg(unchecked(partial(CHARTS[name], story, size)), name, "")
    return drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).encode()


def _pictures(story: Story, drawn: dict[str, bytes]) -> dict[str, bytes]:
    photos = {f"photo-{number}.jpg": picture.jpeg for number, picture in enumerate(story.own.pictures)}
    return {f"{name}.svg": picture for name, picture in drawn.items()} | photos


# --- words as they are -------------------------------------------------------------------------------------


def _typeset(template: str, data: Plain, pictures: dict[str, bytes]) -> bytes:
    undrawn = typeset.undrawn(_texts(data))
    return typeset.pdf(template, {**data, "undrawn": undrawn}, pictures)


def _texts(data: object) -> Iterator[str]:
    """Every text within plain data."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from _texts(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from _texts(value)
