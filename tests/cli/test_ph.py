"""What pH and conductivity readings say of a bin, as a keeper asks it."""

import pytest

from tests.cli.conftest import NOW, dump

pytestmark = pytest.mark.usefixtures("quick")

LINES = (
    "5 Dec: middle pH 8",
    "28 Jan: middle pH 6.5 with a strip, edge pH 7.2 with a meter",
    "1 Feb: strip between 6 and 7 in the middle; EC 1.2 mS/cm with a meter",
)


@pytest.fixture
def ask(with_bin):
    for line in LINES:
        assert with_bin("log", "north", line, "--yes", "--now", NOW).code == 0
    return lambda *words: with_bin("ph", "north", "--now", NOW, *words)


def test_the_table_and_the_sentences(ask):
    told = ask()
    assert told.code == 0, told.err
    said = " ".join(told.out.split())
    assert said.startswith("Bin north: pH ")
    for part in (
        "nine chances in ten", "estimated from 3 readings", "5 to 95 %", "lowest part", "mean acidity",
        "Eisenia fetida tolerates", "our judgement", "is taken as 6 to 7", "depends on the extract", "not read",
    ):  # fmt: skip
        assert part in said
    assert told.out.count("  pH, middle: ") == 2
    assert "5 Dec" not in told.out


def test_json_tells_what_was_read_and_what_is_estimated(ask):
    told = ask("--json").json
    acid, salt = told["pH"], told["EC"]
    assert acid["provenance"] == "estimated"
    assert [one["provenance"] for one in acid["readings"]] == ["read"] * 3
    assert {one["instrument"] for one in acid["readings"]} == {"strip", "meter"}
    assert [one["place"] for one in acid["places"]] == ["edge", "middle"]
    for levels in (*acid["places"], acid["whole"], acid["of_mean_acidity"], acid["lowest"], acid["highest"]):
        assert 4 < levels["p5"] < levels["p50"] < levels["p95"] < 9
    assert acid["of_mean_acidity"]["p50"] <= acid["whole"]["p50"]
    assert 0 <= acid["chance_outside"]["either"] < 0.2
    assert salt["of_mean_acidity"] is None
    assert salt["chance_outside"] is None
    assert salt["whole"]["p5"] < 1.2 < salt["whole"]["p95"]
    assert [one["share"] for one in salt["places"]][-1] is None
    assert sum(one["share"] or 0 for one in salt["places"]) == pytest.approx(1)


def test_the_same_question_has_the_same_answer_and_the_journal_stays(ask):
    before = dump()
    assert ask("--json").out == ask("--json").out
    assert dump() == before


def test_a_span_takes_other_readings(ask):
    assert len(ask("--since", "1 Dec", "--json").json["pH"]["readings"]) == 4
    assert "days apart" in " ".join(ask("--since", "1 Dec").out.split())
    early = ask("--until", "31 Dec")
    assert early.code == 0
    assert "No EC is noted for that time" in early.out
    assert ask("--until", "31 Dec", "--json").json["EC"] is None


def test_a_species_nobody_knows_leaves_the_limits_out(underlid):
    made = underlid(
        "new", "south", "--size", "17 x 12 x 11 in", "--bedding", "leaves 5 in", "--moisture", "about 70 %",
        "--founders", "20", "--started", "1 Dec 2025", "--timezone", "Europe/London", "--species", "Lumbricus mysticus",
        "--now", NOW,
    )  # fmt: skip
    assert made.code == 0, made.err
    assert underlid("log", "south", "1 Feb: pH 6.5", "--yes", "--now", NOW).code == 0
    told = underlid("ph", "south", "--now", NOW, "--json").json
    assert told["pH"]["chance_outside"] is None
    assert "mysticus" in told["notes"][0]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "nothing is known"),
        (("--since", "3 Mrch"), "^"),
        (("--since", "1 Feb", "--until", "5 Jan"), "--since"),
    ],
)
def test_what_cannot_be_told_is_said_in_a_sentence(with_bin, words, part):
    before = dump()
    told = with_bin("ph", "north", "--now", NOW, *words)
    assert told.code == 2, told.out
    assert "Traceback" not in told.err
    assert part in told.err
    assert dump() == before


def test_a_bin_that_is_not_there(with_bin):
    told = with_bin("ph", "nroth", "--now", NOW)
    assert told.code == 2
    assert "north" in told.err


def test_a_withdrawn_reading_does_not_count(ask, with_bin):
    entry = ask("--json").json["pH"]["readings"][-1]
    assert with_bin("log", "north", "1 Feb: pH not noted", "--corrects", entry["id"], "--yes", "--now", NOW).code == 0
    assert entry["id"] not in [one["id"] for one in ask("--json").json["pH"]["readings"]]


def test_what_all_readings_since_the_start_say_of_the_bedding(ask):
    told = ask()
    said = " ".join(told.out.split())
    assert "What the pH readings since the start say of the bedding (4 readings, 0 feedings" in said
    assert "Hardly learned: " in said
    bedding = ask("--json").json["bedding"]
    assert bedding["provenance"] == "estimated"
    assert len(bedding["readings"]) == 4
    assert not bedding["buffer"]["learned"]
    for name in ("start_ph", "buffer", "half_life", "now_ph"):
        for when in ("before", "after"):
            points = bedding[name][when]
            assert points["p5"] <= points["p50"] <= points["p95"]
    assert bedding["settled"] == (bedding["effective_sets"] >= 100)
