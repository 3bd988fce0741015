from __future__ import annotations

import io
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.journal.conftest import BOTH, Stores, dump, harm
from tests.journal.examples import (
    NOW,
    make_bin,
    make_change,
    make_claims,
    make_plan,
    moments,
    one_of_each,
    reading,
    texts,
)
from underlid.journal import database
from underlid.journal.errors import DamagedJournal, JournalError, PlanExists, TakenId, UnknownPlan, Unstorable
from underlid.journal.exchange import export_entries
from underlid.journal.store import Journal
from underlid.journal.tables import HEAD

STORES = BOTH

# --- plans ------------------------------------------------------------------------------------------


def test_a_plan_is_kept_with_the_hash_that_anyone_can_compute(journal: Journal) -> None:
    # The example of FIPS 180-2, appendix B.1: SHA-256 of "abc".
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    plan = replace(make_plan(), text="abc", sha256=published)
    journal.register(plan)
    journal.close()
    with Journal.open(journal.folder) as again:
        assert again.plan("coffee") == plan
        again.check()


def test_plans_come_first_registered_first(journal: Journal) -> None:
    assert journal.plans() == ()
    later = make_plan("a", registered_at=(NOW + timedelta(minutes=1)).astimezone(UTC))
    first = make_plan("b")
    journal.register(later)
    journal.register(first)
    assert journal.plans() == (first, later)


def test_the_same_plan_again_is_harmless_and_the_first_moment_holds(journal: Journal) -> None:
    journal.register(make_plan())
    before = dump(journal)
    journal.register(make_plan())
    journal.register(make_plan(registered_at=NOW + timedelta(days=30)))
    assert dump(journal) == before


@pytest.mark.parametrize("other", [make_plan(text="{}"), make_plan("Coffee"), make_plan("COFFEE", text="{}")])
def test_a_registered_plan_is_never_changed(journal: Journal, other: object) -> None:
    journal.register(make_plan())
    before = dump(journal)
    with pytest.raises(PlanExists, match=r"'coffee', registered 2026-03-01 21:30.*record a change.*another name"):
        journal.register(other)  # type: ignore[arg-type]
    assert dump(journal) == before


@pytest.mark.parametrize(
    ("bad", "sentence"),
    [
        (replace(make_plan(), sha256=make_plan(text="{}").sha256), "sha256 of plan 'coffee'.*not the hash of the text"),
        (replace(make_plan(), sha256=make_plan().sha256.upper()), "not the hash of the text"),
        (replace(make_plan(), sha256=""), "not the hash of the text"),
        (make_plan(""), "name.*empty"),
        (make_plan(" coffee"), "space at an end"),
        (make_plan(text=" \n"), "text.*empty"),
        (make_plan(text="a\0b"), "not text"),
        (replace(make_plan(), text="\ud800"), "not text"),
        (replace(make_plan(), text=None), "None is not text"),  # type: ignore[arg-type]
        (make_plan(text="x" * 1_000_001), "1000001 characters"),
        (make_plan(registered_at=datetime(2026, 3, 1)), "registered at.*no time zone"),
        (replace(make_plan(), registered_at=None), "registered at.*None is not a moment"),  # type: ignore[arg-type]
    ],
)
def test_a_plan_that_could_not_come_back_as_it_is_is_refused(journal: Journal, bad: object, sentence: str) -> None:
    before = dump(journal)
    with pytest.raises(Unstorable, match=sentence):
        journal.register(bad)  # type: ignore[arg-type]
    assert dump(journal) == before


def test_an_unknown_plan_is_told_with_those_there_are(journal: Journal) -> None:
    for ask in (journal.plan, journal.plan_changes):
        with pytest.raises(UnknownPlan, match="no plans yet: register one first"):
            ask("coffee")
    journal.register(make_plan())
    journal.register(make_plan("banana skins"))
    for ask in (journal.plan, journal.plan_changes):
        with pytest.raises(UnknownPlan, match=r"'Cofee'. Did you mean 'coffee'\? Plans here: banana skins, coffee\."):
            ask("Cofee")
        with pytest.raises(UnknownPlan, match=r"'xyz'. Plans here: banana skins, coffee\."):
            ask("xyz")


