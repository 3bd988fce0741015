"""Results worth keeping beside a journal, so that nobody waits twice for the same answer.

A result is named arrays and a few plain values under a key that its maker computes from everything it
rests on. It can be thrown away at any time: a missing or damaged file only means computing again.
"""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from underlid.files import write_whole

FOLDER = "fits"

Arrays = dict[str, NDArray[np.float64]]


def recall(journal_folder: Path, key: str) -> tuple[Arrays, dict[str, object]] | None:
    """The arrays and values kept under a key, or None."""
    try:
        data = io.BytesIO((journal_folder / FOLDER / f"{key}.npz").read_bytes())
        with np.load(data, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files if name != "_values"}
            return arrays, json.loads(str(kept["_values"]))
    except (OSError, EOFError, ValueError, KeyError, RuntimeError, MemoryError, zipfile.BadZipFile, zlib.error):
        return None


def remember(journal_folder: Path, key: str, arrays: Arrays, values: dict[str, object]) -> None:
    """Keep arrays and values under a key; where the folder cannot be written, nothing is kept."""
    data = io.BytesIO()
    np.savez(data, _values=np.array(json.dumps(values)), **arrays)  # type: ignore[arg-type]
    try:
        write_whole(journal_folder / FOLDER / f"{key}.npz", data.getvalue())
    except OSError:
        return
