"""Pictures: what is taken in, what is left of it, and what marks on it say."""

import hashlib
import io
import json
import struct
import zlib
from datetime import UTC, datetime
from uuid import UUID

import pytest
from PIL import Image, ImageDraw, PngImagePlugin

from tests.web.conftest import NOW
from underlid.counting.detection import two_observers
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.records import Photo, Sighting
from underlid.update.pictures import UnfitPicture
from underlid.web import photos, tally
from underlid.web.tally import Mark, matched

KEY = "6f0c2b57-5f1e-4b1e-9d4e-1c2d3e4f5a6b"
OTHER = "0a4c2b57-5f1e-4b1e-9d4e-1c2d3e4f5a6b"
GPS = {1: "N", 2: (55.0, 20.0, 15.0), 3: "W", 4: (160.0, 29.0, 50.0)}


def drawn(size=(120, 80)):
    image = Image.new("RGB", size, "saddlebrown")
    ImageDraw.Draw(image).rectangle((5, 5, 30, 20), fill="white")
    return image


def encoded(image, kind="JPEG", **more):
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def with_exif(taken="2026:01:23 10:05:00", zone=None, orientation=1, kind="JPEG"):
    exif = Image.Exif()
    exif[0x010F] = "A telltale phone"
    exif[0x0112] = orientation
    exif[0x8769] = {0x9003: taken, **({0x9011: zone} if zone else {}), 0x9286: b"ASCII\0\0\0a comment by the keeper"}
    exif[0x8825] = GPS
    return encoded(drawn(), kind, exif=exif, comment=b"a comment by the keeper") if kind == "JPEG" else encoded(
        drawn(), kind, exif=exif
    )  # fmt: skip


def png_that_claims(width, height):
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 64)) + chunk(b"IEND", b"")


def webp_that_claims(width, height):
    head = b"\0" * 4 + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + struct.pack("<I", 10) + head
    return b"RIFF" + struct.pack("<I", len(body)) + body


@pytest.fixture
def send(client):
    def post(data, key=KEY, name="worms.jpg", kind="image/jpeg", bin="north", accept="application/json", **fields):
        return client.post(
            f"/api/bins/{bin}/photos", files={"picture": (name, data, kind)}, data={"key": key, **fields},
            headers={"Accept": accept}, follow_redirects=False,
        )  # fmt: skip

    return post


def kept_of(journal):
    with Journal.open(journal) as book:
        return book.entries(kind=Photo)


# --- taken in ------------------------------------------------------------------------------------------------


def test_a_picture_keeps_its_pixels_and_its_time_and_nothing_else(send, client, journal):
    before = with_exif()
    with Image.open(io.BytesIO(before)) as had:
        assert had.getexif().get_ifd(0x8825)
    assert b"telltale" in before
    answer = send(before, words="eight of them under the lid")
    assert answer.status_code == 201, answer.text
    told = answer.json()
    stored = journal / "photos" / f"{told['sha256']}.jpg"
    data = stored.read_bytes()
    assert hashlib.sha256(data).hexdigest() == told["sha256"]
    with Image.open(io.BytesIO(data)) as image:
        assert not image.getexif()
        assert not image.getexif().get_ifd(0x8825)
        assert not {"exif", "comment", "xmp", "icc_profile"} & image.info.keys()
        assert image.size == (120, 80)
    for word in (b"Exif", b"telltale", b"comment by the keeper", b"GPS"):
        assert word not in data
    (entry,) = kept_of(journal)
    assert entry.words == "eight of them under the lid"
    assert entry.when.start <= datetime(2026, 1, 23, 10, 5, tzinfo=UTC) <= entry.when.end
    assert (entry.when.end - entry.when.start).total_seconds() <= 60
    assert told["notes"] == ["It was taken on 2026-01-23 10:05, as the picture says."]


def test_a_zone_in_the_picture_is_heeded(send, journal):
    send(with_exif(zone="-09:00"))
    assert kept_of(journal)[0].when.start.astimezone(UTC).hour in (18, 19)


def test_a_time_that_cannot_be_is_not_taken(send, journal):
    for taken in ("2019:01:01 00:00:00", "2031:01:01 00:00:00", "0001:01:01 00:00:00"):
        assert "cannot be for this bin" in send(with_exif(taken)).json()["notes"][0]
    assert {one.when.start for one in kept_of(journal)} == {NOW}


