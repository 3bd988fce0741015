"""At the bin: what is sent is stored once, what cannot be is told in a sentence, and the pages work without script."""

import itertools
import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from html.parser import HTMLParser
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tests.web.conftest import add_bins
from underlid.entry import describe, parse_line
from underlid.entry.withdrawal import withdrawn
from underlid.journal.errors import (
    AlreadyCorrected,
    DamagedJournal,
    DiskFailed,
    JournalBusy,
    JournalMoved,
    ServerAway,
    StoringUnsure,
)
from underlid.journal.store import Journal
from underlid.records import Feeding, Note, Reading, SampleCount, Sighting
from underlid.web import sent
from underlid.web.app import create_app
from underlid.web.meant import csrf_token
from underlid.web.parts import LEAF
from underlid.web.settings import Settings

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)
KEY = "0b2f7a52-7d8e-4c39-9d0f-0a6d6f1f6f01"
OTHER = "0b2f7a52-7d8e-4c39-9d0f-0a6d6f1f6f02"
API = "/api/bins/north"
FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def held(journal, **how):
    with Journal.open(journal) as book:
        return book.entries("north", **how)


def post(client, words, key=KEY, **more):
    return client.post(f"{API}/entries", json={"key": key, "words": words, **more})


# --- understanding ---------------------------------------------------------------------------------------


def test_words_are_understood_and_nothing_is_stored(client, journal):
    before = held(journal)
    line = "middle 6-7 C, edge 4 C; fed 150 g pear cores"
    told = client.post(f"{API}/parse", json={"words": line}).json()
    assert [one["what"] for one in told["entries"]] == [
        "temperature, middle: 6 to 7 °C (43 to 45 °F)",
        "temperature, edge: 4 °C (39 °F)",
        "fed pear cores: 150 g",
    ]
    assert [line[one["start"] : one["end"]] for one in told["entries"]] == [one["words"] for one in told["entries"]]
    assert held(journal) == before


def test_places_in_the_line_count_as_scripts_count(client):
    line = "note: 🪱🪱 moving; middle 6 C"
    told = client.post(f"{API}/parse", json={"words": line}).json()["entries"][-1]
    units = line.encode("utf-16-le")
    assert units[2 * told["start"] : 2 * told["end"]].decode("utf-16-le") == "middle 6 C"


def test_what_is_not_understood_says_where_and_how_to_mend_it(client):
    response = client.post(f"{API}/parse", json={"words": "middle 600 C"})
    told = response.json()
    assert response.status_code == 422
    assert "No bin is that cold or hot" in told["error"]
    assert told["mend"] in told["error"]
    assert told["position"] == 7
    assert "\n" not in told["error"]


def test_food_of_which_nothing_is_known_is_told(client):
    notes = client.post(f"{API}/parse", json={"words": "fed 100 g quince"}).json()["notes"]
    assert any("'quince'" in note and "cannot reckon with it" in note for note in notes)
    assert any("'quince'" in note for note in post(client, "fed 100 g quince").json()["notes"])


COMPOSED = {
    "middle temp 6½ C": "temperature, middle: 6.5 °C (43.7 °F)",
    "edge temp -½ C": "temperature, edge: -0.5 °C (31.1 °F)",
    "middle temp ½ C": "temperature, middle: 0.5 °C (32.9 °F)",
    "surface temp about -3 to -1½ C": "temperature, surface: about -2 °C (28 °F)",
    "middle temp 6 to 7 C": "temperature, middle: 6 to 7 °C (43 to 45 °F)",
    "edge temp 43 F": "temperature, edge: 6.1 °C (43 °F)",
    "middle pH 6 to 7 (strip)": "pH, middle: 6 to 7",
    "pH 6½": "pH: 6.5",
    "middle like a wrung-out sponge": "moisture, middle: about 70 %",
    "a few drops when squeezed": "moisture: about 78 %",
    "edge soaking wet": "moisture, edge: at least 80 %",
    "fed about 150 g pear cores in the middle": "fed pear cores, middle: about 150 g",
    "fed pear cores at the edge": "fed pear cores, edge: not noted",
    "saw about 12 worms at the surface": "seen, surface: about 10 to 14 worms",
    "saw 1 hatchling at the edge": "seen, edge: 1 hatchling",
    "saw no cocoons": "seen: 0 cocoons",
    "saw at least 30 adults in the middle": "seen, middle: at least 30 adults",
    "sample 0.5 L middle: 2 cocoons, 0 hatchlings, 1 sub-adult":
        "sample of 0.5 L, middle: 2 cocoons, 0 hatchlings, 1 sub-adult",
    "full sort: 12 cocoons, 41 adults": "sample of 19.8 L: 12 cocoons, 41 adults",
    "note: wet, smells of earth": "note: wet",
}  # fmt: skip


