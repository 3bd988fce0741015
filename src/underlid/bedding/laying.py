"""Layers of bedding in a keeper's words."""

from __future__ import annotations

import re

from underlid.bedding.materials import material


class NoLayers(ValueError):
    """The words are no layers of bedding."""


def layers_of(text: str) -> list[tuple[str, str, str]]:
    """“leaves 10 cm, old horse manure about 8 cm” as (material, depth, words), the lowest first.

    Raises NoLayers, or UnknownMaterial for one that nobody has described.
    """
    if text.strip().lower() == "not noted":
        return []
    found = []
    for words in re.split(r"[;,](?!\d)", text):
        parts = re.fullmatch(r"\s*([^\W\d_][^\d~½¼¾]*?)\s*((?:about|around|~)?\s*[~½¼¾\d].*)?", words)
        if parts is None:
            raise NoLayers(f"The bedding {words.strip()!r} does not begin with a material; write “leaves 10 cm, …”.")
        name, depth = parts.groups()
        material(name)
        found.append((name, depth or "not noted", words.strip()))
    return found
