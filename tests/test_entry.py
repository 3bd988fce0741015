import math
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.entry import EntryError, Understood, corrected, describe, looks_like, parse_line
from underlid.quantity import VagueAmount, parse_amount, parse_when
from underlid.records import AnyEntry, BeddingLayer, Bin, Claim, Feeding, Note, Photo, Reading, SampleCount, Sighting

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 2, 10, 21, 15, tzinfo=ZONE)
BUCKET = {"bucket": parse_amount("10 L")}
BIN = Bin(
    id="bin-1",
    name="porch",
    started=parse_when("2025-10-18", now=NOW, tz=ZONE),
    timezone="America/New_York",
    length=parse_amount("17 in"),
    width=parse_amount("12 in"),
    height=parse_amount("11 in"),
    siting="open shelter",
    base="slab",
    wall="polypropylene",
    wall_thickness=parse_amount("2 mm"),
    founders=parse_amount("30"),
    species="Eisenia fetida",
)
EXAMPLE = "23 Jan around midnight: middle 2-3 C, edge 1 C; about a dozen near the top; fed 150 g pear cores"


def ids() -> Callable[[], str]:
    numbers = count(1)
    return lambda: f"id-{next(numbers)}"


def understood(text: str, containers: dict[str, VagueAmount] | None = None) -> Understood:
    return parse_line(text, bin=BIN, now=NOW, new_id=ids(), containers=containers)


def only(text: str) -> AnyEntry:
    (record,) = understood(text, BUCKET).records
    return record


def reading(text: str) -> Reading:
    record = only(text)
    assert isinstance(record, Reading)
    return record


def test_a_whole_line_becomes_its_records() -> None:
    middle, edge, seen, fed = understood(EXAMPLE).records
    assert isinstance(middle, Reading)
    assert (middle.quantity, middle.place, middle.amount.low, middle.amount.high) == ("temperature", "middle", 2.0, 3.0)
    assert isinstance(edge, Reading)
    assert (edge.place, edge.amount.low, edge.amount.high) == ("edge", 0.5, 1.5)
    assert isinstance(seen, Sighting)
    assert (seen.place, seen.stage, seen.amount.kind) == ("surface", "not noted", "about")
    assert isinstance(fed, Feeding)
    assert (fed.material, fed.amount.unit, fed.amount.high) == ("pear cores", "kg", 0.1505)


def test_every_record_carries_what_all_share() -> None:
    records = understood(EXAMPLE).records
    assert [r.id for r in records] == ["id-1", "id-2", "id-3", "id-4"]
    assert [r.words for r in records] == [
        "middle 2-3 C",
        "edge 1 C",
        "about a dozen near the top",
        "fed 150 g pear cores",
    ]
    assert {r.bin for r in records} == {"porch"}
    assert {r.noted_at for r in records} == {NOW}
    assert {r.when.start.isoformat() for r in records} == {"2026-01-23T22:30:00-05:00"}
    assert {r.when.words for r in records} == {"23 Jan around midnight"}


def test_a_line_without_a_date_is_now_and_says_so() -> None:
    line = understood("middle 6 C")
    assert (line.records[0].when.start, line.records[0].when.end, line.records[0].when.kind) == (NOW, NOW, "exact")
    assert line.notes_on == ("no date written: taken as now",)


@pytest.mark.parametrize(
    ("line", "start"),
    [
        ("7:30: 6 C", "2026-02-10 07:29"),
        ("New Year's Eve: 6 C", "2025-12-31 00:00"),
        ("around Christmas: 6 C", "2025-12-23 00:00"),
        ("last night I think: 6 C", "2026-02-09 20:00"),
        ("2026-01-23 23:40: 6 C", "2026-01-23 23:39"),
        ("last night: 6 C", "2026-02-09 20:00"),
        ("early in the month: 6 C", "2026-02-01 00:00"),
        ("late last month: 6 C", "2026-01-21 00:00"),
        ("3-5 Feb: 6 C", "2026-02-03 00:00"),
        ("not noted: 6 C", "2025-10-18 00:00"),
        ("January: 6 C", "2026-01-01 00:00"),
    ],
)
def test_dates_before_the_colon(line: str, start: str) -> None:
    assert f"{reading(line).when.start:%Y-%m-%d %H:%M}" == start