# --- changes ----------------------------------------------------------------------------------------


def test_changes_to_a_plan_stand_beside_it_oldest_first(journal: Journal) -> None:
    journal.register(make_plan())
    journal.register(make_plan("tea"))
    assert journal.plan_changes("coffee") == ()
    late = replace(make_change("a", noted_at=NOW + timedelta(days=1)), what="looks", bin=None)
    early, elsewhere = make_change("b"), make_change("c", "tea")
    for change in (late, early, elsewhere):
        journal.change_plan(change)
    assert journal.plan_changes("coffee") == (early, late)
    assert journal.plan_changes("tea") == (elsewhere,)
    assert journal.plan("coffee") == make_plan()


def test_the_same_change_again_is_harmless_and_another_under_its_id_refused(journal: Journal) -> None:
    journal.register(make_plan())
    journal.register(make_plan("tea"))
    journal.change_plan(make_change())
    before = dump(journal)
    journal.change_plan(make_change(noted_at=NOW + timedelta(days=1)))
    for other in (make_change(words="a badger"), make_change(plan="tea"), replace(make_change(), what="other")):
        with pytest.raises(TakenId, match=r"The id of plan change .* give this one a new id"):
            journal.change_plan(other)
    assert dump(journal) == before


@pytest.mark.parametrize(
    ("bad", "error", "sentence"),
    [
        (make_change(plan="tea"), UnknownPlan, "Plans here: coffee"),
        (make_change(id=""), Unstorable, "id.*empty"),
        (make_change(words=" "), Unstorable, "words.*say what changed and why"),
        (replace(make_change(), bin=None), Unstorable, "bin of plan change 'a fox had it'.*name the bin"),
        (replace(make_change(), bin=" "), Unstorable, "name the bin"),
        (replace(make_change(), what="mood"), Unstorable, "'mood' is not one of bin dropped, margin, looks, other"),  # type: ignore[arg-type]
        (make_change(noted_at=datetime(2026, 3, 1)), Unstorable, "no time zone"),
    ],
)
def test_a_bad_change_is_refused(journal: Journal, bad: object, error: type[JournalError], sentence: str) -> None:
    journal.register(make_plan())
    before = dump(journal)
    with pytest.raises(error, match=sentence):
        journal.change_plan(bad)  # type: ignore[arg-type]
    assert dump(journal) == before


# --- own claims -------------------------------------------------------------------------------------


def test_own_claims_come_oldest_first_and_the_earlier_ones_stay(journal: Journal) -> None:
    assert journal.own_claims() == ()
    late, early = make_claims("a", "", NOW + timedelta(days=1)), make_claims("b")
    for own in (late, early, replace(early, noted_at=NOW + timedelta(days=2))):
        journal.keep_claims(own)
    assert journal.own_claims() == (early, late)
    with pytest.raises(TakenId, match="The id of own claims 'b'"):
        journal.keep_claims(make_claims("b", "other"))
    with pytest.raises(Unstorable, match=r"text of own claims 'c'.*not text"):
        journal.keep_claims(make_claims("c", "\0"))
    assert journal.own_claims() == (early, late)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=texts.filter(str.strip), at=moments, words=texts.filter(str.strip), bin=st.none() | texts)
def test_any_text_comes_back_as_it_was(
    stores: Stores, two_bins: Path, tmp_path: Path, text: str, at: datetime, words: str, bin: str | None
) -> None:
    plan, own = make_plan(text=text, registered_at=at), make_claims(text=text, noted_at=at)
    change = replace(make_change(words=words, noted_at=at), what="other", bin=bin)
    with Journal.open(stores.copy(two_bins, tmp_path / "any")) as journal:
        journal.register(plan)
        journal.change_plan(change)
        journal.keep_claims(own)
        journal.check()
        back = (journal.plan("coffee"), *journal.plan_changes("coffee"), *journal.own_claims())
    assert back == (plan, change, own)
    assert back[0].registered_at.utcoffset() == at.utcoffset()


