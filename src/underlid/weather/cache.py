"""Replies of the weather source, kept as they came: one file for each question asked."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from underlid.files import write_whole


def cache_folder(environ: Mapping[str, str]) -> Path:
    """Where replies are kept: `UNDERLID_CACHE`, or `underlid/weather` in the user's cache folder (XDG)."""
    if environ.get("UNDERLID_CACHE"):
        return Path(environ["UNDERLID_CACHE"])
    users = environ.get("XDG_CACHE_HOME", "")
    return (Path(users) if os.path.isabs(users) else Path.home() / ".cache") / "underlid" / "weather"


def recall(folder: Path, question: str) -> tuple[datetime, bytes] | None:
    """When the reply to a question was fetched, and the reply; None if there is none, or it is damaged."""
    try:
        first, _, reply = _file(folder, question).read_bytes().partition(b"\n")
        at = datetime.fromisoformat(json.loads(first)["fetched"])
        return at.astimezone(UTC), reply
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def keep(folder: Path, question: str, at: datetime, reply: bytes) -> None:
    """Keep a reply, whole or not at all, after a line that says when it was fetched."""
    first = json.dumps({"fetched": at.isoformat()})
    write_whole(_file(folder, question), first.encode() + b"\n" + reply)


def _file(folder: Path, question: str) -> Path:
    return folder / f"{hashlib.sha256(question.encode()).hexdigest()[:20]}.reply"
