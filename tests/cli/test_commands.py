"""The main job through the command line."""

import json

import pytest

from tests.cli.conftest import NOW, dump

pytestmark = pytest.mark.usefixtures("quick")

LINE = "23 Jan around midnight: middle 2-3 C, edge 1 C; about a dozen near the top; fed 150 g pear cores"


def test_parse_gives_the_interval_and_the_words(underlid):
    assert underlid("parse", "6 or 7 C", "--json").json == {
        "low": 6.0, "high": 7.0, "unit": "degC", "kind": "between", "words": "6 or 7 C", "flags": [],
    }  # fmt: skip


def test_what_nobody_said_of_a_new_bin_is_named_as_taken_for_granted(underlid):
    words = ("--size", "40 x 30 x 30 cm", "--now", NOW)
    told = underlid("new", "shed", *words, "--siting", "unheated shed", "--started", "1 Dec 2025")
    (note,) = (line for line in told.out.splitlines() if "Taken for granted" in line)
    for unsaid in ("on slab", "walls of polypropylene", "3 mm thick", "Eisenia fetida"):
        assert unsaid in note
    for said in ("shed,", "started"):
        assert said not in note
    told = underlid(
        "new", "all", *words, "--siting", "indoors", "--base", "slab", "--wall", "wood", "--wall-thickness", "1 cm",
        "--species", "Eisenia fetida", "--started", "today", "--json",
    )  # fmt: skip
    assert not any("granted" in note for note in told.json["notes"])


def test_a_leading_minus_is_a_number_and_no_option(underlid):
    told = underlid("parse", "-3 C", "--json").json
    assert (told["low"], told["high"]) == (-3.5, -2.5)


def test_a_contradiction_is_kept_and_flagged_with_both_conversions(underlid):
    told = underlid("parse", "1 C, 50 F", "--json").json
    assert told["low"] < 1 < 10 < told["high"]
    assert "33.8" in told["flags"][0]
    assert "10" in told["flags"][0]


def test_a_line_is_shown_before_it_is_stored(with_bin, monkeypatch):
    before = dump()
    monkeypatch.setattr("builtins.input", lambda prompt: "n")
    shown = with_bin("log", "north", LINE, "--now", NOW)
    assert "middle" in shown.out
    assert "Nothing was stored" in shown.out
    assert dump() == before
    monkeypatch.setattr("builtins.input", lambda prompt: "y")
    assert "Stored" in with_bin("log", "north", LINE, "--now", NOW).out
    assert dump() != before


def test_without_anyone_to_ask_nothing_is_stored(with_bin, monkeypatch):
    def nobody(prompt):
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    before = dump()
    assert "Nothing was stored" in with_bin("log", "north", LINE, "--now", NOW).out
    assert dump() == before


def test_a_free_line_becomes_its_entries(with_bin):
    told = with_bin("log", "north", LINE, "--yes", "--json", "--now", NOW).json
    assert told["stored"]
    assert [entry["kind"] for entry in told["entries"]] == ["Reading", "Reading", "Sighting", "Feeding"]
    assert told["entries"][0]["when"]["start"].startswith("2026-01-23T22")


def test_food_of_which_nothing_is_known_is_told_before_it_is_stored(with_bin):
    told = with_bin(
        "log", "north", "fed 100 g quince; fed 100 g zucchini; watered 1 L", "--yes", "--json", "--now", NOW
    ).json
    assert told["stored"]
    (said,) = (note for note in told["notes"] if "No properties are known" in note)
    assert "'quince'" in said
    assert "cannot reckon with it" in said


def test_a_correction_keeps_the_earlier_words(with_bin):
    first = with_bin("log", "north", "23 Jan: middle 12 C", "--yes", "--json", "--now", NOW).json
    entry = first["entries"][0]["id"]
    done = with_bin("log", "north", "23 Jan: middle 2 C", "--yes", "--corrects", entry, "--now", NOW)
    assert done.code == 0, done.err
    exported = with_bin("export").out
    assert "middle 12 C" in exported
    assert "middle 2 C" in exported
    again = with_bin("log", "north", "23 Jan: middle 3 C", "--yes", "--corrects", entry, "--now", NOW)
    assert again.code == 2


def test_entries_lists_what_is_held_and_what_was_corrected(with_bin):
    with_bin("log", "north", "23 Jan: middle 12 C", "--yes", "--now", NOW)
    listed = with_bin("entries", "north").out
    beginning = listed[1:9]
    assert "middle 12 C" in listed
    assert with_bin("log", "north", "23 Jan: middle 2 C", "--yes", "--corrects", beginning, "--now", NOW).code == 0
    assert "middle 12 C" not in with_bin("entries", "north").out
    every = with_bin("entries", "north", "--all", "--json").json
    assert {entry["words"]: bool(entry["corrected_by"]) for entry in every} == {
        "middle 12 C": True,
        "middle 2 C": False,
    }
    with_bin("log", "north", "24 Jan: middle 3 C", "--yes", "--now", NOW)
    assert with_bin("log", "north", "24 Jan: middle 4 C", "--yes", "--corrects", "", "--now", NOW).code == 2