# --- damage -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE plans SET text = text || ' ' WHERE name = 'tea'",
        "UPDATE plans SET sha256 = '' WHERE name = 'tea'",
    ],
)
def test_a_plan_that_came_to_harm_is_named_and_never_handed_out(journal: Journal, statement: str) -> None:
    journal.register(make_plan())
    journal.register(make_plan("tea"))
    journal.check()
    harm(journal, statement)
    for ask in (journal.check, journal.plans, lambda: journal.plan("tea")):
        with pytest.raises(DamagedJournal, match="the text of plan 'tea' is not the one that was registered"):
            ask()


@pytest.mark.parametrize(
    ("table", "column"), [("plans", "registered_at"), ("plan_changes", "noted_at"), ("own_claims", "noted_at")]
)
@pytest.mark.parametrize("value", ["yesterday", "2026-03-01T21:30:00"])
def test_check_reads_every_row(journal: Journal, table: str, column: str, value: str) -> None:
    journal.register(make_plan())
    journal.change_plan(make_change())
    journal.keep_claims(make_claims())
    journal.check()
    harm(journal, f"UPDATE {table} SET {column} = '{value}'")
    with pytest.raises(DamagedJournal, match=f"a row of {table} cannot be read"):
        journal.check()


def test_check_finds_a_change_without_its_plan(journal: Journal) -> None:
    journal.register(make_plan())
    journal.change_plan(make_change())
    harm(journal, "DELETE FROM plans")
    with pytest.raises(DamagedJournal, match="loose row in plan_changes"):
        journal.check()


# --- a journal from before there were plans ---------------------------------------------------------


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """The folder of a journal that stands at the first layout, with every kind of entry and a correction."""
    folder = tmp_path / "old"
    (folder / "photos").mkdir(parents=True)
    path = folder / "journal.sqlite"
    engine = database.connect(path)
    config = Config()
    config.set_main_option("script_location", "underlid.journal:migrations")
    config.set_main_option("path_separator", "os")
    with database.for_writing(engine).connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        connection.commit()
    with Journal(folder, engine) as journal:
        journal.add_bin(make_bin())
        journal.add([*one_of_each(), reading("r2", words="8 C, misread", corrects="r1")])
        journal.set_container("mug", one_of_each()[1].amount)  # type: ignore[union-attr]
    assert database.revision(path) == "0001"
    return folder


def _all_rows(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "journal.sqlite")) as file:
        return [line for line in file.iterdump() if "alembic_version" not in line]


def _export(journal: Journal) -> bytes:
    stream = io.BytesIO()
    assert export_entries(journal, stream) == 2
    return stream.getvalue()


def test_an_older_journal_comes_forward_with_all_that_it_holds(old: Path) -> None:
    before = _all_rows(old)
    with Journal(old, database.connect(old / "journal.sqlite")) as still_old:
        exported, entries = _export(still_old), still_old.entries(superseded=True)
    assert database.revision(old / "journal.sqlite") == "0001"
    with Journal.open(old) as journal:
        assert database.revision(journal.path) == HEAD
        assert _export(journal) == exported
        assert journal.entries(superseded=True) == entries
        assert len(entries) == 8
        assert (journal.plans(), journal.own_claims()) == ((), ())
        journal.check()
        journal.register(make_plan())
        journal.change_plan(make_change())
    after = _all_rows(old)
    assert [line for line in before if line not in after] == []
    new_tables = ("plans", "plan_changes", "own_claims", "keepers", "bin_keepers", "photos_shown")
    assert all(any(table in line for table in new_tables) for line in after if line not in before)


