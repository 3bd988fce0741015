"""docs/calibration.md, which several tools write, each its own section."""

from __future__ import annotations

from pathlib import Path

PAGE = Path(__file__).parents[1] / "docs" / "calibration.md"
TEMPERATURES = "# Calibration"
COLONIES = "## How many live there"
ACID = "## Acid"
TRIALS = "## Trials"
CLUBS = "## Several keepers"
HEADINGS = (TEMPERATURES, COLONIES, ACID, TRIALS, CLUBS)  # in this order


def lay_into(path: Path, section: str) -> None:
    """Write a section, which begins with its heading, in its place; the others stay as they are."""
    page = path.read_text(encoding="utf-8") if path.exists() else ""
    parts = {heading: _part(page, heading) for heading in HEADINGS}
    own = next(heading for heading in HEADINGS if section.startswith(heading))
    parts[own] = section.strip()
    path.write_text("\n\n".join(part for part in parts.values() if part) + "\n", encoding="utf-8")


def _part(page: str, heading: str) -> str:
    """From a heading to the next that heads a section."""
    lines = page.splitlines()
    first = next((i for i, line in enumerate(lines) if line.startswith(heading)), None)
    if first is None:
        return ""
    ends = [i for i, line in enumerate(lines) if i > first and line.startswith(HEADINGS)]
    return "\n".join(lines[first : min(ends, default=len(lines))]).strip()
