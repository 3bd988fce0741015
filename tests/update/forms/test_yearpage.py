"""The page of a year and the same on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any

import html5lib
import numpy as np
import pytest

from tests.update.sample import ENTRIES, ZONE, air, amount, case, from_prior, on, reading
from underlid.fit.study import study
from underlid.update.drawn import charts, yearcharts
from underlid.update.facts import TrialFact
from underlid.update.forms.yearpage import laid_out, page, printed
from underlid.update.lifefacts import Own
from underlid.update.prose import yearwords
from underlid.update.year import Year, tell_year

NASTY = "</style><script>alert(1)</script>"
TEXT_WIDTH = 0.55  # of its height that a letter takes on the mean


@pytest.fixture(scope="module")
def year() -> Year:
    moments = [on(20, month, 9, f"{month}") for month in range(3, 12)]
    degrees = [float(air(np.array([when.start.timestamp()]))[0]) for when in moments]
    more = [
        reading(f"m{i}", when, ("middle", "edge", "surface")[i % 3], amount(round(at), round(at) + 2), f"m{i}")
        for i, (when, at) in enumerate(zip(moments, degrees, strict=True))
    ]
    now = datetime(2027, 2, 3, 9, tzinfo=ZONE)
    one = case((*ENTRIES, *more), now, datetime(2027, 2, 6, 12, tzinfo=ZONE), members=1)
    own = Own(title=NASTY, keeper=NASTY, accent="#ffe000", words=(("", ("A long year.", NASTY)),))
    told = tell_year(study(one, from_prior(one, 12)), (2027, 2), own=own)
    return replace(told, trials=(TrialFact("Lids", "changed", "A lid keeps warm.", f"Cannot tell yet: {NASTY}."),))


def data_of(chart: dict[str, Any], layer: dict[str, Any]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = chart["datasets"][layer["data"]["name"]]
    return rows


@pytest.fixture(scope="module")
def html(year: Year) -> str:
    return page(year)


@pytest.fixture(scope="module")
def paper(year: Year) -> bytes:
    return printed(year)


def test_the_page_is_strictly_well_formed(html: str) -> None:
    html5lib.HTMLParser(strict=True).parse(html)
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_the_page_needs_nothing_from_outside(html: str) -> None:
    assert "://" not in html
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert not re.search(r"(?:src|href)=\"(?!#)", html)
    assert all(found.startswith(("#", "data:")) for found in re.findall(r"url\(([^)]*)", html))


def test_the_same_year_gives_the_same_bytes(year: Year, html: str) -> None:
    assert page(year) == html


def test_the_same_year_gives_the_same_paper(year: Year, paper: bytes) -> None:
    assert printed(year) == paper


def test_every_sentence_stands_on_the_page(year: Year, html: str) -> None:
    text = "".join(html5lib.parse(html, namespaceHTMLElements=False).itertext())
    for said in (*yearwords.in_short(year), *yearwords.twice(year), *yearwords.tests(year), *yearwords.unknown(year)):
        assert said.full in text
    for one in year.months:
        assert f"{one.month:%B %Y}" in text
    assert "1 to 3 February only" in text


def test_every_estimated_column_says_so(year: Year) -> None:
    tables = [table for part in laid_out(year).parts for table in part.tables]
    assert len(tables) == 2
    for table in tables:
        kinds = [kind for _, kind in table.columns]
        assert kinds[0] is None
        assert all(kind in ("estimated", "read") for kind in kinds[1:])
        assert all(len(row) == len(table.columns) for row in table.rows)


def test_temperatures_stand_in_both_units(year: Year) -> None:
    for part in laid_out(year).parts:
        for table in part.tables:
            for row in table.rows:
                for cell in row:
                    both = cell.text + cell.small
                    assert ("°C" in both) == ("°F" in both)
    for said in (*yearwords.in_short(year), *yearwords.twice(year)):
        assert said.full.count("°C") == said.full.count("°F")


@pytest.mark.parametrize("size", [charts.DESK, charts.PHONE])
def test_twelve_months_have_names_that_do_not_touch(year: Year, size: charts.Size) -> None:
    encoding = yearcharts.year_chart(year, size).to_dict()["layer"][0]["encoding"]["x"]
    first, last = encoding["scale"]["domain"]
    ticks = encoding["axis"]["values"]
    assert len(ticks) >= 5
    inside = size.width - 8 * size.text  # what the two axes leave
    apart = [(b - a) / (last - first) * inside for a, b in pairwise(ticks)]
    assert min(apart) > 4 * TEXT_WIDTH * size.text


def test_a_reading_is_drawn_as_long_as_it_is_vague(year: Year) -> None:
    chart = yearcharts.year_chart(year).to_dict()
    rows = [row for layer in chart["layer"] for row in data_of(chart, layer) if "open" in row]
    drawn = {(row["low"], row["high"]) for row in rows}
    for fact in year.readings:
        if np.isfinite([fact.amount.low, fact.amount.high]).all():
            assert (fact.amount.low, fact.amount.high) in drawn


def test_two_years_lie_over_each_other_by_the_day(year: Year) -> None:
    chart = yearcharts.two_years_chart(year).to_dict()
    before, after = (data_of(chart, chart["layer"][i]) for i in (0, 2))
    assert [row["t"] for row in before] == [row["t"] for row in after]
    last = year.course.days.index(datetime(2027, 1, 31).date())
    a_year_before = year.before.days.index(datetime(2026, 1, 31).date()) if year.before else -1
    at = [row["t"] for row in after].index(yearcharts.as_utc_ms_of(datetime(2027, 1, 31).date()))
    assert after[at]["middle"] == pytest.approx(year.course.middle_c[last, 1], abs=1e-3)
    assert year.before is not None
    assert before[at]["middle"] == pytest.approx(year.before.middle_c[a_year_before, 1], abs=1e-3)


def test_one_year_alone_has_no_second(year: Year) -> None:
    alone = replace(year, twice=(), before=None)
    assert "The same months of two years" not in [part.title for part in laid_out(alone).parts]
    with pytest.raises(ValueError, match="not two years"):
        yearcharts.two_years_chart(alone)


def test_the_paper_is_a_tagged_pdf(paper: bytes) -> None:
    assert paper.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in paper
