"""The command that writes a month's account: as a page, to print, as pictures, as a film, and as data."""

from __future__ import annotations

import math
import re
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    progress,
    show_json,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.update.facts import Story

PAGE = "html"
MOST_TEXT = 1_000_000  # bytes of a file of words; it is refused as a whole above that


class BadMonth(ValueError):
    """The month is not written as year and month."""


class NoText(ValueError):
    """A file of the keeper's own words cannot be read as text."""


def update(
    bin: BinArgument,
    weather: WeatherOption,
    month: Annotated[
        str | None, typer.Option(help="Month to tell, e.g. 2026-01; the last full month if not given.")
    ] = None,
    form: Annotated[
        str,
        typer.Option(
            "--format",
            help="What to make, with commas between, or “all”: html, pdf, poster, cards, overlays, film, notes, data.",
        ),
    ] = PAGE,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o",
            help="File to write where one is made, else a folder; BIN-MONTH.html or BIN-MONTH if not given.",
        ),
    ] = None,
    title: Annotated[str | None, typer.Option(help="Title; the bin's name if not given.")] = None,
    keeper: Annotated[str | None, typer.Option(help="Who keeps the bin, if it is to be said.")] = None,
    accent: Annotated[str | None, typer.Option(help="Colour of your own, e.g. “#7a3b1e” or “teal”.")] = None,
    words: Annotated[
        Path | None,
        typer.Option(help="Text file with words of your own: an opening, and after “# animals” those for that part."),
    ] = None,
    photos: Annotated[bool, typer.Option(help="Show the month's photos, without place and camera.")] = True,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Write the month's illustrated account: a page, print, poster, picture cards, film, spoken notes and data."""
    from underlid.files import write_whole
    from underlid.journal.store import Journal
    from underlid.monthly import last_full_month, photos_of, pictures_of, story_of
    from underlid.update.forms.formats import formats_from, render, stem
    from underlid.update.lifefacts import ACCENT, Own
    from underlid.update.own import accent_from, words_from
    from underlid.update.story import hours_of_month

    forms = formats_from(form)
    asked = None if month is None else month_from(month)
    brought = Own(
        title=title, keeper=keeper, accent=ACCENT if accent is None else accent_from(accent),
        words=() if words is None else words_from(_text(words)),
    )  # fmt: skip
    study = study_of(
        bin, weather, past or [], None, place, fill_gaps, seed, journal, now, quiet=as_json,
        first=lambda case: hours_of_month(case, date(*(asked or last_full_month(case.now)), 1)),
    )  # fmt: skip
    asked = asked or last_full_month(study.case.now)
    with Journal.open(journal) as book:
        pictures = pictures_of(book, photos_of(book, bin, asked)) if photos else ()
        own = Own(brought.title, brought.keeper, brought.accent, brought.words, pictures)
        with progress(f"the colony in {bin}", quiet=as_json) as tell_progress:
            story = story_of(book, study, asked, own=own, seed=seed, progress=tell_progress)
    with progress(f"drawing {stem(story)}", quiet=as_json) as tell_progress:
        made = render(story, forms, progress=tell_progress)
    written = {}
    for name, data in made.files.items():
        written[name] = _target(name, made.files, out, stem(story))
        write_whole(written[name], data)
    if as_json:
        show_json({"files": [str(path) for path in written.values()], "notes": list(made.notes), **story_json(story)})
        return
    for sentence in made.notes:
        print(sentence)
    if len(written) == 1:
        print(f"Written to {next(iter(written.values()))}.")
    else:
        size = sum(map(len, made.files.values())) / 1e6
        print(f"{len(written)} files ({size:.1f} MB) written to {out or stem(story)}:")
        for path in written.values():
            print(f"  {path}")


def month_from(text: str) -> tuple[int, int]:
    """Year and month of “2026-01”. Raises BadMonth."""
    try:
        moment = datetime.strptime(text, "%Y-%m")
    except ValueError:
        raise BadMonth(f"{text!r} is no month; write it as year and month, e.g. 2026-01.") from None
    return moment.year, moment.month


def file_name(name: str) -> str:
    """A name as part of a file name."""
    return re.sub(r"[^\w.-]+", "-", name)


def story_json(story: Story) -> dict[str, object]:
    """The story's facts as plain JSON types, without hourly series (`outlook` and the format “data” have them)."""
    left_out = ("hours", "days", "bin", "cut", "own")
    facts = {f.name: plain(getattr(story, f.name)) for f in fields(story) if f.name not in left_out}
    return {"bin": story.bin.name, "title": story.title, **facts}


def _target(name: str, files: dict[str, bytes], out: Path | None, folder: str) -> Path:
    """Where a file goes: a single one beside others, several into a folder of their own."""
    if len(files) > 1:
        return (out or Path(folder)) / name
    return out or Path(name)


def _text(path: Path) -> str:
    with path.open("rb") as source:
        data = source.read(MOST_TEXT + 1)
    if len(data) > MOST_TEXT:
        raise NoText(f"{path} is larger than a megabyte; give your words alone, as plain text.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NoText(f"{path} is not text in UTF-8, from byte {error.start} on; save it as UTF-8.") from None


def plain(value: object) -> object:
    """A fact, or what is made of facts, as plain JSON types; infinities as null, series of arrays left out."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain(getattr(value, f.name))
            for f in fields(value)
            if not isinstance(getattr(value, f.name), (np.ndarray, bytes))
        }
    if isinstance(value, dict):
        return {name: plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
