"""Pictures as a phone sends them, damaged in every way: shown as pixels, or refused in a sentence."""

from __future__ import annotations

import io
from pathlib import Path

import pillow_heif
from hypothesis import given
from PIL import Image

from tests.fuzz.scribble import FUZZ, read_or_refuse, scribbled_bytes
from tests.update.test_pictures import WHEN, corners, encoded, telling
from underlid.journal.errors import NotAPhoto
from underlid.update.pictures import MOST_SIDE, picture, upright
from underlid.web.photos import cleaned

pillow_heif.register_heif_opener()
KINDS = ("JPEG", "PNG", "WEBP", "HEIF")
GOOD = [
    *(telling(kind) for kind in KINDS),
    *(encoded(corners((24, 16)), kind) for kind in KINDS),
    encoded(corners((24, 16)), "JPEG", progressive=True),
    encoded(corners((24, 16)).convert("P"), "PNG", transparency=3),
    encoded(corners((24, 16)).convert("I;16"), "PNG"),
    encoded(corners((24, 16)).convert("CMYK"), "JPEG"),
    encoded(corners((24, 16)), "WEBP", lossless=True),
    encoded(corners((24, 16)), "WEBP", save_all=True, append_images=[corners((24, 16))]),
    encoded(corners((24, 16)), "PNG", save_all=True, append_images=[corners((24, 16))]),
]


@FUZZ
@given(data=scribbled_bytes(GOOD))
def test_a_picture_of_an_account(data: bytes) -> None:
    shown = []
    if read_or_refuse(lambda: shown.append(picture(data, "one", "", WHEN))) is None:
        with Image.open(io.BytesIO(shown[0].jpeg), formats=["JPEG"]) as image:
            image.load()
            assert max(image.size) <= MOST_SIDE
            assert not {"exif", "icc_profile", "comment", "xmp"} & image.info.keys()


@FUZZ
@given(data=scribbled_bytes(GOOD, head=2000))
def test_a_picture_for_the_journal(data: bytes) -> None:
    kept = []
    if read_or_refuse(lambda: kept.append(cleaned(data))) is None:
        assert upright(kept[0].jpeg).size == upright(data).size
        assert b"telltale" not in kept[0].jpeg


@FUZZ
@given(data=scribbled_bytes(GOOD, head=16))
def test_a_picture_is_told_by_its_bytes(tmp_path: Path, data: bytes) -> None:
    from underlid.journal.photos import add_photo
    from underlid.journal.store import FILE

    (tmp_path / FILE).touch()
    path = tmp_path / "picture.jpg"
    path.write_bytes(data)
    refused = read_or_refuse(lambda: add_photo(tmp_path, path))
    assert refused is None or isinstance(refused, NotAPhoto)
