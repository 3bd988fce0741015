"""The data of an account, read again by others: by a validator of the standard, by a journal, and by hand."""

import csv
import io
import json
import math
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from tests.journal.examples import NOW as NOTED
from tests.journal.examples import journals_of_readings, make_bin
from tests.update.sample import BIN, ENTRIES, NOW, READINGS, amount, on, sample, truth
from underlid.journal.exchange import export_readings, import_readings
from underlid.journal.store import Journal
from underlid.records import STAGES, Reading
from underlid.update.facts import Range, ReadingFact, TrialFact
from underlid.update.forms.datapackage import csv_of, package
from underlid.update.forms.datatables import readings
from underlid.update.lifefacts import Acid, Animals, Daily, Eaten, Own
from underlid.update.noted import reading_facts
from underlid.update.story import tell

JANUARY = (2026, 1)


def ranged(middle, unit="1", provenance="estimated"):
    return Range(middle / 2, middle, middle * 1.1, unit, provenance)


def animals():
    days = np.arange(5, dtype=np.int64) * 86400 + int(NOW.timestamp())
    course = np.linspace([3, 7, 19], [4, 8.123456789012345, 20], 5)
    daily = Daily(days, course, course / 3, 3, ((NOW, ranged(11.0)),), ((NOW - timedelta(days=3), 9.6),))
    return Animals(
        at=date(2026, 1, 27), worms=ranged(40.0), before=ranged(44.0), change=ranged(-4.0),
        stages=tuple((stage, ranged(i + 1.5)) for i, stage in enumerate(STAGES)), live_g=ranged(9.0, "g"), alive=0.875,
        density_g_m2=ranged(60.0, "g/m2"), usual_g_m2=(100.0, 5000.0), crowded=0.0625, samples=1, sightings=1,
        founders="three dozen or more", careful=(), daily=daily,
    )  # fmt: skip


def everything(own=Own(), **more):  # noqa: B008  # frozen
    story = tell(sample(), JANUARY, own=own, truth=truth(sample()))
    ripe = (date(2026, 5, 1), date(2026, 6, 1), date(2026, 9, 1))
    eaten = Eaten(
        2, 1, ranged(250.0, "g", "read"), ranged(3.0, "g", "predicted"), ranged(4.0, "%"), ranged(0.5, "L"), ripe, 0.75,
        date(2026, 10, 1), date(2026, 1, 27),
    )  # fmt: skip
    acid = Acid("pH", ranged(6.5, "pH"), (("middle", ranged(6.4, "pH")),), (5.0, 9.0), 0.125, ("p1",), ())
    trial = TrialFact("coffee, or not", "with", "Coffee warms a bin.", "Undecided so far: “=1+1”.")
    return replace(story, animals=animals(), eaten=eaten, acid=(acid,), trials=(trial,), **more)


def rows_of(files, name):
    return list(csv.DictReader(io.StringIO(files[f"data/{name}.csv"].decode(), newline=""), strict=True))


def numbers(rows, *columns):
    return np.array([[float(row[column]) for column in columns] for row in rows])


@pytest.fixture(scope="module")
def story():
    return everything(Own(title="Zoë’s “tote”", keeper="Zoë, of the porch"))


@pytest.fixture(scope="module")
def files(story):
    return package(story, licence="CC-BY-4.0")


def written(files, folder: Path) -> Path:
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    return folder / "data" / "datapackage.json"


# --- as the standard has it --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def checked(files, tmp_path_factory):
    return validated(files, tmp_path_factory.mktemp("whole"))


def validated(files, folder):
    from frictionless import validate

    return validate(str(written(files, folder))).flatten(["name", "rowNumber", "type", "message"])


def test_the_descriptor_and_every_row_are_valid(checked):
    assert checked == []


def test_an_account_of_almost_nothing_is_valid_too(tmp_path):
    few = tell(sample((), members=0), JANUARY)
    files = package(few)
    assert validated(files, tmp_path) == []
    assert rows_of(files, "readings") == []
    assert files["data/readings.csv"].startswith(b"id,bin,when_start,")
    assert "data/animals.csv" not in files


