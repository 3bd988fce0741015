"""Files and lines that came to harm: thousands of them, mutated at random, given to everything that reads one.

Each may be read or refused in a sentence of ours. Anything else is a fault: another error, a process that dies, one
that goes on for longer than it may, and an import that stores a part.
"""

from __future__ import annotations

import io
import os
import select
import shutil
import signal
import warnings
from collections.abc import Callable
from itertools import count
from pathlib import Path
from random import Random

from faults_work import NOW, Child, Row, Tell, counted, csv_file, make_journal, start

from underlid.entry import parse_line
from underlid.journal.exchange import import_entries
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount

LONGEST_S = 60  # that one case may take
FRESH_AFTER = 500  # cases on one journal, which grows meanwhile

BUCKET = {"bucket": parse_amount("10 L")}

#: What breaks readers, besides random bytes.
SCRAPS = tuple(
    scrap.encode("utf-8", "surrogatepass")
    for scrap in (
        "", ",", ";", "\t", '"', '""', "'", "\n", "\r", "\r\n", "\0", "\ufeff", "\u2028", "\x85", "\ud800", "-", "--",
        "+", "0", "-0", "1e309", "-1e309", "1e-400", "nan", "inf", "-inf", "1_000", "1,5", "1.2.3", "0x10", "٣", "½",
        "9" * 400, "9" * 5000, "°C", "C", "F", "K", "%", "not noted", "about", "a few", "between", "and", "or", ":",
        "yesterday", "29 Feb", "31 April 2026", "0000-00-00", "9999-12-31", "0001-01-01", "24:00", "25:61",
        "2026-03-29 01:30", "north", "nowhere", "[", "]", "[" * 2000, "{", "}", '{"a":' * 2000, "null", "true", "=1+1",
        "@", "☘", "🪱", "\u202e", "x" * 3000, "word " * 300, "../../x", "%s", "{0}",
    )
)  # fmt: skip


def mutated(good: bytes, random: Random) -> bytes:
    """One to five changes: of a byte, a stretch, a cell, a line, the end or the encoding."""
    data = bytearray(good)
    for _ in range(random.choice((1, 1, 2, 3, 5))):
        at = random.randrange(len(data) + 1)
        to = min(len(data), at + random.choice((1, 2, 5, 20, 200)))
        match random.randrange(9):
            case 0:
                data[at:to] = random.randbytes(to - at)
            case 1:
                del data[at:to]
            case 2:
                data[at:at] = data[at:to] * random.choice((1, 2, 50))
            case 3 | 4:
                data[at : random.choice((at, to))] = random.choice(SCRAPS)
            case 5:
                data = _cells(data, random)
            case 6:
                data = _lines(data, random)
            case 7:
                del data[at:]
            case _:
                if random.random() < 0.1:
                    text = data.decode("utf-8", "replace")
                    data = bytearray(text.encode(random.choice(("utf-16", "utf-8-sig", "cp1252", "utf-7")), "replace"))
                elif at < len(data):
                    data[at] ^= 1 << random.randrange(8)
    return bytes(data[:200_000])


def _cells(data: bytearray, random: Random) -> bytearray:
    mark = random.choice((b",", b";", b" ", b":", b'"'))
    cells = data.split(mark)
    cells[random.randrange(len(cells))] = bytearray(random.choice(SCRAPS))
    return bytearray(mark.join(cells))


def _lines(data: bytearray, random: Random) -> bytearray:
    lines = data.split(b"\n")
    one, other = random.randrange(len(lines)), random.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    if random.random() < 0.5:
        lines.insert(one, lines[other])
    return bytearray(b"\n".join(lines))


# --- what reads them --------------------------------------------------------------------------------

#: Reads the case of a number, and says what came of it; a refusal is one of our errors.
Reader = Callable[[int], str]