@pytest.mark.parametrize(
    ("line", "quantity", "place", "low"),
    [
        ("middle 6 C", "temperature", "middle", 5.5),
        ("6 C in the middle", "temperature", "middle", 5.5),
        ("6 C, middle", "temperature", "middle", 5.5),
        ("middle: 6 C", "temperature", "middle", 5.5),
        ("centre 6,5 C", "temperature", "middle", 6.45),
        ("in the corner about 6 C", "temperature", "edge", 4.5),
        ("edge of the bin 6 C", "temperature", "edge", 5.5),
        ("middle under -1 C", "temperature", "middle", -math.inf),
        ("edge below minus 1 C", "temperature", "edge", -math.inf),
        ("6 C under the lid", "temperature", "surface", 5.5),
        ("temp 6 C", "temperature", "not noted", 5.5),
        ("temperature was -3 to -1 C", "temperature", "not noted", -3.0),
        ("air 3 C", "air temperature", "not noted", 2.5),
        ("pH 6.5-7 edge", "pH", "edge", 6.5),
        ("pH edge 6.5", "pH", "edge", 6.45),
        ("moisture 70 %", "moisture", "not noted", 69.5),
        ("moisture 70", "moisture", "not noted", 69.5),
        ("EC 1.2 mS/cm", "EC", "not noted", 1.15),
        ("1.2 mS/cm", "EC", "not noted", 1.15),
        ("middle 43F / 6C", "temperature", "middle", 35 / 6),
        ("the middle is at 6 C", "temperature", "middle", 5.5),
        ("middle at least 6 C", "temperature", "middle", 6.0),
        ("3 C air", "air temperature", "not noted", 2.5),
        ("bedding pH strip between 6.5 and 7", "pH", "not noted", 6.5),
        ("between 6 and 7 C at the top", "temperature", "surface", 6.0),
        ("-6 C middle", "temperature", "middle", -6.5),
        ("🪱🪱 middle 4 C", "temperature", "middle", 3.5),
        ("pH: 6.5", "pH", "not noted", 6.45),
        ("7 or 8 C I think", "temperature", "not noted", 7.0),
        ("7 or 8 C, I think", "temperature", "not noted", 7.0),
        ("maybe middle 7 C", "temperature", "middle", 6.5),
        ("middle probably 7 C", "temperature", "middle", 6.5),
        ("the thermometer says 3 C in the middle", "temperature", "middle", 2.5),
        ("strip between 6 and 7", "pH", "not noted", 6.0),
        ("strip 6.5 edge", "pH", "edge", 6.45),
        ("the strip says 6.5 at the edge", "pH", "edge", 6.45),
        ("middle 6.5 with a strip", "pH", "middle", 6.45),
        ("pH strip says 6.5 at the edge", "pH", "edge", 6.45),
        ("middle pH 6.5 with litmus paper", "pH", "middle", 6.45),
    ],
)
def test_readings(line: str, quantity: str, place: str, low: float) -> None:
    record = reading(line)
    assert (record.quantity, record.place) == (quantity, place)
    assert record.amount.low == pytest.approx(low)
    assert record.words == line


@pytest.mark.parametrize(
    "line", ["6 C at 5 cm", "5 cm down 6 C", "6 C, 5 cm deep", "middle 6 C 5 cm below the surface"]
)
def test_depth_is_in_metres_below_the_surface(line: str) -> None:
    depth = reading(line).depth
    assert depth is not None
    assert (depth.low, depth.high, depth.unit) == (0.045, 0.055, "m")


@pytest.mark.parametrize("line", ["-middle 6 C", "- middle 6 C", "• middle 6 C", "yesterday: – middle 6 C"])
def test_the_dash_of_a_list_is_no_minus(line: str) -> None:
    record = reading(line)
    assert (record.place, record.amount.low, record.words) == ("middle", 5.5, "middle 6 C")


def test_a_slash_divides_places_but_not_units() -> None:
    assert [r.words for r in understood("4C middle / 2C edge").records] == ["4C middle", "2C edge"]
    assert len(understood("middle 43 F / 6 C").records) == 1


def test_one_amount_in_two_units_stays_one_wherever_the_place_stands() -> None:
    for line in ("middle 1 C, 50 F", "1 C, 50 F middle", "1 C, 50 F in the middle"):
        (only,) = understood(line).records
        assert isinstance(only, Reading)
        assert only.place == "middle"
        assert only.amount.flags
    assert len(understood("middle 1 C, 50 F edge").records) == 2