def test_a_time_that_is_none_is_as_if_not_there(send, journal):
    for taken in ("yesterday", "0000:00:00 00:00:00", ""):
        assert send(with_exif(taken)).json()["notes"] == []
    assert {one.when.start for one in kept_of(journal)} == {NOW}


def test_the_keepers_words_for_the_time_come_first(send, journal):
    assert send(with_exif(), when="16 Dec 09:00").status_code == 201
    assert kept_of(journal)[0].when.start.month == 12
    answer = send(with_exif(), key=OTHER, when="someday")
    assert answer.status_code == 422
    assert "someday" in answer.json()["error"]


def test_it_is_turned_upright(send, client):
    told = send(with_exif(orientation=6)).json()
    with Image.open(io.BytesIO(client.get(f"/photos/{told['sha256']}").content)) as image:
        assert image.size == (80, 120)


def test_other_pictures_become_jpeg_whatever_they_are_called(send, journal):
    for number, kind in enumerate(("PNG", "WEBP", "HEIF")):
        told = send(with_exif(kind=kind), key=f"{number}{KEY[1:]}", name="worms.svg", kind="image/svg+xml")
        assert told.status_code == 201, told.text
    for entry in kept_of(journal):
        assert entry.file == f"{entry.sha256}.jpg"
        with Image.open(journal / "photos" / entry.file) as image:
            assert (image.format, image.size, bool(image.getexif())) == ("JPEG", (120, 80), False)


def test_what_is_clear_becomes_white_and_png_texts_go(send, client):
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", "a comment by the keeper")
    told = send(encoded(Image.new("RGBA", (20, 20), (0, 0, 0, 0)), "PNG", pnginfo=text)).json()
    data = client.get(f"/photos/{told['sha256']}").content
    assert b"keeper" not in data
    with Image.open(io.BytesIO(data)) as image:
        assert image.getpixel((10, 10)) == (255, 255, 255)


# --- refused -------------------------------------------------------------------------------------------------

SVG = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (SVG, "by what it holds"),
        (b"<!doctype html><script>alert(1)</script>", "by what it holds"),
        (b"GIF89a" + b"\0" * 50, "by what it holds"),
        (b"", "by what it holds"),
        (b"\0\0\0\x18ftypavif" + b"\0" * 50, "by what it holds"),
        (b"\xff\xd8\xff" + SVG, "damaged"),
        (encoded(drawn())[:400], "damaged"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 50, "damaged"),
        (b"RIFF\0\0\0\0WEBP", "damaged"),
        (b"RIFF\0\0\0\0WEBPVP8 " + b"\0" * 50, "damaged"),
    ],
)
def test_what_is_no_picture_is_refused_by_what_it_holds(data, says):
    with pytest.raises(UnfitPicture, match=says):
        photos.cleaned(data)


def test_what_is_refused_leaves_nothing_behind(send, journal):
    for name, kind in (("worms.jpg", "image/jpeg"), ("worms.svg", "image/svg+xml"), ("worms.html", "text/html")):
        answer = send(SVG, name=name, kind=kind)
        assert answer.status_code == 422
        assert "by what it holds" in answer.json()["error"]
    assert not kept_of(journal)
    assert not list((journal / "photos").iterdir())


@pytest.mark.parametrize(
    "bomb",
    [png_that_claims(50_000, 50_000), png_that_claims(8001, 10), png_that_claims(7900, 7900),
     png_that_claims(10_000, 10_000), webp_that_claims(16_000, 16_000), webp_that_claims(8001, 1)],
)  # fmt: skip
def test_a_picture_that_would_fill_the_memory_is_refused_before_it_is_decoded(monkeypatch, bomb):
    def decoded(*_, **__):
        raise AssertionError("it was decoded")

    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", decoded)
    monkeypatch.setattr("PIL.WebPImagePlugin.WebPImageFile._open", decoded)
    with pytest.raises(UnfitPicture, match="8000 pixels on a side or 60 million"):
        photos.cleaned(bomb)


def test_a_bomb_that_is_sent_is_refused(send, journal):
    answer = send(png_that_claims(50_000, 50_000), name="worms.png")
    assert answer.status_code == 422
    assert "60 million" in answer.json()["error"]
    assert not kept_of(journal)