def test_every_tap_composes_words_that_mean_what_was_tapped(client):
    told = {
        words: client.post(f"{API}/parse", json={"words": words}).json()["entries"][0]["what"] for words in COMPOSED
    }
    assert told == COMPOSED


# --- storing once ----------------------------------------------------------------------------------------


def test_an_entry_is_stored_with_the_clock_of_the_phone(client, journal):
    told = post(client, "middle 6½ C", at="2026-02-03T20:41:07.512+01:00").json()
    (entry,) = [one for one in held(journal) if one.id == told["entries"][0]["id"]]
    assert entry.when.start == datetime(2026, 2, 3, 19, 41, 7, tzinfo=UTC) == entry.when.end
    assert (entry.amount.low, entry.amount.high, entry.place) == (6.25, 6.75, "middle")
    assert told["repeated"] is False


def test_the_same_key_twice_is_stored_once_and_answered_the_same(client, journal):
    first = post(client, "middle 6 C, edge 4 C", at="2026-02-03T20:41:00+00:00").json()
    many = len(held(journal))
    again = post(client, "middle 6 C, edge 4 C", at="2026-02-03T20:41:00+00:00").json()
    assert again == first | {"repeated": True}
    assert len(held(journal)) == many


def test_a_server_that_died_before_it_answered_is_asked_again_later(journal):
    # Stored, no answer, started again two hours later: without a time of its own the line keeps its first time.
    for moment in (NOW, NOW + timedelta(hours=2)):
        app = create_app(Settings(journal, now=partial(moment.astimezone, UTC)))
        with TestClient(app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 50000)) as client:
            client.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
            told = post(client, "yesterday: middle 6 C").json()
    assert told["repeated"] is True
    assert told["entries"][0]["when"]["start"].startswith("2026-02-02")
    assert len([one for one in held(journal) if one.words == "middle 6 C"]) == 1


def test_two_at_the_same_moment_store_one(journal, monkeypatch):
    with Journal.open(journal) as book:
        record = book.bin("north")
        key = UUID(KEY)
        looked = sent.stored_under

        def before_the_other(*asked):
            monkeypatch.setattr(sent, "stored_under", looked)
            sent.store(book, record, key, "middle 6 C", None, NOW - timedelta(minutes=1))
            return ()

        monkeypatch.setattr(sent, "stored_under", before_the_other)
        late = sent.store(book, record, key, "middle 6 C", None, NOW)
    assert late.repeated
    assert late.entries[0].when.start == NOW - timedelta(minutes=1)


@pytest.mark.parametrize("other", ["middle 7 C", "middle 6 C, edge 4 C", "23 Jan: middle 6 C", "middle 600 C", "wet"])
def test_a_key_with_other_words_is_a_conflict_that_shows_both(client, journal, other):
    post(client, "middle 6 C", at="2026-02-03T20:41:00+00:00")
    before = held(journal)
    response = post(client, other, at="2026-02-03T20:41:00+00:00")
    told = response.json()
    assert response.status_code == 409
    assert told["stored"] == ["middle 6 C"]
    assert told["offered"] == other
    assert "middle 6 C" in told["error"]
    assert other in told["error"]
    assert held(journal) == before


def test_all_of_a_line_is_stored_or_nothing(client, journal):
    before = held(journal)
    assert post(client, "30 Nov: middle 6 C; fed 600 m peel").status_code == 422
    assert post(client, "1 Nov 2025: middle 6 C; edge 4 C").status_code == 422
    assert held(journal, superseded=True) == before


@pytest.mark.parametrize("at", ["2026-02-03T23:00:00+00:00", "1066-10-14T09:00:00+00:00", "0001-01-01T00:00:00+14:00"])
def test_a_clock_that_cannot_be_right_is_told(client, at):
    response = post(client, "middle 6 C", at=at)
    assert response.status_code == 422
    assert "Mend the time" in response.json()["error"]


