"""What a keeper brings to an account: words of their own for its parts, and a colour that stays readable.

Words are plain text: paragraphs stand between empty lines, and a line such as "# animals" or "# The animals" begins
those of that part; what stands before any such line opens the account. Nothing else is markup.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

from PIL import ImageColor

from underlid.update.prose.said import SECTIONS

MOST_WORDS = 20_000  # characters in all
ENOUGH = 4.5  # contrast of text, WCAG 2.2, success criterion 1.4.3 (level AA)
STEP = 0.02  # by how much of itself a colour is changed at a time until it is readable
OPENING = ""

_HEADING = re.compile(r"#+[ \t]+(.*)|#+")
_HEX = re.compile(r"#(?:[0-9a-f]{3}|[0-9a-f]{6})", re.ASCII)


class NoSuchSection(ValueError):
    """The account has no part of that name."""


class UnfitWords(ValueError):
    """The words cannot be set: too long, or with signs in them that are no text."""


class NoColour(ValueError):
    """The text is no colour."""


def words_from(text: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """A keeper's own words: (section name, "" for the opening) and its paragraphs, in the order of the text.

    A single line break within a paragraph counts as a space. Raises NoSuchSection, UnfitWords.
    """
    text = re.sub("\r\n|[\r\u2028]", "\n", text.removeprefix("\ufeff")).replace("\u2029", "\n\n")
    if len(text) > MOST_WORDS:
        raise UnfitWords(
            f"Your words have {len(text)} characters and {MOST_WORDS} is the most for one account; shorten them."
        )
    found: dict[str, list[str]] = {}
    for name, paragraph in _paragraphs(text):
        found.setdefault(name, []).append(paragraph)
    return tuple((name, tuple(paragraphs)) for name, paragraphs in found.items())


def accent_from(text: str) -> str:
    """A colour as "#rrggbb", from "#rgb", "#rrggbb" or a CSS colour name. Raises NoColour."""
    said = text.strip().lower()
    if not (_HEX.fullmatch(said) or said in ImageColor.colormap):
        raise NoColour(
            f'"{text[:40]}" is no colour; write one as "#24485c", as "#2bc", or by a CSS name such as "teal".'
        )
    return "#" + "".join(f"{part:02x}" for part in ImageColor.getrgb(said)[:3])


def contrast(a: str, b: str) -> float:
    """The contrast ratio of two colours "#rrggbb", from 1 to 21, whichever is the text.

    (L1 + 0.05) / (L2 + 0.05), L1 being the relative luminance of the lighter (W3C, Web Content Accessibility Guidelines
    2.2, definitions of contrast ratio and relative luminance).
    """
    darker, lighter = sorted((_luminance(a), _luminance(b)))
    return (lighter + 0.05) / (darker + 0.05)


def readable(accent: str, on: str = "#ffffff") -> str:
    """The accent, darkened in steps until text in it has a contrast of 4.5 to 1 on a colour of paper.

    On dark paper it is made lighter instead. One that is readable as it is comes back unchanged.
    """
    end = max(("#000000", "#ffffff"), key=lambda colour: contrast(colour, on))
    share = 0.0
    found = accent
    while contrast(found, on) < ENOUGH:  # black or white has more than that on any colour
        share = min(1.0, share + STEP)
        found = _mixed(accent, end, share)
    return found


# --- inside ----------------------------------------------------------------------------------------------


def _paragraphs(text: str) -> Iterator[tuple[str, str]]:
    """The section's name with each paragraph."""
    name, lines = OPENING, list[str]()
    for number, line in enumerate((*text.split("\n"), ""), start=1):
        _check(line, number)
        said = " ".join(line.split())
        heading = _HEADING.fullmatch(said)
        if said and not heading:
            lines.append(said)
            continue
        if lines:
            yield name, " ".join(lines)
            lines = []
        if heading:
            name = _section(heading[1] or "", number)


def _section(said: str, number: int) -> str:
    wanted = said.rstrip(":").casefold()
    for name, title in SECTIONS.items():
        if wanted in (name.casefold(), title.casefold()):
            return name
    raise NoSuchSection(
        f'Line {number} of your words begins a part "{said[:60]}", which an account does not have; it has '
        f"{', '.join(f'{name} ({title})' for name, title in SECTIONS.items())}. To write a line that is no heading, "
        'leave out the space after "#".'
    )


def _check(line: str, number: int) -> None:
    """Refuse what is no text: control characters, halves of a sign, and marks that turn the direction of a line."""
    for column, sign in enumerate(line, start=1):
        turns = unicodedata.bidirectional(sign) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
        if (unicodedata.category(sign) in ("Cc", "Cs", "Cn") and sign != "\t") or turns:
            raise UnfitWords(
                f"Line {number} of your words holds a sign that is no text (U+{ord(sign):04X}, sign {column} of the "
                "line); delete it, or type the line anew."
            )


def _luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb", from 0 of black to 1 of white."""
    red, green, blue = (
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in (part / 255 for part in _parts(colour))
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _mixed(colour: str, end: str, share: float) -> str:
    parts = (round(one + (other - one) * share) for one, other in zip(_parts(colour), _parts(end), strict=True))
    return "#" + "".join(f"{part:02x}" for part in parts)


def _parts(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
