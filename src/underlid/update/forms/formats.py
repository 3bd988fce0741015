"""The forms in which a month's account is handed over, by name: each makes files, and several are made at once.

Drawing, typesetting and encoding let other threads run meanwhile, so that two forms take little longer than one. What
comes out does not depend on which is done first.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, fields, is_dataclass

from underlid.update.facts import Story

ALL = "all"
WORKERS = 2
MOST_SIGNS = 20  # named of those that the fonts lack
MOST_STEM = 80  # bytes of a bin's name in a file name; systems allow 255 in all

Files = dict[str, bytes]


class NoSuchFormat(ValueError):
    """An account is not made in a form of that name."""


@dataclass(frozen=True, slots=True)
class Format:
    """One form of the account.

    says : what it is, for those who choose; make : its files, none where the story has nothing to show in it
    nothing : why there may be none; share : of the time that all forms take, by which progress is told
    typeset : whether our fonts alone draw its letters
    """

    name: str
    says: str
    make: Callable[[Story], Files]
    share: float
    nothing: str = ""
    typeset: bool = False


@dataclass(frozen=True, slots=True)
class Rendered:
    """Files by name, within the account's folder, and sentences on what was left out or could not be drawn."""

    files: Files
    notes: tuple[str, ...]


def render(
    story: Story, names: Iterable[str] = (ALL,), progress: Callable[[float], None] = lambda done: None
) -> Rendered:  # fmt: skip
    """The account in every form asked for, in the order of `FORMATS` whatever the order asked.

    progress : called with the share of the work done, from the thread that called this
    Raises NoSuchFormat. What a form raises ends the whole.
    """
    asked = _chosen(names)
    whole = sum(one.share for one in asked)
    made: dict[str, Files] = {}
    done = 0.0
    with ThreadPoolExecutor(WORKERS) as pool:
        # The longest first, so that no thread is left alone with it at the end.
        waiting = {
            pool.submit(one.make, story): one for one in sorted(asked, key=lambda one: one.share, reverse=True)
        }  # fmt: skip
        try:
            for ready in as_completed(waiting):
                one = waiting[ready]
                made[one.name] = ready.result()
                done += one.share
                progress(min(1.0, done / whole))
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    files = {name: data for one in asked for name, data in made[one.name].items()}
    notes = [one.nothing for one in asked if not made[one.name]]
    if any(one.typeset and made[one.name] for one in asked):
        notes += _lacking(story)
    return Rendered(files, tuple(notes))


def formats_from(text: str) -> tuple[str, ...]:
    """Names of forms from a list with commas, such as "html, pdf" or "all". Raises NoSuchFormat."""
    return tuple(one.name for one in _chosen(part.strip().lower() for part in text.split(",") if part.strip()))


def stem(story: Story) -> str:
    """What an account's files begin with: the bin and the month, safe as a file name on any system."""
    plain = re.sub(r"[^\w-]+", "-", unicodedata.normalize("NFC", story.bin.name)).strip("-")
    short = plain.encode()[:MOST_STEM].decode(errors="ignore")
    return f"{short or 'bin'}-{story.month:%Y-%m}"


# --- inside ----------------------------------------------------------------------------------------------


def _chosen(names: Iterable[str]) -> tuple[Format, ...]:
    asked = set(names)
    for name in sorted(asked):
        if name not in FORMATS and name != ALL:
            raise NoSuchFormat(f'An account is not made as "{name}"; choose from {", ".join(FORMATS)}, or {ALL}.')
    if not asked:
        raise NoSuchFormat(f"No form of the account was chosen; choose from {', '.join(FORMATS)}, or {ALL}.")
    return tuple(one for one in FORMATS.values() if ALL in asked or one.name in asked)


def _lacking(story: Story) -> Iterator[str]:
    """What print and pictures cannot show of the words in a story."""
    from underlid.update.forms.typeset import undrawn

    signs = undrawn(dict.fromkeys(_texts(story)))
    if signs:
        more = f" and {len(signs) - MOST_SIGNS} more" if len(signs) > MOST_SIGNS else ""
        yield (
            f"Our fonts lack these signs: {' '.join(signs[:MOST_SIGNS])}{more}. Print and pictures show a box or "
            "nothing in their place; the page shows them wherever its reader has a font for them."
        )


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for part in value:
            yield from _texts(part)
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _texts(getattr(value, field.name))


def _html(story: Story) -> Files:
    from underlid.update.forms.page import page

    return {f"{stem(story)}.html": page(story).encode()}


def _pdf(story: Story) -> Files:
    from underlid.update.forms.printed import account

    return {f"{stem(story)}.pdf": account(story)}


def _poster(story: Story) -> Files:
    from underlid.update.forms.printed import poster

    return {f"{stem(story)}-poster.pdf": poster(story)}


def _cards(story: Story) -> Files:
    from underlid.update.forms.cards import cards

    return cards(story)


def _overlays(story: Story) -> Files:
    from underlid.update.forms.cards import overlays

    return overlays(story)


def _film(story: Story) -> Files:
    from underlid.update.forms.film import film

    return film(story)


def _notes(story: Story) -> Files:
    from underlid.update.forms.captions import alt_texts, notes

    return {"notes.md": notes(story).encode(), "alt-texts.md": alt_texts(story).encode()}


def _data(story: Story) -> Files:
    from underlid.update.forms.datapackage import package

    return package(story)


#: Every form of the account, in the order they are offered. The shares are of processor time, as measured.
FORMATS: dict[str, Format] = {
    one.name: one
    for one in (
        Format("html", "a page for any browser, whole in one file", _html, 0.18),
        Format("pdf", "the account to print on A4, readable aloud", _pdf, 0.1, typeset=True),
        Format("poster", "the month on one sheet, to hang up (PDF, A2)", _poster, 0.06, typeset=True),
        Format("cards", "pictures of one figure or chart each, wide and tall (PNG)", _cards, 0.08, typeset=True),
        Format("overlays", "figures on nothing, to lay over a film of your own (PNG)", _overlays, 0.01, typeset=True),
        Format(
            "film", "the bin cut through, hour after hour, with captions (MP4)", _film, 0.55,
            "There is no film: nothing is known of the bedding cut through in this month.", typeset=True,
        ),
        Format("notes", "what to say when you tell it aloud, and texts for every picture", _notes, 0.01),
        Format("data", "tables of all readings, ranges and hours (CSV), described for other programs", _data, 0.01),
    )
}  # fmt: skip
