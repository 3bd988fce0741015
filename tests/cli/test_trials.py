"""A trial as a keeper does it: claims, plan, register, counts, verdict, and the alarms on the way."""

import hashlib
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.cli.conftest import dump
from underlid.journal.store import Journal
from underlid.records import BinKeeper, Keeper
from underlid.trials.plan import canonical, plan_from

BINS = ("ash", "beech", "cherry", "elder")
BEFORE, START, LATER = "2025-04-20 12:00", "2025-05-01", "2025-08-20 12:00"
HANDED = datetime(2025, 4, 20, 12, tzinfo=UTC)
FEW = ("--trials", "100")
PLAN = ("plan", "citrus-scraps", "--bins", ",".join(BINS), "--name", "citrus", "--starts", START, "--looks", "60",
        "--margin", "3", "--because", "a third as many would matter", "--now", BEFORE, *FEW)  # fmt: skip


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """Where a journal with the bins is kept for the next test, once one has made it."""
    return tmp_path_factory.mktemp("started") / "journal"


@pytest.fixture
def bins(underlid, started):
    if started.exists():
        shutil.copytree(started, "journal")
        return underlid
    for name in BINS:
        made = underlid(
            "new", name, "--size", "17 x 12 x 11 in", "--bedding", "leaves 5 in", "--founders", "30",
            "--started", "2025-04-19", "--timezone", "Europe/London", "--now", BEFORE,
        )  # fmt: skip
        assert made.code == 0, made.err
    shutil.copytree("journal", started)
    return underlid


@pytest.fixture(scope="module")
def plans():
    """The plan's file, once made: the same command writes the same bytes."""
    return {}


@pytest.fixture
def planned(bins, plans):
    if "citrus.json" not in plans:
        made = bins(*PLAN)
        assert made.code == 0, made.err
        plans["citrus.json"] = Path("citrus.json").read_bytes()
    Path("citrus.json").write_bytes(plans["citrus.json"])
    return bins


@pytest.fixture
def registered(planned):
    assert planned("register", "citrus.json", "--now", BEFORE).code == 0
    return planned


def one_sentence(told):
    assert told.code == 2
    assert told.out == ""
    assert told.err.startswith("underlid: ")
    assert "Traceback" not in told.err
    return " ".join(told.err.split())


# --- claims ------------------------------------------------------------------------------------------------


def test_claims_are_listed_without_a_journal(underlid):
    told = underlid("claim")
    assert told.code == 0
    for words in ("Food", "Housing", "citrus-scraps", "Citrus peel sours the bin and kills worms.", "not to be tested"):
        assert words in told.out
    rows = underlid("claim", "--json").json
    assert {"name": "cut-worm", "about": "handling", "sentence": "A worm cut in two becomes two worms.", "test": False}\
        in rows  # fmt: skip
    assert f"{len(rows)} claims." in told.out


def test_one_claim_says_what_is_published_how_to_test_it_and_when_to_stop(underlid):
    told = underlid("claim", "citrus peel sours the bin and kills worms")
    assert told.code == 0
    for head in ("People say:", "Under test:", "Published.", "Arms.", "Margin: 1.5 times in worms.", "Stop rules.",
                 "Else it may be.", "Heed."):  # fmt: skip
        assert head in told.out
    one = underlid("claim", "citrus-scraps", "--json").json
    assert one["test"] is True
    assert one["design"]["stop"][0]["what"] == "deaths share"
    assert "Not to be tested on animals" in underlid("claim", "cut-worm").out


def test_an_unknown_claim_names_the_nearest(bins):
    for words in (("claim", "citrus"), ("plan", "citrus", "--bins", "ash,beech")):
        assert "no claim named 'citrus'. Near it: citrus-scraps" in one_sentence(bins(*words))


OWN = """
[claim.tea-leaves]
about = "food"
sentence = "Tea leaves make worms lazy."
statement = "Tea leaves in place of other scraps makes no difference to worms beyond the margin."
published = [{ says = "None known.", source = "none", species = "Eisenia", mark = "none", strength = "none" }]
test = "no"
because = "nobody has asked"
"""


def test_claims_of_ones_own_are_kept_in_the_journal(bins, tmp_path):
    (tmp_path / "own.toml").write_text(OWN, "utf-8")
    told = bins("claim", "--add", "own.toml", "--now", BEFORE)
    assert told.code == 0, told.err
    assert "1 of them your own" in told.out
    assert "Tea leaves make worms lazy." in bins("claim", "tea-leaves").out
    assert bins("claim", "tea-leaves", "--journal", "elsewhere").code == 2


def test_a_damaged_claims_file_is_refused_and_nothing_kept(bins, tmp_path):
    (tmp_path / "own.toml").write_text(OWN.replace("about", "abuot"), "utf-8")
    before = dump()
    assert "own.toml" in one_sentence(bins("claim", "--add", "own.toml"))
    assert dump() == before
    assert bins("claim", "--add", "absent.toml").code == 2