@pytest.mark.parametrize(
    ("name", "old", "new", "fault"),
    [("hours", b"estimated", b"estimating", "hash-count"),
     ("hours", b"\r\n2026-01-01T01", b"\r\n2026-01-01T25", "type-error"),
     ("facts", b"refuge.litres", b"refuge.share", "primary-key")],
)  # fmt: skip
def test_what_was_changed_afterwards_is_found(files, tmp_path, name, old, new, fault):
    path = f"data/{name}.csv"
    assert old in files[path]
    found = validated({**files, path: files[path].replace(old, new, 1)}, tmp_path)
    assert fault in {row[2] for row in found}


def test_the_numbers_read_again_by_the_standard_are_the_storys(story, files, tmp_path):
    from frictionless import Package

    found = Package(str(written(files, tmp_path)))
    hours = [row.to_dict() for row in found.get_table_resource("hours").read_rows()]
    assert [row["time"].timestamp() for row in hours] == story.hours.time_utc.tolist()
    for name in ("air_c", "middle_c", "refuge_pct", "ice_pct"):
        again = np.array([[float(row[f"{name}_{part}"]) for part in ("p5", "p50", "p95")] for row in hours])
        np.testing.assert_array_equal(again, getattr(story.hours, name))
    days = [row.to_dict() for row in found.get_table_resource("days_ahead").read_rows()]
    assert [row["date"] for row in days] == list(story.days.days)
    assert [row["forecast"] for row in days] == [i < story.days.forecast_days for i in range(len(days))]


def test_the_descriptor_says_who_what_and_when(story, files):
    said = json.loads(files["data/datapackage.json"])
    assert said["name"] == "porch-tote-2026-01"
    assert said["title"] == "Zoë’s “tote”, January 2026"
    assert datetime.fromisoformat(said["created"]) == story.now
    assert said["licenses"] == [{"name": "CC-BY-4.0"}]
    assert said["contributors"] == [{"title": "Zoë, of the porch", "role": "author"}]
    assert any(story.weather_source in source["title"] for source in said["sources"])
    assert "cannot show that it is true in general" in said["description"]
    assert story.truth.label in said["description"]
    assert {resource["path"] for resource in said["resources"]} == {
        name.removeprefix("data/") for name in files if name.endswith(".csv")
    }


def test_no_licence_and_no_keeper_unless_they_are_told():
    said = json.loads(package(tell(sample(), JANUARY))["data/datapackage.json"])
    assert not {"licenses", "contributors"} & said.keys()


@pytest.mark.parametrize(("bin", "name"), [("Ünder the /bench\\", "under-the-bench"), ("蚯蚓", "bin"), ("A.1", "a-1")])
def test_the_name_is_one_that_the_standard_allows(story, bin, name):
    said = json.loads(package(replace(story, bin=replace(BIN, name=bin)))["data/datapackage.json"])
    assert said["name"] == f"{name}-2026-01"


def test_every_number_has_a_unit_and_every_column_a_meaning(files):
    for resource in json.loads(files["data/datapackage.json"])["resources"]:
        for field in resource["schema"]["fields"]:
            assert field["description"].endswith("."), field
            assert field["type"] != "number" or field["unit"], field


def test_the_same_story_gives_the_same_bytes(files):
    again = everything(Own(title="Zoë’s “tote”", keeper="Zoë, of the porch"))
    assert package(again, licence="CC-BY-4.0") == files


# --- as the story has it ----------------------------------------------------------------------------------


def test_the_course_of_the_animals_is_the_storys(story, files):
    rows = rows_of(files, "animals")
    daily = story.animals.daily
    np.testing.assert_array_equal(numbers(rows, "worms_p5", "worms_p50", "worms_p95"), daily.worms)
    np.testing.assert_array_equal(numbers(rows, "adults_p5", "adults_p50", "adults_p95"), daily.adults)
    assert [row["provenance"] for row in rows] == ["estimated"] * 3 + ["predicted"] * 2
    assert [datetime.fromisoformat(row["time"]).timestamp() for row in rows] == daily.time_utc.tolist()
    counted, seen = rows_of(files, "counted")
    assert (float(counted["worms_p50"]), counted["provenance"]) == (11.0, "estimated")
    assert (seen["worms_p5"], seen["worms_p50"], seen["worms_p95"], seen["provenance"]) == ("9.6", "", "", "read")
    assert [row["stage"] for row in rows_of(files, "stages")] == list(STAGES)


