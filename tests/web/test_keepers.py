"""Several keepers: what each may do by a device of their own, and what no device of another may see."""

import io
import shutil
from datetime import timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from tests.trials.bins import a_plan
from tests.web.conftest import NOW, add_bins, clock
from tests.web.test_security import browser, flat
from underlid import answer
from underlid.club.sharing import share
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.when import parse_when
from underlid.records import BinKeeper, Keeper, Photo, PhotoShown, Reading, Role, Sighting
from underlid.trials.plan import canonical
from underlid.web.app import create_app
from underlid.web.guard import COOKIE, SAFE
from underlid.web.keepers import COMPUTES, OPEN, OWN, PICTURE
from underlid.web.meant import csrf_token
from underlid.web.settings import Settings

ROLES: dict[str, Role] = {"Ada": "steward", "Ben": "keeper", "Cleo": "keeper", "Dov": "reader"}
LINE = {"words": "2 Feb: middle 4 C"}


@pytest.fixture(scope="session")
def club_begun(tmp_path_factory, begun):
    """The journal with four keepers; the bin north, with one picture, is Ben's."""
    folder = shutil.copytree(begun, tmp_path_factory.mktemp("club") / "journal")
    picture = folder / "picture.jpg"
    Image.new("RGB", (40, 30), "brown").save(picture)
    with Journal.open(folder) as book:
        for name, role in ROLES.items():
            book.keep_keeper(Keeper(id=f"keeper-{name}", name=name, role=role, noted_at=NOW))
        book.hand_bin(BinKeeper(id="of-north", bin="north", keeper="Ben", noted_at=NOW))
        kept = add_photo(folder, picture)
        book.add([photo_of("photo-1", "north", kept, NOW)])
    picture.unlink()
    return folder, kept.sha256


def photo_of(id, bin, kept, noted_at):
    at = parse_when("2 Feb 2026 20:00", now=NOW, tz=ZoneInfo("UTC"))
    return Photo(id=id, bin=bin, when=at, words="photo", file=kept.file, sha256=kept.sha256, noted_at=noted_at)


@pytest.fixture
def club(tmp_path, club_begun):
    folder = shutil.copytree(club_begun[0], tmp_path / "journal")
    app = create_app(Settings(folder, now=clock, host="0.0.0.0", lan=True))
    app.state.worker = None
    return app


@pytest.fixture
def picture(club_begun):
    return club_begun[1]


def device(app, keeper, name="phone"):
    token = app.state.devices.add(name, clock(), keeper)
    made = browser(app, cookies={COOKIE: token})
    made.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, app.state.devices.of(token).key.hex())
    return made


def entering(of, bin="north"):
    return of.post(f"/api/bins/{bin}/entries", json=LINE | {"key": str(uuid4())})


@pytest.mark.parametrize(
    ("keeper", "may"), [("Ada", True), ("Ben", True), ("Cleo", False), ("Dov", False), ("", False)]
)
def test_a_bin_is_entered_in_by_its_keeper_or_a_steward(club, keeper, may):
    asker = device(club, keeper)
    assert asker.get("/bins/north/enter").status_code == 200  # all may look
    answer = entering(asker)
    assert answer.status_code == (200 if may else 403), answer.text
    with Journal.open(club.state.settings.journal) as book:
        assert any("4 C" in entry.words for entry in book.entries("north")) == may
    if not may:
        assert "error" in answer.json()
        assert asker.post("/api/bins/north/parse", json=LINE).status_code == 200  # what words mean, all may ask


def test_a_device_of_nobody_is_told_how_to_become_somebodys(club):
    assert "pair it anew for a keeper" in entering(device(club, "")).json()["error"]
    assert "Eve" in entering(device(club, "Eve")).json()["error"]  # as after a journal was put in place of another


def test_a_reader_changes_nothing_by_any_route(club):
    """Whatever routes there are: only those that say what would be are open, and they store nothing."""
    reader = device(club, "Dov")
    known = {"bin": "north", "sha256": "0" * 64, "id": "1", "number": "99", "name": "x"}
    tried = 0
    for route in flat(club.routes):
        for method in route.methods - SAFE:
            if route.path in COMPUTES | {"/pair"}:
                continue
            path = route.path.replace(":path", "").format(**known)
            answer = reader.request(method, path, json={})
            assert answer.status_code == 403, (method, path, answer.text)
            tried += 1
    assert tried > 10


def test_every_rule_is_of_a_route_that_there_is(club):
    found = {route.path for route in flat(club.routes)}
    assert found >= COMPUTES | OPEN
    assert all(any(path.startswith(each) for path in found) for each in (*OWN, *PICTURE))


