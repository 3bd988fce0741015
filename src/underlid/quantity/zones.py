"""Time zones by name, and that of this machine."""

from __future__ import annotations

import os
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones


class UnknownTimezone(ValueError):
    """The time zone has no such name."""


def zone(name: str | None) -> ZoneInfo:
    """The time zone of that name, or of this machine."""
    name = name or os.environ.get("TZ") or _machine_zone()
    if name not in available_timezones():
        raise UnknownTimezone(f"There is no time zone {name!r}; give one such as --timezone Europe/London.")
    return ZoneInfo(name)


def _machine_zone() -> str:
    parts = Path("/etc/localtime").resolve().parts
    return "/".join(parts[parts.index("zoneinfo") + 1 :]) if "zoneinfo" in parts else "UTC"