def test_a_busy_journal_asks_to_send_again(client, monkeypatch):
    def busy(self, entries):
        raise JournalBusy(path="journal.sqlite")

    monkeypatch.setattr(Journal, "add", busy)
    response = post(client, "middle 6 C")
    assert response.status_code == 503
    assert response.headers["Retry-After"] == "5"


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (ServerAway(path="club", detail="no route"), 503), (JournalMoved(folder="journal"), 503),
        (DiskFailed(folder="journal", detail="input/output error"), 503), (StoringUnsure(path="club"), 503),
        (DamagedJournal(path="journal", detail="no such page"), 500), (AlreadyCorrected(id="a", by="b"), 409),
    ],
)  # fmt: skip
def test_a_phone_sends_again_what_no_word_of_its_keeper_could_mend(client, monkeypatch, error, status):
    def trouble(*_args, **_more):
        raise error

    monkeypatch.setattr(Journal, "bin", trouble)
    response = post(client, "middle 6 C")
    assert response.status_code == status
    assert response.json()["error"] == str(error)
    assert ("Retry-After" in response.headers) == (status == 503)


# --- corrections -----------------------------------------------------------------------------------------


def test_a_correction_keeps_the_date_and_the_earlier_words(client, journal):
    (earlier,) = [one for one in held(journal) if one.words == "middle about 5 C"]
    told = post(client, "middle 4 C", corrects=earlier.id).json()
    assert told["entries"][0]["corrects"] == earlier.id
    assert told["entries"][0]["when"]["start"] == "2025-12-16T00:00:00Z"
    assert earlier in held(journal, superseded=True)
    assert earlier not in held(journal)
    assert post(client, "middle 4 C", corrects=earlier.id).json()["repeated"] is True


def test_a_correction_mends_one_entry_of_its_own_kind(client, journal):
    id = held(journal)[0].id
    assert post(client, "middle 4 C, edge 3 C", corrects=id).status_code == 422
    assert post(client, "saw 3 worms", corrects=id).status_code == 422
    assert post(client, "middle 4 C", corrects="nobody").status_code == 404


def test_undo_takes_back_what_was_sent_under_a_key(client, journal):
    line = "middle 6 C; fed 150 g peel; saw 3 adults; sample 0.5 L: 2 adults; note: two dead worms"
    first = post(client, line).json()
    assert first["alarms"]
    back = client.post(f"{API}/withdrawals", json={"key": OTHER, "of": KEY})
    assert back.json()["repeated"] is False
    assert client.post(f"{API}/withdrawals", json={"key": OTHER, "of": KEY}).json() == back.json() | {"repeated": True}
    now = {one.corrects: one for one in held(journal)}
    reading, feeding, sighting, sample, note = (now[one["id"]] for one in first["entries"])
    assert reading.amount.kind == sighting.amount.kind == sample.counts[0][1].kind == "not noted"
    assert feeding.amount.high == 0
    assert note.words == "note withdrawn"
    assert not client.get(API).json()["alarms"]
    assert {one["id"] for one in first["entries"]} <= {one.id for one in held(journal, superseded=True)}


def test_undoing_a_correction_brings_back_what_stood_before(client, journal):
    (earlier,) = [one for one in held(journal) if one.words == "middle about 5 C"]
    post(client, "middle 14 C", corrects=earlier.id)
    client.post(f"{API}/withdrawals", json={"key": OTHER, "of": KEY})
    now = [one for one in held(journal) if one.when == earlier.when]
    assert [replace(one, id="", corrects=None, noted_at=None) for one in now] == [
        replace(earlier, id="", corrects=None, noted_at=None)
    ]


def test_there_is_nothing_to_take_back_under_an_unknown_key(client):
    assert client.post(f"{API}/withdrawals", json={"key": OTHER, "of": str(uuid4())}).status_code == 404


def test_a_withdrawal_is_of_the_same_kind_and_can_be_stored(journal):
    line = "middle 3 C; pH 6; fed 2 peels; fed 1 L water; saw 2 worms; sample 1 L: 2 adults; wet"
    number = itertools.count(100)
    with Journal.open(journal) as book:
        entries = parse_line(line, bin=book.bin("north"), now=NOW, new_id=lambda: str(next(number))).records
        book.add(entries)
        book.add([withdrawn(one, None, f"{one.id} back", NOW) for one in entries])
        found = {one.corrects: one for one in book.entries("north")}
    assert len(entries) == 7
    for entry in entries:
        back = found[entry.id]
        assert type(back) is type(entry)
        assert back.when == entry.when
        assert describe(back)
        if isinstance(back, Reading | Sighting) and isinstance(entry, Reading | Sighting):
            assert back.amount.kind == "not noted"
            assert back.amount.unit == entry.amount.unit
        elif isinstance(back, Feeding) and isinstance(entry, Feeding):
            assert back.amount.low == back.amount.high == 0
            assert back.material == entry.material
        elif isinstance(back, SampleCount):
            assert {count.kind for _, count in back.counts} == {"not noted"}
        else:
            assert isinstance(back, Note)
            assert "wet" not in back.words