def test_a_file_larger_than_thirty_megabytes_is_refused(send, journal):
    answer = send(encoded(drawn()) + b"\0" * photos.MOST_BYTES)
    assert answer.status_code in (413, 422)
    assert "30 MB" in answer.json()["error"]
    assert not kept_of(journal)


def test_fields_are_bounded(send):
    for fields in ({"key": "../../etc"}, {"words": "a" * 300}, {"words": "a\0b"}):
        answer = send(encoded(drawn()), **fields)
        assert answer.status_code == 422
        assert answer.json()["error"]


def test_an_unknown_bin_is_told(send):
    assert send(encoded(drawn()), bin="south").status_code == 404


def test_names_never_touch_paths(send, journal):
    before = sorted(path.name for path in journal.parent.rglob("*"))
    answer = send(encoded(drawn()), name="../../../evil.jpg")
    assert answer.status_code == 201
    added = {path.name for path in journal.parent.rglob("*")} - set(before)
    assert f"{answer.json()['sha256']}.jpg" in added
    assert not any("evil" in name for name in added)


# --- sent twice ----------------------------------------------------------------------------------------------


def test_the_same_picture_under_the_same_key_is_kept_once(send, journal):
    first, again = send(encoded(drawn())), send(encoded(drawn()), when="16 Dec")
    assert (first.status_code, again.status_code) == (201, 201)
    assert (first.json()["repeated"], again.json()["repeated"]) == (False, True)
    assert first.json()["entry"] == again.json()["entry"]
    assert len(kept_of(journal)) == 1


def test_another_picture_under_the_same_key_is_a_conflict_and_the_first_stays(send, journal):
    first = send(encoded(drawn())).json()
    answer = send(encoded(drawn((60, 60))))
    assert answer.status_code in (409, 422)
    assert [one.sha256 for one in kept_of(journal)] == [first["sha256"]]


def test_a_key_of_a_line_is_not_taken_for_a_picture(client, send, journal):
    assert client.post("/api/bins/north/entries", json={"key": KEY, "words": "middle 6 C"}).status_code < 300
    assert send(encoded(drawn())).status_code in (409, 422)
    assert not kept_of(journal)


def test_a_form_without_script_is_led_to_the_picture(send):
    answer = send(encoded(drawn()), accept="text/html")
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("/tally")


# --- given out -----------------------------------------------------------------------------------------------


@pytest.fixture
def sha(send):
    told = send(encoded(drawn((1000, 500)))).json()
    return told["sha256"]


def test_it_is_given_out_as_a_jpeg_that_no_browser_takes_for_anything_else(client, sha):
    answer = client.get(f"/photos/{sha}")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert hashlib.sha256(answer.content).hexdigest() == sha


def test_sizes_are_kept_beside_and_their_number_is_bounded(client, sha, journal):
    for asked in (1, 300, 400, 399):
        with Image.open(io.BytesIO(client.get(f"/photos/{sha}?w={asked}").content)) as image:
            assert image.width == (200 if asked == 1 else 400)
    assert {path.name for path in (journal / "photos").iterdir()} == {
        f"{sha}.jpg", f"{sha}.w200.jpg", f"{sha}.w400.jpg",
    }  # fmt: skip
    assert client.get(f"/photos/{sha}?w=0").status_code == 422
    assert client.get(f"/photos/{sha}?w=99999").status_code == 422


NO_HASHES = (
    "..%2f..%2fjournal.sqlite", "../journal.sqlite", "a" * 63, "A" * 64, "g" * 64, "%00" * 64, "٣" * 64,
    "a" * 64 + "%0a",
)  # fmt: skip


def test_only_a_hash_is_looked_for(client, sha):
    for name in NO_HASHES:
        for path in (f"/photos/{name}", f"/photos/{name}/tally", f"/api/photos/{name}/tallies"):
            assert client.get(path).status_code in (400, 404), path


