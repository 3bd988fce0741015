"""Typesetting: a template, its data and its pictures become PDF or PNG; the same input gives the same bytes anywhere.

Only the fonts of `update/fonts` are used, so that nothing depends on what a machine has. Lengths in templates are
points, and one point is one pixel of a picture.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory

import typst

FONTS = files("underlid.update").joinpath("fonts")
FONT = "Source Sans 3"
_RARE = re.compile(r"[^\n\x20-\x7e\xa0-\xff‘’“”–—−…• ]")  # what the fonts may lack


def pdf(template: str, data: object, pictures: Mapping[str, bytes]) -> bytes:
    """A tagged PDF (PDF/UA-1) from a template beside this file.

    data : plain JSON types, read there as `json("data.json")`; pictures : file name -> SVG or JPEG bytes
    """
    made = _compiled(template, data, pictures, "pdf")
    assert isinstance(made, bytes)
    return made


def pngs(template: str, data: object, pictures: Mapping[str, bytes]) -> list[bytes]:
    """Each page of a template as a PNG, a pixel a point; transparent where the page is filled with `none`."""
    made = _compiled(template, data, pictures, "png")
    return made if isinstance(made, list) else [made]


def undrawn(texts: Iterable[str]) -> list[str]:
    """The characters of some texts that no font at hand can draw, sorted; templates put a box in their place.

    A tagged PDF is refused if it holds any. A word is tried as a whole, since marks join the letters before them.
    """
    found: set[str] = set()
    for word in {word for text in texts if _RARE.search(text) for word in re.split(r"[ \n]", text)}:
        rare = sorted(set(_RARE.findall(word)))
        if rare and not _drawable(word):
            found.update([one for one in rare if not _drawable(one)] or rare)
    return sorted(found)


@lru_cache(maxsize=4096)
def _drawable(text: str) -> bool:
    parts = {
        "main": f'#set document(title: "x")\n#set text(font: "{FONT}")\n#json("data.json")'.encode(),
        "data.json": json.dumps(text).encode(),
    }
    with as_file(FONTS) as folder:
        try:
            typst.compile(
                parts, font_paths=[str(folder)], ignore_system_fonts=True, format="pdf", pdf_standards=["ua-1"],  # type: ignore[call-overload]
            )  # fmt: skip
        except typst.TypstError:
            return False
    return True


def _compiled(template: str, data: object, pictures: Mapping[str, bytes], form: str) -> bytes | list[bytes]:
    parts: dict[str, bytes] = {**pictures, **_shared()}
    parts["main.typ"] = files(__package__).joinpath(template).read_bytes()
    parts["data.json"] = json.dumps(data, ensure_ascii=False, allow_nan=False).encode()
    with as_file(FONTS) as fonts, TemporaryDirectory() as folder:
        for name, part in parts.items():  # on disk, since the compiler takes no photos from memory
            Path(folder, name).write_bytes(part)
        made = typst.compile(
            Path(folder, "main.typ"), root=folder, font_paths=[str(fonts)], ignore_system_fonts=True, format=form,  # type: ignore[call-overload]
            ppi=72.0, pdf_standards=["ua-1"] if form == "pdf" else [],
        )  # fmt: skip
    return made  # type: ignore[no-any-return]


@cache
def _shared() -> dict[str, bytes]:
    """What every template may import."""
    return {"shared.typ": files(__package__).joinpath("shared.typ").read_bytes()}
