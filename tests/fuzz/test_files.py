"""Files that a keeper may have from somebody else: each is read, or refused in a sentence of ours."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.scribble import CHANGES, FUZZ, encoded, overwritten, read_or_refuse, scribbled
from tests.trials.bins import a_plan
from tests.trials.test_claims import OWN, toml
from tests.trials.test_plan import FOUR, RULES
from tests.weather.forecast_server import sample
from tests.weather.test_files import DAILY, PLAIN, SHORT_EPW, SHORT_TMY3
from tests.weather.test_reply import NOW, read
from underlid.bedding.materials import read_materials
from underlid.journal.memory import recall as recall_result
from underlid.journal.memory import remember
from underlid.trials.claims import claims_from, read_claims
from underlid.trials.plan import Plan, canonical, plan_from
from underlid.update.own import accent_from, words_from
from underlid.update.prose.said import SECTIONS
from underlid.weather import rows
from underlid.weather.cache import keep, recall
from underlid.weather.fetched import as_csv, read_fetched
from underlid.weather.files import read_weather
from underlid.web.kept import keep as keep_view
from underlid.web.kept import kept as kept_view
from underlid.worms import species
from underlid.worms.species import read_species

# --- weather ------------------------------------------------------------------------------------------------

FETCHED = as_csv(read(sample(NOW)))
WEATHER = [*(good.decode() for good in (PLAIN, DAILY, SHORT_EPW, SHORT_TMY3)), FETCHED]
ODD_WEATHER = (
    "time", "date", "hour", "time_utc", "tmin_c", "tmax_f", "wind mph", "rh", "rel. hum", "air (F)", "LOCATION,",
    "99.9", "-9900", "m", "2024-06-30 23:60", "12/31/24", "31.12.2024", "2024-001", "1700000000", "Z", "+14:00",
    "# place: 91,0", "# fetched: 0001-01-01T00:00:00+14:00", "# elevation: nan m",
)  # fmt: skip
HOW = st.sampled_from([
    {}, {"utc_offset_h": 1.0}, {"timezone": "Europe/Berlin", "latitude": 52.0}, {"typical": True},
    {"timezone": "Australia/Lord_Howe", "latitude": 89.9, "longitude": -179.9}, {"columns": {"air_c": "temp_f"}},
])  # fmt: skip


@FUZZ
@given(text=scribbled(WEATHER, ODD_WEATHER), how=HOW)
def test_weather(tmp_path: Path, text: str, how: dict[str, object]) -> None:
    path = tmp_path / "weather.csv"
    path.write_bytes(encoded(text))
    read_or_refuse(lambda: read_weather(path, **how))  # type: ignore[arg-type]  # as the command line gives them
    read_or_refuse(lambda: read_fetched(path))


@FUZZ
@given(text=scribbled([json.dumps(sample(NOW))], ["unixtime", '"°C"', "1e400", '{"a": 1}']))
def test_replies_of_the_weather_source(tmp_path: Path, text: str) -> None:
    read_or_refuse(lambda: read(encoded(text)))
    keep(tmp_path, "question", NOW, b"reply")
    (kept,) = tmp_path.glob("*.reply")
    kept.write_bytes(encoded(text))
    read_or_refuse(lambda: recall(tmp_path, "question"))


def test_a_kept_reply_with_brackets_without_end_is_none(tmp_path: Path) -> None:
    keep(tmp_path, "question", NOW, b"reply")
    (kept,) = tmp_path.glob("*.reply")
    kept.write_text("[" * 100_000)
    assert recall(tmp_path, "question") is None


# --- claims, plans, species, materials --------------------------------------------------------------------------

CLAIMS = "".join(f"{key} = {toml(what)}\n" for key, what in OWN.items())


@FUZZ
@given(text=scribbled([CLAIMS], ["[claim]", "[usual]", "citrus-scraps", '"worms"', '"a number"', "[0, 56]", "[56, 0]"]))
def test_claims(text: str) -> None:
    read_or_refuse(lambda: claims_from(text, "mine.toml"))


PLANS = [canonical(a_plan(FOUR, stop=RULES)), canonical(a_plan({"a": "changed"}, stated=(1.5, 9), assumed_cv=0.3))]
ODD_PLANS = ('"worms"', '"pH"', '"difference"', '"control"', "[1, 2]", "[[]]", '{"a": "control"}', '"2026-04-01"')


def test_what_is_too_large_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "MAX_BYTES", 1000)
    path = tmp_path / "weather.csv"
    path.write_bytes(PLAIN + b"2024-01-02 00:00,1,2\n" * 100)
    assert "larger than" in str(read_or_refuse(lambda: read_weather(path)))
    assert "more than" in str(read_or_refuse(lambda: plan_from(" " * 2_000_000)))


@FUZZ
@given(text=scribbled(PLANS, ODD_PLANS))
def test_plans(text: str) -> None:
    made: list[Plan] = []
    if read_or_refuse(lambda: made.append(plan_from(text))) is None:
        assert plan_from(canonical(made[0])) == made[0]  # whatever is taken can be frozen and read back


SPECIES = [path.read_text("utf-8") for path in sorted((Path(species.__file__).parent / "data").glob("*.toml"))]


@FUZZ
@given(text=scribbled(SPECIES, ["[note]", "20 = { value = 1, low = 0, high = 2 }", '"recalled"', "other_names = []"]))
def test_species(text: str) -> None:
    read_or_refuse(lambda: read_species(encoded(text), "mine.toml"))


MATERIALS = """
[material.leaves]
moisture_pct = { value = 15, low = 10, high = 20 }
aliases = ["dry leaves"]