def test_the_instrument_is_kept() -> None:
    assert reading("6 C (digital thermometer)").instrument == "digital thermometer"
    assert reading("pH 6.5 with a strip").instrument == "strip"
    assert reading("pH 6.5 with litmus paper").instrument == "litmus paper"
    assert reading("pH 6.5 (test kit)").instrument == "test kit"
    assert reading("pH pen 6.5").instrument == "pen"
    assert reading("soil meter pH 6.5").instrument == "soil meter"
    assert reading("6 C, 5 cm down, with a probe").instrument == "probe"


def test_a_number_off_a_strip_is_a_ph_and_that_is_told() -> None:
    assert understood("strip 6.5").notes_on[1:] == ("'strip 6.5': read off a strip: taken as pH",)
    _, edge = understood("pH middle 6, edge 5.5 with a strip").records
    assert isinstance(edge, Reading)
    assert (edge.quantity, edge.instrument) == ("pH", "strip")


@pytest.mark.parametrize(
    "line", ["2 strips", "4 strips of paper in the corner", "strip turned green", "stripped 6 sheets", "meter 6.5"]
)
def test_what_is_no_number_off_a_strip_is_a_note(line: str) -> None:
    assert isinstance(only(line), Note)


def test_two_units_that_disagree_stay_one_reading_and_are_told() -> None:
    line = understood("middle 1 C, 50 F")
    (record,) = line.records
    assert isinstance(record, Reading)
    assert (record.place, record.amount.kind) == ("middle", "between")
    assert "1 °C is 33.8 °F, but 50 °F is 10 °C" in line.notes_on[-1]


def test_the_same_unit_twice_is_two_readings() -> None:
    assert len(understood("6 C, 7 C").records) == 2
    assert len(understood("middle 6,5 C, edge 5 C").records) == 2


def test_a_number_alone_takes_the_unit_of_the_reading_before_it() -> None:
    line = understood("middle 2-3 C, edge 1")
    assert isinstance(line.records[1], Reading)
    assert line.records[1].amount.unit == "degC"
    assert line.notes_on[-1] == "'edge 1': no unit written; taken as °C, as before"


@pytest.mark.parametrize(
    ("line", "fahrenheit"),
    [
        ("12 Dec: middle 40F, edge 38", 38),
        ("12 Dec: middle 40F, edge 39, surface 38", 38),
        ("12 Dec: temp 40F, air 38", 38),
        ("12 Dec: middle 40F, edge 38 degrees", 38),
        ("12 Dec: middle 43F / 6C, edge 38", 38),
        ("12 Dec: middle 40 F and 38 at the side", 38),
    ],
)
def test_the_unit_lent_is_the_one_that_was_written(line: str, fahrenheit: int) -> None:
    found = understood(line)
    last = found.records[-1]
    assert isinstance(last, Reading)
    assert last.amount.low == pytest.approx((fahrenheit - 0.5 - 32) / 1.8)
    assert last.amount.flags == ()
    assert found.notes_on[-1] == f"'{last.words}': no unit written; taken as °F, as before"


def test_a_lent_unit_takes_negative_and_vague_numbers() -> None:
    for words, low in (("surface minus 3", -3.5), ("surface -3", -3.5), ("surface 3ish", 1.5)):
        second = understood(f"edge -2 C, {words}").records[1]
        assert isinstance(second, Reading)
        assert second.amount.low == low


def test_after_a_reading_a_dozen_is_still_a_count_and_not_noted_a_reading() -> None:
    _, count_, unknown = understood("middle 3 C, edge about a dozen; middle not noted").records
    assert isinstance(count_, Sighting)
    assert isinstance(unknown, Note)
    second = understood("middle 3 C, edge not noted").records[1]
    assert isinstance(second, Reading)
    assert (second.place, second.amount.kind, second.amount.unit) == ("edge", "not noted", "degC")


