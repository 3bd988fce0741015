"""A year from a study: months add up to it, draw by draw, and what is not held is marked."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.update.sample import BIN, ENTRIES, NOW, START, ZONE, amount, case, from_prior, on, sample
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.reckoning import Reckoning
from underlid.fit.study import Study, study
from underlid.fit.tally import tally
from underlid.quantity.points import three
from underlid.quantity.when import VagueTime
from underlid.records import Feeding, Note
from underlid.update.drawn import yearcharts
from underlid.update.facts import Array, Range, TrialFact
from underlid.update.lifestory import Colony
from underlid.update.prose import yearwords
from underlid.update.prose.numbers import unfounded
from underlid.update.year import Year, YearError, tell_year

LATE = datetime(2027, 2, 3, 9, tzinfo=ZONE)


@pytest.fixture(scope="module")
def long() -> Study:
    """Fourteen months."""
    one = case(ENTRIES, LATE, datetime(2027, 2, 10, 12, tzinfo=ZONE), members=2)
    return study(one, from_prior(one, 20))


@pytest.fixture(scope="module")
def year(long: Study) -> Year:
    return tell_year(long, (2027, 2), span="since the start")


@pytest.fixture(scope="module")
def single() -> Colony:
    """A colony of one life, so that every range is one number."""
    of = sample()
    counted = tally(of.case.entries, of.case.time_utc)
    found = census(prior(of), counted, 1, sets=40, draws=1)
    return Colony(counted, found, cast(Reckoning, None), ("One count is doubtful.",))


def draws_of(long: Study, month: date, values: NDArray[np.floating[Any]]) -> Array:
    """Hours of a month up to now, by each hour's own local date."""
    local = [datetime.fromtimestamp(int(second), ZONE) for second in long.case.time_utc[: long.case.now_index + 1]]
    mine = [i for i, moment in enumerate(local) if (moment.year, moment.month) == (month.year, month.month)]
    return np.asarray(values[:, mine], float)


def test_the_least_of_the_months_is_the_least_of_the_year_in_every_draw(long: Study, year: Year) -> None:
    middle = long.outlook.draws_c["middle"]
    least = np.array([draws_of(long, one.month, middle).min(axis=1) for one in year.months])
    cold = year.bedding.coldest
    assert (cold.low, cold.middle, cold.high) == pytest.approx(three(least.min(axis=0)))
    for one, mine in zip(year.months, least, strict=True):
        assert one.bedding is not None
        assert one.bedding.coldest.middle == pytest.approx(three(mine)[1])
        assert cold.low <= one.bedding.coldest.low
        assert cold.high <= one.bedding.coldest.high


def test_hours_without_refuge_are_summed_within_each_draw(long: Study, year: Year) -> None:
    away = 1.0 * (long.outlook.outside_k[:, :, 0] > 0)
    in_all = np.sum([draws_of(long, one.month, away).sum(axis=1) for one in year.months], axis=0)
    found = year.bedding.without_h
    assert (found.low, found.middle, found.high) == pytest.approx(three(in_all))
    ends = [one.bedding.without_h.high for one in year.months if one.bedding]
    assert found.high < sum(ends)  # the sum of ends would claim that one draw is the worst in every month


def test_the_hours_of_the_months_are_those_of_the_year(long: Study, year: Year) -> None:
    assert sum(one.bedding.hours for one in year.months if one.bedding) == year.bedding.hours
    assert year.bedding.hours == long.case.now_index + 1
    # March has a day of 23 hours in New York, November one of 25
    hours = {one.month.month: one.bedding.hours for one in year.months if one.bedding and one.whole}
    assert hours[3] == 31 * 24 - 1
    assert hours[11] == 30 * 24 + 1


