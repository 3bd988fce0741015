"""Photos of an account: what comes out of them is pixels, upright, and no more."""

import io
import struct
import zlib
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pillow_heif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageDraw, JpegImagePlugin, PngImagePlugin

from underlid.update.pictures import QUALITY, UnfitCrop, UnfitPicture, crop_box, cropped, picture

pillow_heif.register_heif_opener()
WHEN = datetime(2026, 1, 11, 8, tzinfo=UTC)
GPS = {1: "N", 2: (55.0, 20.0, 15.0), 3: "W", 4: (160.0, 29.0, 50.0)}
SECRET = b"telltale"
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a>telltale</a></x:xmpmeta>'
PHOTOSHOP = b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0" + struct.pack(">I", 13) + b"\x1c\x02\x19\0\x08telltale\0"
CORNERS = {"red": (0.1, 0.1), "green": (0.9, 0.1), "blue": (0.1, 0.9), "yellow": (0.9, 0.9)}
# Exif 2.32 (CIPA DC-008, 2019), table of the tag Orientation: how the upright picture becomes the stored one.
STORED_AS = {
    1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}  # fmt: skip


def corners(size=(160, 80)):
    """A picture with another colour in each corner."""
    image = Image.new("RGB", size, "white")
    draw = ImageDraw.Draw(image)
    for colour, (x, y) in CORNERS.items():
        left, top = (0 if x < 0.5 else size[0] // 2), (0 if y < 0.5 else size[1] // 2)
        draw.rectangle((left, top, left + size[0] // 2 - 1, top + size[1] // 2 - 1), fill=colour)
    return image


def encoded(image, kind="JPEG", **more):
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def exif(orientation=1):
    found = Image.Exif()
    found[0x010F] = "telltale phone"
    found[0x0112] = orientation
    found[0x8769] = {0x9003: "2026:01:23 10:05:00", 0x9286: b"ASCII\0\0\0telltale comment"}
    found[0x8825] = GPS
    return found


def telling(kind, image=None):
    """A picture that tells all that one can beside its pixels."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    more = {"exif": exif(), "icc_profile": profile}
    if kind == "JPEG":
        data = encoded(image or corners(), kind, **more, comment=b"telltale comment", xmp=XMP)
        iptc = b"\xff\xed" + struct.pack(">H", len(PHOTOSHOP) + 2) + PHOTOSHOP
        return data[:2] + iptc + data[2:]
    if kind == "PNG":
        notes = PngImagePlugin.PngInfo()
        notes.add_text("Comment", "telltale")
        notes.add_itxt("XML:com.adobe.xmp", XMP.decode())
        return encoded(image or corners(), kind, pnginfo=notes, **more)
    return encoded(image or corners(), kind, xmp=XMP, **more)


def made(data, **more):
    return picture(data, "a.jpg", "Worms", WHEN, **more)


def opened(found):
    with Image.open(io.BytesIO(found.jpeg), formats=["JPEG"]) as image:
        image.load()
        return image.copy()


def colour_at(image, x, y):
    return image.getpixel((int(x * image.width), int(y * image.height)))


def near(one, other, most=24):
    return all(abs(a - b) <= most for a, b in zip(one, other, strict=True))


def is_upright(image):
    expected = corners()
    return all(near(colour_at(image, *at), colour_at(expected, *at)) for at in CORNERS.values())


# --- nothing but pixels -----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_nothing_that_was_written_beside_the_pixels_comes_out(kind):
    data = telling(kind)
    assert SECRET in data
    with Image.open(io.BytesIO(data)) as before:
        assert before.getexif().get_ifd(0x8825)  # the place was in it
    found = made(data)
    for mark in (SECRET, b"Exif", b"GPS", b"http", b"xmp", b"xpacket", b"Photoshop", b"8BIM", b"ICC_PROFILE", b"acsp",
                 b"II*\0", b"MM\0*", b"MPF"):  # fmt: skip
        assert mark not in found.jpeg
    image = opened(found)
    assert not dict(image.getexif())
    assert image.info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert is_upright(image)


def test_only_the_parts_a_jpeg_cannot_do_without_are_in_it():
    parts, at, jpeg = [], 2, made(telling("JPEG")).jpeg
    while jpeg[at + 1] != 0xDA:  # up to the scan: APP0 is JFIF, DB, C0, C4 tables and the frame (ITU-T T.81, table B.1)
        parts.append(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    assert set(parts) <= {0xE0, 0xDB, 0xC0, 0xC4}
    assert jpeg.endswith(b"\xff\xd9")


def test_what_is_hidden_behind_the_end_of_a_picture_stays_behind():
    assert SECRET not in made(encoded(corners()) + b"telltale trailer, or a film").jpeg


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_the_same_bytes_give_the_same_bytes(kind):
    data = telling(kind)
    assert made(data) == made(data)
    assert cropped(made(data), 1).jpeg == cropped(made(data), 1).jpeg


def test_what_the_keeper_says_of_it_goes_along():
    found = picture(encoded(corners()), "a.jpg", "Worms <b>", WHEN, (0.2, 0.8))
    assert (found.name, found.caption, found.when, found.focus) == ("a.jpg", "Worms <b>", WHEN, (0.2, 0.8))
    assert (found.width, found.height) == opened(found).size == (160, 80)


def test_it_is_written_with_the_quality_that_is_said():
    reference = encoded(corners(), quality=QUALITY)
    with Image.open(io.BytesIO(reference)) as one:
        assert isinstance(one, JpegImagePlugin.JpegImageFile)
        told = opened_tables(made(encoded(corners(), "PNG")).jpeg)
        assert told == one.quantization


def opened_tables(jpeg):
    with Image.open(io.BytesIO(jpeg)) as image:
        assert isinstance(image, JpegImagePlugin.JpegImageFile)
        return image.quantization


# --- upright, in size and colour --------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", STORED_AS)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_it_is_upright_however_the_camera_was_held(kind, orientation):
    turn = STORED_AS[orientation]
    stored = corners() if turn is None else corners().transpose(turn)
    found = made(encoded(stored, kind, exif=exif(orientation)), longest=100)
    assert (found.width, found.height) == (100, 50)
    assert is_upright(opened(found))


@pytest.mark.parametrize("orientation", STORED_AS)
def test_a_heic_picture_is_upright_by_its_own_turn(orientation):
    # The file itself says how it is turned (ISO/IEC 23008-12, irot and imir); that goes before what its Exif part says.
    turn = STORED_AS[orientation]
    stored = corners() if turn is None else corners().transpose(turn)
    data = encoded(stored, "HEIF", exif=exif(orientation).tobytes())
    assert (b"irot" in data or b"imir" in data) == (orientation > 1)
    found = made(data)
    assert (found.width, found.height) == (160, 80)
    assert is_upright(opened(found))


@pytest.mark.parametrize(
    ("size", "longest", "expected"),
    [((4000, 3000), 1600, (1600, 1200)), ((300, 4000), 1600, (120, 1600)), ((1600, 9), 1600, (1600, 9)),
     ((8000, 10), 1600, (1600, 2)), ((1, 1), 1600, (1, 1)), ((1, 4000), 1600, (1, 1600)), ((900, 800), 45, (45, 40))],
)  # fmt: skip
def test_the_longest_side_is_brought_down_to_what_is_asked(size, longest, expected):
    found = made(encoded(Image.new("RGB", size, "saddlebrown")), longest=longest)
    assert (found.width, found.height) == opened(found).size == expected


def test_what_is_see_through_lies_on_white():
    image = Image.new("RGBA", (40, 20), (0, 0, 0, 0))
    ImageDraw.Draw(image).rectangle((20, 0, 40, 20), fill=(200, 0, 0, 128))
    found = opened(made(encoded(image, "PNG")))
    assert near(found.getpixel((5, 10)), (255, 255, 255), 3)
    assert near(found.getpixel((35, 10)), (227, 127, 127), 6)


@pytest.mark.parametrize("mode", ["L", "1", "P", "I;16", "LA"])
def test_grey_and_few_colours_are_shown_as_they_are(mode):
    grey = Image.new("L", (20, 20), 255).convert(mode) if mode != "I;16" else Image.fromarray(
        np.full((20, 20), 65535, np.uint16)
    )  # fmt: skip
    assert near(opened(made(encoded(grey, "PNG"))).getpixel((10, 10)), (255, 255, 255), 3)


def test_sixteen_bits_of_grey_keep_their_shades():
    half = Image.fromarray(np.full((20, 20), 32896, np.uint16))
    assert near(opened(made(encoded(half, "PNG"))).getpixel((10, 10)), (128, 128, 128), 3)


def test_colours_of_another_profile_are_brought_to_srgb():
    # A linear RGB space made of the sRGB primaries: half of the light is 188 of 255 in sRGB (IEC 61966-2-1).
    profile = linear_rgb()
    found = opened(made(encoded(Image.new("RGB", (20, 20), (128, 128, 128)), "PNG", icc_profile=profile)))
    assert near(found.getpixel((10, 10)), (188, 188, 188), 3)


def linear_rgb():
    """The sRGB profile with straight curves in place of its own: the tag 'curv' with no entries (ICC.1:2022, 10.6)."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    for i in range(int.from_bytes(data[128:132], "big")):
        tag = 132 + 12 * i
        if bytes(data[tag : tag + 4]) in (b"rTRC", b"gTRC", b"bTRC"):
            at = int.from_bytes(data[tag + 4 : tag + 8], "big")
            data[at : at + 12] = b"curv" + bytes(8)
            data[tag + 8 : tag + 12] = (12).to_bytes(4, "big")
    return bytes(data)


@pytest.mark.parametrize("profile", [b"no profile", b""])
def test_a_damaged_colour_profile_is_passed_over(profile):
    found = opened(made(encoded(corners(), icc_profile=profile)))
    assert is_upright(found)


def test_a_cmyk_photo_is_shown():
    assert is_upright(opened(made(encoded(corners().convert("CMYK")))))


def test_of_moving_pictures_the_first_is_shown():
    data = encoded(corners(), "WEBP", save_all=True, append_images=[Image.new("RGB", (160, 80), "black")])
    assert is_upright(opened(made(data)))


# --- refused ----------------------------------------------------------------------------------------------


def png_that_claims(width, height):
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 64)) + chunk(b"IEND", b"")


def webp_that_claims(width, height):
    head = b"\0" * 4 + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + struct.pack("<I", 10) + head
    return b"RIFF" + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no JPEG, PNG, WebP or HEIC"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no JPEG, PNG, WebP or HEIC"),
        (b"GIF89a" + bytes(40), "no JPEG, PNG, WebP or HEIC"),
        (encoded(corners())[:300], "damaged"),
        (b"\xff\xd8\xff" + bytes(100), "damaged"),
        (png_that_claims(30000, 30000), "more than 8000 pixels"),
        (png_that_claims(7900, 7900), "60 million"),
        (webp_that_claims(16000, 16000), "more than 8000 pixels"),
        (b"RIFF\x10\0\0\0WEBPVP8X", "how large"),
        (b"\0\0\0\x18ftypheic" + bytes(60), "damaged"),
    ],
)
def test_what_is_no_picture_is_refused_in_sentences_that_name_it(data, said):
    with pytest.raises(UnfitPicture, match=said) as caught:
        made(data)
    assert str(caught.value).startswith("The picture a.jpg cannot be shown. It ")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("focus", [(-0.1, 0.5), (0.5, 1.1), (float("nan"), 0.5)])