# --- plan and register -------------------------------------------------------------------------------------


def test_a_plan_is_written_as_its_canonical_text_with_what_it_can_tell(bins):
    told = bins(*PLAN)
    assert told.code == 0, told.err
    text = Path("citrus.json").read_text("utf-8")
    plan = plan_from(text)
    assert canonical(plan) == text
    assert len(plan.bins("control")) == len(plan.bins("changed")) == 2
    assert plan.expected["trials"] == 100
    for words in ("control: ", "changed: ", "the margin of 0.33 to 3 times (a third as many would matter)",
                  "Predicted:", "When to stop, for the animals' sake.", "underlid register citrus.json"):  # fmt: skip
        assert words in told.out
    again = bins(*PLAN, "--json").json
    assert Path("citrus.json").read_text("utf-8") == text
    assert again["plan"]["sha256"] == hashlib.sha256(text.encode()).hexdigest()
    assert again["trials"] == 100
    assert again["expected"]


def test_the_hash_that_is_printed_is_that_of_the_files_canonical_text(planned):
    text = Path("citrus.json").read_text("utf-8")
    Path("loose.json").write_text(json.dumps(json.loads(text)), "utf-8")
    expected = hashlib.sha256(text.encode()).hexdigest()
    first = planned("register", "loose.json", "--now", BEFORE)
    assert f"as {expected}." in first.out
    after = dump()
    again = planned("register", "citrus.json", "--now", LATER, "--json").json
    assert again == {"name": "citrus", "sha256": expected, "registered_at": "2025-04-20T12:00:00+00:00"}
    assert dump() == after  # registered twice: harmless, and the first moment holds


def test_a_changed_plan_of_the_same_name_is_refused(registered):
    told = json.loads(Path("citrus.json").read_text("utf-8"))
    Path("citrus.json").write_text(json.dumps(told | {"margin": 5}), "utf-8")
    before = dump()
    assert "citrus" in one_sentence(registered("register", "citrus.json", "--now", BEFORE))
    assert dump() == before


def test_a_file_that_is_no_plan_is_refused(bins, tmp_path):
    (tmp_path / "a.json").write_text("{", "utf-8")
    (tmp_path / "b.json").write_bytes(b"\xff\xfe")
    assert "not JSON" in one_sentence(bins("register", "a.json"))
    assert "not text in UTF-8" in one_sentence(bins("register", "b.json"))
    assert "absent.json" in one_sentence(bins("register", "absent.json"))


def test_changes_need_a_reason_and_a_bin_of_the_trial(registered):
    before = dump()
    assert "is no bin of that trial; its bins are ash, beech" in one_sentence(
        registered("register", "citrus", "--drop", "oak", "--because", "fox")
    )
    assert "--because" in one_sentence(registered("register", "citrus", "--drop", "ash"))
    assert "plum" in one_sentence(registered("register", "plum", "--drop", "ash", "--because", "fox"))
    assert dump() == before


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (("--looks", "spring"), "must be whole days after the start, as “90,180,360”"),
        (("--looks", "0"), "rising from 1 or more"),
        (("--looks", "4000"), "ten years"),
        (("--at", "50-60 C"), "--at “50-60 C” must be a bedding temperature with both ends"),
        (("--at", "at least 5 C"), "with both ends, as “12-18 C”"),
        (("--at", "warmish"), "warmish"),
        (("--feed", "at least 300 g"), "must be a mass a week with both ends, as “300 g”"),
        (("--feed", "plenty"), "plenty"),
        (("--margin", "0.5"), "needs a margin above 1"),
        (("--margin", "nan"), "needs a margin above 1"),
        (("--outcome", "joy"), "does not hold “joy”"),
        (("--starts", "someday"), "someday"),
        (("--like", "oak"), "There is no bin “oak” in the journal; it holds ash, beech"),
        (("--bins", "ash,ash,beech"), "“ash” is named twice"),
        (("--bins", ","), "at least one bin with the change"),
        (("--weather", "absent.csv"), "absent.csv"),
    ],
)
def test_what_cannot_be_planned_is_said_in_one_sentence_and_nothing_is_written(bins, changes, says):
    before = dump()
    assert says in one_sentence(bins(*PLAN, *changes))
    assert not Path("citrus.json").exists()
    assert dump() == before


def test_a_margin_without_its_reason_and_a_claim_not_to_be_tested_are_refused(bins):
    no_reason = ("plan", "citrus-scraps", "--bins", "ash,beech", "--margin", "2", "--now", BEFORE, *FEW)
    assert "--because" in one_sentence(bins(*no_reason))
    assert "not to be tested on animals" in one_sentence(bins("plan", "cut-worm", "--bins", "ash,beech"))
    assert not list(Path().glob("*.json"))


