"""The commands that write accounts: where files go, what is refused, and that nothing is half written."""

from pathlib import Path

import pytest

from tests.cli.conftest import NOW

pytestmark = pytest.mark.usefixtures("quick")

JAN = ("--month", "2026-01", "--now", NOW)


@pytest.fixture
def update(logged, winter):
    return lambda *words: logged("update", "north", "--weather", winter, *JAN, *words)


def files():
    return sorted(path.as_posix() for path in Path().rglob("*") if path.is_file() and path.parts[0] != "journal")


@pytest.mark.computes
def test_one_form_is_one_file_and_several_are_a_folder(update, tmp_path):
    Path("mine.txt").write_text("It was # cold.\n\n# animals\nThey lived: 7 of them.\n", "utf-8")
    told = update("--format", "html,notes", "--title", "My <winter>", "--words", "mine.txt", "--accent", "teal")
    assert told.code == 0, told.err
    made = files()
    assert "north-2026-01/north-2026-01.html" in made
    assert "north-2026-01/notes.md" in made
    assert "3 files" in told.out
    page = Path("north-2026-01/north-2026-01.html").read_text("utf-8")
    assert "My &lt;winter&gt;" in page
    assert "They lived: 7 of them." in page
    again = update("--format", "notes", "--out", "said", "--json").json
    assert sorted(again["files"]) == ["said/alt-texts.md", "said/notes.md"]
    assert again["animals"]["worms"]["provenance"] == "estimated"
    assert Path("said/notes.md").read_bytes() != b""


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--format", "gif"), ["gif", "html", "all"]),
        (("--format", ","), ["html"]),
        (("--accent", "mud"), ["mud", "#24485c"]),
        (("--words", "none.txt"), ["none.txt"]),
        (("--words", "latin.txt"), ["latin.txt", "UTF-8"]),
        (("--words", "parts.txt"), ["nowhere", "animals"]),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_fitted_or_written(update, words, says):
    Path("latin.txt").write_bytes("f\xfcnf".encode("latin-1"))
    Path("parts.txt").write_text("# nowhere\nx\n")
    before = files()
    told = update(*words)
    assert told.code == 2
    assert told.err.startswith("underlid: ")
    for part in says:
        assert part in told.err
    assert files() == before


def test_a_month_without_weather_is_refused_before_the_fit(logged, winter, monkeypatch):
    monkeypatch.setattr("underlid.answer.fit_case", lambda *_: pytest.fail("fitted"))
    told = logged("update", "north", "--weather", winter, "--month", "2025-03", "--now", NOW)
    assert told.code == 2
    assert "March 2025 cannot be told" in told.err


def test_a_year_is_told_with_its_untold_months(logged, winter):
    told = logged("year", "north", "--weather", winter, "--now", NOW, "--format", "html,pdf", "--json")
    assert told.code == 0, told.err
    assert told.json["files"] == ["north-year-2026-02.html", "north-year-2026-02.pdf"]
    assert Path("north-year-2026-02.pdf").read_bytes().startswith(b"%PDF")
    assert [month["month"] for month in told.json["months"]] == ["2025-12-01", "2026-01-01", "2026-02-01"]
    assert told.json["bedding"]["coldest"]["provenance"] == "estimated"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("year", "north", "--span", "decade"), ["twelve"]),
        (("year", "north", "--format", "film"), ["html"]),
        (("year", "north", "--until", "2024-01"), ["January 2024"]),
        (("compare", "north"), ["two"]),
        (("compare", "north", "south"), ["south"]),
    ],
)
def test_a_year_or_a_comparison_that_cannot_be(logged, winter, words, says):
    told = logged(*words, "--weather", winter, "--now", NOW)
    assert told.code == 2
    for part in says:
        assert part in told.err
    assert files() == []
