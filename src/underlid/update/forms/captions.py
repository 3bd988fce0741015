"""What goes with pictures for those who do not see or hear them: captions, a sheet to speak from, and texts for all.

Captions and descriptions are WebVTT. Every sentence that holds a figure is the account's own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from itertools import groupby

from underlid.update.drawn import palette, standing
from underlid.update.drawn.frames import GAP_S, Cue, Month, Plan, brief, cued, plan
from underlid.update.facts import Story
from underlid.update.forms import cards
from underlid.update.prose import telling, words
from underlid.update.prose.aloud import spoken
from underlid.update.prose.said import Section, unsaid

WORDS_A_MINUTE = 150  # read aloud without haste; common practice, no source
#: The card that goes with a section, by the end of its file name.
CARD_OF = {
    "month": "title", "done": "eaten", "temperatures": "coldest", "animals": "animals", "chemistry": "water",
    "tests": "test-1", "surprises": "surprises", "unknown": "unknown", "next": "next", "care": "care",
}  # fmt: skip
EVIDENCE = {
    "weather": "the weather by the hour",
    "fit": "a model of the bedding, fitted to the readings",
    "counts": "counts of samples and sightings",
    "feedings": "the feedings as they were noted",
    "species": "published figures for the species",
}


def spoken_vtt(order: Plan) -> str:
    """What is said, as captions."""
    return _vtt(order.cues)


def described_vtt(month: Month, order: Plan) -> str:
    """What is to be seen, for a player that reads it out: a text track of the kind "descriptions"."""
    return _vtt(described(month, order))


def described(month: Month, order: Plan) -> tuple[Cue, ...]:
    """What is to be seen, from when it is; what would come too late to be read in time is left out."""
    story, length_s = month.story, order.length_s
    seen = [
        (0.0, f"Title: {story.title}, {story.month:%B %Y}."),
        (
            order.start("month"),
            "A bin cut through, to scale. Colours show its warmth: dark blue is cold, pale yellow is warm.",
        ),
    ]
    if month.icy is not None:
        seen.append((order.start("month", month.icy), f"Stripes mark bedding {palette.FREEZING}."))
    reads = [month.at(one.start) for one in month.readings]
    if reads:
        seen.append((order.start("month", min(reads)), "Diamonds mark where the keeper read a thermometer."))
    if month.predicted_from is not None:
        seen.append((order.start("month", month.predicted_from), "The label changes from estimated to predicted."))
    if month.coldest < len(month) - 1:
        seen.append((order.start("month", month.coldest), f"The clock stands still at {standing.WHICH}."))
    seen.sort(key=lambda one: one[0])
    ends_s = order.start("end")
    found: list[Cue] = []
    for at, text in [*seen, (ends_s, "The closing words stand on plain paper.")]:
        cues = list(cued([text], max(at, found[-1].end + GAP_S if found else 0.0)))
        if cues[-1].end <= (length_s if at >= ends_s else ends_s):
            found += cues
    return tuple(found)


def notes(story: Story) -> str:
    """A sheet to speak from, in Markdown: what to say, how long it takes, and what to answer."""
    parts = telling.sections(story)
    shown = {name.rsplit("/", 1)[-1]: name for name in cards.alt(story) if name.startswith("cards/wide/")}
    lines = [f"# {_plain(story.title)}, {story.month:%B %Y}: what to say", ""]
    said = [spoken(brief(one)) for part in parts for one in part.said]
    lines += [
        f"All of it takes {_minutes(_seconds(said))} at {WORDS_A_MINUTE} words a minute. "
        "What is said is in quotes; the rest is for you.", "",
    ]  # fmt: skip
    if story.cut is not None:
        month = Month(story, story.cut)
        if len(month):
            lines += [f"The film runs {plan(month).length_s:.0f} s; its captions say what belongs to it.", ""]
    for number, part in enumerate(parts, 1):
        lines += [f"## {number}. {part.title}", "", *_scene(part, _card(part, shown)), ""]
        own = story.own.paragraphs(part.name)
        if own:
            lines += ["In your own words:", "", *(f"> {_plain(text)}" for text in own), ""]
    lines += ["## If asked", "", "How it is known:", ""]
    lines += [f"- {what}" for what in _known(parts)]
    lines += ["", "What is not known:", "", *(f"- {text}" for text in words.unknown(story)), ""]
    return "\n".join(lines)


def alt_texts(story: Story) -> str:
    """A text for every picture, chart and film of the update, in Markdown, by the name of its file."""
    lines = ["# What the pictures show", "", "A text for each, to paste where a picture is put up.", ""]
    texts = {"chart of the month": words.month_caption(story), "chart of the refuge": words.refuge_caption(story)}
    if story.days is not None:
        texts["chart of what is to come"] = words.outlook_caption(story)
    texts |= {f"photo {one.name}": one.caption for one in story.own.pictures if one.caption}
    if story.cut is not None:
        texts["film.mp4"] = film_alt(story)
    texts |= cards.alt(story)
    for name, text in texts.items():
        lines += [f"## {_plain(name)}", "", _plain(text), ""]
    return "\n".join(lines)


def film_alt(story: Story) -> str:
    """What the film shows as a whole."""
    told = " ".join(brief(one) for part in telling.sections(story) if part.name == "month" for one in part.said[:1])
    return (
        f"A silent film of {story.title} in {story.month:%B %Y}: the bin cut through, hour after hour, with the warmth "
        f"of each part in colour, what is below freezing in stripes, beside a clock, the air, the bedding and the "
        f"refuge. {told}"
    )


# --- inside --------------------------------------------------------------------------------------------------


def _vtt(cues: Sequence[Cue]) -> str:
    blocks = [
        "\n".join((f"{_stamp(cue.start)} --> {_stamp(cue.end)}", *(_escaped(line) for line in cue.lines)))
        for cue in cues
    ]
    return "\n\n".join(("WEBVTT", *blocks)) + "\n"


def _stamp(seconds: float) -> str:
    whole, thousandths = divmod(round(1000 * seconds), 1000)
    return f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}.{thousandths:03}"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _scene(part: Section, card: str) -> Iterator[str]:
    """What to say in a scene, sentence after sentence with where its figures come from."""
    if not part.said:
        yield "Nothing to say."
        return
    said = [spoken(brief(one)) for one in part.said]
    shows = f"Shows: {card}. " if card else ""
    yield f"{shows}Takes {_minutes(_seconds(said))}."
    yield ""
    for one, text in zip(part.said, said, strict=True):
        from_ = unsaid(text, one.provenance)
        yield f"- “{_plain(text)}”{f' ({from_})' if from_ else ''}"
        if one.short and any(letter.isdigit() for letter in one.full):
            yield f"  - In full: {_plain(one.full)}"


def _card(part: Section, shown: dict[str, str]) -> str:
    ending = f"-{CARD_OF.get(part.name, part.name)}.png"
    return next((path for name, path in shown.items() if name.endswith(ending)), "")


def _known(parts: Sequence[Section]) -> Iterator[str]:
    """Each kind of evidence, and the sections that rest on it."""
    resting: dict[str, list[str]] = {}
    readings: dict[str, None] = {}
    for part in parts:
        for name in dict.fromkeys(_kind(source) for one in part.said for source in one.evidence):
            resting.setdefault(name, []).append(part.title)
        readings |= dict.fromkeys(source for one in part.said for source in one.evidence if _kind(source) == "reading")
    for name, titles in resting.items():
        what = EVIDENCE.get(name) or (f"{len(readings)} readings" if name == "reading" else f"the trial {name}")
        yield f"{what[0].upper()}{what[1:]}: {'; '.join(title.lower() for title, _ in groupby(titles))}."


def _kind(source: str) -> str:
    first, _, rest = source.partition("-")
    return rest if first == "trial" else first


def _plain(text: str) -> str:
    """A text that Markdown leaves as it is, on one line."""
    return re.sub(r"([\\`*_#\[\]<>|])", r"\\\1", " ".join(text.split()))


def _seconds(said: Sequence[str]) -> float:
    return 60 * sum(len(text.split()) for text in said) / WORDS_A_MINUTE


def _minutes(seconds: float) -> str:
    """ "40 s", "1 min 10 s"; to the next five seconds."""
    whole = 5 * math.ceil(seconds / 5)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60:02} s"
