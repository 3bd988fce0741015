"""A mistake in a keeper's words: what is wrong, where it stands, and how to mend it."""

from __future__ import annotations

import re

LONGEST = 500  # characters; nobody writes more for one amount or date
_SIDE = 36  # characters of the text shown on each side of the caret


class Mistake(ValueError):
    """What could not be understood, a caret under the character, and how to mend it."""

    def __init__(self, what: str, text: str, position: int, mend: str) -> None:
        self.what = what
        self.text = text
        self.position = max(0, min(position, len(text)))
        self.mend = mend
        super().__init__(f"{what}\n{self._pointer()}\n{mend}")

    def _pointer(self) -> str:
        first = max(0, self.position - _SIDE)
        shown = self.text[first : self.position + _SIDE]
        clean = "".join(c if c.isprintable() else " " for c in shown)
        return f"  {clean}\n  {' ' * (self.position - first)}^"


# Signs that people and phones write for the same thing, one character for one, so that positions stay.
_SAME = str.maketrans(
    {
        **dict.fromkeys("‐‑‒–—−﹣－", "-"),
        **dict.fromkeys("º˚", "°"),
        **dict.fromkeys("″“”", '"'),
        **dict.fromkeys("′‘’", "'"),
        **dict.fromkeys("\u00a0\u2009\u202f\u2007", " "),
        "μ": "µ",
    }
)


def plain(text: str) -> str:
    """The text in lower case with plain dashes, quotes and spaces; every character keeps its place."""
    return "".join(c.lower() if c.isascii() else c for c in text.translate(_SAME))


def word_at(text: str, position: int) -> str:
    """The word, or the single sign, that begins at a position."""
    found = re.compile(r"\w+|\S?").match(text, position)
    return found[0] if found else ""
