from __future__ import annotations

import errno
import inspect
from pathlib import Path
from string import Formatter

import pytest

from underlid.journal import errors
from underlid.journal.errors import DiskFailed, DiskFull, JournalError, UnwritableFolder, disk_error

ALL = [each for _, each in inspect.getmembers(errors, inspect.isclass) if issubclass(each, JournalError)]


@pytest.mark.parametrize("error", ALL, ids=lambda error: error.__name__)
def test_each_error_is_one_sentence_from_its_docstring(error: type[JournalError]) -> None:
    assert error.__doc__
    names = {name for _, name, _, _ in Formatter().parse(error.__doc__) if name}
    sentence = str(error(**dict.fromkeys(names, "{x}")))
    assert "\n" not in sentence
    assert "  " not in sentence
    assert sentence.count("{x}") >= len(names)  # braces in what a keeper wrote are left alone
    assert isinstance(error(**dict.fromkeys(names, "")), ValueError)


@pytest.mark.parametrize(
    ("number", "meaning"),
    [(errno.ENOSPC, DiskFull), (errno.EDQUOT, DiskFull), (errno.EIO, DiskFailed), (errno.EACCES, UnwritableFolder)],
)
def test_what_a_failed_write_means(number: int, meaning: type[JournalError]) -> None:
    told = disk_error(OSError(number, "as the system says"), Path("trial"))
    assert type(told) is meaning
    assert "trial" in str(told)
