"""Several keepers as a club names them: roles, bins handed over, and what is published of each."""

import pytest
from PIL import Image

from tests.cli.conftest import NOW, dump
from underlid.journal.store import Journal

AT = ("--now", NOW)


@pytest.fixture
def club(with_bin):
    """A journal with the bins north and “south, by the wall”; Ada is a steward and Ben a keeper."""
    made = with_bin("new", "south, by the wall", "--size", "40 x 30 x 30 cm", "--timezone", "Europe/London", *AT)
    assert made.code == 0, made.err
    for name, role in (("Ada", "steward"), ("Ben", "keeper")):
        assert with_bin("keeper", name, "--role", role, *AT).code == 0
    return with_bin


@pytest.fixture
def photo(club):
    """The id of a photo in the bin north, which is Ada's."""
    Image.new("RGB", (40, 30), "brown").save("worms.jpg")
    assert club("photo", "north", "worms.jpg", *AT).code == 0
    assert club("keeper", "Ada", "--bins", "north", *AT).code == 0
    return next(each["id"] for each in club("entries", "north", "--json").json if each["kind"] == "Photo")


def of(told, name):
    return next(each for each in told["keepers"] if each["name"] == name)


def flat(text):
    return " ".join(text.split())


def refused(result, *parts):
    assert result.code == 2, result.out + result.err
    assert result.out == ""
    assert result.err.startswith("underlid: ")
    assert "Traceback" not in result.err
    for part in parts:
        assert part in flat(result.err), result.err


def test_a_journal_of_one_keeper_says_so(with_bin):
    told = with_bin("keeper")
    assert told.code == 0
    assert "names no keepers" in told.out
    assert "underlid keeper NAME --role steward" in told.out
    assert with_bin("keeper", "--json").json["keepers"] == []


def test_keepers_are_listed_with_their_bins_and_what_is_shown(club):
    made = club(
        "keeper", "Ben", "--shown-as", "B. of the hill", "--place", "-33.92,18.42", "--place-shown", "1 degree",
        "--photos", "shared", "--bins", "south, by the wall", *AT,
    )  # fmt: skip
    assert made.code == 0, made.err
    assert "Ben: keeper; shown as “B. of the hill”." in made.out
    assert "bins: south, by the wall" in made.out
    assert "place shown: 1 degree (noted as -33.92,18.42)" in made.out
    listed = club("keeper")
    rows = {line.split()[0]: flat(line) for line in listed.out.splitlines()}
    assert rows["Ada"] == "Ada steward 0 nobody by name none noted private"
    assert rows["Ben"] == "Ben keeper 1 B. of the hill 1 degree shared"
    assert "Nobody's in particular: north." in listed.out
    told = club("keeper", "--json").json
    assert told["bins_of_nobody"] == ["north"]
    ben = of(told, "Ben")
    assert ben == club("keeper", "Ben", "--json").json
    assert ben.pop("noted_at").startswith("2026-02-03T21:00")
    assert ben == {
        "name": "Ben", "role": "keeper", "shown_as": "B. of the hill", "latitude": -33.92, "longitude": 18.42,
        "place_shown": "1 degree", "photos": "shared", "bins": ["south, by the wall"], "photos_shown_otherwise": [],
    }  # fmt: skip


def test_it_is_said_that_the_folder_is_open_to_whoever_can_read_it(club):
    said = "Whoever can read the journal's folder can read everything"
    assert said in flat(club("keeper").out)
    assert said in flat(club("keeper", "Ada").out)
    assert said in flat(club("keeper", "--json").json["note"])
    assert said in flat(club("keeper", "--help").out)


def test_changes_of_one_moment_hold_one_after_the_other(club):
    for name in ("Ada", "Ben", "Ada", "Ben"):
        assert club("keeper", name, "--bins", "north", *AT).code == 0
        assert of(club("keeper", "--json").json, name)["bins"] == ["north"]
    for photos in ("shared", "private", "shared"):
        club("keeper", "Ben", "--photos", photos, "--now", "2026-01-05 12:00")  # a clock that was set back
        assert of(club("keeper", "--json").json, "Ben")["photos"] == photos


def test_what_is_not_named_stays_and_can_be_taken_out_again(club):
    club("keeper", "Ben", "--place", "52.1,-1.3", "--shown-as", "B.", "--role", "reader", *AT)
    club("keeper", "Ben", "--place-shown", "not told", *AT)
    ben = club("keeper", "Ben", "--json").json
    assert (ben["latitude"], ben["shown_as"], ben["role"], ben["place_shown"]) == (52.1, "B.", "reader", "not told")
    club("keeper", "Ben", "--place", "none", "--shown-as", "", *AT)
    ben = club("keeper", "Ben", "--json").json
    assert (ben["latitude"], ben["longitude"], ben["shown_as"]) == (None, None, "")