@pytest.mark.parametrize(
    ("line", "material", "unit", "kind"),
    [
        ("fed 150 g pear cores", "pear cores", "kg", "exact"),
        ("gave about 150 g of pear cores", "pear cores", "kg", "about"),
        ("fed half a bucket of leaves", "leaves", "L", "about"),
        ("added a bucket of leaves", "leaves", "L", "about"),
        ("watered 500 ml", "water", "L", "exact"),
        ("watered with 500 ml", "water", "L", "exact"),
        ("gave 2 banana skins", "banana skins", "1", "exact"),
        ("fed 2 slices of bread", "slices of bread", "1", "exact"),
        ("fed 1 lb 4 oz pumpkin", "pumpkin", "kg", "exact"),
        ("fed leaves", "leaves", "kg", "not noted"),
        ("fed pear cores (150 g)", "pear cores", "kg", "exact"),
        ("gave them pear cores about 150 g", "pear cores", "kg", "about"),
        ("fed: 150 g leaves", "leaves", "kg", "exact"),
        ("watered a bit", "water", "L", "not noted"),
        ("fed a bit of peel", "peel", "kg", "not noted"),
        ("fed some peel", "peel", "kg", "not noted"),
        ("gave a little leaf mould", "leaf mould", "kg", "not noted"),
        ("fed some 150 g peel", "peel", "kg", "about"),
        ("fed a bit over 150 g peel", "peel", "kg", "between"),
        ("maybe fed 150 g peel", "peel", "kg", "exact"),
    ],
)
def test_feedings(line: str, material: str, unit: str, kind: str) -> None:
    record = only(line)
    assert isinstance(record, Feeding)
    assert (record.material, record.amount.unit, record.amount.kind) == (material, unit, kind)


def test_one_verb_feeds_several_things() -> None:
    first, second, seen = understood("fed 150 g pear cores and 50 g coffee grounds at the edge, saw 3 adults").records
    assert isinstance(first, Feeding)
    assert isinstance(second, Feeding)
    assert (second.material, second.place) == ("coffee grounds", "edge")
    assert isinstance(seen, Sighting)


@pytest.mark.parametrize(
    ("line", "stage", "place", "low", "high"),
    [
        ("about a dozen near the top", "not noted", "surface", 9.6, 14.4),
        ("saw 3 juveniles", "juvenile", "not noted", 3, 3),
        ("a couple of dozen worms under the lid", "not noted", "surface", 20, 30),
        ("about a dozen near the lid", "not noted", "surface", 9.6, 14.4),
        ("3 worms on the lid", "not noted", "surface", 3, 3),
        ("no worms seen", "not noted", "not noted", 0, 0),
        ("two cocoons", "cocoon", "not noted", 2, 2),
        ("worms: about a dozen", "not noted", "not noted", 9.6, 14.4),
        ("saw a worm", "not noted", "not noted", 1, 1),
        ("between 3 and 5 sub-adults near the edge", "sub-adult", "edge", 3, 5),
        ("none at the top", "not noted", "surface", 0, 0),
        ("there are 3 at the side", "not noted", "edge", 3, 3),
        ("at least 25 hatchlings", "hatchling", "not noted", 25, float("inf")),
    ],
)
def test_sightings(line: str, stage: str, place: str, low: float, high: float) -> None:
    record = only(line)
    assert isinstance(record, Sighting)
    assert (record.stage, record.place, record.amount.low, record.amount.high) == (stage, place, low, high)


@pytest.mark.parametrize(
    "line",
    [
        "sample 0.5 L middle: 3 adults, 8 juveniles, 2 cocoons",
        "counted 3 adults, 8 juveniles and 2 cocoons in 0.5 L from the middle",
        "sampled 500.0 ml in the middle: 3 adults and 8 juveniles and two cocoons",
        "sample 0.5 litres of bedding from the middle: three adults, 8 juvs, 2 cocoons",
    ],
)
def test_sample_counts(line: str) -> None:
    record = only(line)
    assert isinstance(record, SampleCount)
    assert record.place == "middle"
    assert (record.volume.low + record.volume.high) / 2 == pytest.approx(0.5)
    assert {stage: count.low for stage, count in record.counts} == {"adult": 3, "juvenile": 8, "cocoon": 2}


def test_an_empty_sample_counts_no_animal_of_any_stage() -> None:
    nothing, no_worms = only("sample 0.5 L: none"), only("sample 0.5 L: no worms, 2 cocoons")
    assert isinstance(nothing, SampleCount)
    assert isinstance(no_worms, SampleCount)
    assert {count.high for _, count in nothing.counts} == {0}
    assert {stage: count.high for stage, count in no_worms.counts}["cocoon"] == 2


@pytest.mark.parametrize(
    "line",
    [
        "smells like forest floor",
        "added a lid",
        "added 20 worms",
        "two dead worms",
        "saw 3 mites",
        "lots of worms",
    ],
)
def test_anything_else_is_kept_as_a_note_and_said_so(line: str) -> None:
    found = understood(line)
    assert isinstance(found.records[0], Note)
    assert found.records[0].words == line
    assert f"'{line}': kept as a note" in found.notes_on


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("middel 2 C", "middle 2 C"),
        ("middle 5/edge 4", "middle 5 C"),
        ("the edge felt like 40 F", "edge 40 F"),
    ],
)
def test_a_note_that_looks_like_is_warned_of(line: str, hint: str) -> None:
    found = understood(line)
    assert isinstance(found.records[0], Note)
    warning = f"'{line}': kept as a note although it looks like a temperature; write it as '{hint}' if it is one"
    assert found.notes_on[-1] == warning
    assert looks_like(line)
    assert isinstance(only(hint), Reading)