# --- alarms ----------------------------------------------------------------------------------------------


def test_what_a_stop_rule_says_comes_back_as_an_alarm(client):
    told = post(client, "middle 36 C").json()
    assert any("stop rule" in sentence and "middle 36 C" in sentence for sentence in told["alarms"])
    assert post(client, "middle 12 C", key=OTHER).json()["alarms"] == []


def test_an_alarm_may_need_earlier_entries_too(client):
    post(client, "2 Feb: note: two dead worms")
    told = post(client, "note: one dead worm", key=OTHER, at=(NOW + timedelta(minutes=2)).isoformat()).json()
    assert any("with 1 earlier" in sentence for sentence in told["alarms"])


def test_an_alarm_stands_on_the_list_and_at_the_bin(client):
    post(client, "middle 36 C")
    assert all("For the animals’ sake" in client.get(path).text for path in ("/", "/bins/north/enter"))


def listed(client, path="/"):
    return re.findall(r'<h2 id="bin-\d+">(.*?)</h2>', client.get(path).text)


def test_of_many_bins_those_with_an_alarm_come_first_and_each_is_on_one_page(client, journal):
    names = [f"bin {number:02d}" for number in range(LEAF + 10)]
    add_bins(journal, names)
    before = [*names, "north"]  # started together, so by name
    assert listed(client) == before[:LEAF]
    assert listed(client, "/?leaf=2") == listed(client, "/?leaf=99") == before[LEAF:]
    post(client, "middle 36 C")
    assert [*listed(client), *listed(client, "/?leaf=2")] == ["north", *names]
    assert "Page 2 of 2" in client.get("/?leaf=2").text


def test_a_bin_is_found_by_its_name(client, journal):
    assert 'role="search"' not in client.get("/").text
    add_bins(journal, [f"{wood} & {number}" for wood in ("Ash", "elm") for number in range(LEAF)])
    assert listed(client, "/?find=aSH+") == [f"Ash &amp; {number}" for number in sorted(range(LEAF), key=str)]
    further = client.get("/?find=%26").text
    assert 'href="/?leaf=2&amp;find=%26"' in further
    nobody = client.get("/?find=%3Cscript%3E").text
    assert "No bin has a name that holds “&lt;script&gt;”" in nobody
    assert client.get("/?find=" + 201 * "x").status_code == 422


# --- pages -----------------------------------------------------------------------------------------------


class Page(HTMLParser):
    """What a page offers: its fields with their labels, its ids, and anything that the policy forbids."""

    def __init__(self, text):
        super().__init__()
        self.ids, self.fields, self.labelled, self.forbidden, self.hidden, self._in_label = [], [], set(), [], {}, 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if "id" in found:
            self.ids.append(found["id"])
        if tag == "label":
            self._in_label += 1
            self.labelled.add(found.get("for"))
        if tag in ("input", "select", "textarea"):
            if found.get("type") == "hidden":
                self.hidden[found["name"]] = found["value"]
            elif not self._in_label:
                self.fields.append(found.get("id"))
        if "style" in found or any(name.startswith("on") for name in found):
            self.forbidden.append((tag, found))
        if tag in ("script", "link", "img") and re.match("https?:|//", found.get("src") or found.get("href") or ""):
            self.forbidden.append((tag, found))

    def handle_endtag(self, tag):
        self._in_label -= tag == "label"


@pytest.mark.parametrize("path", ["/", "/new", "/bins/north/enter"])
def test_every_field_of_a_page_has_its_label_and_ids_are_its_own(client, path):
    response = client.get(path)
    shown = Page(response.text)
    assert response.status_code == 200
    assert set(shown.fields) <= shown.labelled
    assert len(shown.ids) == len(set(shown.ids))
    assert shown.forbidden == []


