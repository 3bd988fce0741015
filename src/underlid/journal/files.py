"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


class NotAFile(ValueError):
    """The name is that of a folder."""


def write_whole(target: Path, data: bytes) -> None:
    """Write a file beside its place and move it there, so that no half file is ever seen."""
    if target.is_dir() or not target.name:
        raise NotAFile(f"{target} is a folder; name the file to write, such as {target / 'update.html'}.")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
