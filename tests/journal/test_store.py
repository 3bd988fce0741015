from __future__ import annotations

import math
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from sqlalchemy import text

from tests.journal.conftest import BOTH, Stores, dump, harm
from tests.journal.examples import (
    NOON_UTC,
    STARTED,
    amount,
    amounts,
    day,
    make_bin,
    one_of_each,
    reading,
    readings,
    sample_counts,
)
from underlid.journal import queries
from underlid.journal.errors import (
    AlreadyCorrected,
    DamagedJournal,
    DuplicateBin,
    DuplicateEntry,
    EntryBeforeBin,
    JournalError,
    JournalExists,
    NoJournal,
    NotAJournal,
    OtherBin,
    OtherKind,
    UnknownBin,
    UnknownEntry,
    UnknownTimezone,
    Unstorable,
    UnwritableFolder,
)
from underlid.journal.store import Journal
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import AnyEntry, Feeding, Note, Reading, SampleCount

STORES = BOTH

# --- making and opening -----------------------------------------------------------------------------


def test_a_new_journal_is_one_file_and_a_folder_for_photos(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "deep" / "trial") as journal:
        assert journal.bins() == ()
        assert journal.entries() == ()
    assert sorted(path.name for path in (tmp_path / "deep" / "trial").iterdir()) == ["journal.sqlite", "photos"]


def test_what_was_stored_is_there_after_opening_again(journal: Journal) -> None:
    journal.add(one_of_each())
    journal.close()
    with Journal.open(journal.folder) as again:
        assert again.bins() == (make_bin(),)
        assert again.entries() == one_of_each()
        again.check()


def test_a_journal_is_not_made_twice(journal: Journal) -> None:
    before = dump(journal)
    with pytest.raises(JournalExists, match=r"already a journal in .*trial"):
        Journal.create(journal.folder)
    assert dump(journal) == before


def test_a_creation_that_was_cut_off_can_be_done_again(tmp_path: Path) -> None:
    (tmp_path / "journal.sqlite").touch()
    with pytest.raises(NoJournal):
        Journal.open(tmp_path)
    Journal.create(tmp_path).close()
    Journal.open(tmp_path).close()


def test_opening_nothing_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(NoJournal, match="create one there first"):
        Journal.open(tmp_path / "nowhere")


def test_another_file_is_not_a_journal_and_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    path.write_bytes(b"a letter to my sister, and then some more words\n" * 100)
    before = path.read_bytes()
    for attempt in (Journal.open, Journal.create):
        with pytest.raises(NotAJournal):
            attempt(tmp_path)
    assert path.read_bytes() == before


def test_another_programs_database_is_not_a_journal_and_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE songs (title TEXT)")
    before = path.read_bytes()
    for attempt in (Journal.open, Journal.create):
        with pytest.raises(NotAJournal, match="another program's tables"):
            attempt(tmp_path)
    assert path.read_bytes() == before


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    for folder in (tmp_path / "file", tmp_path / "file" / "below", Path("/proc/underlid")):
        with pytest.raises(UnwritableFolder, match="Nothing can be written"):
            Journal.create(folder)


def test_a_folder_in_the_files_place_is_no_journal(tmp_path: Path) -> None:
    (tmp_path / "journal.sqlite").mkdir()
    with pytest.raises(NoJournal):
        Journal.open(tmp_path)
    with pytest.raises(JournalError):
        Journal.create(tmp_path)