def test_the_form_without_script_checks_then_stores_then_takes_back(client, journal):
    before = len(held(journal))
    form = Page(client.get("/bins/north/enter").text).hidden
    checked = client.post("/bins/north/enter", data=form | {"words": "middle 36 C", "do": "check"})
    assert "Understood, not stored yet" in checked.text
    assert "36 °C (97 °F)" in checked.text
    assert len(held(journal)) == before
    assert Page(checked.text).hidden["key"] == form["key"]
    for _ in range(2):  # the button pressed twice
        stored = client.post("/bins/north/enter", data=form | {"words": "middle 36 C", "do": "store"})
    assert stored.url.path == "/bins/north/enter"
    assert "For the animals’ sake" in stored.text
    assert len(held(journal)) == before + 1
    (undo,) = re.findall(r'<form method="post" action="/bins/north/undo">.*?</form>', stored.text, re.S)
    client.post("/bins/north/undo", data=Page(undo).hidden)
    assert held(journal)[-1].amount.kind == "not noted"


def test_the_form_keeps_the_words_that_it_does_not_understand(client):
    form = Page(client.get("/bins/north/enter").text).hidden
    response = client.post("/bins/north/enter", data=form | {"words": "middle 600 C, <b>"})
    assert response.status_code == 422
    assert 'role="alert"' in response.text
    assert "middle 600 C, &lt;b&gt;</textarea>" in response.text


def test_an_entry_is_mended_from_the_page(client, journal):
    shown = client.get("/bins/north/enter").text
    id = re.findall(r"enter\?corrects=([\w-]+)", shown)[0]
    form = Page(client.get(f"/bins/north/enter?corrects={id}").text).hidden
    assert form["corrects"] == id
    was = {one.id: one for one in held(journal)}[id]
    words = "fed 90 g pear cores" if isinstance(was, Feeding) else "middle 3 C"
    client.post("/bins/north/enter", data=form | {"words": words})
    assert id not in {one.id for one in held(journal)}


def test_a_form_from_elsewhere_is_refused(client, journal):
    before = held(journal)
    del client.headers["X-CSRF-Token"]
    response = client.post("/bins/north/enter", data={"key": KEY, "words": "middle 6 C"})
    assert response.status_code == 403
    assert held(journal) == before


def test_the_worker_knows_the_files_of_the_shell(client):
    script = client.get("/sw.js")
    kept = re.findall(r'"(/[^"]+)"', script.text.splitlines()[0])
    assert script.headers["Content-Type"].startswith("text/javascript")
    assert len(kept) == 6
    assert all(client.get(path).status_code == 200 for path in kept)
    icons = client.get("/manifest.webmanifest").json()["icons"]
    assert all(client.get(icon["src"]).status_code == 200 for icon in icons)


# --- starting a bin --------------------------------------------------------------------------------------


@pytest.fixture
def nowhere(tmp_path):
    """A browser where there is no journal yet."""
    app = create_app(Settings(tmp_path / "not" / "there", now=lambda: NOW))
    with TestClient(app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 50000)) as made:
        made.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
        yield made


def test_from_nothing_to_the_first_reading(nowhere, tmp_path):
    first = nowhere.get("/")
    assert first.url.path == "/new"
    at_bin = nowhere.post("/new", data=Page(first.text).hidden | {"name": "north"})
    assert at_bin.url.path == "/bins/north/enter"
    told = post(nowhere, "middle 6 C")
    assert told.status_code == 200
    with Journal.open(tmp_path / "not" / "there") as book:
        (record,) = book.bins()
        assert len(book.entries("north")) == 1
    assert record.length.kind == record.founders.kind == "not noted"
    assert record.layers == ()
    assert nowhere.get("/").url.path == "/"


def test_the_interface_has_an_empty_list_before_there_is_a_journal(nowhere):
    assert nowhere.get("/api/bins").json() == []


def test_the_same_form_sent_twice_starts_one_bin(nowhere):
    form = {"key": KEY, "name": "bin 2/3"}
    assert nowhere.post("/new", data=form).status_code == 422
    form["name"] = "ö 2"
    for _ in range(2):
        assert nowhere.post("/new", data=form).status_code == 200
    assert len(nowhere.get("/api/bins").json()) == 1
    clash = nowhere.post("/new", data=form | {"key": OTHER})
    assert clash.status_code == 409
    assert "another name" in clash.text


