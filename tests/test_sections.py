"""The tools that write docs/calibration.md keep each other's sections, in whatever order they run."""

import sys
from itertools import permutations
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from sections import HEADINGS, PAGE, lay_into

SECTIONS = [f"{heading}: what is told\n\nSome text.\n\n### A part\n\n- a line" for heading in HEADINGS]


@pytest.mark.parametrize("order", list(permutations(range(len(HEADINGS))))[::5])
def test_sections_stand_in_order_and_none_is_lost(tmp_path, order):
    page = tmp_path / "page.md"
    for i in (*order, *order):
        lay_into(page, SECTIONS[i])
    assert page.read_text("utf-8") == "\n\n".join(SECTIONS) + "\n"


def test_a_section_written_again_takes_the_place_of_the_old_one(tmp_path):
    page = tmp_path / "page.md"
    for section in SECTIONS:
        lay_into(page, section)
    lay_into(page, SECTIONS[1].replace("Some text", "New text"))
    assert page.read_text("utf-8").count("New text") == 1
    assert page.read_text("utf-8").count("Some text") == len(SECTIONS) - 1


def test_the_page_holds_every_section():
    lines = PAGE.read_text("utf-8").splitlines()
    assert all(any(line.startswith(heading) for line in lines) for heading in HEADINGS)
