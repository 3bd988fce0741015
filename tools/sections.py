"""The page that several tools write, each its own section."""

from __future__ import annotations

from pathlib import Path

PAGE = Path(__file__).parents[1] / "docs" / "calibration.md"


def laid_into(page: str, heading: str, section: str) -> str:
    """The page with this section in its own place, at the end where it has none yet; all others are kept."""
    before, head, after = page.partition(heading)
    _, following, rest = after.partition("\n## ") if head else ("", "", "")
    parts = [before.rstrip(), section.rstrip(), (following + rest).strip()]
    return "\n\n".join(part for part in parts if part) + "\n"
