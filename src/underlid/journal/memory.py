"""Results worth keeping beside a journal, so that nobody waits twice for the same answer.

A result is named arrays and a few plain values under a key that its maker computes from everything it
rests on. It can be thrown away at any time: a missing or damaged file only means computing again.
"""

from __future__ import annotations

import io
import json
import os
import tempfile
import zipfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FOLDER = "fits"

Arrays = dict[str, NDArray[np.float64]]


def recall(journal_folder: Path, key: str) -> tuple[Arrays, dict[str, object]] | None:
    """The arrays and values kept under a key, or None."""
    try:
        data = io.BytesIO((journal_folder / FOLDER / f"{key}.npz").read_bytes())
        with np.load(data, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files if name != "_values"}
            return arrays, json.loads(str(kept["_values"]))
    except (OSError, EOFError, ValueError, KeyError, zipfile.BadZipFile):
        return None


def remember(journal_folder: Path, key: str, arrays: Arrays, values: dict[str, object]) -> None:
    """Keep arrays and values under a key; where the folder cannot be written, nothing is kept."""
    folder = journal_folder / FOLDER
    try:
        folder.mkdir(exist_ok=True)
        handle, name = tempfile.mkstemp(dir=folder, suffix=".part")
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, _values=np.array(json.dumps(values)), **arrays)
        os.replace(name, folder / f"{key}.npz")
    except OSError:
        return
