"""The page of all bins: worst first, honest about age and doubt; and looks that are taken once and end cleanly."""

import itertools
import multiprocessing
import re
import threading
from dataclasses import replace
from datetime import timedelta
from html import unescape

import numpy as np
import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HERE, NOW, add_bins
from tests.web.test_keepers import club, club_begun, device  # noqa: F401
from underlid.entry import parse_line
from underlid.fleet import Ahead, Alert, NotTold, Told
from underlid.journal.store import Journal
from underlid.web import looking
from underlid.web.app import create_app
from underlid.web.kept import weather_files
from underlid.web.looking import LOT, MOST_IN_VAIN, Look, Looking, as_given, looked, looks
from underlid.web.meant import csrf_token
from underlid.web.parts import LEAF
from underlid.web.work import MOST_WAITING, Worker

PATIENCE_S = 60
AHEAD = Ahead(NOW + timedelta(days=7), (-2.0, 0.5, 3.0), (4.0, 5.0, 6.0), (0.1, 0.4, 0.8), (0.6, 0.7, 0.8))
FREEZING = Alert("freezing", 0.4, "predicted", "Chance of 40% (predicted) that the middle falls below 0 °C (32 °F).")
STOP = Alert("stop rule", None, "read", "Bin ash: it is too hot: look closer.")
UNSETTLED = Alert("unsettled", None, "estimated", "The fit has not settled. Fit it by itself: underlid outlook elm.")
SILENT = Alert("silent", None, "read", "No reading for 40 days: look in and read the middle.")


def told(bin, *alerts, ahead=AHEAD):
    settled = UNSETTLED not in alerts
    return Told(bin, alerts, ahead, 12, 30.0 if settled else 5.0, settled, False, ("Calm air is assumed.",))


def note(folder, bin, line, number):
    with Journal.open(folder) as book:
        ids = itertools.count()
        book.add(parse_line(line, bin=book.bin(bin), now=NOW, new_id=lambda: f"{bin}-{number}-{next(ids)}").records)


@pytest.fixture
def winter(tmp_path):
    """A weather file from the bins' start to ten days ahead, ever colder."""
    hours = np.arange(75 * 24)
    begin = np.datetime64("2025-12-01T00", "s")
    rows = [f"{begin + np.timedelta64(int(h) * 3600, 's')}Z,{8 - 14 * h / hours[-1]:.1f}" for h in hours]
    path = tmp_path / "winter.csv"
    path.write_text("\n".join(["time_utc,temp_c", *rows]) + "\n")
    return path


@pytest.fixture
def weathered(settings, winter):
    return replace(settings, weather=winter)


@pytest.fixture
def kept(settings):
    """Five bins beside north, of each part of the list one, as looked at three hours ago."""
    add_bins(settings.journal, ("ash", "elm", "fir", "oak", "yew"))
    found = [told("ash", STOP, FREEZING), told("elm", UNSETTLED), told("yew"), told("north", FREEZING, UNSETTLED)]
    with Journal.open(settings.journal) as book:
        counts = book.entry_counts()
    looking.keep(
        settings.journal,
        {
            one.bin: Look(one, NOW - timedelta(hours=3), counts[one.bin], as_given(weather_files(settings)))
            for one in (*found, NotTold("oak", "The weather begins after it."))
        },
    )
    return settings


def shown(client, path="/fleet"):
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


def listed(page):
    """The bins of the list in their order."""
    return re.findall(r'<a href="/bins/[^"]+">([^<]+)</a>', page)


# --- the list -----------------------------------------------------------------------------------------------


def test_every_bin_is_listed_once_worst_first_and_with_its_page(client, kept):
    page = shown(client)
    assert listed(page) == ["ash", "north", "elm", "oak", "fir", "yew"]
    parts = [page.index(f'id="part-{part}"') for part in ("care", "alone", "untold", "unseen", "quiet")]
    assert parts == sorted(parts)


def test_alerts_are_told_in_words_with_ranges_in_both_units_and_where_they_come_from(client, kept):
    page = shown(client)
    assert (
        'For the animals’ sake:</strong> Bin ash: it is too hot: look closer. <span class="chip from-read">read' in page
    )
    assert "Chance of 40% (predicted) that the middle falls below 0 °C (32 °F)." in page
    assert "−2\u00a0to\u00a03\u00a0°C (28\u00a0to\u00a038\u00a0°F)" in page
    assert "10\u00a0to\u00a080\u00a0%" in page
    assert "Predicted until Tue 10 Feb, 21:00, from 12 readings." in page
    assert "The weather begins after it." in page
    assert "coarser than the one on its own page" in page


