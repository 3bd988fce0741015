"""The tool that writes docs/reliability.md: it finds faults that are there, and finds none in a short run."""

import os
import signal
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tools"))

import faults
import faults_kills
import faults_mutated
import faults_staged
import faults_work
from faults_work import Row, Wrong, hold_together, killed, log_group, make_journal
from old_journals import layouts

from underlid.journal.store import Journal
from underlid.journal.tables import HEAD


def test_a_short_run_finds_nothing(tmp_path):
    rows = [
        faults_kills.logging(4, 5, tmp_path / "logging"),
        faults_kills.importing(2, 5, tmp_path / "importing"),
        faults_kills.backing_up(2, 5, tmp_path / "backups"),
        faults_kills.restoring(1, 5, tmp_path / "restoring"),
        *(faults_kills.migrating(each, 2, 5, tmp_path / each) for each in layouts() if each < HEAD),
        faults_staged.clock_back_while_logging(10, 5, tmp_path / "clock"),
        faults_staged.many_writers(2, 4, tmp_path / "writers"),
        *(
            faults_mutated.mutations(what, 40 if what != "pictures" else 20, 5, tmp_path / what[:3])
            for what in faults_mutated.READERS
        ),
    ]
    assert [(row.what, row.faults) for row in rows if row.faults] == []
    assert sum(row.times for row in rows) > 180
    told = faults.page({"Harmed files": rows}, 5, 1.0)
    assert all(f"| {row.what} | {row.times} |" in told for row in rows)
    assert "power cut" in told


def test_every_earlier_layout_has_a_journal_to_migrate():
    revisions = Path(faults_work.__file__).parents[1] / "src" / "underlid" / "journal" / "migrations" / "versions"
    made = {path.name.split("_")[0] for path in revisions.glob("0*.py")}
    assert made - set(layouts()) <= {HEAD}


def test_lost_and_half_written_groups_are_found(tmp_path):
    make_journal(tmp_path)
    with Journal.open(tmp_path) as journal:
        log_group(journal, "line-1")
        whole = journal.entries()
    hold_together(tmp_path, ["line-1"], at_work=0)
    with pytest.raises(Wrong, match="nobody acknowledged"):
        hold_together(tmp_path, [], at_work=0)
    with pytest.raises(Wrong, match="1 acknowledged groups are lost"):
        hold_together(tmp_path, ["line-1", "line-2"])
    other = tmp_path / "half"
    make_journal(other)
    with Journal.open(other) as journal:
        journal.add(whole[:2])
    with pytest.raises(Wrong, match="2 of 4 entries"):
        hold_together(other, [])


def test_a_child_is_killed_in_the_middle_of_its_work():
    def endless(tell):
        tell("first")
        signal.pause()

    assert killed(endless, 0.2) == (["first"], True)


def test_what_fails_or_dies_is_told_with_its_case(tmp_path, monkeypatch):
    def read(number):
        if number == 3:
            raise KeyError("left")
        if number == 5:
            os.kill(os.getpid(), signal.SIGKILL)
        if number == 7:
            raise ValueError("not one of ours")
        return "read"

    monkeypatch.setitem(faults_mutated.READERS, "anything", lambda seed, place: read)
    row = faults_mutated.mutations("anything", 10, 2, tmp_path)
    assert row.times == 10
    assert row.outcomes == {"read": 7}
    assert [fault.split(":")[0] for fault in row.faults] == [f"seed 2, case {number}" for number in (3, 5, 7)]
    assert "-9" in row.faults[1]


def test_what_goes_on_for_ever_is_ended(tmp_path, monkeypatch):
    monkeypatch.setattr(faults_mutated, "LONGEST_S", 0.3)
    monkeypatch.setitem(
        faults_mutated.READERS, "anything", lambda seed, place: lambda number: signal.pause() if number else "read"
    )
    row = faults_mutated.mutations("anything", 2, 2, tmp_path)
    assert row.outcomes == {"read": 1}
    assert "ended with -9" in row.faults[0]


def test_the_page_lists_faults_with_their_seeds():
    row = Row("logging", 3, faults=["seed 1, kill 2: Wrong: lost | half"])
    told = faults.page({"Sudden ends": [row]}, 1, 1.0)
    assert "| logging | 3 |  | 1 |" in told
    assert "- logging: seed 1, kill 2: Wrong: lost / half" in told