def test_hours_say_which_of_them_are_predicted(story, files):
    rows = rows_of(files, "hours")
    predicted = [row["provenance"] == "predicted" for row in rows]
    assert predicted.index(True) == story.hours.predicted_from
    np.testing.assert_array_equal(numbers(rows, "truth_c")[:, 0], story.hours.truth_c)
    offsets = {row["time"][-6:] for row in rows}
    assert offsets == {"-05:00"}  # New York in winter


def test_facts_are_the_storys_with_where_they_are_told_and_what_they_rest_on(story, files):
    facts = {row["name"]: row for row in rows_of(files, "facts")}
    for name, one in (("coldest.temperature", story.coldest.temperature), ("refuge.litres", story.refuge.litres),
                      ("soon.coldest.temperature", story.soon.coldest.temperature),
                      ("animals.worms", story.animals.worms),
                      ("animals.stages.cocoon", story.animals.stages[0][1]), ("acid.pH.whole", story.acid[0].whole),
                      ("acid.pH.places.middle", story.acid[0].places[0][1]), ("eaten.given_g", story.eaten.given_g),
                      ("readings.r1.expected", story.readings[0].expected)):  # fmt: skip
        row = facts[name]
        assert [float(row[part]) for part in ("low", "middle", "high")] == [one.low, one.middle, one.high]
        assert (row["unit"], row["provenance"]) == (one.unit, one.provenance)
    assert "month" in facts["coldest.temperature"]["told_in"].split("; ")
    assert "reading-r1" in facts["coldest.temperature"]["evidence"].split("; ")
    assert "counts" in facts["animals.worms"]["evidence"].split("; ")
    for name, chance, provenance in (("soon.below_band", story.soon.below_band, "predicted"),
                                     ("animals.alive", 0.875, "estimated"), ("acid.pH.outside", 0.125, "estimated"),
                                     ("eaten.ripe_chance", 0.75, "predicted")):  # fmt: skip
        row = facts[name]
        assert (row["low"], float(row["middle"]), row["high"], row["provenance"]) == ("", chance, "", provenance)
    moments = {row["name"]: row for row in rows_of(files, "moments")}
    assert datetime.fromisoformat(moments["coldest.when"]["usual"]) == story.coldest.when.usual
    hour = moments["coldest.estimate_at"]
    assert datetime.fromisoformat(hour["usual"]) == story.coldest.estimate_at
    assert (hour["early"], hour["late"]) == ("", "")
    assert moments["eaten.ripe"]["early"] == "2026-05-01T00:00:00-04:00"


def test_the_parameters_are_the_storys(story, files):
    rows = {row["name"]: row for row in rows_of(files, "parameters")}
    for one in story.parameters:
        assert float(rows[one.name]["after_p50"]) == one.after.middle
        assert (float(rows[one.name]["before_p95"]), rows[one.name]["unit"]) == (one.before.high, one.before.unit)


def test_what_was_noted_stands_word_for_word(files):
    assert [row["words"] for row in rows_of(files, "feedings")] == [ENTRIES[6].words, ENTRIES[7].words]
    assert [row["kind"] for row in rows_of(files, "noted")] == ["sighting", "sample", "note"]
    assert rows_of(files, "trials")[0]["sentence"] == "Undecided so far: “=1+1”."


def test_the_readme_names_every_file_and_warns_of_formulas(files):
    said = files["data/README.txt"].decode()
    for name in files:
        assert name.removeprefix("data/") in said or name.endswith("README.txt")
    assert "= + - or @" in said
    assert 'bin "Porch tote"' in said
    assert max(map(len, said.splitlines())) <= 120