@pytest.mark.parametrize("line", ["smells fine", "middle 3 dead worms", "2 holes in the side", "7pm at the edge"])
def test_other_notes_are_not(line: str) -> None:
    assert not looks_like(line)


def test_labels_before_a_colon_are_no_dates() -> None:
    assert isinstance(only("note: middle 6 C"), Note)
    assert understood("note: middle 6 C").notes_on[-1] == "'note: middle 6 C': kept as a note"
    assert isinstance(only("smell: fine"), Note)
    assert [type(r) for r in understood("smell: fine; middle 6 C").records] == [Note, Reading]


def test_a_line_tells_whether_it_had_a_date() -> None:
    assert understood("yesterday: middle 6 C").dated
    assert not understood("middle 6 C").dated


def test_the_bottom_is_the_lowest_fifth_of_the_bedding() -> None:
    layers = tuple(
        BeddingLayer(
            id=str(n), position=n, material="leaf mould", depth=parse_amount(cm), moisture=parse_amount("70 %")
        )
        for n, cm in enumerate(("15 cm", "5 cm"))
    )
    line = parse_line("bottom 5 C", bin=replace(BIN, layers=layers), now=NOW, new_id=ids())
    (record,) = line.records
    assert isinstance(record, Reading)
    assert record.depth is not None
    assert (record.depth.low, record.depth.high) == pytest.approx((0.16, 0.20))
    assert (record.place, record.depth.unit, record.depth.kind, record.depth.words) == (
        "middle",
        "m",
        "about",
        "bottom",
    )
    told = "'bottom 5 C': bottom taken as the lowest fifth of the bedding, in the middle"
    assert line.notes_on[1:] == (told,)
    unknown = reading("bottom 5 C")
    assert (unknown.place, unknown.depth) == ("not noted", None)


def test_a_container_named_as_a_unit_does_not_take_its_place() -> None:
    (fed,) = understood("fed 2 kg peel", {"kg": parse_amount("5 L")}).records
    assert isinstance(fed, Feeding)
    assert (fed.amount.unit, fed.amount.high) == ("kg", 2.5)


def test_sentences_end_at_full_stops_but_decimals_do_not() -> None:
    records = understood("Middle 6.5 C. Edge 5 C. Looks fine.").records
    assert [type(r) for r in records] == [Reading, Reading, Note]
    assert records[2].words == "Looks fine"