[material."comfrey wilted"]
group = "greens"
decays = "fast"
cautions = []
source = "my own scales"
mark = "recalled"
moisture_pct = { value = 72, low = 59, high = 79 }
carbon_pct = { value = 40, low = 38, high = 44 }
nitrogen_pct = { value = 3, low = 2, high = 4 }
bulk_kg_m3 = { value = 300, low = 200, high = 400 }
"""
ODD_MATERIALS = ("[material]", "[usual]", '"leaves"', "volatile_pct", "{ value = 1, low = 1, high = 1 }", '"slow"')


@FUZZ
@given(text=scribbled([MATERIALS], ODD_MATERIALS))
def test_materials(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(encoded(text))
    read_or_refuse(lambda: read_materials(path))


#: Some that recursion ends; names of many parts, for which memory would grow by the square; a number too long to print.
ENDLESS = {
    "lists": "x = " + "[" * 100_000, "tables": "x = " + "{a=" * 80_000, "name": "x." * 100_000 + "y = 1",
    "spaced": "x  .\t" * 40_000 + "y = 1", "quoted": r'"a\"b".' * 20_000 + "y = 1",
    "header": "[" + "'x'." * 50_000 + "y]", "number": "x = 0x" + "F" * 200_000, "size": "#" * 300_000,
}  # fmt: skip


@pytest.mark.parametrize("text", ENDLESS.values(), ids=ENDLESS)
def test_what_has_no_end_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    assert read_or_refuse(lambda: read_materials(path))
    assert read_or_refuse(lambda: read_claims(path))


def test_days_too_long_to_print_are_refused() -> None:
    text = CLAIMS.replace("[0, 28, 56]", f"[0, 0x{'F' * 5000}]")
    assert "needs counts" in str(read_or_refuse(lambda: claims_from(text, "mine.toml")))


# --- own words ----------------------------------------------------------------------------------------------

WORDS = [
    "A cold month.\n\nIt snowed twice.\r\n# animals\nThey went down.\n\n# Next:\nMore leaves.\n",
    "\ufeff# done\n\nFed pears\u2028and turned it.\n# month\n☃ and 🪱\n",
]


@FUZZ
@given(text=scribbled(WORDS, [f"# {part}" for part in SECTIONS]), colour=scribbled(["#24485c", "#2bc", "teal"]))
def test_own_words_and_colours(text: str, colour: str) -> None:
    read_or_refuse(lambda: words_from(text))
    read_or_refuse(lambda: accent_from(colour))


# --- what the program itself keeps ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def kept_file(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a kept result."""
    import numpy as np

    folder = tmp_path_factory.mktemp("kept")
    remember(folder, "key", {"draws": np.arange(12.0).reshape(3, 4)}, {"words": "one"})
    return (folder / "fits" / "key.npz").read_bytes()


@FUZZ
@given(changes=CHANGES)
def test_a_damaged_kept_result_is_none(tmp_path: Path, kept_file: bytes, changes: list[tuple[int, int, int]]) -> None:
    path = tmp_path / "fits" / "key.npz"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(overwritten(kept_file, changes))
    assert read_or_refuse(lambda: recall_result(tmp_path, "key")) is None


def test_a_kept_result_that_is_packed_or_locked_is_none(tmp_path: Path, kept_file: bytes) -> None:
    """Two bytes of the list at a ZIP file's end: whether it is locked, and how it is packed (APPNOTE, 4.3.12)."""
    path = tmp_path / "fits" / "key.npz"
    path.parent.mkdir()
    path.write_bytes(kept_file)
    assert recall_result(tmp_path, "key") is not None
    for offset, value in ((8, 1), (10, 8), (10, 12), (10, 99)):
        data = bytearray(kept_file)
        data[data.index(b"PK\x01\x02") + offset] = value
        path.write_bytes(data)
        assert recall_result(tmp_path, "key") is None


def test_a_kept_view_with_brackets_without_end_is_none(tmp_path: Path) -> None:
    keep_view(tmp_path, "north", {"form": "x"})
    (path,) = (path for path in tmp_path.rglob("*.json"))
    path.write_text("[" * 100_000)
    assert kept_view(tmp_path, "north") is None