def test_a_keeper_starts_a_bin_and_it_is_theirs(club):
    cleo, dov = device(club, "Cleo"), device(club, "Dov")
    form = {"name": "south", "size": "17 x 12 x 11 in", "started": "1 Jan 2026", "key": str(uuid4())}
    assert dov.post("/api/bins", json=form).status_code == 403
    assert cleo.post("/api/bins", json=form).status_code == 201
    assert cleo.post("/api/bins", json=form).status_code == 201  # sent again: one bin, handed over once
    with Journal.open(club.state.settings.journal) as book:
        assert book.bin_keepers() == {"north": "Ben", "south": "Cleo"}
    assert entering(cleo, "south").status_code == 200
    assert entering(device(club, "Ben"), "south").status_code == 403


def test_a_picture_is_private_until_it_is_shared(club, picture):
    ben, others = device(club, "Ben"), [device(club, name) for name in ("Ada", "Cleo", "Dov", "")]
    path = f"/photos/{picture}"
    assert Image.open(io.BytesIO(ben.get(path).content)).size == (40, 30)
    assert all(one.get(path).status_code == 403 for one in others)
    assert all(one.get(f"{path}/tally").status_code == 403 for one in others)
    assert all(one.get(f"/api{path}/tallies").status_code == 403 for one in others)
    with Journal.open(club.state.settings.journal) as book:
        book.show_photo(PhotoShown(id="mark-1", photo="photo-1", shown="shared", noted_at=NOW))
    assert all(one.get(path).status_code == 200 for one in others)
    with Journal.open(club.state.settings.journal) as book:
        book.show_photo(PhotoShown(id="mark-2", photo="photo-1", shown="private", noted_at=NOW))
        book.keep_keeper(Keeper(id="keeper-Ben-2", name="Ben", photos="shared", noted_at=NOW))
    assert all(one.get(path).status_code == 403 for one in others), "what is said of one picture holds for it"


def test_the_update_of_anothers_bin_is_not_made_nor_shown(club):
    for name in ("Cleo", "Dov", ""):
        asker = device(club, name)
        assert asker.get("/bins/north/update").status_code == 403
        assert asker.post("/api/bins/north/update", json={"month": "2026-01"}).status_code == 403
        assert asker.get("/bins/north/update/2026-01.zip").status_code == 403
    assert device(club, "Ben").get("/bins/north/update").status_code == 200


def test_a_code_pairs_a_device_of_the_keeper_it_was_made_for(club):
    journal = club.state.settings.journal
    here = create_app(Settings(journal, now=clock, lan=True))
    here.state.worker, here.state.pairing = None, club.state.pairing
    from starlette.testclient import TestClient

    desk = TestClient(here, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 50000), follow_redirects=False)
    desk.headers["X-CSRF-Token"] = csrf_token(here.state.devices.secret, "this computer")
    assert desk.post("/devices/code").status_code == 422, "with several keepers a code is of one of them"
    assert desk.post("/devices/code", data={"keeper": "Cleo"}).status_code == 303
    assert "Cleo" in desk.get("/devices").text
    phone = browser(club)
    token = csrf_token(club.state.devices.secret, "nobody")
    phone.post("/pair", data={"csrf": token, "code": club.state.pairing.code.digits, "name": "phone"})
    assert [one.keeper for one in club.state.devices.all()] == ["Cleo"]


def test_only_a_steward_revokes_the_device_of_another(club):
    ben, cleo, ada = device(club, "Ben"), device(club, "Cleo"), device(club, "Ada")
    numbers = {one.keeper: one.id for one in club.state.devices.all()}
    assert ben.post(f"/devices/{numbers['Cleo']}/revoke").status_code == 403
    assert ben.post(f"/devices/{numbers['Ben']}/revoke").status_code == 303
    assert ada.post(f"/devices/{numbers['Cleo']}/revoke").status_code == 303
    assert cleo.get("/").status_code == 401


def test_a_file_of_devices_from_before_keepers_is_read(tmp_path):
    import sqlite3

    from underlid.web.devices import FILE, FOLDER, Devices, hash_of

    (tmp_path / FOLDER).mkdir()
    with sqlite3.connect(tmp_path / FOLDER / FILE) as file:
        file.execute(
            "CREATE TABLE devices (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, token_hash BLOB NOT NULL "
            "UNIQUE, paired TEXT NOT NULL, seen TEXT NOT NULL)"
        )
        file.execute(
            "INSERT INTO devices (name, token_hash, paired, seen) VALUES ('phone', ?, ?, ?)",
            (hash_of("secret"), NOW.isoformat(), NOW.isoformat()),
        )
    file.close()
    found = Devices(tmp_path).of("secret")
    assert found is not None
    assert (found.name, found.keeper) == ("phone", "")
    assert Devices(tmp_path).add("tablet", NOW, "Ada")


