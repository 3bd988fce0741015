"""The accounts of the demo: each bin's month as a page, one of them in every form, and the bins together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from underlid.demo.winter import MONTH, Course
from underlid.files import write_whole
from underlid.fit.study import Study
from underlid.journal.store import Journal
from underlid.monthly import photos_of, pictures_of, story_of, year_of
from underlid.update.forms.formats import render, stem
from underlid.update.lifefacts import Own
from underlid.update.own import words_from
from underlid.update.story import Story, Truth

KEEPER = "an invented keeper"
WORDS = """Everything here is invented: the bins, the readings, the pictures and I. The weather is a typical
year at a real place.

January was the month I had waited for: the first nights cold enough to see what a small bin does with them.

# animals
I sorted two small buckets on the 25th, indoors, and put everything back within the hour.

# next
If the frost goes on I shall wrap one bin and leave the other two as they are.
"""


def told_of_one(journal: Journal, study: Study, truth: Course, out: Path) -> tuple[Story, Path]:
    """A bin's month as a page, beside the invented truth."""
    hours = len(study.outlook.time_utc)
    name = study.case.bin.name
    own = Own(
        keeper=KEEPER, words=words_from(WORDS), pictures=pictures_of(journal, photos_of(journal, name, MONTH))
    )  # fmt: skip
    story = story_of(
        journal, study, MONTH, own=own,
        truth=Truth(truth.middle_c[:hours], truth.edge_c[:hours], truth.surface_c[:hours], "invented truth"),
    )  # fmt: skip
    made = render(story, ("html",))
    [(file, data)] = made.files.items()
    target = out / file
    write_whole(target, data)
    return story, target


def told_in_full(story: Story, out: Path, say: Callable[[str], None]) -> dict[str, object]:
    """One bin's month in every form, with a colour of its own."""
    made = render(replace(story, own=replace(story.own, accent="#6b3f1d")), ("all",))
    folder = out / stem(story)
    for file, data in made.files.items():
        write_whole(folder / file, data)
    say(f"{story.bin.name} in every form: {len(made.files)} files written to {folder}")
    return {"in_every_form": str(folder)}


def told_together(stories: Sequence[Story], out: Path, say: Callable[[str], None]) -> dict[str, object]:
    """The bins side by side, as a page."""
    from underlid.update.beside import tell_beside
    from underlid.update.forms.besidepage import page

    target = out / f"beside-{MONTH[0]}-{MONTH[1]:02d}.html"
    write_whole(target, page(tell_beside(stories)).encode())
    say(f"The bins beside each other: {target}")
    return {"beside": str(target)}


def told_of_the_year(journal: Journal, study: Study, out: Path, say: Callable[[str], None]) -> dict[str, object]:
    """One bin from its start up to now, month by month, as a page."""
    from underlid.update.forms.yearpage import page

    told = year_of(journal, study, own=Own(keeper=KEEPER))
    target = out / f"{study.case.bin.name}-year-{told.told_to:%Y-%m}.html"
    write_whole(target, page(told).encode())
    say(f"{study.case.bin.name} month by month: {target}")
    return {"year": str(target)}