def test_what_has_not_settled_is_told_to_be_fitted_alone_on_its_own_page(client, kept):
    page = shown(client)
    assert "underlid outlook" not in page, "a command is no help on a phone"
    assert page.count("The quick fit has not settled (estimated): its ranges are doubtful.") == 2
    assert "Also: not settled" in page, "said in short where something worse is told"
    assert sorted(listed(shown(client, "/fleet?only=alone"))) == ["elm", "north"]


def test_the_age_of_every_look_and_what_came_since_is_told(client, kept):
    page = shown(client)
    assert "6 bins, looked at 3 hours ago." in page
    assert "come since" not in page
    note(kept.journal, "ash", "2 Feb: middle 4 C", 1)
    note(kept.journal, "yew", "2 Feb: middle 4 C; edge 3 C", 1)
    page = shown(client)
    assert "1 entry has come since" in page
    assert "2 newer entries" in page
    assert listed(shown(client, "/fleet?only=newer")) == ["ash", "yew"]


def test_looks_by_another_weather_file_are_told(kept, weathered):
    with TestClient(create_app(weathered), base_url=HERE, client=("127.0.0.1", 50000)) as client:
        assert "5 of these looks are from before the weather file that is given now" in shown(client)


def test_a_bin_without_weather_ahead_is_told_as_such(client, kept):
    found = dict(looks(kept.journal))
    looking.keep(
        kept.journal, {name: replace(found[name], told=told(name, SILENT, ahead=None)) for name in ("ash", "yew")}
    )
    page = shown(client)
    assert page.count("No weather is known ahead of the look, so nothing is predicted.") == 2
    assert "from-predicted" not in page
    assert "No reading for 40 days" in page


@pytest.fixture
def many(settings):
    """130 bins, most of them freezing."""
    names = [f"bin {number:03d}" for number in range(129)]
    add_bins(settings.journal, names)
    found = [told(name, *([replace(FREEZING, chance=i / 200)] if i < 90 else [])) for i, name in enumerate(names)]
    looking.keep(settings.journal, {one.bin: Look(one, NOW, 0, "") for one in found})
    return settings


def test_many_bins_are_paged_and_each_is_on_one_page(client, many):
    seen = []
    for leaf in (1, 2, 3):
        page = shown(client, f"/fleet?leaf={leaf}")
        assert f"Page {leaf} of 3" in page
        assert "<strong>130</strong> in all" in page
        assert "<strong>90</strong> to see to" in page
        assert "<strong>39</strong> without a warning" in page
        seen.append(listed(page))
    assert [len(leaf) for leaf in seen] == [LEAF, LEAF, 30]
    worst = [f"bin {number:03d}" for number in reversed(range(90))]
    quiet = [f"bin {number:03d}" for number in range(90, 129)]
    assert [*itertools.chain(*seen)] == [*worst, "north", *quiet]
    assert listed(shown(client, "/fleet?leaf=99")) == seen[2]


def test_the_list_is_narrowed_and_a_bin_is_found_by_its_name(client, many):
    assert listed(shown(client, "/fleet?only=unseen")) == ["north"]
    assert listed(shown(client, "/fleet?only=quiet")) == [f"bin {number:03d}" for number in range(90, 129)]
    assert listed(shown(client, "/fleet?find=IN 12")) == [f"bin {number:03d}" for number in range(120, 129)]
    nobody = client.get("/fleet?only=quiet&find=%3Cscript%3E")
    assert "No bin without a warning whose name holds “&lt;script&gt;”" in nobody.text
    assert client.get("/fleet?only=other").status_code == 422
    assert client.get("/fleet?leaf=0").status_code == 422


def test_names_are_never_markup(client, settings):
    add_bins(settings.journal, ("<b>ash</b>", "elm & co?"))
    looking.keep(settings.journal, {"<b>ash</b>": Look(NotTold("<b>ash</b>", "<i>why</i>"), NOW, 0, "")})
    page = client.get("/fleet").text
    assert "<b>" not in page
    assert "<i>" not in page
    assert 'href="/bins/elm%20%26%20co%3F"' in page


# --- nothing to show ----------------------------------------------------------------------------------------


def test_without_bins_and_with_one_the_page_says_what_to_do(client, settings, tmp_path):
    alone = shown(client)
    assert "There is one bin so far" in alone
    assert 'href="/bins/north"' in alone
    assert 'action="/fleet/look"' not in alone
    app = create_app(replace(settings, journal=tmp_path / "nothing"))
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as nobody:
        assert "There is no bin yet." in shown(nobody)
        assert 'href="/new"' in shown(nobody)


def test_the_page_is_in_the_navigation_from_two_bins_on(client, settings):
    assert 'href="/fleet"' not in client.get("/").text
    add_bins(settings.journal, ("ash",))
    assert 'href="/fleet"' in client.get("/").text
    assert 'href="/fleet"' in client.get("/bins/nowhere").text