# --- a bin that changes hands ---------------------------------------------------------------------------------


def published(folder):
    """The ids of the photos that would be published of it."""
    with Journal.open(folder) as book:
        found = share(
            book.bins(), book.entries(superseded=True), book.keepers(), book.bin_keepers(), book.photos_shown(),
            taken_over=book.taken_over(),
        )  # fmt: skip
    return {one.sha256 for one in found.photos}


def test_a_picture_is_not_shown_by_handing_its_bin_over(club, picture, tmp_path):
    folder, later = club.state.settings.journal, NOW + timedelta(days=1)
    Image.new("RGB", (40, 30), "green").save(tmp_path / "new.jpg")
    with Journal.open(folder) as book:
        book.hand_bin(BinKeeper(id="to-cleo", bin="north", keeper="Cleo", noted_at=later))
        book.keep_keeper(Keeper(id="keeper-Cleo-2", name="Cleo", photos="shared", noted_at=later))
        new = add_photo(folder, tmp_path / "new.jpg")
        book.add([photo_of("photo-2", "north", new, later)])
    everybody = [device(club, name) for name in (*ROLES, "")]
    for path in (f"/photos/{picture}", f"/photos/{picture}/tally", f"/api/photos/{picture}/tallies"):
        assert [one.get(path).status_code for one in everybody] == [403] * 5, path
    assert "another keeper" in device(club, "Cleo").get(f"/api/photos/{picture}/tallies").json()["error"]
    assert [one.get(f"/photos/{new.sha256}").status_code for one in everybody] == [200] * 5
    assert published(folder) == {new.sha256}
    with Journal.open(folder) as book:
        book.show_photo(PhotoShown(id="mark-1", photo="photo-1", shown="shared", noted_at=later))
    assert [one.get(f"/photos/{picture}").status_code for one in everybody] == [200] * 5
    assert published(folder) == {new.sha256, picture}


def test_who_takes_a_bin_over_has_no_update_with_what_was_private(club, picture):
    with Journal.open(club.state.settings.journal) as book:
        book.hand_bin(BinKeeper(id="to-cleo", bin="north", keeper="Cleo", noted_at=NOW + timedelta(days=1)))
        (photo,) = book.entries("north", kind=Photo)
    month = f"{photo.when.start:%Y-%m}"
    assert picture not in device(club, "Cleo").get(f"/bins/north/update?month={month}").text
    asked = {"month": month, "photos": [{"id": photo.id}]}
    refused = device(club, "Cleo").post("/api/bins/north/update", json=asked)
    assert (refused.status_code, "another keeper" in refused.json()["error"]) == (403, True)
    with Journal.open(club.state.settings.journal) as book:
        book.show_photo(PhotoShown(id="mark", photo=photo.id, shown="shared", noted_at=NOW + timedelta(days=2)))
    assert picture in device(club, "Cleo").get(f"/bins/north/update?month={month}").text


# --- what a request names of another's ------------------------------------------------------------------------


@pytest.fixture
def street(club, club_begun):
    """The same, with a bin of Cleo's that holds the picture too, tallied, and a trial of Ben's bin and one of nobody's.

    Gives the app and what a request may name of it.
    """
    add_bins(club.state.settings.journal, ["south", "east"])
    with Journal.open(club.state.settings.journal) as book:
        book.hand_bin(BinKeeper(id="of-south", bin="south", keeper="Cleo", noted_at=NOW))
        first = book.entries("north", kind=Photo)[0]
        book.add([photo_of("photo-2", "south", first, NOW)])
        answer.register(book, plan_of_bins("theirs", "north", "east"), NOW)
        answer.register(book, plan_of_bins("ours", "north", "south"), NOW)
    marks = {"by": "Ann", "marks": [{"x": 0.5, "y": 0.5, "stage": "adult"}]}
    assert device(club, "Cleo").post(f"/api/photos/{first.sha256}/tallies", json=marks).status_code == 200
    return club, first.sha256


def plan_of_bins(name, *bins):
    arms = dict(zip(bins, ("control", "changed", "control", "changed"), strict=False))
    return a_plan(arms, name=name, starts="2026-02-04")


def change(**named):
    return {"words": "it was moved", "key": str(uuid4())} | named