def test_the_mean_of_the_year_is_that_of_its_months_by_their_hours(long: Study, year: Year) -> None:
    middle = long.outlook.draws_c["middle"]
    parts = [draws_of(long, one.month, middle) for one in year.months]
    weighted = sum(part.mean(axis=1) * part.shape[1] for part in parts) / year.bedding.hours
    assert year.bedding.mean.middle == pytest.approx(three(weighted)[1])


def test_the_course_has_each_day_once(year: Year) -> None:
    days = year.course.days
    assert days[0] == START.date()
    assert days[-1] == LATE.date()
    assert all(b - a == timedelta(days=1) for a, b in pairwise(days))
    assert (np.diff(year.course.air_c, axis=1) >= 0).all()


FEEDINGS = st.lists(
    st.tuples(st.integers(0, 420), st.floats(0, 24 * 40), st.floats(0.01, 2), st.floats(0, 1), st.booleans()),
    max_size=12,
)


@settings(max_examples=12, deadline=None)
@given(FEEDINGS)
def test_each_feeding_is_in_one_month_and_none_is_lost(
    long: Study, given_: list[tuple[int, float, float, float, bool]]
) -> None:
    entries = []
    for i, (day, window_h, low, wide, weighed) in enumerate(given_):
        start = START + timedelta(days=day, hours=1)
        when = VagueTime(start, start + timedelta(hours=window_h), "about", "then")
        what = amount(low, low + wide, "kg") if weighed else amount(-np.inf, np.inf, "kg", "not noted", "")
        entries.append(Feeding(id=f"f{i}", bin=BIN.name, when=when, words="fed", material="peels", amount=what))
    of = replace(long, case=replace(long.case, entries=tuple(entries)))
    told = tell_year(of, (2027, 4), span="since the start")
    assert sum(one.kept.feedings for one in told.months) == told.kept.feedings == len(entries)
    assert sum(one.kept.unweighed for one in told.months) == told.kept.unweighed
    grams = [one.kept.given_g for one in told.months if one.kept.given_g]
    if told.kept.given_g is None:
        assert not grams
    else:
        assert sum(one.low for one in grams) == pytest.approx(told.kept.given_g.low)
        assert sum(one.high for one in grams) == pytest.approx(told.kept.given_g.high)
        assert told.kept.given_g.provenance == "read"


def test_animals_of_one_life_add_up(single: Colony) -> None:
    told = tell_year(sample(), (2026, 1), colony=single)
    assert told.lived is not None
    months = [one.lived for one in told.months if one.lived]
    assert len(months) == 2
    for name in ("change", "laid", "hatched", "died"):
        assert sum(getattr(one, name).middle for one in months) == getattr(told.lived, name).middle
    assert told.lived.change.middle == told.lived.hatched.middle - told.lived.died.middle
    assert told.lived.worms == months[-1].worms
    assert told.careful[-1] == "One count is doubtful."


def test_months_in_part_and_to_come_are_marked() -> None:
    told = tell_year(sample(), (2026, 1), span="calendar year")
    assert [one.to_come for one in told.months] == [False] + 11 * [True]
    (january, *rest) = told.months
    assert (january.first, january.last, january.whole) == (date(2026, 1, 1), NOW.date(), False)
    assert all(one.bedding is None for one in rest)
    assert [said.full for said in yearwords.gaps(told)] == [
        "January 2026 is told in part: 1 to 27 January.", "Still to come: February 2026 to December 2026.",
        "The bin is older: December 2025 is left out.",
    ]  # fmt: skip


def test_months_before_the_bin_was_started_are_left_out() -> None:
    told = tell_year(sample(), date(2026, 1, 20))
    assert [one.month for one in told.months] == [date(2025, 12, 1), date(2026, 1, 1)]
    assert told.months[0].first == START.date()
    assert not told.months[0].whole