def test_without_weather_nothing_is_begun_and_the_page_says_why(client, settings):
    add_bins(settings.journal, ("ash",))
    page = shown(client)
    assert "Start it with --weather FILE" in page
    assert 'action="/fleet/look"' not in page
    answer = client.post("/fleet/look")
    assert answer.status_code == 422
    assert "--weather" in answer.text
    assert client.get("/api/fleet/round").json()["state"] == "none"


@pytest.mark.parametrize(
    "damage", [b"", b"{", b'{"version": "0", "looks": {}}', b'{"version": 1, "looks": 2}', b"\xff"]
)
def test_looks_that_cannot_be_read_are_as_none(client, kept, damage):
    next(kept.journal.glob("views/fleet/*")).write_bytes(damage)
    assert looks(kept.journal) == {}
    assert "Not looked at yet" in shown(client)


# --- looking ------------------------------------------------------------------------------------------------


def test_a_look_fits_quickly_and_is_kept_beside_those_of_others(weathered):
    add_bins(weathered.journal, ("ash", "gone"))
    note(weathered.journal, "ash", "10 Jan: middle 4 C", 1)
    before = Look(told("ash"), NOW, 0, "")
    looking.keep(weathered.journal, {"ash": before, "no longer": before})
    shares: list[float] = []
    done = looked(weathered, shares.append, ["north"])
    assert done == {"bins": 1, "fitted": 1}
    assert shares[-1] == 1.0
    found = looks(weathered.journal)
    assert set(found) == {"ash", "north"}, "what the journal does not hold is not kept"
    assert found["ash"] == before
    north = found["north"]
    assert isinstance(north.told, Told)
    assert north.told.ahead is not None
    assert (north.at, north.told.bin, north.told.readings) == (NOW, "north", 4)
    assert north.told.ahead.coldest_c[0] < north.told.ahead.coldest_c[2]
    assert north.age(5, weather_files(weathered), NOW).newer == 0
    assert looked(weathered, shares.append, ["north"])["fitted"] == 0, "as underlid fleet remembers it"


class Here(Worker):
    """A worker that looks at nothing, and does in its own thread what a test says."""

    def __init__(self, settings, answer):
        super().__init__(settings)
        self.answer, self.asked = answer, []

    def _answered(self, job):
        self.asked.append(job.args["bins"])
        return self.answer(job.args["bins"])


def ended(rounds):
    for _ in range(PATIENCE_S * 50):
        found = rounds.last()
        if found.over:
            return found
        threading.Event().wait(0.02)
    raise AssertionError(found)


def state(rounds):
    return rounds.last().state


def fine(bins):
    return "done", {"bins": len(bins), "fitted": 1}, None


NAMES = [f"bin {number}" for number in range(3 * LOT - 1)]


def test_a_round_goes_in_lots_and_once(settings):
    gate = threading.Event()

    def slow(bins):
        gate.wait(PATIENCE_S)
        return fine(bins)

    worker, rounds = Here(settings, slow), Looking()
    assert rounds.last() is None
    assert rounds.begin(worker, NAMES)
    assert not rounds.begin(worker, NAMES), "one is under way"
    gate.set()
    found = ended(rounds)
    assert [*itertools.chain(*worker.asked)] == NAMES
    assert max(map(len, worker.asked)) == LOT
    assert (found.state, found.done, found.share, found.fitted) == ("done", len(NAMES), 1.0, 3)
    assert rounds.begin(worker, NAMES[:1]), "and another when it is over"
    assert ended(rounds).bins == 1
    worker.stop()


def test_a_stopped_round_ends_after_the_lot_under_way(settings):
    begun, gate = threading.Event(), threading.Event()

    def slow(bins):
        begun.set()
        gate.wait(PATIENCE_S)
        return fine(bins)

    worker, rounds = Here(settings, slow), Looking()
    rounds.stop()  # nothing is under way: no harm
    rounds.begin(worker, NAMES)
    assert begun.wait(PATIENCE_S)
    rounds.stop()
    assert state(rounds) == "stopping"
    gate.set()
    found = ended(rounds)
    assert (found.state, found.done, worker.asked) == ("stopped", LOT, [NAMES[:LOT]])
    assert f"{LOT} of {len(NAMES)} bins looked at, the others stand as they were" in found.sentence
    worker.stop()


def test_one_bin_that_breaks_off_the_work_stops_no_other(settings):
    def breaking(bins):
        return ("failed", None, "It broke off.") if "bin 3" in bins else fine(bins)

    worker, rounds = Here(settings, breaking), Looking()
    rounds.begin(worker, NAMES)
    found = ended(rounds)
    assert (found.state, found.done, found.in_vain) == ("failed", len(NAMES) - 1, ("bin 3",))
    assert "bin 3" in found.sentence
    assert "It broke off." in found.sentence
    worker.stop()