def test_a_plan_needs_a_bin_to_know_the_size_of(underlid):
    assert underlid("plan", "citrus-scraps", "--bins", "a,b").code == 2


# --- counts, alarms, verdict -------------------------------------------------------------------------------


def counted(call, many):
    for name, n in many.items():
        told = call("log", name, f"30 Jun 2025: full sort: {n} adults", "--yes", "--now", LATER)
        assert told.code == 0, told.err


def test_from_the_plan_to_the_verdict(registered, tmp_path):
    plan = plan_from(Path("citrus.json").read_text("utf-8"))
    counted(registered, {name: n for name, n in zip(BINS, (100, 104, 98, 102), strict=True)})
    told = registered("verdict", "citrus", "--now", LATER, "--page", "trial.html")
    assert told.code == 0, told.err
    flat = " ".join(told.out.split())
    assert "Holds within the margin: with “" in flat
    assert "90 % interval, day 60" in flat
    assert "By simulated trials of this plan, before the start" in flat
    assert "What would settle it." in told.out
    assert "What else could explain it." in told.out
    result = registered("verdict", "citrus", "--now", LATER, "--json").json
    assert result["verdict"] == "holds within the margin"
    assert result["sha256"] == hashlib.sha256(canonical(plan).encode()).hexdigest()
    assert {row["bin"]: row["outcome"] for row in result["bins"]}["beech"] == "104, read"
    (look,) = result["looks"]
    low, high = look["interval"]
    assert 1 / 3 < low < 1 < high < 3
    assert (look["level"], look["complete"]) == (0.9, True)
    page = (tmp_path / "trial.html").read_text("utf-8")
    assert result["sha256"] in page
    assert result["caps"] == []
    assert result["page"] is None


# --- several keepers ---------------------------------------------------------------------------------------

PAIRS = {"Ann": ("ash", "beech"), "Bo": ("cherry", "elder"), "Cy": ("fir", "oak")}


def a_trial(call, name, pair, counts):
    """A trial of one bin in each arm, registered and counted; the plan is that of the fixture with other bins."""
    text = json.loads(Path("citrus.json").read_text("utf-8"))
    arms = dict(zip(pair, ("control", "changed"), strict=True))
    Path("pair.json").write_text(json.dumps(text | {"name": name, "arms": arms}), "utf-8")
    made = call("register", "pair.json", "--now", BEFORE)
    assert made.code == 0, made.err
    counted(call, dict(zip(pair, counts, strict=True)))


def owned(by):
    with Journal.open(Path("journal")) as book:
        for number, keeper in enumerate(dict.fromkeys(by.values())):
            book.keep_keeper(
                Keeper(id=f"k{number}", name=keeper, role="keeper" if number else "steward", noted_at=HANDED)
            )
        for bin_name, keeper in by.items():
            book.hand_bin(BinKeeper(id=f"b-{bin_name}", bin=bin_name, keeper=keeper, noted_at=HANDED))


@pytest.fixture
def club(planned):
    for name in PAIRS["Cy"]:
        made = planned(
            "new", name, "--size", "17 x 12 x 11 in", "--bedding", "leaves 5 in", "--founders", "30",
            "--started", "2025-04-19", "--timezone", "Europe/London", "--now", BEFORE,
        )  # fmt: skip
        assert made.code == 0, made.err
    for (keeper, pair), counts in zip(PAIRS.items(), ((100, 104), (60, 55), (210, 220)), strict=True):
        a_trial(planned, f"of {keeper}", pair, counts)
    return planned


def test_trials_of_one_journal_are_taken_together_by_keeper(club):
    owned({bin_name: keeper for keeper, pair in PAIRS.items() for bin_name in pair})
    told = club("verdict", "of Bo", "--across", "--now", LATER)
    assert told.code == 0, told.err
    flat = " ".join(told.out.split())
    assert flat.count("Cannot tell yet: ") == 1  # by itself
    assert "By all keepers: Holds within the margin: " in flat
    assert "estimated from 3 keepers, 90 % interval of the mean over keepers" in flat
    assert "The next keeper, with about as many bins, may find " in flat
    assert "3 keepers hardly tell how keepers differ" in flat
    result = club("verdict", "of Bo", "--across", "--now", LATER, "--json").json["together"]
    assert [one["name"] for one in result["keepers"]] == ["Ann", "Bo", "Cy"]
    assert [one["bins"] for one in result["keepers"]] == [[1, 1]] * 3
    (low, high), (least, most) = result["interval"], result["next_keeper"]
    assert 1 / 3 < low < 1 < high < 3
    assert least < low < high < most
    assert "together" not in club("verdict", "of Bo", "--now", LATER, "--json").json


