import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.quantity import (
    Kind,
    VagueAmount,
    VagueTime,
    format_amount,
    format_when,
    parse_amount,
    parse_size,
    parse_when,
    show_amount,
    show_size,
    show_when,
)
from underlid.quantity.units import CANONICAL, CEILING, FLOOR

INFINITE = float("inf")


@st.composite
def amounts(draw: st.DrawFn) -> VagueAmount:
    unit = draw(st.sampled_from(CANONICAL))
    kind: Kind = draw(st.sampled_from(["exact", "between", "about", "at least", "at most", "not noted"]))
    # A temperature that no bin has is refused.
    least, most = (-40.0, 90.0) if unit == "degC" else (float(FLOOR[unit]), float(CEILING.get(unit, 1e9)))
    bounds = st.floats(least, most, allow_subnormal=False)
    low, high = sorted((draw(bounds), draw(bounds)))
    if kind in ("at most", "not noted"):
        low = -INFINITE
    if kind in ("at least", "not noted"):
        high = INFINITE
    return VagueAmount(low, high, unit, kind, "")


@settings(deadline=None, max_examples=300)
@given(amounts())
def test_the_canonical_phrase_reads_back_the_same(amount: VagueAmount) -> None:
    again = parse_amount(format_amount(amount))
    assert (again.low, again.high, again.unit, again.kind) == (amount.low, amount.high, amount.unit, amount.kind)


@settings(deadline=None)
@given(amounts())
def test_every_amount_can_be_shown(amount: VagueAmount) -> None:
    shown = show_amount(amount)
    assert shown
    assert "inf" not in shown
    assert "nan" not in shown
    assert not re.search(r"-0(?![.\d]*[1-9])", shown)


def test_a_range_with_an_open_side_has_no_phrase() -> None:
    with pytest.raises(ValueError, match="open side"):
        format_amount(VagueAmount(1.0, INFINITE, "L", "between", ""))


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("6 C", "exactly 5.5 to 6.5 C"),
        ("about 6 C", "about 4.5 to 7.5 C"),
        ("6 or 7 C", "6.0 to 7.0 C"),
        ("at least 25", "at least 25.0"),
        ("a dozen", "12"),
        ("?", "not noted"),
    ],
)
def test_canonical_phrases(text: str, canonical: str) -> None:
    assert format_amount(parse_amount(text)) == canonical


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("6 or 7 C", "6 to 7 °C (43 to 45 °F)"),
        ("about 6 C", "about 6 °C (43 °F)"),
        ("6.5 C or so", "about 6.5 °C (44 °F)"),
        ("pH about 7.4", "pH about 7.4"),
        ("6 C", "6 °C (43 °F)"),
        ("43F", "6.1 °C (43 °F)"),
        ("6.5 C", "6.5 °C (43.7 °F)"),
        ("at most 5 C", "at most 5 °C (41 °F)"),
        ("at least 25", "at least 25"),
        ("a couple of dozen", "about 20 to 30"),
        ("150 g", "150 g"),
        ("2.5 kg", "2.5 kg"),
        ("50 ml", "50 mL"),
        ("17 in", "43 cm"),
        ("pH 6.5-7", "pH 6.5 to 7"),
        ("not noted C", "not noted"),
        ("0 C", "0 °C (32 °F)"),
        ("-0 C", "0 °C (32 °F)"),
        ("exactly -0.6 to 0.5 C", "0 °C (32 °F)"),
    ],
)
def test_amounts_for_people(text: str, shown: str) -> None:
    assert show_amount(parse_amount(text)) == shown


def test_a_box_for_people() -> None:
    assert show_size(parse_size("17 x 12 x 11 in")) == "43 x 30 x 28 cm, 37 L"


@st.composite
def times(draw: st.DrawFn) -> VagueTime:
    zone = ZoneInfo(draw(st.sampled_from(["America/New_York", "Europe/London", "Asia/Kolkata", "Pacific/Chatham"])))
    naive = st.datetimes(datetime(2020, 1, 1), datetime(2025, 12, 31))
    start, end = sorted(draw(naive).replace(tzinfo=UTC) for _ in range(2))
    kind: Kind = draw(st.sampled_from(["exact", "between", "about", "not noted"]))
    return VagueTime(start.astimezone(zone), end.astimezone(zone), kind, "")


@settings(deadline=None, max_examples=200)
@given(times())
def test_the_canonical_date_reads_back_the_same(when: VagueTime) -> None:
    zone = when.start.tzinfo
    assert isinstance(zone, ZoneInfo)
    again = parse_when(format_when(when), now=datetime(2026, 1, 1, tzinfo=UTC), tz=zone)
    assert (again.start.isoformat(), again.end.isoformat(), again.kind) == (
        when.start.isoformat(),
        when.end.isoformat(),
        when.kind,
    )
    assert show_when(when)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("23 Jan around midnight", "23 Jan 2026 22:30 to 24 Jan 01:30"),
        ("23 Jan", "23 Jan 2026"),
        ("28 Dec to 3 Jan", "28 Dec 2025 to 3 Jan 2026"),
        ("23 Jan 23:40", "23 Jan 2026 23:40"),
        ("January", "1 Jan to 31 Jan 2026"),
        ("not noted", "not noted, 18 Oct 2025 00:00 to 10 Feb 2026 21:15"),
    ],
)
def test_dates_for_people(text: str, shown: str) -> None:
    zone = ZoneInfo("America/New_York")
    now = datetime(2026, 2, 10, 21, 15, tzinfo=zone)
    started = datetime(2025, 10, 18, tzinfo=zone)
    assert show_when(parse_when(text, now=now, tz=zone, start=started)) == shown
