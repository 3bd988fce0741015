"""Which entries are used, what is refused, and that every sentence says what the numbers do."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.counting.bins import HALF_LITRE
from tests.counting.test_parts import VESSEL, a_bin, metres
from underlid.counting import CannotTell, telling
from underlid.counting.account import Question, account, seen_at_least, span_of
from underlid.counting.detection import Recovery
from underlid.counting.found import exactly
from underlid.quantity import parse_amount
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import STAGES, Note, SampleCount, Sighting

pytestmark = pytest.mark.usefixtures("quick")

NOW = datetime(2026, 2, 10, 21, tzinfo=UTC)
BIN = a_bin(metres(0.10, 0.12), metres(0.10, 0.12))


def on(day, hours=24):
    start = datetime(2026, 2, day, tzinfo=UTC)
    return VagueTime(start, start + timedelta(hours=hours), "exact", f"{day} Feb")


def taken(day, place="middle", **counts):
    said = tuple((stage, exactly(counts[stage])) for stage in STAGES if stage in counts)
    return SampleCount(
        id=f"{day}{place}{counts}",
        bin="north",
        when=on(day),
        words="a sample",
        volume=HALF_LITRE,
        counts=said,
        place=place,
    )


def saw(day, words, stage="not noted"):
    return Sighting(
        id=words, bin="north", when=on(day), words=words, amount=parse_amount(words, expect="1"), stage=stage
    )


ENTRIES = (
    taken(1, adult=9), taken(5, adult=3, juvenile=8), taken(5, "edge", adult=1, juvenile=2), saw(4, "about 50"),
    saw(5, "about 30"), saw(5, "7", "adult"), Note(id="n", bin="north", when=on(6), words="note: cold"),
)  # fmt: skip


def entries_of(entries, now, tz, **asked):
    """The span, where there must be one."""
    span = span_of(entries, now, tz, **asked)
    assert span is not None
    return span


def tell(*entries, **asked):
    return account(BIN, VESSEL, span_of(entries or ENTRIES, NOW, UTC), Question(**asked), 1)


def test_the_latest_day_with_samples_unless_asked_otherwise():
    span = entries_of(ENTRIES, NOW, UTC)
    assert [entry.when.words for entry in span.samples] == ["5 Feb", "5 Feb"]
    assert [entry.words for entry in span.sightings] == ["about 30", "7"]
    assert len(entries_of(ENTRIES, NOW, UTC, since=on(1).start).samples) == 3
    assert len(entries_of(ENTRIES, NOW, UTC, since=on(2).start).samples) == 2  # the first ends as the second begins
    assert len(entries_of(ENTRIES, NOW, UTC, until=on(4).end).samples) == 1
    assert len(entries_of(ENTRIES, on(3).start, UTC).samples) == 1  # the present moment may be in the past
    assert span_of((), NOW, UTC) is None


def test_a_day_is_one_of_the_keepers_clock():
    late = datetime(2026, 2, 5, 23, 30, tzinfo=UTC)
    entry = taken(5, adult=1)
    there = SampleCount(
        id="x",
        bin="north",
        words="",
        volume=HALF_LITRE,
        counts=entry.counts,
        when=VagueTime(late, late, "exact", "now"),
    )
    span = entries_of((there, entry), NOW, ZoneInfo("Europe/Berlin"))
    assert span.samples == (there,)
    assert span.start.day == 6


def test_sightings_are_the_most_seen_at_once_and_never_a_sum():
    assert seen_at_least(ENTRIES[3:6]) == {"worm": 40, "adult": 7}
    none = VagueAmount(-math.inf, 4, "1", "at most", "fewer than 5")
    assert seen_at_least([Sighting(id="", bin="", when=on(1), words="", amount=none)]) == {}


def test_sightings_bound_the_total_from_below():
    entries = (*ENTRIES[1:3], saw(5, "at least 300"))
    told = tell(*entries)
    assert told.estimate.worms[0] >= 300
    assert "at least 300 worms" in telling.seen(told)[0]


def test_a_sighting_alone_is_no_count():
    with pytest.raises(CannotTell, match=r"40 at least.*a sighting is no count"):
        account(BIN, VESSEL, span_of(ENTRIES[3:4], NOW, UTC, since=on(1).start), Question(), 1)
    with pytest.raises(CannotTell, match="No sample of bin north"):
        account(BIN, VESSEL, None, Question(), 1)


def test_what_cannot_be_told_is_a_sentence_beside_what_can():
    told = tell(passes=(5, 7, 8), observers=(9, 8, 0))
    assert told.estimate is not None
    assert (told.removed, told.observed) == (None, None)
    assert ["do not fall" in told.refused[0], "17 at least" in told.refused[1]] == [True, True]


def test_only_what_cannot_be_told_is_refused():
    with pytest.raises(CannotTell, match="do not fall"):
        account(BIN, VESSEL, None, Question(passes=(5, 7, 8)), 1)


def test_passes_and_sorters_need_no_samples():
    told = account(BIN, VESSEL, None, Question(passes=(38, 26, 12), observers=(20, 15, 12)), 1)
    first, second = telling.beside(told)
    assert "about 92 animals" in first
    assert "76 in all" in first
    assert "about 25 were there, 23 to 31" in second
    unequal = account(BIN, VESSEL, None, Question(passes=(100, 60, 36), effort=(1, 1, 1)), 1).removed
    assert unequal is not None
    assert unequal.number == pytest.approx(250)


@pytest.mark.parametrize(
    ("passes", "effort", "parts"),
    [
        ((3, 0), (), ("about 3 animals were", "3 to 10 with nine chances in ten (Zippin)", "a pass finds 17 to 100 %")),
        ((1, 0), (), ("about 1 animal was", "1 to 5 with")),
        ((12, 0, 0), (), ("12 and no more with nine chances in ten",)),
        ((72, 56), (), ("190 at least with nine chances in ten, and the catches set no upper end", "at most 43 %")),
        ((10, 1, 1), (1, 1, 1), ("about 12 animals", "12 to 15 with", "a pass of mean effort finds", "sees none left")),
    ],
)
def test_a_range_of_passes_reads_well_where_it_ends_at_what_was_found_or_has_no_end(passes, effort, parts):
    told = account(BIN, VESSEL, None, Question(passes=passes, effort=effort), 1)
    said = " ".join(telling.beside(told))
    for part in (*parts, "fewer than three in ten the range may be too short"):
        assert part in said


def test_a_trial_is_told_alone_and_serves_the_total():
    trial = Recovery("juvenile", 14, 20)
    alone = account(BIN, VESSEL, None, Question(recoveries=(trial,)), 1)
    assert "14 were found again" in telling.beside(alone)[0]
    assert "70 % (55 to 83) of juveniles" in telling.beside(alone)[0]
    assert "a trial with 20" in telling.assumed(tell(recoveries=(trial,)))[0]


def test_the_total_says_what_it_rests_on_and_takes_for_granted():
    told = tell()
    low, middle, high = told.estimate.worms
    first, rests = telling.total("north", told.estimate)
    assert f"{telling.down(low, 14)} to {telling.up(high)} with nine chances in ten" in first
    assert "2 samples" in rests
    said = " ".join(telling.assumed(told))
    for part in ("95 % (81 to 100) of adults", "our judgement", "as laid", "--litres", "hatchlings", "edge 49 %"):
        assert part in said
    assert low < middle < high


def test_what_would_narrow_it_is_said_with_a_number_of_samples():
    assert any("more samples of 0.5 L" in sentence for sentence in telling.narrower(tell()))
    asked = telling.narrower(tell(precision=0.2))[-1]
    assert "standard error of 20 %" in asked


def test_the_rows_of_the_table_are_those_of_the_estimate():
    table = telling.rows(tell().estimate)
    assert [row[:2] for row in table] == [("juveniles", "10"), ("adults", "4"), ("all but cocoons", "14")]


def test_one_sample_one_part_and_a_full_sort_are_said():
    one = " ".join(telling.assumed(tell(taken(5, adult=3))))
    assert "One sample" in one
    assert "The edge was not sampled" in one
    assert "No place is noted" in " ".join(telling.assumed(tell(taken(5, "not noted", adult=3))))
    whole = tell(taken(5, adult=30), litres=VagueAmount(0.5, 0.5, "L", "exact", "0.5 L"))
    assert "all of the bedding" in " ".join(telling.assumed(whole))


def test_a_stage_written_in_some_samples_only_is_remarked_upon():
    told = tell(taken(5, adult=3, juvenile=2), taken(5, "edge", adult=3))
    assert "Juveniles are counted in 1 of 2 samples" in told.notes[0]
    assert tell().notes == ()


def test_samples_weeks_apart_are_remarked_upon():
    entries = (taken(1, adult=2), taken(20, adult=3))
    span = span_of(entries, NOW + timedelta(days=20), UTC, since=on(1).start)
    assert "20 days apart" in account(BIN, VESSEL, span, Question(), 1).notes[0]


@pytest.mark.parametrize(
    ("value", "low", "high"), [(7.4, "7", "8"), (122, "120", "125"), (1447, "1400", "1450"), (99, "99", "99")]
)
def test_ends_are_rounded_outward(value, low, high):
    assert (telling.down(value), telling.up(value)) == (low, high)


def test_a_lower_end_is_never_below_what_was_found():
    assert telling.down(123.0, 123) == "123"
