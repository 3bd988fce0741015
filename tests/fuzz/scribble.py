"""Good files and words, scribbled over: mutations that keep most of a text's form, and what may come of reading one.

`FUZZ_EXAMPLES` is how many examples each test tries: few within the suite, thousands by `make fuzz`.
"""

from __future__ import annotations

import faulthandler
import os
import re
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from types import FrameType

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

#: Examples of each test.
EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "60"))
FUZZ = settings(
    max_examples=EXAMPLES,
    deadline=None,  # a watchdog stands for it: what takes long on a loaded machine is no fault
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
    derandomize="FUZZ_EXAMPLES" not in os.environ,  # the suite is the same for all, a long run never
    database=None,
)
PATIENCE_S = 30  # after which a single example counts as one that never ends
LONGEST = 60_000  # bytes of a scribbled file, so that memory is that of the reader and not of the test

#: What breaks readers: numbers that are none or too large, brackets without end, quotes, signs that steer.
SCRAPS: Sequence[str] = (
    "", " ", "\n", "\r", "\r\n", "\t", "\0", "\x1b[2J", "\ufeff", "\u202e", "\u2028", "\x85", "٣", "½", "²", "é", "🪱",
    "-", "--", "-0", "0", "1", "-1", "0.1", "1e999", "-1e999", "1e-999", "nan", "NaN", "inf", "-inf", "Infinity",
    "1_000", "0x1F", "0o7", "9" * 400, "9" * 5000, "0x" + "F" * 5000, "1." + "3" * 3000, "1,5", "true", "false", "null",
    "[]", "{}", "[" * 3000, "{" * 3000, '{"a":' * 3000, "]" * 50, '"', "'", '"""', "'''", "\\", "\\ud800", "\\u0000",
    "\\x00", "#", "=", ",", ";", ":", "/", "//", "../", "%", "%00", "%s", "{0}", "=1+1", "@", "x" * 3000, "word " * 200,
    "2024-02-30", "0001-01-01", "9999-12-31", "9999-12-31T23:59:59-23:59", "0001-01-01T00:00:00+23:59", "24:00",
    "25:61", "2026-03-29T02:30:00+99:00", "1979-05-27T07:32:00Z", "Europe/Berlin", "../../etc/passwd",
)  # fmt: skip
_TOKEN = re.compile(r'"[^"\n]*"|\'[^\'\n]*\'|[\w.+-]+|\s+|.', re.DOTALL)


class NeverEnds(BaseException):
    """Reading one example took so long that it counts as a hang. No reader's `except Exception` may hide it."""


@contextmanager
def watched() -> Iterator[None]:
    """Stop what never ends: by an alarm, so that the example is told; in compiled code, with the whole process."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise NeverEnds(f"more than {PATIENCE_S} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, PATIENCE_S)
    faulthandler.dump_traceback_later(2 * PATIENCE_S, exit=True)
    try:
        yield
    finally:
        faulthandler.cancel_dump_traceback_later()
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def read_or_refuse(read: Callable[[], object]) -> ValueError | None:
    """Read; the refusal if it is one of our own, in words. Any other error is a fault, and comes out as it is."""
    with watched():
        try:
            read()
            return None
        except ValueError as error:
            if not (type(error).__module__.startswith("underlid.") and str(error).strip()):
                raise
            return error


# --- mutations ----------------------------------------------------------------------------------------------


@cache
def _tokens(text: str) -> list[tuple[int, int]]:
    return [found.span() for found in _TOKEN.finditer(text)]


@st.composite
def scribbled(draw: st.DrawFn, good: Sequence[str], scraps: Sequence[str] = ()) -> str:
    """One of the good texts with one to four changes: of a token, a line or a stretch.

    scraps : besides the general ones, words that mean something to this reader
    """
    text = draw(st.sampled_from(good))
    scrap = st.sampled_from([*SCRAPS, *scraps]) | st.text(max_size=8)
    for _ in range(draw(st.integers(1, 4))):
        how = draw(st.sampled_from(["token", "token", "token", "put", "cut", "line", "twice", "swap", "end"]))
        if how in ("token", "put") and (tokens := _tokens(text)):
            start, end = tokens[draw(st.integers(0, len(tokens) - 1))]
            text = text[:start] + draw(scrap) + text[start if how == "put" else end :]
        elif how == "cut":
            start = draw(st.integers(0, len(text)))
            text = text[:start] + text[start + draw(st.integers(0, 80)) :]
        elif how == "end":
            text = text[: draw(st.integers(0, len(text)))]
        else:
            lines = text.split("\n")
            one, other = (draw(st.integers(0, len(lines) - 1)) for _ in range(2))
            if how == "line":
                lines[one] = draw(scrap)
            elif how == "twice":
                lines.insert(other, lines[one])
            else:
                lines[one], lines[other] = lines[other], lines[one]
            text = "\n".join(lines)
        text = text[:LONGEST]
    return text


def encoded(text: str) -> bytes:
    """As UTF-8; what has no bytes becomes a byte that is no UTF-8."""
    return text.encode("utf-8", "surrogateescape") if _escapes(text) else text.encode("utf-8", "surrogatepass")


def _escapes(text: str) -> bool:
    return all(not "\ud800" <= letter <= "\udfff" or "\udc80" <= letter <= "\udcff" for letter in text)


#: Sizes and counts at the ends of what two and four bytes hold.
ENDS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF)


@st.composite
def scribbled_bytes(draw: st.DrawFn, good: Sequence[bytes], head: int = 400) -> bytes:
    """One of the good files with one to six changes: bits, numbers of two or four bytes, stretches, an early end.

    head : half of the changes fall within so many bytes from the start, where files say what they are
    """
    data = bytearray(draw(st.sampled_from(good)))
    for _ in range(draw(st.integers(1, 6))):
        most = min(head, len(data)) if draw(st.booleans()) else len(data)
        at = draw(st.integers(0, most))
        how = draw(st.sampled_from(["bit", "number", "number", "put", "cut", "copy", "end"]))
        if how == "bit" and at < len(data):
            data[at] ^= 1 << draw(st.integers(0, 7))
        elif how == "number":
            size, order = draw(st.sampled_from([1, 2, 3, 4])), "big" if draw(st.booleans()) else "little"
            value = draw(st.sampled_from(ENDS) | st.integers(0, 2**32 - 1)) % 256**size
            data[at : at + size] = value.to_bytes(size, order)
        elif how == "put":
            data[at:at] = draw(st.binary(max_size=16))
        elif how == "cut":
            del data[at : at + draw(st.integers(0, 64))]
        elif how == "copy":
            other = draw(st.integers(0, len(data)))
            data[at:at] = data[other : other + draw(st.integers(0, 64))]
        elif how == "end" and draw(st.booleans()):
            del data[at:]
    return bytes(data)


#: Where, in parts of a million, what is written there and in how many bytes: for files that nothing may be shifted in.
CHANGES = st.lists(st.tuples(st.integers(0, 10**6), st.sampled_from(ENDS), st.integers(1, 4)), min_size=1, max_size=4)


def overwritten(good: bytes, changes: Sequence[tuple[int, int, int]], within: int | None = None) -> bytes:
    """The file with changes in place, all of them within so many bytes from its start."""
    data = bytearray(good)
    for part, value, size in changes:
        at = part * (len(data) if within is None else within) // 10**6
        data[at : at + size] = (value % 256**size).to_bytes(size, "little")
    return bytes(data[: len(good)])