THEIRS = canonical(plan_of_bins("mine", "north", "south"))
#: What Cleo may not ask: the route, what its address names and what is sent, as JSON or as a form.
OF_ANOTHERS = [
    ("/api/bins/{bin}/entries", {"bin": "north"}, LINE | {"key": str(uuid4())}, None),
    ("/api/bins/{bin}/withdrawals", {"bin": "north"}, {"key": str(uuid4()), "of": str(uuid4())}, None),
    ("/api/bins/{bin}/update", {"bin": "north"}, {"month": "2026-01"}, None),
    ("/api/bins/{bin}/photos", {"bin": "north"}, None, {"key": str(uuid4())}),
    ("/bins/{bin}/enter", {"bin": "north"}, None, LINE | {"key": str(uuid4())}),
    ("/bins/{bin}/undo", {"bin": "north"}, None, {"key": str(uuid4()), "of": str(uuid4())}),
    ("/api/trials", {}, {"plan": THEIRS}, None),
    ("/trials", {}, None, {"plan": THEIRS}),
    ("/api/trials/{name:path}/changes", {"name": "ours"}, change(bin="north"), None),
    ("/api/trials/{name:path}/changes", {"name": "theirs"}, change(bin="north"), None),
    ("/api/trials/{name:path}/changes", {"name": "theirs"}, change(bin="east"), None),
    ("/api/trials/{name:path}/changes", {"name": "theirs"}, change(), None),
    ("/trials/{name:path}/changes", {"name": "ours"}, None, change(bin="north")),
    ("/trials/{name:path}/changes", {"name": "theirs"}, None, change()),
    ("/api/photos/{sha256}/sightings", {}, {"by": "Ann", "bin": "north"}, None),
    ("/api/photos/{sha256}/sightings", {}, {"by": "Ann", "bin": "east"}, None),
    ("/photos/{sha256}/shown", {}, None, {"bin": "north", "shown": "shared"}),
    ("/api/photos/{sha256}/tallies", {"sha256": "alone"}, {"by": "Ann", "marks": []}, None),
]


def kept_of(folder):
    with Journal.open(folder) as book:
        changes = [book.plan_changes(one.name) for one in book.plans()]
        return book.entries(superseded=True), book.plans(), changes, book.photos_shown()


@pytest.mark.parametrize(("route", "named", "body", "form"), OF_ANOTHERS)
def test_what_is_of_anothers_bin_is_refused_wherever_a_request_names_it(street, tmp_path, route, named, body, form):
    app, picture = street
    folder = app.state.settings.journal
    Image.new("RGB", (40, 30), "green").save(tmp_path / "alone.jpg")
    with Journal.open(folder) as book:
        alone = add_photo(folder, tmp_path / "alone.jpg")
        book.add([photo_of("photo-3", "north", alone, NOW)])
    before = kept_of(folder)
    names = {"sha256": picture} | named
    if names["sha256"] == "alone":
        names["sha256"] = alone.sha256
    path = route.replace(":path", "").format(**names)
    files = {"picture": ("x.jpg", (tmp_path / "alone.jpg").read_bytes(), "image/jpeg")} if "/photos" in route else None
    sent = {"json": body} if form is None else {"data": form, "files": files}
    given = device(app, "Cleo").post(path, **sent)
    assert given.status_code == 403, given.text
    assert kept_of(folder) == before
    assert not (folder / "photos" / f"{alone.sha256}.tally.json").exists()


def test_an_entry_is_corrected_from_its_own_bin_alone(street):
    app, _ = street
    folder = app.state.settings.journal
    assert device(app, "Ben").post("/api/bins/north/entries", json=LINE | {"key": str(uuid4())}).status_code == 200
    with Journal.open(folder) as book:
        (theirs,) = book.entries("north", kind=Reading)[-1:]
    before = kept_of(folder)
    said = {"words": "2 Feb: middle 9 C", "corrects": theirs.id}
    for path, how in (("/api/bins/south/entries", "json"), ("/bins/south/enter", "data")):
        assert device(app, "Cleo").post(path, **{how: said | {"key": str(uuid4())}}).status_code == 404, path
    assert kept_of(folder) == before


def test_every_route_that_stores_something_of_a_bin_is_asked_for_that_of_another(club):
    of_no_bin = {
        "/pair",
        "/devices/code",
        "/devices/{number}/revoke",
        "/fleet/look",
        "/fleet/stop",
        "/new",
        "/api/bins",
    }
    stores = {route.path for route in flat(club.routes) if route.methods - SAFE} - COMPUTES
    assert stores == of_no_bin | {route for route, *_ in OF_ANOTHERS}


