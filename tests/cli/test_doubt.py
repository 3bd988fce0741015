"""Where readings and weather contradict each other, every command that rests on the fit says so before its figures."""

import pytest

from tests.cli.conftest import NOW

pytestmark = [pytest.mark.usefixtures("quick"), pytest.mark.computes]

ASKED = {
    "outlook": (), "castings": (), "population": (), "whatif": ("--insulate", "3 cm expanded polystyrene"),
    "feedcheck": ("200 g carrot peel",),
}  # fmt: skip
DOUBT = "The readings and this weather do not fit together"


@pytest.fixture
def ask(with_bin, winter, fits, tmp_path):
    (tmp_path / "journal" / "fits").symlink_to(fits)

    def call(command, *words):
        return with_bin(command, "north", *words, "--weather", winter, "--now", NOW)

    for line in ("5 Dec 20:00: middle 31 C", "16 Dec: edge 33 C", "24 Dec 22:30: middle 34 C, edge 30 C"):
        assert with_bin("log", "north", line, "--yes", "--now", NOW).code == 0
    return call


@pytest.mark.parametrize("command", ASKED)
def test_a_fit_that_contradicts_its_readings_is_doubted_above_the_figures(ask, command):
    told = ask(command, *ASKED[command])
    assert told.code == 0, told.err
    lines = [line for line in told.out.splitlines() if line]
    at = next(i for i, line in enumerate(lines) if DOUBT in line)
    assert lines[at].startswith("Careful: ")
    table = next(i for i, line in enumerate(lines) if "   " in line)
    assert at < table
    assert told.out.count(DOUBT) == 1
    assert DOUBT in ask(command, *ASKED[command], "--json").json["notes"][0]