def csv_files(seed: int, place: Path) -> Reader:
    """CSV into import, which stores all of a file or nothing of it."""
    good = (
        csv_file("import-x", 6),
        b"id,bin,when,amount\n" + "".join(f",south,{day} Jan,{day} or {day + 1} C\n" for day in range(1, 6)).encode(),
        b'when;quantity;amount;depth;words\n5 Jan;pH;6,5;"5 cm";"a ""strip"""\n6 Jan;moisture;about 70 %;;damp\n',
        "Time (UTC)\tTemp (F)\n2026-01-05T08:00\t41.5\n2026-01-05 20:00\t39\n".encode("utf-8-sig"),
    )
    books = _books(place)

    def read(number: int) -> str:
        random = Random(f"{seed} csv {number}")
        journal = books(number)
        which = random.randrange(len(good))
        data = mutated(good[which], random)
        columns = {"Temp (F)": "amount", "Time (UTC)": "when"} if which == 3 else {}
        fixed = {"quantity": "temperature"} if which != 2 else {"place": "middle"}
        before = counted(journal.path)

        def take() -> tuple[bool, int, int]:
            told = import_entries(
                journal, io.BytesIO(data), now=NOW, columns=columns, fixed=fixed, bin="north",
                skip_bad=number % 5 == 0,
            )  # fmt: skip
            return told.stored, told.accepted, len(told.refused)

        try:
            stored, accepted, refused = take()
        except ValueError:
            if counted(journal.path) != before:
                raise AssertionError("refused as a whole, and rows came in") from None
            raise
        more = counted(journal.path) - before
        if more > accepted or (more and not stored):
            raise AssertionError(f"{accepted} rows good, {refused} refused, and {more} came in")
        if (
            stored
            and number % 4 == 0
            and (take() != (stored, accepted, refused) or counted(journal.path) != before + more)
        ):
            raise AssertionError("the same file again was read otherwise, or stored again")
        return "stored" if stored and accepted else "no row in it" if stored else "refused row by row"

    return read


def lines(seed: int, place: Path) -> Reader:
    """A keeper's lines into the reader of words, and what it made of them into the journal."""
    good = (
        "23 Jan around midnight: middle 2-3 C, edge 1 C; about a dozen near the top; fed 150 g pear cores",
        "yesterday: pH about 6.5 at 10 cm, moisture 70-80 %; smells of forest",
        "fed half a bucket of leaves; counted 12 adults, 3 cocoons in 1 L",
        "5 Dec 20:00: middle 7-8 C, edge 6 C", "took out 20 worms; EC 1.2 mS/cm; air -3 C last night",
    )  # fmt: skip
    books = _books(place)

    def read(number: int) -> str:
        random = Random(f"{seed} line {number}")
        journal = books(number)
        text = mutated(random.choice(good).encode(), random).decode("utf-8", "surrogateescape")
        ids = count()
        understood = parse_line(
            text, bin=journal.bin("north"), now=NOW, new_id=lambda: f"{number}:{next(ids)}", containers=BUCKET
        )  # fmt: skip
        path = journal.path
        before = counted(path)
        try:
            journal.add(understood.records)
        except ValueError:
            if counted(path) != before:
                raise AssertionError("refused, and rows came in") from None
            raise
        if counted(path) - before < len(understood.records):
            raise AssertionError("understood, and not all of it is there")
        return "stored"

    return read