@pytest.mark.parametrize(
    ("line", "what", "pointed"),
    [
        ("edge 1 C; middle 6x C", "'x' was not expected", "x"),
        ("edge 1 C, fed 15x g leaves", "'x' was not expected", "x"),
        ("fed a handful of leaves", "no container", "handful"),
        ("fed 3 cm of leaves", "no mass, volume or number", "3"),
        ("fed 150 g", "what was given", ""),
        ("edge 1", "no unit", "1"),
        ("14 Jan: the thermometer says 3 in the middle and 1 at the side", "no unit", "3"),
        ("12 near the top", "no unit", "12"),
        ("checked at dusk: middle 6 or 7 C", "'checked at dusk' is no date", "checked"),
        ("Boxing night, late: fed 150 g peel", "is no date", "Boxing"),
        ("Boxing night: middle 8", "is no date", "Boxing"),
        ("6 C wow mate", "'c wow mate' is no unit", "C wow"),
        ("edge about 1, middle about 3", "no unit", "about"),
        ("12 worms at 6 C", "side by side", "6 C"),
        ("edge 1 C; moisture 170 %", "percentage", "170"),
        ("23 Jann: 6 C", "no place in a date", "Jann"),
        ("30 Feb: 6 C", "no such day", "30"),
        ("23 Jan 2027: 6 C", "future", "23"),
        ("yesterday 6 C", "no colon", "yesterday"),
        ("sample: 3 adults", "volume of the sample", ""),
        ("sample 0.5 L: 3 adults, 3 mites", "needs its stage", ""),
        ("sample 0.5 L: 3 adults, 2 adults", "twice", "2"),
        ("23 Jan:", "nothing written", ""),
        ("   ", "nothing written", ""),
        (";", "nothing written", ""),
        ("23 Jan: , ;", "nothing written", ""),
        ("6" * 5001, "5001 characters", ""),
    ],
)
def test_a_mistake_is_placed_in_the_whole_line(line: str, what: str, pointed: str) -> None:
    with pytest.raises(EntryError, match=what) as caught:
        understood(line)
    assert line[caught.value.position :].startswith(pointed)
    if not pointed:
        assert caught.value.position >= len(line.rstrip()) - 1 or not line.strip() or len(line) > 5000


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (
            "23 Jan around midnight: middle 2-3 C",
            "temperature, middle: 2 to 3 °C (36 to 37 °F), 23 Jan 2026 22:30 to 24 Jan 01:30",
        ),
        ("23 Jan: pH 6.5-7 edge", "pH, edge: 6.5 to 7, 23 Jan 2026"),
        ("23 Jan: 6 C at 5 cm", "temperature, 5 cm down: 6 °C (43 °F), 23 Jan 2026"),
        ("23 Jan: fed 150 g pear cores", "fed pear cores: 150 g, 23 Jan 2026"),
        ("23 Jan: gave 2 banana skins", "fed banana skins: 2 pieces, 23 Jan 2026"),
        ("23 Jan: fed 1 apple", "fed apple: 1 piece, 23 Jan 2026"),
        ("23 Jan: saw at least 1 worm", "seen: at least 1 worm, 23 Jan 2026"),
        ("23 Jan: saw 0 to 1 worms", "seen: 0 to 1 worms, 23 Jan 2026"),
        ("23 Jan: about a dozen near the top", "seen, surface: about 10 to 14 worms, 23 Jan 2026"),
        (
            "23 Jan: sample 0.5 L middle: 1 adult, 8 juveniles",
            "sample of 0.5 L, middle: 1 adult, 8 juveniles, 23 Jan 2026",
        ),
        ("23 Jan: smells fine", "note: smells fine, 23 Jan 2026"),
    ],
)
def test_records_are_described_in_a_line(line: str, sentence: str) -> None:
    assert describe(only(line)) == sentence


PAGE = (Path(__file__).parents[1] / "docs" / "phrases.md").read_text(encoding="utf-8")
LINES = re.findall(r"(?m)^> (.+)\n\n((?:- .+\n)+)", PAGE)


def test_the_page_shows_whole_lines() -> None:
    assert len(LINES) >= 5


@pytest.mark.parametrize(("line", "records"), LINES, ids=[line for line, _ in LINES])
def test_the_lines_of_the_page_are_what_the_reader_does(line: str, records: str) -> None:
    assert [f"- {describe(record)}" for record in understood(line, BUCKET).records] == records.splitlines()


def test_photos_and_claims_are_described_too() -> None:
    when = parse_when("23 Jan", now=NOW, tz=ZONE)
    photo = Photo(id="p", bin="porch", when=when, words="", file="a.jpg", sha256="0" * 64)
    claim = Claim(id="c", bin="porch", when=when, words="", sentence="Worms need dark.")
    assert describe(photo) == "photo a.jpg, 23 Jan 2026"
    assert describe(claim) == "claim under watch: Worms need dark., 23 Jan 2026"


LAID = replace(
    BIN,
    layers=tuple(
        BeddingLayer(
            id=f"l{i}", position=i, material=material, depth=parse_amount("10 cm"), moisture=parse_amount("not noted")
        )
        for i, material in enumerate(("leaves", "old horse manure"))
    ),
)


@pytest.mark.parametrize("words", ["full sort: ", "sorted everything: ", "Counted the whole bin: ", "full count "])
def test_a_full_sort_is_a_sample_of_all_the_bedding_as_it_was_laid(words: str) -> None:
    found = parse_line(f"9 Feb: {words}41 adults, about 60 juveniles, no cocoons", bin=LAID, now=NOW, new_id=ids())
    (record,) = found.records
    assert isinstance(record, SampleCount)
    laid = 1000 * LAID.length.high * LAID.width.high * sum(layer.depth.high for layer in LAID.layers)
    assert record.volume.low == record.volume.high == pytest.approx(laid, abs=0.1)
    assert next((stage, count.low, count.high) for stage, count in record.counts) == ("adult", 41, 41)
    assert any("all of the bedding is taken as sorted" in note for note in found.notes_on)