def test_a_correction_without_a_date_keeps_the_date(with_bin):
    with_bin("log", "north", "23 Jan 20:00: middle 12 C", "--yes", "--now", NOW)
    (entry,) = with_bin("entries", "north", "--json").json
    shown = with_bin("log", "north", "temp not noted", "--yes", "--corrects", entry["id"][:8], "--now", NOW)
    assert "the earlier date stays" in shown.out
    (mended,) = with_bin("entries", "north", "--json").json
    assert mended["when"]["start"] == entry["when"]["start"]
    assert "not noted" in mended["understood"]


def test_a_feeding_can_be_withdrawn(with_bin):
    with_bin("log", "north", "23 Jan: fed 150 g potato peel", "--yes", "--now", NOW)
    (fed,) = with_bin("entries", "north", "--json").json
    done = with_bin("log", "north", "feeding not noted", "--yes", "--corrects", fed["id"][:8], "--now", NOW)
    assert "withdrawn" in done.out
    (mended,) = with_bin("entries", "north", "--json").json
    assert mended["understood"] == "fed potato peel: 0 g, 23 Jan 2026"


@pytest.mark.parametrize("name", ["red wigglers", "Redworm", "brandling", "tiger worm", "E. fetida"])
def test_a_worm_may_be_called_by_its_common_name(underlid, name):
    told = underlid(
        "new", "north", "--size", "17 x 12 x 11 in", "--species", name, "--timezone", "Europe/London", "--now", NOW
    )
    assert "species: Eisenia fetida" in told.out
    assert "No facts" not in told.out


def test_a_container_needs_no_quotes(with_bin):
    assert "0.15 L" in with_bin("container", "handful", "0.15", "L").out


def test_a_dry_run_shows_what_was_understood(with_bin, tmp_path):
    logger = tmp_path / "logger.csv"
    logger.write_text("when,Temp (F)\n2026-01-05,41\n")
    words = ("import", logger, "--bin", "north", "-c", "amount=Temp (F)", "-f", "quantity=temperature", "--now", NOW)
    assert "line 2: temperature: 5 °C (41 °F), 5 Jan 2026" in with_bin(*words, "--dry-run").out
    assert with_bin(*words, "--dry-run", "--json").json["first"][0]["line"] == 2


def test_a_container_gives_half_a_bucket_a_volume(with_bin):
    refused = with_bin("log", "north", "fed half a bucket of leaves", "--yes", "--now", NOW)
    assert refused.code == 2
    assert "bucket" in refused.err
    assert with_bin("container", "bucket", "10 L").code == 0
    told = with_bin("log", "north", "fed half a bucket of leaves", "--yes", "--json", "--now", NOW).json
    assert "about 5 L" in told["entries"][0]["understood"]


def test_export_and_import_give_the_same_bytes(with_bin, tmp_path):
    with_bin("log", "north", LINE, "--yes", "--now", NOW)
    assert with_bin("export", "--out", tmp_path / "first.csv").code == 0
    with_bin(
        "new", "north", "--size", "17 x 12 x 11 in", "--started", "1 Dec 2025", "--timezone", "Europe/London",
        "--journal", "other", "--now", NOW,
    )  # fmt: skip
    told = with_bin("import", tmp_path / "first.csv", "--journal", "other", "--json", "--now", NOW)
    assert told.json["stored"], told.out
    assert with_bin("export", "--journal", "other", "--out", tmp_path / "second.csv").code == 0
    assert (tmp_path / "first.csv").read_bytes() == (tmp_path / "second.csv").read_bytes()


def test_a_dry_run_lists_each_bad_row_and_stores_nothing(with_bin, tmp_path):
    logger = tmp_path / "logger.csv"
    logger.write_text("Date;Temp (C)\r\n2026-01-20;3,5\r\n2026-01-21;warm\r\n31 Feb;2,0\r\n", "utf-8")
    before = dump()
    words = (
        "import", logger, "-c", "when=Date", "-c", "amount=Temp (C)", "-f", "quantity=temperature", "-f",
        "place=middle", "--bin", "north", "--decimal-comma", "--now", NOW,
    )  # fmt: skip
    told = with_bin(*words, "--dry-run", "--json").json
    assert [row["line"] for row in told["refused"]] == [3, 4]
    assert told["accepted"] == 1
    assert dump() == before
    assert with_bin(*words).code == 2
    assert dump() == before
    assert with_bin(*words, "--skip-bad").code == 0
    assert dump() != before


def test_a_photo_is_kept_under_its_hash(with_bin, tmp_path):
    picture = tmp_path / "bin.png"
    picture.write_bytes(bytes.fromhex("89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489"))
    told = with_bin("photo", "north", picture, "--words", "top of the bedding", "--now", NOW)
    assert told.code == 0, told.err
    assert len(list((tmp_path / "journal" / "photos").glob("*.png"))) == 1