def weather(seed: int, place: Path) -> Reader:
    """Weather files of four kinds."""
    from underlid.weather import read_weather

    hours = [f"2026-01-{1 + hour // 24:02}T{hour % 24:02}:00Z,{hour % 7 - 3}.5,3.0" for hour in range(72)]
    days = [f"2026-01-{day:02},{day % 5 - 4},{day % 7 + 2}" for day in range(1, 21)]
    epw = [
        "LOCATION,Elsewhere,-,XXX,measured,999999,52.50,13.40,1.0,34.0", "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0", "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made up", "COMMENTS 2,", "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
        *(",".join(["2005", "1", str(1 + hour // 24), str(1 + hour % 24), "60", "?9", f"{hour % 7 - 3}.5", "99.9", "80",
                    "999999", "9999", "9999", "9999", "12", *["9999"] * 7, "3.4", *["99"] * 13]) for hour in range(72)),
    ]  # fmt: skip
    tmy3 = [
        "999999,ELSEWHERE,AK,-9.0,55.32,-160.52,7",
        "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Wspd (m/s),RHum (%),GHI (W/m^2)",
        *(f"01/{1 + hour // 24:02}/1998,{1 + hour % 24:02}:00,{hour % 7 - 3}.5,3.0,80,12" for hour in range(72)),
    ]
    good = [
        "\n".join([head, *rows, ""]).encode()
        for head, rows in (("time_utc,temp_c,wind_m_s", hours), ("date,tmin,tmax", days), (epw[0], epw[1:]),
                           (tmy3[0], tmy3[1:]))
    ]  # fmt: skip

    def read(number: int) -> str:
        random = Random(f"{seed} weather {number}")
        path = place / "weather.csv"
        path.write_bytes(mutated(random.choice(good), random))
        read_weather(path, latitude=52.1, longitude=-1.3, utc_offset_h=0.0)
        return "read"

    return read


def plans(seed: int, _: Path) -> Reader:
    """Trial plans."""
    from underlid.trials.plan import Plan, canonical, plan_from

    good = canonical(
        Plan(
            name="grit", claim="added-grit", statement="Leaving out grit makes no difference beyond the margin.",
            control="a handful of grit at the start", changed="none", outcome="worms", scale="ratio", unit="",
            margin=2.0, because="half as many would matter to a keeper", founders=30, starts="2025-05-01",
            looks=(180, 360), arms={"a": "control", "b": "changed"}, seed=1,
        )
    )  # fmt: skip

    def read(number: int) -> str:
        data = mutated(good.encode(), Random(f"{seed} plan {number}"))
        plan = plan_from(data.decode("utf-8", "surrogateescape"))
        if plan_from(canonical(plan)) != plan:
            raise AssertionError("read, and its own text is read otherwise")
        return "read"

    return read


def pictures(seed: int, place: Path) -> Reader:
    """Pictures into the page's reader and beside the journal."""
    from PIL import Image

    from underlid.web.photos import cleaned  # which has Pillow know HEIF

    good = []
    noise = Image.frombytes("RGB", (48, 36), Random(seed).randbytes(48 * 36 * 3))
    exif = Image.Exif()
    exif[0x0112], exif[0x0132] = 6, "2026:01:05 08:30:00"
    for kind in ("JPEG", "PNG", "WEBP", "HEIF"):
        data = io.BytesIO()
        noise.save(data, kind, exif=exif.tobytes())
        good.append(data.getvalue())
    folder = place / "journal"
    make_journal(folder)

    def read(number: int) -> str:
        random = Random(f"{seed} picture {number}")
        data = mutated(random.choice(good), random)
        path = place / f"picture{random.choice(('.jpg', '.png', '.webp', '.heic'))}"
        path.write_bytes(data)
        for each in (folder / "photos").iterdir():
            each.unlink()
        try:
            kept = folder / "photos" / add_photo(folder, path).file
            if kept.read_bytes() != data:
                raise AssertionError("kept otherwise than it came")
        except ValueError:
            if list((folder / "photos").iterdir()):
                raise AssertionError("refused, and something was kept") from None
        cleaned(data)
        return "read"

    return read


READERS: dict[str, Callable[[int, Path], Reader]] = {
    "CSV files into import": csv_files,
    "lines of words into the journal": lines,
    "weather files": weather,
    "trial plans": plans,
    "pictures": pictures,
}


def _books(place: Path) -> Callable[[int], Journal]:
    """A journal for each case: the same one for some hundred, then a fresh one."""
    fresh, folder = place / "fresh", place / "journal"
    make_journal(fresh)
    opened: list[Journal] = []

    def book(number: int) -> Journal:
        if not opened or number % FRESH_AFTER == 0:
            for journal in opened:
                journal.check()
                journal.close()
            shutil.rmtree(folder, ignore_errors=True)
            shutil.copytree(fresh, folder)
            opened[:] = [Journal.open(folder)]
        return opened[0]

    return book


# --- trying -----------------------------------------------------------------------------------------


def mutations(what: str, times: int, seed: int, place: Path) -> Row:
    """Give a reader so many cases, in a child that is used for as many as it lives through."""
    row = Row(f"mutated {what}")
    number = 0
    while number < times:
        number = _in_one_child(row, READERS[what](seed, _emptied(place / "work")), number, times, seed)
    return row


def _in_one_child(row: Row, read: Reader, first: int, times: int, seed: int) -> int:
    """Try cases from the first on; return the number of the first one that was not tried."""

    def work(tell: Tell) -> None:
        warnings.simplefilter("ignore")  # of pictures: they say again what the refusal says
        for number in range(first, times):
            try:
                came = read(number)
            except ValueError as error:
                ours = type(error).__module__.startswith("underlid.") and str(error).strip()
                came = f"refused: {type(error).__name__}" if ours else f"!{_shown(error)}"
            except Exception as error:
                came = f"!{_shown(error)}"
            tell(came)

    child = start(work)
    number = first
    while number < times:
        _wait(child)
        line = child.told.readline().decode("utf-8", "replace")
        if not line.endswith("\n"):
            _, code = child.end()
            row.faults.append(f"seed {seed}, case {number}: the process ended with {code}")
            row.times += 1
            return number + 1
        row.times += 1
        if line.startswith("!"):
            row.faults.append(f"seed {seed}, case {number}: {line[1:].strip()}")
        else:
            row.outcomes[line.strip()] += 1
        number += 1
    child.end()
    return number


def _wait(child: Child) -> None:
    """Wait for the next line, and kill what does not come to one; lines may be in the buffer already."""
    os.set_blocking(child.told.fileno(), False)
    try:
        if child.told.peek(1):
            return
    finally:
        os.set_blocking(child.told.fileno(), True)
    if not select.select([child.told], [], [], LONGEST_S)[0]:
        os.kill(child.pid, signal.SIGKILL)


def _shown(error: Exception) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())[:300]


def _emptied(place: Path) -> Path:
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    return place