def test_a_full_sort_needs_to_know_how_much_bedding_there_is() -> None:
    with pytest.raises(EntryError, match="how much bedding there is was not noted"):
        understood("full sort: 41 adults")
    with pytest.raises(EntryError, match="the counts are missing"):
        parse_line("full sort: ", bin=LAID, now=NOW, new_id=ids())


PIECES = [
    "23 Jan", "yesterday", "last night", ":", ": ", ";", ", ", " and ", ". ", "middle", "edge", "top", "6 C",
    "6", "6,5", "50 F", "pH 6.5", "moisture", "70 %", "fed", "watered", "150 g", "pear cores", "a bucket",
    "of leaves", "a handful", "saw", "3", "adults", "worms", "sample", "0.5 L", "counted", "in", "from the",
    "no", "about a dozen", "I think", "a bit of", "- ", "minus 3", "38", "40F", "bottom", "Christmas", "🪱",
    "5 cm down", "between", "x", "with a probe", "\n", "6" * 40,
]  # fmt: skip
LINE_LIKE = st.lists(st.sampled_from(PIECES), max_size=12).map(" ".join)


def attempt(text: str) -> Understood | EntryError:
    try:
        return understood(text, BUCKET)
    except EntryError as error:
        return error


@settings(deadline=None, max_examples=300)
@given(st.one_of(st.text(max_size=80), LINE_LIKE))
def test_no_line_breaks_the_reader_and_no_word_is_lost(text: str) -> None:
    found = attempt(text)
    if isinstance(found, EntryError):
        assert 0 <= found.position <= len(text)
        return
    kept = "".join(record.when.words + record.words for record in found.records)
    letters = {c for c in text if c.isalnum()}
    assert letters - set(kept) <= {*"and"}  # only the joining "and" is dropped


@pytest.mark.parametrize(
    ("text", "material", "place"),
    [
        ("fed 200 g melon rind in the corner yesterday", "melon rind", "edge"),
        ("fed 200 g melon rind yesterday in the corner", "melon rind", "edge"),
        ("fed 200 g melon rind, yesterday", "melon rind", "not noted"),
        ("fed 200 g melon   rind on Monday", "melon rind", "not noted"),  # today is a Tuesday
    ],
)
def test_a_day_at_the_end_of_a_clause_is_its_date(text: str, material: str, place: str) -> None:
    line = understood(text)
    (fed,) = line.records
    assert isinstance(fed, Feeding)
    assert (fed.material, fed.place, fed.words) == (material, place, text)
    assert fed.when.start == datetime(2026, 2, 9, tzinfo=ZONE)
    assert line.dated


def test_a_day_holds_for_what_stands_before_it_of_its_own_kind_and_for_nothing_else() -> None:
    middle, edge, fed, air = understood("middle 3 C, edge 1 C last night, fed 150 g peel; air 4 C").records
    assert middle.when == edge.when == parse_when("last night", now=NOW, tz=ZONE)
    assert fed.when.start == air.when.start == NOW
    assert "no date written: taken as now" in understood("middle 3 C last night; air 4 C").notes_on
    assert "no date written: taken as now" not in understood("middle 3 C last night").notes_on


def test_a_day_behind_a_word_that_needs_it_is_no_date() -> None:
    fed = only("fed 200 g coffee grounds from this morning")
    assert isinstance(fed, Feeding)
    assert fed.material == "coffee grounds from this morning"
    assert fed.when.start == NOW
    assert only("colder than yesterday").when.start == NOW


def test_a_line_with_two_dates_is_refused_and_its_words_are_shown_whole() -> None:
    with pytest.raises(EntryError, match="here is another: 'yesterday'"):
        understood("23 Jan: middle 2 C yesterday")
    assert only("23 Jan: smelled bad last night").when.start == datetime(2026, 1, 23, tzinfo=ZONE)
    with pytest.raises(EntryError, match="fed 2x yesterday in the corner"):
        understood("fed 2x yesterday in the corner")
    with pytest.raises(EntryError, match="no such day"):
        understood("fed 200 g peel on 30 Feb")


NOTHING = ["fed 0 g potato peel", "fed nothing", "fed none", "feeding not noted", "watered 0 L", "fed 0.0 kg peel"]