def test_a_bin_in_words(nowhere):
    said = {
        "name": "north", "size": "17 x 12 x 11 in", "bedding": "leaves 5 in, old horse manure 4 in",
        "moisture": "about 70 %", "founders": "a couple of dozen", "started": "18 Oct 2025", "siting": "indoors",
        "base": "feet", "timezone": "Europe/London",
    }  # fmt: skip
    response = nowhere.post("/api/bins", json=said)
    told = response.json()["bin"]
    assert response.status_code == 201
    assert [layer["material"] for layer in told["layers"]] == ["leaves", "old horse manure"]
    assert told["founders"] == "about 20 to 30"
    assert told["started"]["start"].startswith("2025-10-18T00:00:00+01:00")
    assert nowhere.get("/api/bins/north").json()["entries"] == 0


NO_BINS = (
    ({"name": ""}, "Name"), ({"name": ".."}, "no name for a bin"), ({"name": "a\tb\u202e"}, "no name for a bin"),
    ({"size": "huge"}, "17 x 12 x 11 in"), ({"bedding": "gold 5 cm"}, "gold"), ({"moisture": "70 %"}, "bedding too"),
    ({"founders": "5 kg"}, "mass"), ({"started": "1 Jan 2031"}, "future"), ({"siting": "the moon"}, "open shelter"),
    ({"timezone": "Mars/Olympus"}, "Mars/Olympus"), ({"size": "1 x 1 x 1 m", "bedding": "leaves 200 m"}, "depth"),
)  # fmt: skip


def test_what_no_bin_can_be_is_refused_and_nothing_is_made(nowhere, tmp_path):
    for wrong, told in NO_BINS:
        form = nowhere.post("/new", data={"key": KEY, "name": "north"} | wrong)
        (sentence,) = re.findall(r'role="alert">(.*?)</p>', form.text, re.S)
        assert form.status_code == 422
        assert told in sentence, sentence
        assert "--" not in sentence
        assert nowhere.post("/api/bins", json={"name": "north"} | wrong).status_code == 422
    assert not (tmp_path / "not" / "there" / "journal.sqlite").exists()


# --- junk ------------------------------------------------------------------------------------------------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PIECES = (
    "middle edge 6 C ½ - to about : ; , fed 150 g pear saw worms sample 1 L none pH 23 Jan yesterday 🪱 \0 not noted "
    "( strip ) % between and full sort frozen"
)
LINES = st.text(max_size=60) | st.lists(st.sampled_from(PIECES.split()), max_size=12).map(" ".join)


@FEW
@given(
    said=st.fixed_dictionaries(
        {"words": LINES | JSON}, optional={"at": JSON, "corrects": JSON, "key": JSON | st.just(KEY)}
    )
)
def test_junk_is_refused_with_a_sentence_and_never_breaks_the_server(client, said):
    for path in (f"{API}/entries", f"{API}/parse", f"{API}/withdrawals", "/api/bins"):
        response = client.post(path, content=json.dumps(said), headers={"Content-Type": "application/json"})
        assert response.status_code < 500
        assert response.status_code < 400 or response.json()["error"]


@FEW
@given(words=LINES)
def test_any_line_is_understood_or_refused(client, words):
    parsed = client.post(f"{API}/parse", json={"words": words})
    assert parsed.status_code in (200, 422)
    key = str(uuid4())
    stored = client.post(f"{API}/entries", json={"key": key, "words": words})
    assert stored.status_code in (200, 422)
    if stored.status_code == 200:
        again = client.post(f"{API}/entries", json={"key": key, "words": words})
        assert again.json() == stored.json() | {"repeated": True}


@FEW
@given(
    form=st.fixed_dictionaries(
        {"words": LINES, "do": st.sampled_from(["check", "store", "?"])}, optional={"corrects": st.text(max_size=120)}
    ),
    bin=st.sampled_from(["north", "nowhere", "%00", "north%2F..", "🪱"]),
)
def test_junk_in_the_form_is_told_on_a_page(client, form, bin):
    response = client.post(f"/bins/{bin}/enter", data=form | {"key": str(uuid4())})
    assert response.status_code < 500


def test_bounds_are_kept(client):
    assert post(client, "x" * 5001).status_code == 422
    assert client.get(f"{API}/entries?limit=0").status_code == 422
    assert client.get("/api/bins/" + "x" * 300).status_code == 422
    assert client.get("/api/bins/nobody").status_code == 404
    assert client.post(f"{API}/parse", json={"words": "middle 6 C", "more": 1}).status_code == 422