def test_a_month_that_the_study_does_not_hold_keeps_what_was_noted() -> None:
    early = replace(BIN.started, start=datetime(2025, 10, 18, 12, tzinfo=ZONE))
    fed = Feeding(id="x", bin=BIN.name, when=on(20, 10, 9, "20 Oct", year=2025), words="fed", material="peels",
                  amount=amount(0.1, 0.2, "kg"))  # fmt: skip
    of = sample()
    of = replace(of, case=replace(of.case, bin=replace(BIN, started=early), entries=(*of.case.entries, fed)))
    told = tell_year(of, (2026, 1))
    assert [one.bedding is None for one in told.months] == [True, True, False, False]
    assert told.months[0].kept.feedings == 1
    assert told.kept.feedings == 3
    assert "October 2025 is not told" in yearwords.gaps(told)[0].full


def test_a_year_outside_the_study_is_refused_with_its_span() -> None:
    with pytest.raises(YearError, match=r"up to May 2024 .* run from 2025-12-06 to 2026-01-27"):
        tell_year(sample(), (2024, 5))


def test_corrections_are_counted() -> None:
    note = Note(id="n2", bin=BIN.name, when=on(10, 1, 8, "10 Jan"), words="not frozen", corrects="n1")
    old = next(entry for entry in ENTRIES if entry.id == "n1")
    told = tell_year(sample((*ENTRIES[:3], note)), (2026, 1), superseded=(old,))
    assert told.kept.corrected == 1
    assert any(said.full.startswith("One correction was made") for said in yearwords.in_short(told))


def test_two_years_are_compared_on_the_days_held_of_both(year: Year) -> None:
    december, january = year.twice
    assert (december.earlier, december.first, december.last) == (
        date(2025, 12, 1),
        date(2026, 12, 7),
        date(2026, 12, 31),
    )
    assert (january.first, january.last) == (date(2027, 1, 1), date(2027, 1, 31))
    assert year.before is not None
    assert year.before.days[-1] == date(2026, 2, 3)


def test_two_years_under_one_typical_weather_are_no_two_years(long: Study, year: Year) -> None:
    told = tell_year(replace(long, case=replace(long.case, typical=True)), (2027, 2))
    assert (told.twice, told.before, told.one_weather) == ((), None, True)
    assert yearwords.ONE_WEATHER in yearwords.unknown(told)
    assert not year.one_weather
    assert yearwords.ONE_WEATHER not in yearwords.unknown(year)


def test_months_of_the_bin_before_those_told_are_named(long: Study, year: Year) -> None:
    assert year.left_out is None
    told = tell_year(long, (2027, 2))
    assert told.left_out == (date(2025, 12, 1), date(2026, 2, 1))
    assert yearwords.gaps(told)[-1].full == "The bin is older: December 2025 to February 2026 are left out."


def test_worms_are_told_of_the_day_of_the_last_hour(single: Colony) -> None:
    told = tell_year(sample(), (2026, 1), colony=single)
    assert told.lived is not None
    assert told.lived.at == told.told_to.date() == NOW.date()
    assert [one.lived.at for one in told.months if one.lived] == [one.last for one in told.months if one.lived]


@pytest.mark.parametrize(
    ("surprises", "said"),
    [
        (0, "none of those lies wholly outside the model’s range. One"),
        (1, "one surprise among those, wholly outside the model’s range. One"),
        (3, "three surprises among those, wholly outside the model’s range. One"),
    ],
)
def test_surprises_agree_with_their_number(year: Year, surprises: int, said: str) -> None:
    told = replace(year, kept=replace(year.kept, surprises=surprises))
    (one,) = (one for one in yearwords.in_short(told) if "model’s range" in one.full)
    assert said in one.full
    assert unfounded(one) == ()


def test_a_moment_hardly_known_is_told_by_its_ends(year: Year) -> None:
    def fell(days: int) -> str:
        when = replace(year.bedding.coldest_when, early=LATE - timedelta(days=days), usual=LATE, late=LATE)
        return yearwords.in_short(replace(year, bedding=replace(year.bedding, coldest_when=when)))[1].full

    assert "near 3 February 2027, nine in ten between 31 January 2027 and" in fell(3)
    assert "at some time between 4 January 2027 and 3 February 2027 (nine in ten)" in fell(30)


