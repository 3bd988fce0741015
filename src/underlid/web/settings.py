"""What a served journal is served with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path


def _clock() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the journal is, what weather its bins stand in, and who may reach it.

    weather, past : files as `outlook` takes them; None leaves out what needs weather
    lan : whether devices other than this computer may reach it, once paired
    now : the clock, which tests set
    """

    journal: Path
    weather: Path | None = None
    past: tuple[Path, ...] = ()
    place: tuple[float | None, float | None] = (None, None)
    host: str = "127.0.0.1"
    port: int = 8765
    lan: bool = False
    now: Callable[[], datetime] = _clock
