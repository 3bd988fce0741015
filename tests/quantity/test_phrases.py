"""Every row of docs/phrases.md is what the parsers do."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from underlid.quantity import AmountError, WhenError, parse_amount, parse_when

PAGE = Path(__file__).parents[2] / "docs" / "phrases.md"
ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 2, 10, 21, 15, tzinfo=ZONE)
STARTED = datetime(2025, 10, 18, tzinfo=ZONE)
CONTAINERS = {"bucket": parse_amount("10 L")}


def rows(heading: str) -> list[list[str]]:
    section = PAGE.read_text(encoding="utf-8").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    table = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table[2:]]


AMOUNTS, DATES = rows("Amounts"), rows("Dates")


def test_the_page_shows_enough_phrases() -> None:
    assert len(AMOUNTS) > 100
    assert len(DATES) > 60


@pytest.mark.parametrize(("phrase", "low", "high", "unit", "kind", "flags"), AMOUNTS, ids=[r[0] for r in AMOUNTS])
def test_amount(phrase: str, low: str, high: str, unit: str, kind: str, flags: str) -> None:
    if kind == "refused":
        with pytest.raises(AmountError) as caught:
            parse_amount(phrase, containers=CONTAINERS)
        assert caught.value.what == flags
        return
    amount = parse_amount(phrase, containers=CONTAINERS)
    assert amount.low == pytest.approx(float(low or "-inf"), rel=1e-5)
    assert amount.high == pytest.approx(float(high or "inf"), rel=1e-5)
    assert (amount.unit, amount.kind, "; ".join(amount.flags)) == (unit, kind, flags)
    assert amount.words == phrase


@pytest.mark.parametrize(("phrase", "start", "end", "kind", "flags"), DATES, ids=[r[0] for r in DATES])
def test_date(phrase: str, start: str, end: str, kind: str, flags: str) -> None:
    if kind == "refused":
        with pytest.raises(WhenError) as caught:
            parse_when(phrase, now=NOW, tz=ZONE, start=STARTED)
        assert caught.value.what == flags
        return
    when = parse_when(phrase, now=NOW, tz=ZONE, start=STARTED)
    assert when.start.replace(tzinfo=None) == datetime.fromisoformat(start)
    assert when.end.replace(tzinfo=None) == datetime.fromisoformat(end)
    assert (when.kind, "; ".join(when.flags)) == (kind, flags)
    assert when.words == phrase