def test_a_focus_outside_the_picture_is_refused(focus):
    with pytest.raises(UnfitCrop, match="outside the picture"):
        made(encoded(corners()), focus=focus)


# --- cropped ----------------------------------------------------------------------------------------------

sides = st.integers(1, 5000)
shares = st.floats(0, 1)
ratios = st.floats(0.01, 100)


@settings(max_examples=300, deadline=None)
@given(sides, sides, ratios, st.tuples(shares, shares))
def test_a_part_lies_inside_holds_the_focus_and_is_as_large_as_can_be(width, height, ratio, focus):
    left, top, wide, high = crop_box(width, height, ratio, focus)
    assert 0 <= left <= left + wide <= width
    assert 0 <= top <= top + high <= height
    assert left <= focus[0] * width <= left + wide
    assert top <= focus[1] * height <= top + high
    assert wide == width or high == height
    assert abs(wide - ratio * high) <= max(1, ratio)  # to the nearest pixel of the side that was cut


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 60), st.integers(1, 60), ratios, st.tuples(shares, shares))
def test_a_cropped_picture_keeps_its_focus_on_the_same_thing(width, height, ratio, focus):
    whole = replace(made(encoded(Image.new("RGB", (width, height), "saddlebrown"))), focus=focus)
    part = cropped(whole, ratio)
    assert opened(part).size == (part.width, part.height)
    left, top, _, _ = crop_box(width, height, ratio, focus)
    assert part.focus[0] * part.width + left == pytest.approx(focus[0] * width, abs=1e-6)
    assert part.focus[1] * part.height + top == pytest.approx(focus[1] * height, abs=1e-6)


def test_cropping_shows_what_the_focus_is_on():
    whole = made(encoded(corners((800, 400))))
    for colour, at in CORNERS.items():
        part = cropped(replace(whole, focus=at), 0.2)
        expected = corners().getpixel((int(at[0] * 160), int(at[1] * 80)))
        assert near(colour_at(opened(part), *part.focus), expected), colour


def test_a_picture_that_has_the_ratio_is_not_written_anew():
    whole = made(encoded(corners()))
    assert cropped(whole, 2.0) is whole


@pytest.mark.parametrize("ratio", [0, -1, float("nan"), float("inf")])
def test_a_ratio_that_no_picture_has_is_refused(ratio):
    with pytest.raises(UnfitCrop, match="times as wide as high"):
        cropped(made(encoded(corners())), ratio)


def test_a_large_photo_comes_out_small():
    noise = np.random.default_rng(1).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    photo = Image.fromarray(noise).resize((4000, 3000), Image.Resampling.BICUBIC)
    data = encoded(photo, quality=95, exif=exif(6))
    found = made(data)
    assert (found.width, found.height) == (1200, 1600)
    assert len(found.jpeg) < 1_000_000
    assert found.jpeg == made(data).jpeg
