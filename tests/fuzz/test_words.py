"""Words of a keeper: every phrase of docs/phrases.md, and lines made of them, with changes that keep most of a form.

The tests of `quantity` and `entry` try words at random; these start from what is understood.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.scribble import FUZZ, read_or_refuse, scribbled
from tests.trials.bins import a_bin
from underlid.entry import parse_line
from underlid.quantity import parse_amount, parse_any, parse_size, parse_when
from underlid.quantity.units import CANONICAL

ROW = re.compile(r"^\| ([^|]+?) \|", re.M)
PHRASES = [
    phrase for phrase in ROW.findall((Path(__file__).parents[2] / "docs" / "phrases.md").read_text("utf-8"))
    if phrase not in ("phrase", "kind")
]  # fmt: skip
LINES = [
    "23 Jan around midnight: middle 2-3 C, edge 1 C; about a dozen near the top; fed 150 g pear cores",
    "5 Dec 20:00: middle 7-8 C, edge 6 C, 5 cm down, kitchen probe; pH 6.5 strip; moisture about 70 %",
    "yesterday: sampled 2 L: 3 adults, 5 or more cocoons, a few young; note: smells of forest",
    "between 3 and 5 Jan: gave half a bucket of leaves on Monday, I think\nsaw a couple of dozen, maybe",
    *(f"{phrase}: middle 6 C" for phrase in PHRASES[::7]),
]
ODD = (
    " C", " F", "°C", "%", "pH", "½", "a few", "dozens of", "between", " and ", " to ", " or ", "about", "at least",
    "minus", "freezing", "not noted", "bucket", "5 ft 3 in", "1e3", "1,500", "6.", ".6", "−6", "+-",
    "23 Jan", "31 Feb", "noon", "last Monday", "christmas 2025", "ago", "2026-01-23T24:00", "24:00", "12 am", "; ",
    ": ", "(maybe)", "x 3 x", "by",
)  # fmt: skip
NOW = datetime(2026, 2, 10, 21, 15, tzinfo=ZoneInfo("Europe/London"))
ZONES = st.sampled_from(["UTC", "Europe/London", "Australia/Lord_Howe", "Pacific/Apia", "America/St_Johns"]).map(
    ZoneInfo
)
HOLDS = {"bucket": parse_amount("10 L"), "handful": parse_amount("at least 100 g")}


@FUZZ
@given(text=scribbled(PHRASES, ODD), zone=ZONES, expect=st.sampled_from([None, *CANONICAL]))
def test_phrases(text: str, zone: ZoneInfo, expect: str | None) -> None:
    now, start = NOW.astimezone(zone), NOW - timedelta(days=700)
    read_or_refuse(lambda: parse_amount(text, expect=expect, containers=HOLDS))
    read_or_refuse(lambda: parse_size(text))
    read_or_refuse(lambda: parse_when(text, now=now, tz=zone, start=start))
    read_or_refuse(lambda: parse_when(text, now=now, tz=zone, allow_future=True))
    read_or_refuse(lambda: parse_any(text, now=now, tz=zone, containers=HOLDS))


@FUZZ
@given(text=scribbled(LINES, ODD))
def test_lines(text: str) -> None:
    numbers = count()
    bin = a_bin("north")
    read_or_refuse(lambda: parse_line(text, bin=bin, now=NOW, new_id=lambda: f"e{next(numbers)}", containers=HOLDS))
