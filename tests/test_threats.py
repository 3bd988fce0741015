"""The threat model is held to: what stands against a threat has the test that is named, and limits are the code's."""

import importlib
import re
import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image

from tests.journal.examples import NOW, make_bin, one_of_each
from underlid.journal.photos import add_photo
from underlid.journal.store import PHOTOS, Journal
from underlid.monthly import pictures_of
from underlid.records import Photo

ROOT = Path(__file__).parent.parent
TESTS = ROOT / "tests"
WHOLE, WEB = ((ROOT / "docs" / name).read_text("utf-8") for name in ("security.md", "security-web.md"))
#: “file::test” or “file”, from tests/ on, as the document of the whole program names them.
NAMED = re.compile(r"`([\w/]+)(?:::(test_\w+))?`")
LIMIT = re.compile(r"`(underlid(?:\.\w+)+)\.([A-Z]\w+)` = ([\d,]+)")


def defined_in(path):
    return set(re.findall(r"^(?:async )?def (test_\w+)", path.read_text("utf-8"), re.M))


def columns(text, heading):
    """The cells of the rows of the table under a heading."""
    table = text.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    rows = [line.strip("| \n").split(" | ") for line in table.splitlines() if line.startswith("| ")]
    return rows[1:]  # the first are its headings


def test_every_test_that_the_threat_model_names_exists():
    named = [(path, name) for path, name in NAMED.findall(WHOLE) if "test_" in path]
    assert len(named) > 40
    for path, name in named:
        file = TESTS / f"{path}.py"
        assert file.is_file(), path
        assert not name or name in defined_in(file), f"{path}::{name}"


def test_every_test_that_the_document_of_the_web_names_exists():
    """There a file may stand for several tests, and those that follow it are its own."""
    rows = [line.rsplit("|", 2)[1] for line in WEB.splitlines() if line.startswith("| ") and "test_" in line]
    found = 0
    for row in rows:
        file = None
        for word in re.findall(r"`test_\w+`|[\w/]*test_\w+", row):
            if word.startswith("`"):
                assert file is not None, row
                assert word.strip("`") in defined_in(file), f"{file.stem}::{word}"
                found += 1
            else:
                file = ROOT / f"{word}.py" if "/" in word else TESTS / "web" / f"{word}.py"
                assert file.is_file(), word
    assert found >= 30


def test_every_threat_has_something_against_it_or_is_said_to_be_open():
    rows = columns(WHOLE, "Threats")
    assert len(rows) > 20
    for threat, against, shown, left in rows:
        assert threat.strip()
        assert against.strip()
        assert NAMED.search(shown) or left.strip() not in {"", "–"}, threat


def test_the_limits_are_those_of_the_code():
    limits = LIMIT.findall(WHOLE)
    assert len(limits) > 15
    for module, name, value in limits:
        assert getattr(importlib.import_module(module), name) == int(value.replace(",", "")), f"{module}.{name}"


def test_the_two_documents_lead_to_each_other():
    assert "security-web.md" in WHOLE


# --- a journal from somebody else -----------------------------------------------------------------------------


@pytest.fixture
def foreign(tmp_path):
    """An open journal with a photo, and a picture that lies outside of it."""
    picture = tmp_path / "secret.jpg"
    Image.new("RGB", (8, 8), "red").save(picture)
    with Journal.create(tmp_path / "journal") as journal:
        journal.add_bin(make_bin())
        yield journal, picture


@pytest.mark.parametrize("name", ["../../secret.jpg", "{}", "../photos/../../secret.jpg"])
def test_a_journal_cannot_name_a_picture_elsewhere(foreign, name):
    journal, picture = foreign
    entry = next(one for one in one_of_each() if isinstance(one, Photo))
    journal.add([replace(entry, file=name.format(picture))])
    (kept,) = journal.entries(kind=Photo)
    with pytest.raises(FileNotFoundError):
        pictures_of(journal, [kept])
    shutil.copy(picture, journal.folder / PHOTOS)  # its own of that name is shown
    assert len(pictures_of(journal, [kept])) == 1


def test_a_photo_of_the_journal_is_shown(foreign):
    journal, picture = foreign
    stored = add_photo(journal.folder, picture)
    entry = next(one for one in one_of_each() if isinstance(one, Photo))
    journal.add([replace(entry, file=stored.file, sha256=stored.sha256, noted_at=NOW + timedelta(0))])
    (shown,) = pictures_of(journal, journal.entries(kind=Photo))
    assert (shown.width, shown.height) == (8, 8)
