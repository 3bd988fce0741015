"""Several keepers: what each may do by a device of their own, and what no device of another may see."""

import io
import shutil
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from tests.web.conftest import NOW, clock
from tests.web.test_security import browser, flat
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.when import parse_when
from underlid.records import BinKeeper, Keeper, Photo, PhotoShown, Role
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
        at = parse_when("2 Feb 2026 20:00", now=NOW, tz=ZoneInfo("UTC"))
        book.add([Photo(id="photo-1", bin="north", when=at, words="photo", file=kept.file, sha256=kept.sha256)])
    picture.unlink()
    return folder, kept.sha256


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