def test_bins_of_nobody_are_a_keeper_of_their_own_and_a_second_trial_of_one_keeper_is_left_out(club):
    told = club("verdict", "of Bo", "--across", "--now", LATER, "--json").json["together"]
    assert [one["name"] for one in told["keepers"]] == ["of Ann", "of Bo", "of Cy"]
    assert sum("is not noted: it is taken for a keeper of its own" in said for said in told["remarks"]) == 3
    owned({bin_name: "Cy" if keeper == "Cy" else "Ann" for keeper, pair in PAIRS.items() for bin_name in pair})
    said = one_sentence(club("verdict", "of Bo", "--across", "--now", LATER))
    assert "three at least are needed, or two with 2 bins in each arm" in said
    assert "The trial “of Bo” is left out: Ann registered “of Ann” before it." in said


def test_another_keepers_journal_is_taken_in(club, tmp_path):
    for number in (1, 2):
        shutil.copytree("journal", tmp_path / f"other-{number}")
    result = club(
        "verdict", "of Bo", "--with", tmp_path / "other-1", "--with", tmp_path / "other-2", "--now", LATER, "--json"
    ).json
    names = [one["name"] for one in result["together"]["keepers"]]
    assert names == ["journal", str(tmp_path / "other-1"), str(tmp_path / "other-2")]
    assert "second bin" in " ".join(result["together"]["remarks"])
    alone = one_sentence(club("verdict", "of Bo", "--with", tmp_path / "other-1", "--now", LATER))
    assert "Two keepers, one of them with a single bin in an arm, cannot say" in alone


def test_what_changed_stands_beside_the_verdict(registered):
    counted(registered, {name: 100 + i for i, name in enumerate(BINS)})
    fox = ("--drop", "ash", "--because", "a fox knocked it over", "--now", "2025-06-01")
    late = ("--note", "--because", "fed a day late", "--now", "2025-06-09")
    for words in (fox, late):
        told = registered("register", "citrus", *words)
        assert told.code == 0, told.err
        assert "will stand beside the verdict" in told.out
    result = registered("verdict", "citrus", "--now", LATER, "--json").json
    assert [(one["what"], one["bin"], one["words"]) for one in result["changes"]] == [
        ("bin dropped", "ash", "a fox knocked it over"), ("other", None, "fed a day late"),
    ]  # fmt: skip
    assert {row["bin"]: row["outcome"] for row in result["bins"]}["ash"] == "nothing"
    assert result["verdict"] == "cannot tell yet"  # one bin is left in its arm
    said = registered("verdict", "citrus", "--now", LATER).out
    assert "Changed since it was registered." in said
    assert "a fox knocked it over" in said


def test_a_plan_registered_after_its_counts_is_exploratory(planned):
    counted(planned, {name: 100 + i for i, name in enumerate(BINS)})
    assert planned("register", "citrus.json", "--now", LATER).code == 0
    result = planned("verdict", "citrus", "--now", LATER, "--json").json
    assert result["exploratory"] is True
    assert result["verdict"] == "cannot tell yet"


def test_before_any_count_the_verdict_is_open_and_an_unknown_trial_is_refused(registered):
    told = registered("verdict", "citrus", "--now", LATER)
    assert told.code == 0
    assert told.out.startswith("Cannot tell yet: nothing that trial “citrus” is judged by is in the journal.")
    assert "Plans here: citrus" in one_sentence(registered("verdict", "citron"))


def test_log_warns_for_the_animals_sake(registered):
    told = registered("log", "ash", "12 dead worms", "--yes", "--now", LATER)
    assert told.code == 0
    assert "For the animals' sake: Bin ash: “12 dead worms”" in told.out
    assert "end the trial" in told.out
    alarms = registered("log", "ash", "middle pH 3.5 to 4", "--yes", "--json", "--now", LATER).json["alarms"]
    assert len(alarms) == 1
    assert "pH below 5" in alarms[0]
    assert "return the arm to the control condition" in alarms[0]
    for quiet in ("no dead worms", "does not smell of ammonia", "middle pH 7", "put dead leaves on top"):
        assert registered("log", "ash", quiet, "--yes", "--json", "--now", LATER).json["alarms"] == []
    result = registered("verdict", "citrus", "--now", LATER, "--json").json
    assert {one["bin"] for one in result["alarms"]} == {"ash"}
    assert {one["rule"] for one in result["alarms"]} >= {"many-deaths"}
    assert "For the animals' sake" in registered("verdict", "citrus", "--now", LATER).out


def test_outside_a_trial_the_alarm_says_to_look_closer(bins):
    told = bins("log", "ash", "12 dead worms", "--yes", "--now", LATER)
    assert "look closer" in told.out
    assert "end the trial" not in told.out
