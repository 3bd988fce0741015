"""Pictures: whole, under their own names and before the entries that name them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.journal.conftest import BOTH, dump
from tests.journal.examples import (
    amount,
    make_keeper,
    mark,
    reading,
)
from tests.journal.merging.examples import (
    FILE,
    PICTURE,
    SHA256,
    bring,
    fill,
    kinds,
    photo,
    refuses,
)
from underlid.journal.errors import (
    DiskFailed,
)
from underlid.journal.merging import (
    Held,
    Merge,
    NoStewardHere,
    OtherContent,
    PictureWanting,
    compare,
    storing,
)
from underlid.journal.photos import MAX_BYTES
from underlid.journal.store import PHOTOS, Journal

STORES = BOTH


def test_a_picture_that_is_missing_or_another_is_told(ours: Journal, theirs: Journal) -> None:
    theirs.add([photo(), replace(photo("p2"), corrects="p"), reading("x")])
    theirs.show_photo(mark(photo="p"))
    refuses(ours, theirs, PictureWanting, "(id p)", f"{FILE}, which an entry names, is missing in {theirs.folder}")
    (theirs.folder / PHOTOS / FILE).write_bytes(b"\xff\xd8\xff another")
    before = dump(ours)
    skipped = bring(ours, theirs, skip_conflicts=True)
    assert "its bytes are others" in skipped.conflicts[0].sentence
    assert len(skipped.left_out) == 2  # the correction, and the mark
    assert not skipped.comes
    assert dump(ours) == before
    assert [entry.id for entry in ours.entries(superseded=True)] == ["x"]
    (theirs.folder / PHOTOS / FILE).write_bytes(PICTURE)
    assert bring(ours, theirs).conflicts == ()
    assert (ours.folder / PHOTOS / FILE).read_bytes() == PICTURE


def test_a_conflict_leaves_no_picture_behind(ours: Journal, theirs: Journal) -> None:
    fill(theirs)
    refuses(ours, theirs, NoStewardHere)
    assert (ours.folder / PHOTOS / FILE).read_bytes() == PICTURE  # which came when that was skipped


def test_what_somebody_stored_meanwhile_may_be_in_the_way(
    ours: Journal, theirs: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs.add([photo(), reading("r", words="8 C")])
    (theirs.folder / PHOTOS / FILE).write_bytes(PICTURE)
    monkeypatch.setattr(storing, "_bring", lambda *_: ours.add([reading("r", words="7 C")]))
    told = bring(ours, theirs)
    assert (kinds(told), told.stored) == ([OtherContent], False)
    assert ours.entries() == (reading("r", words="7 C"),)


def test_who_names_a_picture_that_is_here_must_have_it(ours: Journal, theirs: Journal) -> None:
    """Otherwise whoever knows the hash of a private picture would get it with a bin of their own."""
    (ours.folder / PHOTOS / FILE).write_bytes(PICTURE)
    ours.add([photo("mine")])
    theirs.add([photo()])
    refuses(ours, theirs, PictureWanting, "is missing in")
    (theirs.folder / PHOTOS / FILE).write_bytes(PICTURE)
    assert bring(ours, theirs).stored


def test_a_link_is_no_picture(ours: Journal, theirs: Journal, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_bytes(PICTURE)
    (theirs.folder / PHOTOS / FILE).symlink_to(tmp_path / "elsewhere")
    theirs.add([photo()])
    refuses(ours, theirs, PictureWanting, "is a link and no picture")


def test_a_picture_whose_hindrance_went_meanwhile_comes_too(
    ours: Journal, theirs: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs.add([photo()])
    (theirs.folder / PHOTOS / FILE).write_bytes(PICTURE)
    looks = iter([Held(containers={"mug": amount(1, 2, "L")}), None])  # as if at first something was in its way

    def look(mine: Held, yours: Held, *given: Any, **more: Any) -> Merge:
        told, instead = compare(mine, yours, *given, **more), next(looks)
        return told if instead is None else replace(told, comes=instead)

    monkeypatch.setattr(storing, "compare", look)
    assert bring(ours, theirs).stored
    assert (ours.folder / PHOTOS / FILE).read_bytes() == PICTURE


def test_a_picture_that_came_to_harm_here_stays(ours: Journal, theirs: Journal) -> None:
    (ours.folder / PHOTOS / FILE).write_bytes(b"harm")
    (theirs.folder / PHOTOS / FILE).write_bytes(PICTURE)
    theirs.add([photo()])
    refuses(ours, theirs, PictureWanting, "is there with other bytes")
    assert (ours.folder / PHOTOS / FILE).read_bytes() == b"harm"


@pytest.mark.parametrize("file", ["../journal.toml", f"../{FILE}", f"{SHA256}.html", "worms.jpg", f"{SHA256}.w320.jpg"])
def test_a_picture_has_the_name_of_its_bytes_or_stays_out(ours: Journal, theirs: Journal, file: str) -> None:
    (theirs.folder / PHOTOS / file).write_bytes(PICTURE) if "toml" not in file else None
    theirs.add([photo(file=file)])
    refuses(ours, theirs, PictureWanting, "not that of its own bytes")


def test_pictures_come_before_records_and_a_failure_stores_nothing(
    journal: Journal, there: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(there)
    journal.keep_keeper(make_keeper("Cleo"))
    before = dump(journal)

    def fail(*_: object) -> None:
        assert (journal.folder / PHOTOS / FILE).read_bytes() == PICTURE
        raise KeyboardInterrupt  # after bins, entries, plans and claims

    with monkeypatch.context() as patched:
        patched.setattr(storing, "add_keeper", fail)
        with pytest.raises(KeyboardInterrupt):
            bring(journal, there)
    assert dump(journal) == before
    assert bring(journal, there).stored


def test_a_picture_that_changes_after_it_was_looked_at_is_not_kept(
    ours: Journal, theirs: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    (theirs.folder / PHOTOS / FILE).write_bytes(b"other")
    theirs.add([photo()])
    before = dump(ours)
    monkeypatch.setattr(storing, "wrong_with", lambda *_: None)
    with pytest.raises(DiskFailed):
        bring(ours, theirs)
    assert dump(ours) == before
    assert not (ours.folder / PHOTOS / FILE).exists()


def test_a_picture_that_is_too_large_is_not_even_read(ours: Journal, theirs: Journal) -> None:
    with (theirs.folder / PHOTOS / FILE).open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    theirs.add([photo()])
    refuses(ours, theirs, PictureWanting, "is larger than 50 MB")
