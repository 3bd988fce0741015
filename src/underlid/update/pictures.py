"""Photos made fit to be shown to strangers: upright, of a bearable size, in plain sRGB, and nothing but their pixels.

Whatever a camera writes beside a picture (place, time, maker, comments, small copies, colour profile) stays behind: the
picture is decoded, its colours are brought to sRGB, and its pixels alone are written anew as JPEG. The same bytes in
give the same bytes out.
"""

from __future__ import annotations

import io
import math
from dataclasses import replace
from datetime import datetime
from threading import Lock

import numpy as np
import pillow_heif
from PIL import Image, ImageCms, ImageOps

from underlid.update.lifefacts import Picture

pillow_heif.register_heif_opener()

LONGEST = 1600  # px
QUALITY = 82
MOST_BYTES = 50_000_000
MOST_SIDE, MOST_PIXELS = 8000, 60_000_000
CENTRE = (0.5, 0.5)
_decoding = Lock()  # one at a time: a large picture takes some hundred megabytes


class UnfitPicture(ValueError):
    """These bytes are no picture that can be shown; the sentence says why."""


class UnfitCrop(ValueError):
    """A picture cannot be cropped like that."""


def picture(
    data: bytes,
    name: str,
    caption: str,
    when: datetime,
    focus: tuple[float, float] = CENTRE,
    longest: int = LONGEST,
) -> Picture:
    """A photo as the account shows it.

    data : a JPEG, PNG, WebP or HEIC, by what it holds; focus : the point that stays in sight however it is cropped, as
    shares from left and top of the upright picture; longest : of its sides, in pixels; a smaller one stays as it is
    Raises UnfitPicture, before decoding a picture that is too large; UnfitCrop if the focus is not in it.
    """
    _check_focus(focus)
    try:
        image = upright(data, longest)
    except UnfitPicture as error:
        raise UnfitPicture(f"The picture {name} cannot be shown. {error}") from error.__cause__
    image.thumbnail((longest, longest), Image.Resampling.LANCZOS)
    return Picture(name, caption, when, jpeg_of(image), *image.size, focus)


def cropped(of: Picture, ratio: float) -> Picture:
    """The largest part of a picture that is `ratio` times as wide as high, the focus as near its middle as can be.

    Raises UnfitCrop if the ratio is not a number above nought.
    """
    if not (math.isfinite(ratio) and ratio > 0):
        raise UnfitCrop(f"A picture cannot be {ratio:g} times as wide as high; give a number above 0, such as 1.78.")
    _check_focus(of.focus)
    left, top, width, height = crop_box(of.width, of.height, ratio, of.focus)
    if (width, height) == (of.width, of.height):
        return of
    with Image.open(io.BytesIO(of.jpeg), formats=["JPEG"]) as whole:
        part = whole.convert("RGB").crop((left, top, left + width, top + height))
    focus = ((of.focus[0] * of.width - left) / width, (of.focus[1] * of.height - top) / height)
    inside = (min(1.0, max(0.0, focus[0])), min(1.0, max(0.0, focus[1])))
    return replace(of, jpeg=jpeg_of(part), width=width, height=height, focus=inside)


def crop_box(width: int, height: int, ratio: float, focus: tuple[float, float]) -> tuple[int, int, int, int]:
    """Left, top, width and height [px] of the largest part with a ratio of sides, around a focus as far as it goes."""
    if width > ratio * height:
        wide, high = min(width, max(1, round(ratio * height))), height
    else:
        wide, high = width, min(height, max(1, round(width / ratio)))
    left = min(max(round(focus[0] * width - wide / 2), 0), width - wide)
    top = min(max(round(focus[1] * height - high / 2), 0), height - high)
    return left, top, wide, high