def test_what_is_not_finite_is_an_empty_cell(story):
    hours = replace(story.hours, air_c=np.full_like(story.hours.air_c, np.nan))
    assert {row["air_c_p50"] for row in rows_of(package(replace(story, hours=hours)), "hours")} == {""}


# --- as a journal has it ----------------------------------------------------------------------------------


def exported(journal):
    out = io.BytesIO()
    export_readings(journal, out)
    return out.getvalue()


def test_a_fresh_journal_takes_the_months_readings_and_gives_them_back(tmp_path, story, files):
    with Journal.create(tmp_path / "journal") as journal:
        journal.add_bin(BIN)
        report = import_readings(journal, io.BytesIO(files["data/readings.csv"]), now=NOW)
        assert (report.refused, report.ignored, report.stored) == ((), (), True)
        assert journal.entries(kind=Reading) == READINGS[1:]  # the first is of December
        assert exported(journal) == files["data/readings.csv"]


def test_a_reading_that_replaces_another_can_be_taken_in_without_it(tmp_path):
    better = replace(READINGS[1], id="r1b", corrects="r1", words="2.5 or 3, I looked again")
    entries = (*ENTRIES, better)
    story = tell(sample(), JANUARY, superseded=entries)
    files = package(story)
    assert "r1b" in {row["id"] for row in rows_of(files, "readings")}
    assert "r1" not in {row["id"] for row in rows_of(files, "readings")}
    assert [row["words"] for row in rows_of(files, "noted") if row["kind"] == "correction"] == [better.words]
    with Journal.create(tmp_path / "journal") as journal:
        journal.add_bin(BIN)
        assert import_readings(journal, io.BytesIO(files["data/readings.csv"]), now=NOW).stored


@pytest.fixture(scope="module")
def two_bins(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two") / "bins"
    with Journal.create(folder) as journal:
        journal.add_bin(make_bin())
        journal.add_bin(make_bin("south, by the wall", 2))
    return folder


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(entries=journals_of_readings())
def test_any_readings_stand_as_a_journal_exports_them(two_bins, tmp_path, story, entries):
    plain = [replace(one, corrects=None) for one in entries]
    folders = [copied(two_bins, tmp_path / name) for name in ("one", "two")]
    with Journal.open(folders[0]) as one, Journal.open(folders[1]) as two:
        one.add(plain)
        # Told in the order in which a journal has them.
        facts = tuple(fact_of(entry) for entry in one.entries(kind=Reading))
        data = csv_of(readings(replace(story, readings=facts)))
        assert data == exported(one)
        assert import_readings(two, io.BytesIO(data), now=NOTED).accepted == len(plain)
        assert two.entries(kind=Reading) == one.entries(kind=Reading)


def copied(journal, folder):
    shutil.rmtree(folder, ignore_errors=True)
    return shutil.copytree(journal, folder)


def fact_of(entry):
    return ReadingFact(
        entry.id, entry.when.words, entry.when.start, entry.when.end, entry.quantity, entry.place, "", entry.words,
        entry.amount, None, 0.0, (), entry,
    )  # fmt: skip


def test_every_reading_fact_of_a_study_carries_its_record():
    extra = Reading(id="ph", bin=BIN.name, when=on(8, 1, 9, "8 Jan"), words="pH 6.5 at 5 cm", quantity="pH",
                    amount=amount(6.4, 6.6, "pH"), depth=amount(0.05, 0.05, "m"), instrument="strip")  # fmt: skip
    facts = reading_facts(sample(), (*READINGS, extra))
    assert tuple(fact.taken for fact in facts) == (*READINGS, extra)


def test_open_ends_are_empty_cells(files):
    rows = {row["id"]: row for row in rows_of(files, "readings")}
    assert (rows["r2"]["amount_low"], rows["r2"]["amount_high"], rows["r2"]["amount_kind"]) == ("", "2.0", "at most")
    assert (rows["r5"]["amount_low"], rows["r5"]["amount_high"]) == ("1.0", "")
    assert all(math.isfinite(float(cell)) for row in rows.values() if (cell := row["amount_low"]))