@pytest.mark.computes
def test_outlook_gives_every_place_with_its_range(logged, winter):
    told = logged("outlook", "north", "--weather", winter, "--json", "--now", NOW).json
    hours = len(told["time"])
    assert hours == 7 * 24 + 1
    for name in ("middle", "edge", "surface", "air", "refuge"):
        low, mid, high = (told[name][p] for p in ("p5", "p50", "p95"))
        assert len(low) == hours
        assert all(a <= b <= c for a, b, c in zip(low, mid, high, strict=True))
    assert all(0 <= share <= 1 for share in told["refuge"]["p50"])
    assert told["coldest"]["middle"]["p5"] <= told["coldest"]["middle"]["p95"]
    assert told["coldest"]["middle"]["p50"] >= min(told["air"]["p5"])
    assert told["readings_used"] == 5
    # A forecast is less sure the further it reaches.
    spread = [b - a for a, b in zip(told["air"]["p5"], told["air"]["p95"], strict=True)]
    assert spread[-1] > spread[1]


@pytest.mark.computes
def test_the_same_seed_gives_the_same_bytes_from_memory_or_anew(logged, winter, tmp_path):
    words = ("outlook", "north", "--weather", winter, "--json", "--now", NOW)
    first = logged(*words).out
    remembered = logged(*words).out
    (tmp_path / "journal" / "fits").unlink()  # the memory is gone
    anew = logged(*words).out
    assert first == remembered == anew
    assert logged(*words, "--seed", "5").out != first


@pytest.mark.computes
def test_past_years_carry_the_outlook_to_the_end_of_winter(logged, winter, tmp_path):
    from underlid.weather.files import demo_weather

    told = logged("outlook", "north", "--weather", winter, "--past", demo_weather(), "--json", "--now", NOW).json
    assert told["time"][-1].startswith("2026-04-30")
    assert told["forecast_until"].startswith("2026-02-10")
    assert any("typical year" in note for note in told["notes"])


def test_daily_weather_becomes_hours_when_the_place_is_given(with_bin, tmp_path):
    days = ["date,tmin_c,tmax_c", *(f"2025-12-{day:02d},{day % 4 - 2},{day % 4 + 5}" for day in range(1, 32))]
    (tmp_path / "days.csv").write_text("\n".join(days) + "\n")
    words = ("outlook", "north", "--weather", "days.csv", "--now", "2025-12-20 20:00", "--json")
    assert "latitude" in with_bin(*words).err
    told = with_bin(*words, "--place", "52.1,-1.3").json
    assert len(told["time"]) == 7 * 24 + 1
    assert -3 < min(told["air"]["p50"]) < max(told["air"]["p50"]) < 9


@pytest.mark.computes
def test_the_table_shows_days_then_weeks_and_begins_where_asked(logged, winter):
    from underlid.weather.files import demo_weather

    words = ("outlook", "north", "--weather", winter, "--past", demo_weather(), "--now", NOW)
    shown = logged(*words).out
    assert "Tue 3 Feb" in shown
    assert "10 Feb–16 Feb" in shown
    assert "until 30 Apr 2026" in shown
    assert "Fri 2 Jan" in logged(*words, "--since", "2 Jan").out


def test_the_update_is_one_page_that_needs_no_network(logged, winter, tmp_path):
    told = logged("update", "north", "--weather", winter, "--month", "2026-01", "--json", "--now", NOW).json
    page = (tmp_path / told["files"][0]).read_text("utf-8")
    assert "<svg" in page
    for outside in ('src="http', 'href="http', "url(http", "<script src", "@import"):
        assert outside not in page
    assert told["coldest"]["temperature"]["provenance"] == "estimated"


def test_a_correction_shows_both_words_in_the_update(logged, winter, tmp_path):
    told = logged("log", "north", "8 Dec 20:00: middle 15 C", "--yes", "--json", "--now", NOW).json
    mended = ("log", "north", "8 Dec 20:00: middle 5 C", "--yes", "--corrects", told["entries"][0]["id"], "--now", NOW)
    assert logged(*mended).code == 0
    page = logged("update", "north", "--weather", winter, "--month", "2025-12", "--out", "dec.html", "--now", NOW)
    assert page.code == 0, page.err
    text = (tmp_path / "dec.html").read_text("utf-8")
    assert "middle 5 C" in text
    assert "replaces “middle 15 C”" in text


def test_check_tells_what_is_odd(logged, winter):
    logged("log", "north", "20 Jan: middle 1 C, 50 F", "--yes", "--now", NOW)
    told = logged("check", "--weather", winter, "--json", "--now", "2026-03-01").json
    sentences = " ".join(finding["sentence"] for finding in told["north"])
    assert "33.8" in sentences
    assert "No bedding temperature for" in sentences


def test_json_never_holds_infinity(with_bin):
    told = with_bin("parse", "at least 25", "--json").out
    assert json.loads(told, parse_constant=lambda name: pytest.fail(name))["high"] is None


def test_control_characters_of_a_journal_do_not_reach_the_terminal(with_bin):
    with_bin("log", "north", "note: \x1b]0;owned\x07 and \x1b[2J", "--yes", "--now", NOW)
    shown = with_bin("entries", "north").out
    assert "owned" in shown
    assert not any(sign in shown for sign in "\x1b\x07")