def test_a_picture_that_was_put_in_as_it_was_is_given_out_without_its_place(client, journal, tmp_path):
    for kind, suffix in (("JPEG", "jpg"), ("PNG", "png"), ("HEIF", "heic")):
        data = with_exif(kind=kind)
        (tmp_path / f"a.{suffix}").write_bytes(data)
        kept = add_photo(journal, tmp_path / f"a.{suffix}")
        given = client.get(f"/photos/{kept.sha256}")
        assert given.headers["content-type"] == "image/jpeg"
        assert b"telltale" not in given.content
        with Image.open(io.BytesIO(given.content)) as image:
            assert not image.getexif()
        assert (journal / "photos" / kept.file).read_bytes() == data  # the original stays


@pytest.mark.parametrize("hidden", ["APP11", "APP0", "COM", "after the end"])
def test_nothing_hides_in_a_picture_that_is_given_out(client, journal, tmp_path, hidden):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "brown").save(out, "JPEG")
    data, notes = out.getvalue(), b"telltale place"
    marker = {"APP11": b"\xff\xeb", "APP0": b"\xff\xe0", "COM": b"\xff\xfe"}.get(hidden)  # ITU T.81, table B.1
    if marker is None:
        data += notes
    else:
        data = data[:2] + marker + (2 + len(notes)).to_bytes(2, "big") + notes + data[2:]
    (tmp_path / "a.jpg").write_bytes(data)
    given = client.get(f"/photos/{add_photo(journal, tmp_path / 'a.jpg').sha256}")
    assert given.status_code == 200
    assert notes not in given.content
    with Image.open(io.BytesIO(given.content)) as image:
        assert image.size == (40, 30)


# --- marks ---------------------------------------------------------------------------------------------------


def marks(*places, stage="juvenile"):
    return [{"x": x, "y": y, "stage": stage} for x, y in places]


def ann_and_ben(client, sha):
    """Ann marks 4, Ben 3, and 2 of them are the same: one exactly, one within the radius across."""
    ann = marks((0.1, 0.1), (0.3, 0.3), (0.5, 0.5), (0.9, 0.1))
    ben = marks((0.1, 0.1), (0.32, 0.3), (0.7, 0.9)) + marks((0.5, 0.5), stage="adult")
    client.post(f"/api/photos/{sha}/tallies", json={"by": "Ann", "marks": ann})
    return client.post(f"/api/photos/{sha}/tallies", json={"by": "Ben", "marks": ben})


def test_two_peoples_marks_give_chapmans_estimate(client, sha):
    told = ann_and_ben(client, sha).json()
    one = next(each for each in told["compared"] if each["stage"] == "juvenile")
    assert (one["found"], one["both"]) == ([4, 3], 2)
    assert one["number"] == pytest.approx((4 + 1) * (3 + 1) / (2 + 1) - 1, abs=0.01)  # Chapman 1951 by hand
    expected = two_observers(4, 3, 2)
    assert (one["low"], one["high"]) == pytest.approx((expected.low, expected.high), abs=0.01)
    assert "90 %, estimated" in one["sentence"]
    adult = next(each for each in told["compared"] if each["stage"] == "adult")
    assert adult["number"] is None
    assert "set no upper end" in adult["sentence"]
    assert any("never a count of the bin" in each for each in told["caveats"])


def test_marks_match_within_the_radius_of_the_longer_side_each_once_and_by_stage():
    one = [Mark(x=0.5, y=0.5, stage="adult")]
    across = [Mark(x=0.52, y=0.5, stage="adult")]
    down = [Mark(x=0.5, y=0.54, stage="adult")]
    assert matched(one, across, (1000, 500)) == 1
    assert matched(one, down, (1000, 500)) == 1  # 20 of 1000 pixels
    assert matched(one, down, (500, 1000)) == 0  # 40 of 1000 pixels
    assert matched(one, across * 3, (1000, 500)) == 1
    assert matched(one, [Mark(x=0.5, y=0.5, stage="juvenile")], (1000, 500)) == 0
    assert matched([], one, (1000, 500)) == 0


def test_the_nearest_pair_is_matched_first():
    mine = [Mark(x=0.50, y=0.5, stage="adult"), Mark(x=0.52, y=0.5, stage="adult")]
    theirs = [Mark(x=0.518, y=0.5, stage="adult"), Mark(x=0.54, y=0.5, stage="adult")]
    # The first of mine reaches only theirs at 0.518, which lies nearer to my second.
    assert matched(mine, theirs, (1000, 1000)) == 1