def upright(data: bytes, longest: int | None = None) -> Image.Image:
    """The pixels of a picture in sRGB, turned as its camera was held, what is see-through on white; nothing else of it.

    longest : where the longest side needs no more pixels than this, a JPEG is decoded at a fraction of its size
    Raises UnfitPicture.
    """
    if len(data) > MOST_BYTES:
        raise UnfitPicture(f"It is larger than {MOST_BYTES // 1_000_000} MB; make it smaller.")
    kind = _kind(data)
    if kind == "WEBP":
        _bearable(*_webp_size(data))  # its reader makes room for all of it at once
    with _decoding:
        try:
            with Image.open(io.BytesIO(data), formats=[kind]) as image:
                _bearable(*image.size)
                if longest is not None and kind == "JPEG":
                    image.draft(None, (longest, longest))  # None keeps the colours' mode
                turned = ImageOps.exif_transpose(image)
                _bearable(*turned.size)
                plain = _in_srgb(turned)
                plain.info.clear()  # comments and notes would be written out again
                return plain
        except UnfitPicture:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            raise _too_large() from None
        except Exception as error:  # whatever a decoder makes of bytes that somebody sent is no fault of ours
            raise UnfitPicture("It is damaged, or no picture: it cannot be read to its end.") from error


def jpeg_of(image: Image.Image, quality: int = QUALITY) -> bytes:
    """An image's pixels as JPEG, with nothing beside them."""
    image.info.clear()
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


# --- inside ----------------------------------------------------------------------------------------------


def _kind(data: bytes) -> str:
    """The format by the first bytes; names and declared types are never asked."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"heim", b"heis", b"mif1"):
        return "HEIF"
    raise UnfitPicture("It is no JPEG, PNG, WebP or HEIC picture, by what it holds.")


def _webp_size(data: bytes) -> tuple[int, int]:
    """Width and height by the header (RFC 9649)."""
    chunk, head = data[12:16], data[20:30]
    if len(head) == 10 and chunk == b"VP8X":
        return 1 + int.from_bytes(head[4:7], "little"), 1 + int.from_bytes(head[7:10], "little")
    if len(head) == 10 and chunk == b"VP8L":
        bits = int.from_bytes(head[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if len(head) == 10 and chunk == b"VP8 ":
        return int.from_bytes(head[6:8], "little") & 0x3FFF, int.from_bytes(head[8:10], "little") & 0x3FFF
    raise UnfitPicture("It is damaged: it does not say how large it is.")


def _bearable(width: int, height: int) -> None:
    if max(width, height) > MOST_SIDE or width * height > MOST_PIXELS:
        raise _too_large()


def _too_large() -> UnfitPicture:
    return UnfitPicture(
        f"It has more than {MOST_SIDE} pixels on a side or {MOST_PIXELS // 1_000_000} million in all; make it smaller."
    )


def _in_srgb(image: Image.Image) -> Image.Image:
    """Eight bits of red, green and blue as sRGB has them, whatever the picture's own colour profile says."""
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I"):  # sixteen bits of grey
        image = Image.fromarray((np.asarray(image, dtype=np.int64) >> 8).clip(0, 255).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        layered = image.convert("RGBA")
        image = Image.new("RGBA", layered.size, "white")
        image.alpha_composite(layered)
        image = image.convert("RGB")
    if image.mode not in ("RGB", "L", "CMYK"):
        image = image.convert("RGB")
    return _by_profile(image, profile) or image.convert("RGB")


def _by_profile(image: Image.Image, profile: object) -> Image.Image | None:
    """The image brought from its colour profile to sRGB, None if it has none or one that cannot be used."""
    if not isinstance(profile, bytes) or not profile:
        return None
    try:
        return ImageCms.profileToProfile(
            image, ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):  # damaged, or for another kind of picture than this one
        return None


def _check_focus(focus: tuple[float, float]) -> None:
    if not all(0 <= share <= 1 for share in focus):
        raise UnfitCrop(
            f"The focus {focus[0]:g}, {focus[1]:g} lies outside the picture; give shares from its left and top, each "
            "from 0 to 1."
        )