def test_nothing_is_stored_where_nothing_is_other(club):
    words = ("keeper", "Ada", "--role", "steward", "--bins", "north", "--bins", "south, by the wall", *AT)
    assert club(*words).code == 0
    before = dump()
    assert club(*words).code == 0
    assert club("keeper", "Ada").code == 0
    assert dump() == before


def test_one_photo_is_shared_or_hidden_whatever_the_others(club, photo):
    told = club("keeper", "Ada", "--share-photo", photo[:8], *AT)
    assert told.code == 0, told.err
    assert "photos: private, but 1 shared" in told.out
    assert club("keeper", "Ada", "--json").json["photos_shown_otherwise"] == [photo]
    with Journal.open("journal") as book:
        assert book.photos_shown() == {photo: "shared"}
    club("keeper", "Ada", "--photos", "shared", "--hide-photo", photo, *AT)
    assert "photos: shared, but 1 private" in club("keeper", "Ada").out
    with Journal.open("journal") as book:
        assert book.photos_shown() == {photo: "private"}


def test_a_reader_with_bins_is_told_who_enters_in_them(club):
    told = club("keeper", "Ben", "--role", "reader", "--bins", "north", *AT)
    assert "only a steward's enters in these bins" in told.out


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("Bem", "--photos", "shared"), ["no keeper named 'Bem'", "Did you mean 'Ben'?", "--role"]),
        (("Cleo",), ["Keepers here: Ada, Ben", "--role"]),
        (("ben", "--role", "keeper"), ["already a keeper named 'Ben'"]),
        ((" ", "--role", "keeper"), ["name"]),
        (("Ada", "--role", "keeper"), ["'Ada' is the last steward"]),
        (("Ben", "--role", "king"), ["--role 'king' is not one of steward, keeper, reader"]),
        (("Ben", "--photos", "public"), ["--photos 'public' is not one of private, shared"]),
        (("Ben", "--place-shown", "2 degrees"), ["--place-shown '2 degrees' is not one of as noted"]),
        (("Ben", "--place", "here"), ["two numbers"]),
        (("Ben", "--place", "91,0"), ["no place on Earth"]),
        (("Ben", "--place", "nan,0"), ["no place on Earth"]),
        (("Ben", "--photos", "shared", "--bins", "nroth"), ["no bin named 'nroth'", "'north'"]),
        (("Ben", "--photos", "shared", "--bins", " , "), ["--bins names no bin"]),
        (("Ben", "--photos", "shared", "--share-photo", "zz"), ["No photo has an id that begins with 'zz'"]),
        (("Ben", "--hide-photo", ""), ["No photo has an id"]),
        (("--photos", "shared"), ["name the keeper first"]),
        (("Ben", "--photos", "shared", "--journal", "nowhere"), ["no journal in nowhere"]),
    ],
)
def test_one_sentence_and_nothing_changed(club, words, parts):
    before = dump()
    refused(club("keeper", *words, *AT), *parts)
    assert dump() == before


def test_the_first_keeper_is_a_steward(with_bin):
    before = dump()
    refused(with_bin("keeper", "Ben", "--role", "keeper", *AT), "make the first one a steward")
    assert dump() == before


def test_a_photo_of_anothers_bin_is_not_shared_by_mistake(club, photo):
    before = dump()
    refused(club("keeper", "Ben", "--share-photo", photo, *AT), "of bin “north”, which is of Ada and not of Ben")
    refused(club("keeper", "Ada", "--share-photo", photo, "--hide-photo", photo, *AT), "cannot be shared and kept")
    assert dump() == before
    assert club("keeper", "Ben", "--bins", "north", "--share-photo", photo, *AT).code == 0


def test_an_id_that_two_photos_begin_with_is_not_enough(club, photo):
    with Journal.open("journal") as book:
        one = next(each for each in book.entries("north") if each.id == photo)
        book.add([type(one)(**{name: getattr(one, name) for name in one.__dataclass_fields__} | {"id": f"{photo}-b"})])
    refused(club("keeper", "Ada", "--share-photo", photo[:8], *AT), "2 photos have an id that begins with")
    assert club("keeper", "Ada", "--share-photo", photo, *AT).code == 0
    with Journal.open("journal") as book:
        assert book.photos_shown() == {photo: "shared"}


def test_a_name_cannot_move_the_cursor_of_a_terminal(club):
    assert club("keeper", "Cl\x1b[2Jeo", "--role", "reader", *AT).code == 0
    assert "\x1b" not in club("keeper").out