def test_a_tally_takes_the_place_of_the_same_persons_and_of_no_others(client, sha, journal):
    ann_and_ben(client, sha)
    told = client.post(f"/api/photos/{sha}/tallies", json={"by": " ANN ", "marks": []}).json()
    assert sorted(one["by"] for one in told["tallies"]) == ["ANN", "Ben"]
    kept = json.loads((journal / "photos" / f"{sha}.tally.json").read_text())
    assert len(kept["tallies"]) == 2


BAD_TALLIES: tuple[object, ...] = (
    {"by": "", "marks": []},
    {"by": "a" * 41, "marks": []},
    {"by": "a\nb", "marks": []},
    {"by": "Ann", "marks": marks((1.1, 0.5))},
    {"by": "Ann", "marks": marks((0.5, 0.5), stage="queen")},
    {"by": "Ann", "marks": marks((0.5, 0.5)) * (tally.MOST_MARKS + 1)},
    {"by": "Ann", "marks": [], "more": 1},
    [],
)


def test_tallies_are_bounded(client, sha):
    for body in BAD_TALLIES:
        answer = client.post(f"/api/photos/{sha}/tallies", json=body)
        assert answer.status_code == 422
        assert answer.json()["error"]


def test_so_many_people_count_and_no_more(client, sha):
    answers = [client.post(f"/api/photos/{sha}/tallies", json={"by": f"p{n}", "marks": []}) for n in range(7)]
    assert [answer.status_code for answer in answers] == [200] * 6 + [422]


def test_marks_that_came_to_harm_are_told_and_not_overwritten(client, sha, journal):
    file = journal / "photos" / f"{sha}.tally.json"
    file.write_text("{")
    assert client.get(f"/api/photos/{sha}/tallies").status_code == 422
    assert client.post(f"/api/photos/{sha}/tallies", json={"by": "Ann", "marks": []}).status_code == 422
    assert file.read_text() == "{"


def test_a_tally_becomes_a_sighting_that_a_later_one_corrects(client, sha, journal):
    ann_and_ben(client, sha)

    def seen():
        with Journal.open(journal) as book:
            return {(one.stage, one.amount.low, one.amount.high) for one in book.entries("north", kind=Sighting)}

    post = f"/api/photos/{sha}/sightings"
    assert client.post(post, json={"by": "Carl", "bin": "north"}).status_code == 422
    assert client.post(post, json={"by": "ann", "bin": "south"}).status_code == 404  # it has no such picture
    assert client.post(post, json={"by": "ann"}).status_code == 422
    answer = client.post(post, json={"by": "ann", "bin": "north"})
    assert answer.status_code == 201
    assert answer.json()["said"] == ["saw at least 4 juveniles on a photo, counted by Ann"]
    assert seen() == {("juvenile", 4.0, float("inf"))}
    client.post(post, json={"by": "Ann", "bin": "north"})  # again: harmless
    assert seen() == {("juvenile", 4.0, float("inf"))}
    client.post(post, json={"by": "Ben", "bin": "north"})
    assert seen() == {("juvenile", 3.0, float("inf")), ("adult", 1.0, float("inf"))}
    with Journal.open(journal) as book:
        photo = book.entries(kind=Photo)[0]
        every = book.entries("north", kind=Sighting, superseded=True)
    assert len(every) == 3  # the first words stay
    assert {one.when.start for one in every} == {photo.when.start}
    assert {one.place for one in every} == {"surface"}


def test_the_page_tells_without_script_and_escapes_names(client, sha):
    evil = "<b>&\"'"
    client.post(f"/api/photos/{sha}/tallies", json={"by": evil, "marks": marks((0.1, 0.1))})
    page = client.get(f"/photos/{sha}/tally")
    assert page.status_code == 200
    assert evil not in page.text
    assert "&lt;b&gt;" in page.text
    assert "a lower bound, and never a count of the bin" in page.text
    assert " style=" not in page.text


def test_words_of_a_picture_are_escaped(client, send):
    told = send(encoded(drawn((50, 40))), words="<script>alert(1)</script>").json()
    page = client.get(f"/photos/{told['sha256']}/tally").text
    assert "<script>alert" not in page
    assert UUID(told["entry"])