def test_where_everything_breaks_off_the_round_is_given_up(settings):
    worker, rounds = Here(settings, lambda bins: ("failed", None, "It broke off.")), Looking()
    rounds.begin(worker, NAMES)
    found = ended(rounds)
    assert (found.state, found.done, len(found.in_vain)) == ("failed", 0, MOST_IN_VAIN)
    worker.stop()


def test_a_round_waits_where_too_much_is_asked_already_and_can_be_stopped(settings):
    gate = threading.Event()
    worker, rounds = Here(settings, lambda bins: (gate.wait(PATIENCE_S), fine(bins))[1]), Looking()
    for number in range(MOST_WAITING + 1):
        worker.ask("another:question", bins=[str(number)])
        while number == 0 and not worker.asked:
            threading.Event().wait(0.01)
    rounds.begin(worker, NAMES)
    threading.Event().wait(2 * looking.POLL_S)
    assert state(rounds) == "running"
    assert all("bin 0" not in bins for bins in worker.asked)
    rounds.stop()
    assert ended(rounds).state == "stopped"
    gate.set()
    worker.stop()


def test_a_round_begins_with_what_was_never_looked_at_then_newer_entries_then_the_oldest(kept, weathered):
    found = dict(looks(kept.journal))
    found["yew"] = replace(found["yew"], at=NOW - timedelta(days=2))
    looking.keep(kept.journal, found)
    note(kept.journal, "elm", "2 Feb: middle 4 C", 1)
    app = create_app(weathered)
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as client:
        app.state.worker = worker = Here(weathered, fine)
        headers = {"X-CSRF-Token": csrf_token(app.state.devices.secret, "this computer")}
        assert client.post("/fleet/look", headers=headers, follow_redirects=False).headers["location"] == "/fleet#round"
        ended(app.state.looking)
    assert worker.asked[0][:3] == ["fir", "elm", "yew"]
    assert len(worker.asked[0]) == 6


def test_the_button_looks_at_all_bins_and_the_page_tells_how_far_it_is(weathered, tmp_path):
    add_bins(weathered.journal, ("ash",))
    late = tmp_path / "late.csv"  # which cannot be read: no fit is waited for here
    late.write_text("time_utc,temp_c\n2026-01-20T00:00Z,mild\n")
    app = create_app(replace(weathered, weather=late))
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as client:
        client.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
        assert "Look at all 2 bins" in shown(client)
        page = client.post("/fleet/look").text
        assert 'id="share"' in page
        assert 'action="/fleet/stop"' in page
        assert 'action="/fleet/look"' not in page, "while it goes on there is nothing to begin"
        assert ended(app.state.looking).state == "done"
        assert client.get("/api/fleet/round").json() == {
            "state": "done", "bins": 2, "done": 2, "share": 1.0,
            "sentence": "All 2 bins looked at, 0 of them fitted anew.",
        }  # fmt: skip
        page = shown(client)
        assert "Look at all 2 again" in page
        assert listed(shown(client, "/fleet?only=untold")) == ["ash", "north"]
        assert client.post("/fleet/stop", follow_redirects=False).status_code == 303, "nothing is under way: no harm"


def test_a_round_ends_with_the_server_and_leaves_nothing_running(weathered):
    add_bins(weathered.journal, ("ash",))
    app = create_app(weathered)
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as client:
        client.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
        client.post("/fleet/look")
        assert app.state.looking.last().state == "running"
    assert [one.name for one in threading.enumerate() if one.name in ("looking", "underlid worker")] == []
    assert [one for one in multiprocessing.active_children() if one.name == "underlid work"] == []
    assert app.state.looking.last().over
    assert not app.state.looking.begin(app.state.worker, ["ash"])


# --- several keepers ----------------------------------------------------------------------------------------


def test_keepers_and_stewards_begin_a_round_and_readers_only_look(club, winter):  # noqa: F811
    folder = club.state.settings.journal
    add_bins(folder, ("ash",))
    club.state.settings = replace(club.state.settings, weather=winter)
    club.state.worker = worker = Here(club.state.settings, fine)
    for keeper, may in (("Ada", True), ("Ben", True), ("Dov", False), ("", False)):
        asker = device(club, keeper)
        page = shown(asker)
        assert ('action="/fleet/look"' in page) == may, keeper
        assert listed(page) == ["ash", "north"]
        asked = len(worker.asked)
        for path in ("/fleet/look", "/fleet/stop"):
            assert asker.post(path).status_code == (303 if may else 403), (keeper, path)
        if may:
            ended(club.state.looking)
        assert (len(worker.asked) > asked) == may
    assert "by a keeper or a steward; this device reads" in page
    worker.stop()