def test_where_hours_had_no_refuge_at_all_no_day_of_it_is_told(year: Year) -> None:
    none = Range(5, 40, 90, "h", "estimated")
    told = yearwords.in_short(replace(year, bedding=replace(year.bedding, without_h=none)))[3]
    assert "smallest" not in told.full
    assert "At times there was no refuge" in told.full
    assert unfounded(told) == ()


def test_no_number_stands_for_perhaps_none() -> None:
    assert yearwords.some(Range(0, 0, 0, "1", "estimated")) == ("perhaps none", "")
    assert yearwords.some(Range(0, 0, 3, "1", "estimated"))[1] == "perhaps none"
    assert yearwords.some(Range(1, 2, 3, "1", "estimated"))[1] == "about 2"


def test_the_year_before_is_laid_under_the_same_days_a_year_later(year: Year) -> None:
    chart = yearcharts.two_years_chart(year).to_dict()
    rows = chart["datasets"][chart["layer"][0]["data"]["name"]]
    assert rows[0]["t"] == yearcharts.as_utc_ms_of(date(2026, 12, 6))
    assert rows[-1]["t"] == yearcharts.as_utc_ms_of(date(2027, 2, 3))
    assert len(rows) == 26 + 31 + 3


def test_less_than_thirteen_months_give_no_two_years() -> None:
    told = tell_year(sample(), (2026, 1))
    assert told.twice == ()
    assert told.before is None


def test_a_difference_is_taken_within_each_draw(long: Study) -> None:
    """Draws far apart that all warm by 2 K from one year to the next differ by 2 K, however wide each year's range."""
    draws, hours = long.outlook.draws_c["middle"].shape
    levels = np.linspace(-8.0, 12.0, draws)[:, None] + np.zeros(hours)
    turn = np.searchsorted(long.case.time_utc, datetime(2026, 12, 1, tzinfo=ZONE).timestamp())
    levels[:, turn:] += 2.0
    of = replace(long, outlook=replace(long.outlook, draws_c={**long.outlook.draws_c, "middle": levels}))
    for one in tell_year(of, (2027, 2)).twice:
        for pair in (one.mean, one.coldest):
            assert pair.earlier.high - pair.earlier.low > 15
            assert [pair.difference.low, pair.difference.high] == pytest.approx([2.0, 2.0])
            assert pair.resolved
            assert pair.difference.unit == "K"


def test_every_number_said_is_a_fact(long: Study, year: Year, single: Colony) -> None:
    trial = TrialFact("Lids", "changed", "A lid keeps warm.", "Cannot tell yet: 3 of 8 bins are counted.")
    years = (
        year, replace(year, trials=(trial,)), tell_year(long, (2027, 2)), tell_year(long, (2026, 6)),
        tell_year(sample(), (2026, 1), colony=single), tell_year(sample(()), (2026, 1), span="calendar year"),
    )  # fmt: skip
    for told in years:
        for said in (
            *yearwords.in_short(told), *yearwords.gaps(told), *yearwords.twice(told), *yearwords.tests(told),
            *yearwords.unknown(told),
        ):  # fmt: skip
            assert unfounded(said) == (), said.full
            assert "because" not in said.full
    assert "not a test" in yearwords.twice(year)[0].full


def test_a_change_is_told_in_plain_words() -> None:
    def said(low: float, high: float) -> str:
        return yearwords.signed(Range(low, (low + high) / 2, high, "1", "estimated"))

    assert said(0, 0) == ""
    assert said(3, 3) == "3 more"
    assert said(-4, -4) == "4 fewer"
    assert said(2, 9) == "2 to 9 more"
    assert said(-9, -2) == "2 to 9 fewer"
    assert said(-20, 60) == "20 fewer to 60 more"
