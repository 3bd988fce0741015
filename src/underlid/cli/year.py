"""The commands that tell more than one month or one bin: a bin's year, and bins beside each other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    progress,
    show_json,
)
from underlid.cli.study import study_of
from underlid.cli.update import file_name, month_from, plain

if TYPE_CHECKING:
    from underlid.update.facts import Story

Form = Literal["html", "pdf"]
FORMS: tuple[Form, ...] = ("html", "pdf")

FormOption = Annotated[str, typer.Option("--format", help="html, pdf, or both with a comma.")]
OutOption = Annotated[
    Path | None, typer.Option("--out", "-o", help="File to write; of two formats, its name without the ending.")
]
SINCE = {"twelve": "twelve months", "calendar": "calendar year", "all": "since the start"}


def year(
    bin: BinArgument,
    weather: WeatherOption,
    until: Annotated[str | None, typer.Option(help="Last month to tell, e.g. 2026-04; else the present one.")] = None,
    span: Annotated[
        str, typer.Option(help="twelve: months up to that one; calendar: its year; all: since the bin was started.")
    ] = "twelve",
    form: FormOption = "html",
    out: OutOption = None,
    title: Annotated[str | None, typer.Option(help="Title; the bin's name if not given.")] = None,
    keeper: Annotated[str | None, typer.Option(help="Who keeps the bin, if it is to be said.")] = None,
    accent: Annotated[str | None, typer.Option(help="Colour of your own, e.g. “#7a3b1e” or “teal”.")] = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """A bin's year: each month and the whole, and where two years are known, the same months of both."""
    from underlid.journal.store import Journal
    from underlid.monthly import year_of
    from underlid.update.forms.yearpage import page, printed
    from underlid.update.lifefacts import ACCENT, Own
    from underlid.update.own import accent_from

    forms = _forms(form)
    if span not in SINCE:
        raise NotOneOf(f"--span {span!r} is none of {', '.join(SINCE)}.")
    last = None if until is None else month_from(until)
    own = Own(title=title, keeper=keeper, accent=ACCENT if accent is None else accent_from(accent))
    study = study_of(bin, weather, past or [], None, place, fill_gaps, seed, journal, now, quiet=as_json)
    with Journal.open(journal) as book, progress(f"the colony in {bin}", quiet=as_json) as tell_progress:
        told = year_of(book, study, last, SINCE[span], own=own, seed=seed, progress=tell_progress)  # type: ignore[arg-type]
    stem = f"{file_name(bin)}-year-{told.told_to:%Y-%m}"
    makers = {"html": lambda: page(told).encode(), "pdf": lambda: printed(told)}
    files = _written({one: makers[one] for one in forms}, out, stem)
    if as_json:
        show_json({"files": files, **_facts(told)})
    else:
        print("\n".join(f"Written to {file}." for file in files))


def compare(
    bins: Annotated[list[str], typer.Argument(help="Names of two bins or more.")],
    weather: WeatherOption,
    month: Annotated[
        str | None, typer.Option(help="Month to tell, e.g. 2026-01; the last full month if not given.")
    ] = None,
    form: FormOption = "html",
    out: OutOption = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Several bins of one month beside each other: how they are built, what differs, and what is not resolved."""
    from underlid.journal.store import Journal
    from underlid.monthly import story_of
    from underlid.update.beside import tell_beside
    from underlid.update.forms.besidepage import page, printed

    forms = _forms(form)
    asked = None if month is None else month_from(month)
    names = tuple(dict.fromkeys(bins))
    if len(names) < 2:
        raise NotOneOf("A comparison needs two bins or more; name each, with a space between.")
    with Journal.open(journal) as book:
        for bin in names:  # what is misspelt is told before anything is fitted
            book.bin(bin)
    stories: list[Story] = []
    for bin in names:
        study = study_of(bin, weather, past or [], None, place, fill_gaps, seed, journal, now, quiet=as_json)
        with Journal.open(journal) as book, progress(f"the colony in {bin}", quiet=as_json) as tell_progress:
            stories.append(story_of(book, study, asked, seed=seed, progress=tell_progress))
    told = tell_beside(stories)
    stem = f"{'-'.join(file_name(story.bin.name) for story in stories)[:80]}-{stories[0].month:%Y-%m}"
    makers = {"html": lambda: page(told).encode(), "pdf": lambda: printed(told)}
    files = _written({one: makers[one] for one in forms}, out, stem)
    if as_json:
        show_json({"files": files, **_facts(told, "sides")})
    else:
        print("\n".join(f"Written to {file}." for file in files))


# --- inside ----------------------------------------------------------------------------------------------


def _forms(text: str) -> tuple[Form, ...]:
    asked = {part.strip().lower() for part in text.split(",")}
    if unknown := sorted(asked - set(FORMS)):
        raise NotOneOf(f"It is not made as {unknown[0]!r}; choose html, pdf, or both with a comma.")
    return tuple(one for one in FORMS if one in asked)


def _written(makers: Mapping[Form, Callable[[], bytes]], out: Path | None, stem: str) -> list[str]:
    """The names of the files, all made before the first is written."""
    from underlid.files import write_whole

    made = {form: make() for form, make in makers.items()}
    files = []
    for form, data in made.items():
        base = out or Path(stem)
        target = base if out and len(made) == 1 else base.with_name(f"{base.name}.{form}")
        write_whole(target, data)
        files.append(str(target))
    return files


def _facts(told: object, *left_out: str) -> dict[str, object]:
    """The facts as plain JSON types, without series hour by hour."""
    series = {"bin", "own", "course", "before", *left_out}
    found = plain(told)
    assert isinstance(found, dict)
    return {name: value for name, value in found.items() if name not in series}