@pytest.mark.parametrize("text", NOTHING)
def test_nothing_fed_is_a_note_and_as_a_correction_withdraws_the_feeding(text: str) -> None:
    assert isinstance(only(text), Note)
    fed = replace(only("23 Jan: fed 150 g potato peel in the corner"), id="fed-1")
    mended, notes = corrected(understood(text), fed)
    assert isinstance(mended, Feeding)
    assert (mended.amount.low, mended.amount.high, mended.amount.unit) == (0, 0, "kg")
    assert (mended.corrects, mended.id, mended.words, mended.when) == ("fed-1", "id-1", text, fed.when)
    assert "the earlier feeding is withdrawn" in notes


@pytest.mark.parametrize("text", ["fed 0.5 g peel", "fed 0 to 5 g peel", "fed no more than 100 g peel"])
def test_a_little_is_not_nothing(text: str) -> None:
    fed = only(text)
    assert isinstance(fed, Feeding)
    assert fed.amount.high > 0


def test_nothing_fed_withdraws_no_reading() -> None:
    mended, _ = corrected(understood("fed nothing"), only("middle 3 C"))
    assert isinstance(mended, Note)  # which the journal refuses as a correction of a reading


def test_a_depth_below_the_bedding_is_told_and_one_below_the_bin_refused() -> None:
    laid = BeddingLayer("l", 0, "leaves", parse_amount("18 cm"), parse_amount("not noted", expect="%"))
    bin = replace(BIN, layers=(laid,))

    def told(text: str) -> tuple[str, ...]:
        return parse_line(f"23 Jan: {text}", bin=bin, now=NOW, new_id=ids()).notes_on

    assert told("10 cm down 2 C") == ()
    assert "deeper than the bedding was laid (18 cm)" in told("22 cm down 2 C")[0]
    with pytest.raises(EntryError, match="60 cm down is below the bin, which is at most 29 cm high"):
        told("60 cm deep 2 C")


@pytest.mark.parametrize(
    ("text", "place", "low", "high", "kind"),
    [
        ("edge just above freezing", "edge", 0, 1, "between"),
        ("edge below freezing", "edge", -math.inf, 0, "at most"),
        ("frozen solid at the edge", "edge", -math.inf, 0, "at most"),
        ("top frozen", "surface", -math.inf, 0, "at most"),
        ("the middle was frozen through", "middle", -math.inf, 0, "at most"),
        ("middle 5ish C", "middle", 3.5, 6.5, "about"),
    ],
)
def test_words_for_frost_are_temperatures(text: str, place: str, low: float, high: float, kind: str) -> None:
    found = reading(text)
    assert (found.quantity, found.place) == ("temperature", place)
    assert (found.amount.low, found.amount.high, found.amount.kind) == (low, high, kind)


@pytest.mark.parametrize("text", ["edge not frozen", "frozen", "it was freezing outside", "frozen peas at the edge"])
def test_frost_elsewhere_or_denied_is_a_note(text: str) -> None:
    assert isinstance(only(text), Note)


def test_a_bare_number_below_zero_is_a_note_with_a_hint() -> None:
    line = understood("-3 last night")
    assert isinstance(line.records[0], Note)
    assert "write it as 'middle -3 C'" in line.notes_on[0]
    with pytest.raises(EntryError, match="no unit"):
        understood("middle 5ish")


@pytest.mark.parametrize(
    ("text", "place", "low", "high", "kind"),
    [
        ("moisture like a wrung-out sponge", "not noted", 60, 80, "about"),
        ("damp as a wrung out sponge in the middle", "middle", 60, 80, "about"),
        ("a few drops when squeezed", "not noted", 70, 85, "about"),
        ("edge gives just a few drops when squeezed", "edge", 70, 85, "about"),
        ("bedding soaking wet", "not noted", 80, math.inf, "at least"),
        ("middle sodden 5 cm down", "middle", 80, math.inf, "at least"),
    ],
)
def test_moisture_by_feel_is_wide_and_marked(text: str, place: str, low: float, high: float, kind: str) -> None:
    found = reading(text)
    assert (found.quantity, found.place) == ("moisture", place)
    assert (found.amount.low, found.amount.high, found.amount.kind) == (low, high, kind)
    assert found.amount.flags == ("moisture by feel: common practice, no source",)


@pytest.mark.parametrize("text", ["dry on top", "soaking wet on top", "soaking wet newspaper at the edge", "wet"])
def test_other_words_on_wetness_are_notes(text: str) -> None:
    assert isinstance(only(text), Note)


def test_frost_and_feel_keep_their_depth() -> None:
    for text in ("middle frozen 5 cm down", "middle sodden 5 cm down"):
        depth = reading(text).depth
        assert depth is not None
        assert depth.words == "5 cm"