def _overwrite_pages(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    path.write_bytes(bytes(data))


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _overwrite_schema(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[100:4096] = b"\xff" * 3996
    path.write_bytes(bytes(data))


@pytest.mark.parametrize("damage", [_overwrite_pages, _cut, _overwrite_schema])
def test_a_damaged_file_is_told_and_stays_as_it_is(in_file: Journal, damage: Callable[[Path], None]) -> None:
    in_file.add(one_of_each())
    in_file.add([reading(f"more-{number}") for number in range(200)])
    in_file.close()
    damage(in_file.path)
    before = in_file.path.read_bytes()
    with pytest.raises((DamagedJournal, NotAJournal), match="backup"):  # noqa: SIM117
        with Journal.open(in_file.folder) as again:
            again.check()
    assert in_file.path.read_bytes() == before


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [("readings", "when_start", "yesterday"), ("bins", "started_flags", "[1"), ("notes", "when_end", "\x01")],
)
def test_a_row_that_no_record_made_is_damage(journal: Journal, table: str, column: str, value: str) -> None:
    journal.add(one_of_each())
    harm(journal, f"UPDATE {table} SET {column} = '{value}'")
    with pytest.raises(DamagedJournal, match=f"a row of {table} cannot be read"):
        journal.check()


def test_check_finds_a_row_that_hangs_in_the_air(journal: Journal) -> None:
    journal.add([reading()])
    harm(journal, "DELETE FROM bins")
    with pytest.raises(DamagedJournal, match="loose row in"):
        journal.check()


# --- bins -------------------------------------------------------------------------------------------


def test_bins_come_longest_running_first(journal: Journal) -> None:
    older = replace(make_bin("attic", 2), started=day(5, 1, year=2024))
    journal.add_bin(older)
    assert journal.bins() == (older, make_bin())
    assert journal.bin("attic") == older


def test_the_same_bin_again_is_harmless_and_another_of_that_name_refused(journal: Journal) -> None:
    journal.add_bin(replace(make_bin(), noted_at=None))
    before = dump(journal)
    for other in (replace(make_bin(), words="other"), make_bin("North", 2), replace(make_bin(), layers=())):
        with pytest.raises(DuplicateBin, match="give the new one another name"):
            journal.add_bin(other)
    assert dump(journal) == before


def test_an_unknown_bin_is_told_with_those_there_are_and_the_nearest(journal: Journal) -> None:
    journal.add_bin(make_bin("south", 2))
    for ask in (journal.bin, journal.entries):
        with pytest.raises(UnknownBin, match=r"Did you mean 'north'\? Bins here: north, south") as told:
            ask("Nroth")
        assert told.value.suggestion == "north"
    with pytest.raises(UnknownBin) as told:
        journal.bin("xyz")
    assert told.value.suggestion is None


def test_a_journal_without_bins_says_so(tmp_path: Path) -> None:
    with Journal.create(tmp_path) as journal, pytest.raises(UnknownBin, match="no bins yet"):
        journal.add([reading()])


@pytest.mark.parametrize(
    ("bad", "error", "sentence"),
    [
        (replace(make_bin("south", 2), timezone="Paris"), UnknownTimezone, "Europe/Paris"),
        (replace(make_bin("south", 2), timezone="../x"), UnknownTimezone, "Europe/Paris"),
        (make_bin(" south", 2), Unstorable, "space at an end"),
        (make_bin("", 2), Unstorable, "empty"),
        (replace(make_bin("south", 2), id=""), Unstorable, "id"),
        (replace(make_bin("south", 2), siting="moon"), Unstorable, "siting.*unheated shed"),  # type: ignore[arg-type]
        (replace(make_bin("south", 2), length=amount(2, 1, "m")), Unstorable, "length.*low end"),
        (replace(make_bin("south", 2), layers=make_bin("south", 2).layers[::-1]), Unstorable, "0, 1, 2"),
        (replace(make_bin("south", 2), layers=make_bin().layers), JournalError, "do not fit together"),
        (replace(make_bin("south", 2), id="bin-1"), JournalError, "do not fit together"),
    ],
)
def test_a_bad_bin_is_refused_whole(journal: Journal, bad: object, error: type[JournalError], sentence: str) -> None:
    before = dump(journal)
    with pytest.raises(error, match=sentence):
        journal.add_bin(bad)  # type: ignore[arg-type]
    assert dump(journal) == before


# --- entries ----------------------------------------------------------------------------------------


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(entry=readings() | sample_counts())
def test_any_entry_comes_back_as_it_was(stores: Stores, two_bins: Path, tmp_path: Path, entry: AnyEntry) -> None:
    with Journal.open(stores.copy(two_bins, tmp_path / "any")) as journal:
        journal.add([entry])
        (back,) = journal.entries()
    assert back == entry
    assert back.when.start.utcoffset() == entry.when.start.utcoffset()
    assert back.when.end.utcoffset() == entry.when.end.utcoffset()


def test_entries_come_in_order_of_time_whatever_their_zone(journal: Journal) -> None:
    later = replace(
        reading("a"),
        when=replace(NOON_UTC, start=datetime(2026, 2, 1, 12, 1, tzinfo=UTC), end=NOON_UTC.end.replace(hour=13)),
    )
    paris = replace(
        reading("b"), when=VagueTime(STARTED.replace(year=2026, month=2, hour=13), NOON_UTC.end, "exact", "13 h")
    )
    journal.add([later, paris])
    assert journal.entries() == (paris, later)


def test_the_hour_that_comes_twice_is_kept_apart(journal: Journal) -> None:
    paris = ZoneInfo("Europe/Paris")  # clocks went from 03:00 back to 02:00 on 26 October 2025
    first, second = datetime(2025, 10, 26, 2, 50, tzinfo=paris), datetime(2025, 10, 26, 2, 10, fold=1, tzinfo=paris)
    journal.add_bin(replace(make_bin("old", 2), started=day(5, 1, year=2024)))
    entry = replace(reading(bin="old"), when=VagueTime(first, second, "between", "around half past two"))
    journal.add([entry])
    journal.add([entry])
    (back,) = journal.entries()
    assert (back.when.start.isoformat(), back.when.end.isoformat()) == (
        "2025-10-26T02:50:00+02:00",
        "2025-10-26T02:10:00+01:00",
    )


def test_entries_can_be_asked_by_bin_and_by_kind(journal: Journal) -> None:
    journal.add_bin(make_bin("south", 2))
    elsewhere = reading("r2", bin="south")
    journal.add([*one_of_each(), elsewhere])
    assert journal.entries("south") == (elsewhere,)
    assert journal.entries(kind=Reading) == (reading(), elsewhere)
    assert journal.entries("north", kind=SampleCount) == (one_of_each()[2],)
    assert journal.entries("south", kind=Feeding) == ()


def test_entries_are_counted_for_every_bin_with_those_that_were_corrected(journal: Journal) -> None:
    journal.add_bin(make_bin("south", 2))
    assert journal.entry_counts() == {"north": 0, "south": 0}
    entries = one_of_each()
    journal.add(entries)
    journal.add([reading("r2", corrects="r1")])
    assert journal.entry_counts() == {"north": len(entries) + 1, "south": 0}


def test_many_entries_are_taken_at_once(journal: Journal, store: str, monkeypatch: pytest.MonkeyPatch) -> None:
    number = 12_000  # more ids than are asked for in one lot
    if store == "postgresql":  # which has no such limit: several small lots will do
        number = 1_200
        monkeypatch.setattr(queries, "LOT", 500)
    many = [reading(f"r{each:05}") for each in range(number)]
    journal.add(many)
    journal.add(many)
    assert journal.entries() == tuple(many)


def test_the_same_entry_again_is_harmless_even_if_noted_at_another_moment(journal: Journal) -> None:
    journal.add(one_of_each())
    before = dump(journal)
    journal.add([*one_of_each(), *one_of_each()])
    journal.add([replace(entry, noted_at=datetime(2030, 1, 1, tzinfo=UTC)) for entry in one_of_each()])
    assert dump(journal) == before


def test_another_entry_under_a_known_id_is_refused_with_all_that_came_along(journal: Journal) -> None:
    sample = _sample()
    journal.add([reading(), sample])
    before = dump(journal)
    for other in (
        reading(words="8 C"),
        replace(sample, counts=sample.counts[:1]),
        Note(id="r1", bin="north", when=day(1, 5), words="6 or 7 C"),
    ):
        with pytest.raises(DuplicateEntry, match="give it a new id"):
            journal.add([reading("fresh"), other])
        assert dump(journal) == before


def test_two_entries_under_one_id_in_one_go_are_refused(journal: Journal) -> None:
    with pytest.raises(DuplicateEntry):
        journal.add([reading("a"), reading("a", words="other")])
    assert journal.entries() == ()


def test_an_entry_from_before_the_bin_is_refused_and_one_that_may_be_after_is_not(journal: Journal) -> None:
    eve = replace(reading(), when=VagueTime(STARTED.replace(month=10), STARTED, "between", "October"))
    with pytest.raises(EntryBeforeBin, match=r"2025-10-01.*before bin 'north' was started \(2025-11-01"):
        journal.add([eve])
    autumn = VagueTime(STARTED.replace(month=10), STARTED.replace(month=12), "between", "autumn")
    start = VagueTime(STARTED, STARTED, "exact", "as I filled it")
    journal.add([replace(reading("a"), when=autumn), replace(reading("b"), when=start)])
    assert len(journal.entries()) == 2


def _sample(**changes: object) -> SampleCount:
    sample = next(entry for entry in one_of_each() if isinstance(entry, SampleCount))
    return replace(sample, **changes)  # type: ignore[arg-type]


def _with(**changes: object) -> Reading:
    return replace(reading("bad"), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("bad", "sentence"),
    [
        (_with(id=""), "The id of reading '6 or 7 C' cannot be stored: it is empty"),
        (_with(place="corner"), "place.*'corner' is not one of middle, edge, surface, not noted"),
        (_with(quantity="mood"), "quantity.*temperature"),
        (_with(words="a\0b"), "words.*not text"),
        (_with(words="\ud800"), "words.*not text"),
        (_with(words="x" * 100_001), "100001 characters"),
        (_with(words=None), "None is not text"),
        (_with(amount=amount(float("nan"), 7)), "amount.*not a number"),
        (_with(amount=amount(7, 6)), "amount.*low end 7 is above its high end 6"),
        (_with(amount=amount(float("inf"), float("inf"))), "amount.*low end"),
        (_with(amount=VagueAmount(6, 7, "degC", "roughly", "")),  # type: ignore[arg-type]
          "'roughly' is not one of exact, between"),
        (_with(depth=replace(amount(), flags=("\0",))), "depth"),
        (_with(when=replace(day(1, 5), start=datetime(2026, 1, 5))), "when.*no time zone"),
        (_with(when=replace(day(1, 5), end=day(1, 4).start)), "when.*comes after its end"),
        (_with(noted_at=datetime(2026, 1, 5)), "noted at.*no time zone"),
        (_sample(counts=(("egg", amount(1, 2, "1")),)), "count of egg.*cocoon"),
    ],
)  # fmt: skip
def test_what_could_not_come_back_as_it_is_is_refused(journal: Journal, bad: AnyEntry, sentence: str) -> None:
    before = dump(journal)
    with pytest.raises(Unstorable, match=sentence):
        journal.add([reading(), bad])
    assert dump(journal) == before


@pytest.mark.parametrize("name", ["a\0b", "\ud800"])
def test_what_no_store_can_hold_is_not_asked_of_one(journal: Journal, name: str) -> None:
    with pytest.raises(Unstorable, match="not text"):
        journal.add([reading(name)])
    with pytest.raises(Unstorable, match="not text"):
        journal.add([reading("r1", corrects=name)])
    with pytest.raises(UnknownEntry):
        journal.history(name)
    with pytest.raises(UnknownBin):
        journal.entries(name)
    assert journal.entries() == ()


def test_ids_and_names_are_as_long_as_both_stores_can_look_up(journal: Journal) -> None:
    long = "".join(chr(0x1F000 + (number * 7919) % 3000) for number in range(300))  # four bytes each, hard to compress
    home = replace(make_bin(long, 2), id=long, layers=())
    first, second = reading(long, bin=long), reading(long[::-1], bin=long, corrects=long)
    journal.add_bin(home)
    journal.add([first, second])
    assert journal.history(long) == (first, second)
    for refused in (reading("x" * 301), replace(one_of_each()[4], id="x" * 301)):
        with pytest.raises(Unstorable, match=r"The id of .* has 301 characters and 300 is the most"):
            journal.add([refused])
    for bad in (make_bin("x" * 301, 3), replace(make_bin("c", 3), id="x" * 301)):
        with pytest.raises(Unstorable, match="301 characters"):
            journal.add_bin(bad)
    assert len(journal.entries(superseded=True)) == 2


def test_the_order_is_that_of_the_letters_and_not_of_a_language(journal: Journal) -> None:
    names = ["Zebra", "a b", "a-a", "aB", "ab", "z", "É", "é"]  # as Python sorts them, and no dictionary
    for number, name in enumerate(reversed(names)):
        if name.casefold() not in {each.casefold() for each in names[: names.index(name)]}:
            journal.add_bin(replace(make_bin(name, number + 2), layers=()))
    kept = [each.name for each in journal.bins() if each.name != "north"]
    assert kept == [name for name in names if name in kept]
    assert len(kept) == 6
    journal.add([reading(name) for name in reversed(names)])
    assert [entry.id for entry in journal.entries()] == names


@pytest.mark.parametrize("number", [5e-324, 1.7976931348623157e308, 0.1 + 0.2, 2.0**-1022, -1e-323])
def test_numbers_come_back_to_the_last_bit(journal: Journal, number: float) -> None:
    journal.add(
        [replace(reading(), amount=amount(number, math.inf)), replace(reading("r2"), amount=amount(-math.inf, number))]
    )
    first, second = journal.entries(kind=Reading)
    assert (first.amount.low.hex(), first.amount.high) == (number.hex(), math.inf)
    assert (second.amount.low, second.amount.high.hex()) == (-math.inf, number.hex())


def test_minus_zero_is_zero_in_every_store(journal: Journal) -> None:
    journal.add([replace(reading(), amount=amount(-0.0, -0.0))])
    (back,) = journal.entries(kind=Reading)
    assert (back.amount.low.hex(), back.amount.high.hex()) == ("0x0.0p+0", "0x0.0p+0")


# --- corrections ------------------------------------------------------------------------------------


def test_a_correction_stands_for_the_earlier_entry_and_both_stay(journal: Journal) -> None:
    first, second = reading("r1"), reading("r2", words="8, misread", corrects="r1")
    third = reading("r3", words="7.5", corrects="r2")
    journal.add([first])
    journal.add([third, second])  # in one go, in any order
    assert journal.entries() == (third,)
    assert journal.entries(superseded=True) == (first, second, third)
    for each in (first, second, third):
        assert journal.history(each.id) == (first, second, third)


def test_history_of_an_entry_that_is_not_there(journal: Journal) -> None:
    with pytest.raises(UnknownEntry, match="no entry with the id 'r9'"):
        journal.history("r9")


@pytest.mark.parametrize(
    ("bad", "error", "sentence"),
    [
        (reading("r3", corrects="r1"), AlreadyCorrected, "already corrected by 'r2': correct 'r2' instead"),
        (reading("r3", corrects="r9"), UnknownEntry, "'r9'"),
        (reading("r3", corrects="r3"), UnknownEntry, "'r3'"),
        (reading("r3", corrects=""), UnknownEntry, "''"),
        (reading("r3", corrects="r2", bin="south"), OtherBin, "belongs to bin 'north'"),
        (Note(id="n", bin="north", when=day(1, 5), words="no", corrects="r2"), OtherKind, "A note cannot correct"),
    ],
)  # fmt: skip
def test_a_correction_of_the_wrong_thing_is_refused(
    journal: Journal, bad: AnyEntry, error: type[JournalError], sentence: str
) -> None:
    journal.add_bin(make_bin("south", 2))
    journal.add([reading("r1"), reading("r2", corrects="r1")])
    before = dump(journal)
    with pytest.raises(error, match=sentence):
        journal.add([bad])
    assert dump(journal) == before


def test_corrections_in_a_circle_are_refused(journal: Journal) -> None:
    with pytest.raises(UnknownEntry):
        journal.add([reading("a", corrects="b"), reading("b", corrects="a")])
    assert journal.entries() == ()


def test_an_offer_tells_what_is_wrong_with_each_entry(journal: Journal) -> None:
    offered = [reading("a"), reading("b", bin="x"), reading("c", corrects="b"), reading("d")]
    before = dump(journal)
    for dry_run, skip_bad in ((True, True), (False, False)):
        refused = journal.offer(offered, dry_run=dry_run, skip_bad=skip_bad)
        assert {position: type(error) for position, error in refused.items()} == {1: UnknownBin, 2: UnknownEntry}
        assert dump(journal) == before
    journal.offer(offered, skip_bad=True)
    assert journal.entries() == (offered[0], offered[3])


# --- containers -------------------------------------------------------------------------------------


def test_the_last_word_on_a_container_holds_and_the_earlier_stays_in_the_file(journal: Journal) -> None:
    mug, bigger = amount(0.2, 0.3, "L", "250 mL"), amount(0.3, 0.4, "L", "more like 350")
    journal.set_container("Blue  mug", mug)
    journal.set_container("blue mug", mug)
    journal.set_container("BLUE MUG", bigger)
    assert journal.containers() == {"blue mug": bigger}
    with journal._engine.connect() as connection:
        said = connection.execute(text("SELECT holds_words FROM containers ORDER BY id")).scalars()
        assert list(said) == ["250 mL", "more like 350"]


@given(bad=amounts())
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_a_container_holds_a_bounded_volume_or_mass(journal: Journal, bad: VagueAmount) -> None:
    if bad.unit in ("L", "kg") and 0 <= bad.low <= bad.high < float("inf"):
        bad = replace(bad, low=float("-inf"))
    before = dump(journal)
    with pytest.raises(Unstorable, match="container 'mug'"):
        journal.set_container("mug", bad)
    with pytest.raises(Unstorable, match="no name"):
        journal.set_container(" ", amount(1, 2, "L"))
    assert dump(journal) == before