def test_a_step_forward_that_fails_leaves_the_older_journal_as_it_was(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from alembic import op

    def fail(*_: object) -> None:
        raise RuntimeError("power cut")

    before = _all_rows(old)
    with monkeypatch.context() as patch:
        patch.setattr(op, "execute", fail)  # the tables are made by then, the triggers are not
        with pytest.raises(RuntimeError, match="power cut"):
            Journal.open(old)
    assert _all_rows(old) == before
    assert database.revision(old / "journal.sqlite") == "0001"
    with Journal.open(old) as journal:
        journal.register(make_plan())


# --- several at once, and sudden ends ---------------------------------------------------------------

ROOT = Path(__file__).parents[2]

REGISTRAR = """
import sys
from tests.journal.examples import make_plan
from underlid.journal.errors import PlanExists
from underlid.journal.store import Journal

folder, text, many = sys.argv[1], sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
sys.stdin.readline()
with Journal.open(folder) as journal:
    for number in range(many):
        try:
            journal.register(make_plan(f"plan {number}", text))
            print("stands", flush=True)
        except PlanExists:
            print("refused", flush=True)
"""

WRITER = """
import sys
from tests.journal.examples import make_change, make_claims, make_plan
from underlid.journal.store import Journal

with Journal.open(sys.argv[1]) as journal:
    for number in range(1_000_000):
        name = f"plan {number}"
        journal.register(make_plan(name))
        print(name, flush=True)
        journal.change_plan(make_change(f"change {number}", name))
        print(f"change {number}", flush=True)
        journal.keep_claims(make_claims(f"claims {number}"))
        print(f"claims {number}", flush=True)
"""


def _start(program: str, *arguments: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "src"), str(ROOT)])}
    command = [sys.executable, "-c", program, *arguments]
    return subprocess.Popen(command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _register_at_once(folder: Path, texts: tuple[str, str], many: int) -> list[list[str]]:
    """What each of two processes was told, plan by plan, when both register the same names."""
    both = [_start(REGISTRAR, str(folder), text, str(many)) for text in texts]
    try:
        for each in both:
            assert each.stdout is not None
            assert each.stdout.readline() == "ready\n"
        for each in both:
            assert each.stdin is not None
            each.stdin.write("go\n")
            each.stdin.flush()
        told = [each.communicate(timeout=120)[0].splitlines() for each in both]
        assert [each.returncode for each in both] == [0, 0]
        return told
    finally:
        for each in both:
            each.kill()
            each.wait()


def test_of_two_who_register_at_once_one_wins(journal: Journal) -> None:
    texts, many = ("[1]", "[2]"), 40
    told = _register_at_once(journal.folder, texts, many)
    stored = [journal.plan(f"plan {number}").text for number in range(many)]
    for text, answers in zip(texts, told, strict=True):
        assert answers == ["stands" if each == text else "refused" for each in stored]
    assert len(journal.plans()) == many
    journal.check()


def test_two_who_register_the_same_at_once_both_succeed_even_in_an_older_journal(old: Path) -> None:
    told = _register_at_once(old, ("[1]", "[1]"), 10)  # both find the older layout and bring it forward
    assert told == [["stands"] * 10] * 2
    with Journal.open(old) as journal:
        assert [plan.text for plan in journal.plans()] == ["[1]"] * 10
        journal.check()


@pytest.mark.parametrize("after", [4, 11, 24])
def test_what_was_acknowledged_survives_a_kill(journal: Journal, after: int) -> None:
    writer = _start(WRITER, str(journal.folder))
    try:
        assert writer.stdout is not None
        told = [writer.stdout.readline() for _ in range(after)]
        writer.send_signal(signal.SIGKILL)  # while the next one is on its way
        told += writer.stdout.read().splitlines(keepends=True)
    finally:
        writer.kill()
        writer.communicate()
    acknowledged = {line.strip() for line in told if line.endswith("\n")}
    assert len(acknowledged) >= after
    with Journal.open(journal.folder) as again:
        again.check()
        plans = again.plans()
        stored = {plan.name for plan in plans} | {own.id for own in again.own_claims()}
        stored |= {change.id for plan in plans for change in again.plan_changes(plan.name)}
    assert acknowledged <= stored
    assert len(stored - acknowledged) <= 1  # the one whose acknowledgement was cut off
