"""Files written whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


class NotAFile(ValueError):
    """The name is that of a folder."""


def write_whole(target: Path, data: bytes) -> None:
    """Write all of a file or nothing, and have it on the disk before it bears its name."""
    if target.is_dir() or not target.name:
        raise NotAFile(f"{target} is a folder; name the file to write, such as {target / 'update.html'}.")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = part_of(target)
    try:
        with part.open("xb") as copy:
            copy.write(data)
            copy.flush()
            os.fsync(copy.fileno())
        part.replace(target)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(target)) from error  # nobody asked for a file of that other name
    finally:
        part.unlink(missing_ok=True)
    sync_folder(target.parent)


def part_of(target: Path) -> Path:
    """Return the name of an unfinished copy of a file: `.NAME.….part` beside it, another one each time.

    Two threads of a process that write the same file at once would otherwise take each other's.
    """
    return target.with_name(f".{target.name}.{os.getpid()}-{secrets.token_hex(4)}.part")


def sync_folder(folder: Path) -> None:
    """Make the names of new files in `folder` survive a power cut, where the system lets a folder be synced."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