def test_a_trial_is_registered_by_who_keeps_all_its_bins_and_changed_by_who_keeps_some(street):
    app, _ = street
    ada, ben, cleo = (device(app, name) for name in ("Ada", "Ben", "Cleo"))
    both, to_come = (canonical(plan_of_bins(name, "south", other)) for name, other in (("a", "north"), ("b", "west")))
    assert "“north”" in cleo.post("/api/trials", json={"plan": both}).json()["error"]
    assert ada.post("/api/trials", json={"plan": both}).status_code == 201
    assert cleo.post("/api/trials", json={"plan": to_come}).status_code == 201, "a bin may be started later"
    assert cleo.post("/api/trials/b/changes", json=change(bin="west")).status_code == 201, "or never"
    for who, of in ((cleo, "south"), (ben, "north"), (ada, "south"), (cleo, None)):
        assert who.post("/api/trials/ours/changes", json=change(bin=of)).status_code == 201
    assert cleo.post("/api/trials/none/changes", json=change()).status_code == 404
    with Journal.open(app.state.settings.journal) as book:
        assert sorted(one.bin or "" for one in book.plan_changes("ours")) == ["", "north", "south", "south"]


def test_a_sighting_goes_into_the_bin_that_is_named_and_once_for_each(street):
    app, picture = street
    post, ben, cleo = f"/api/photos/{picture}/sightings", device(app, "Ben"), device(app, "Cleo")
    for who, bin in ((cleo, "south"), (ben, "north"), (cleo, "south")):
        given = who.post(post, json={"by": "Ann", "bin": bin})
        assert given.status_code == 201, given.text
        assert given.json() == {"bin": bin, "said": ["saw at least 1 adult on a photo, counted by Ann"]}
    with Journal.open(app.state.settings.journal) as book:
        assert sorted(one.bin for one in book.entries(kind=Sighting, superseded=True)) == ["north", "south"]
    pages = {who: of.get(f"/photos/{picture}/tally").text for who, of in (("Ben", ben), ("Cleo", cleo))}
    assert [f'data-bin="{bin}"' in pages["Cleo"] for bin in ("north", "south")] == [False, True]
    assert [f'data-bin="{bin}"' in pages["Ben"] for bin in ("north", "south")] == [True, False]


def test_a_picture_sent_by_mistake_is_made_private_on_its_page_and_shared_again(street):
    app, picture = street
    folder, page = app.state.settings.journal, f"/photos/{picture}/tally"
    ben, cleo, dov = (device(app, name) for name in ("Ben", "Cleo", "Dov"))
    with Journal.open(folder) as book:
        book.keep_keeper(Keeper(id="keeper-Ben-2", name="Ben", photos="shared", noted_at=NOW))
    assert dov.get(page).status_code == 200
    assert 'action="/photos/' not in dov.get(page).text
    assert 'name="shown" value="private"' in ben.get(page).text
    asked = {"bin": "north", "shown": "private"}
    assert ben.post(f"/photos/{picture}/shown", data=asked).headers["location"] == page
    assert dov.get(page).status_code == 403
    assert published(folder) == set()
    assert 'name="shown" value="shared"' in ben.get(page).text
    assert cleo.get(page).status_code == 200, "it is a picture of a bin of hers too"
    assert 'value="north"' not in cleo.get(page).text
    ben.post(f"/photos/{picture}/shown", data=asked | {"shown": "shared"})
    assert dov.get(page).status_code == 200
    assert published(folder) == {picture}
    assert ben.post(f"/photos/{picture}/shown", data=asked | {"shown": "all"}).status_code == 422


def test_who_takes_a_bin_over_cannot_share_what_was_private(club, picture):
    folder = club.state.settings.journal
    with Journal.open(folder) as book:
        book.hand_bin(BinKeeper(id="to-cleo", bin="north", keeper="Cleo", noted_at=NOW + timedelta(days=1)))
    given = device(club, "Cleo").post(f"/photos/{picture}/shown", data={"bin": "north", "shown": "shared"})
    assert given.status_code == 403
    with Journal.open(folder) as book:
        assert book.photos_shown() == {}


def test_where_nobody_is_named_nothing_is_said_of_who_may_see(client, journal, tmp_path):
    Image.new("RGB", (40, 30), "green").save(tmp_path / "alone.jpg")
    with Journal.open(journal) as book:
        kept = add_photo(journal, tmp_path / "alone.jpg")
        book.add([photo_of("photo-1", "north", kept, NOW)])
    assert "Who may see it" not in client.get(f"/photos/{kept.sha256}/tally").text
