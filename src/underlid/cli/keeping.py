"""Commands that keep the journal: new, container, log, entries, photo."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    clock,
    show_json,
    without_controls,
)
from underlid.quantity.zones import zone

if TYPE_CHECKING:
    from underlid.journal.store import Journal
    from underlid.records import AnyEntry, Bin
    from underlid.trials.stopping import StopRule


SHOWN = 8  # characters of an id that are shown; any unique beginning is enough


def new(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call the bin.")],
    size: Annotated[str, typer.Option(help="Inside size, e.g. “17 x 12 x 11 in”.")],
    bedding: Annotated[
        str, typer.Option(help="Layers from the bottom, e.g. “leaves 10 cm, old horse manure 8 cm”.")
    ] = "not noted",
    moisture: Annotated[
        str, typer.Option(help="Moisture of the bedding, e.g. “about 70 %” or “like a wrung-out sponge”.")
    ] = "not noted",
    founders: Annotated[str, typer.Option(help="Worms put in, e.g. “a couple of dozen”.")] = "not noted",
    species: Annotated[str, typer.Option(help="Species.")] = "Eisenia fetida",
    started: Annotated[str, typer.Option(help="When the bedding was laid.")] = "today",
    siting: Annotated[
        str, typer.Option(help="Where it stands: open shelter, outdoors, unheated shed or indoors.")
    ] = "open shelter",
    base: Annotated[str, typer.Option(help="What it stands on: slab, soil or feet.")] = "slab",
    wall: Annotated[
        str, typer.Option(help="Wall: polypropylene, polyethylene, wood or expanded polystyrene.")
    ] = "polypropylene",
    wall_thickness: Annotated[str, typer.Option(help="Thickness of the wall.")] = "3 mm",
    timezone: Annotated[
        str | None, typer.Option(help="Time zone, e.g. Europe/London; this machine's if not given.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Start a bin. Makes the journal too if there is none yet."""
    from underlid.bedding.laying import layers_of
    from underlid.entry.feel import moisture_by_feel
    from underlid.fit.evidence import situation
    from underlid.journal.errors import NoJournal
    from underlid.journal.store import Journal
    from underlid.quantity.amount import parse_amount, parse_size
    from underlid.quantity.show import show_amount, show_when
    from underlid.quantity.when import parse_when
    from underlid.records import Base, BeddingLayer, Bin, Siting
    from underlid.worms.species import UnknownSpecies
    from underlid.worms.species import species as facts

    tz = zone(timezone)
    moment = clock(now, tz)
    notes = []
    try:
        species = facts(species).name
    except UnknownSpecies as unknown:
        notes.append(f"{unknown} The bin is kept under the name you gave.")
    box = parse_size(size)
    wet = moisture_by_feel(moisture) or parse_amount(moisture, expect="%")
    laid = layers_of(bedding)
    if wet.kind != "not noted" and not laid:
        raise NotOneOf("--moisture needs to know of what: give the --bedding too, at least its material.")
    layers = tuple(
        BeddingLayer(
            id=_id(), position=i, material=material, depth=parse_amount(depth, expect="m"), moisture=wet, words=words
        )
        for i, (material, depth, words) in enumerate(laid)
    )
    record = Bin(
        id=_id(),
        name=name,
        started=parse_when(started, now=moment, tz=tz),
        timezone=tz.key,
        length=box.length,
        width=box.width,
        height=box.height,
        siting=one_of(siting, get_args(Siting), "--siting"),  # type: ignore[arg-type]
        base=one_of(base, get_args(Base), "--base"),  # type: ignore[arg-type]
        wall=wall,
        wall_thickness=parse_amount(wall_thickness, expect="m"),
        founders=parse_amount(founders, expect="1"),
        species=species,
        layers=layers,
        words=size,
        noted_at=moment,
    )
    # A bin that cannot be is refused here, before anything is stored.
    notes = [*situation(record).notes, *_assumed(context, record), *notes]
    try:
        book = Journal.open(journal)
    except NoJournal:
        book = Journal.create(journal)
        notes.append(f"A new journal was made in {journal}.")
    with book:
        book.add_bin(record)
    if as_json:
        show_json({"bin": name, "volume": box.volume.as_json(), "started": record.started.as_json(), "notes": notes})
        return
    print(f"Bin {name}: holds {show_amount(box.volume)}, started {show_when(record.started)}, {siting}, on {base}.")
    for layer in layers:
        print(f"  bedding: {layer.material}, {show_amount(layer.depth)} deep")
    print(f"  moisture: {show_amount(wet)}; founders: {show_amount(record.founders)}; species: {species}")
    for note in notes:
        print(f"  {note}")


def _assumed(context: typer.Context, record: Bin) -> Iterator[str]:
    """What nobody said of a new bin, and was taken for granted: heat and animals are worked out from it."""
    words = {
        "siting": record.siting,
        "base": f"on {record.base}",
        "wall": f"walls of {record.wall}",
        "wall_thickness": f"{record.wall_thickness.words} thick",
        "species": record.species,
        "started": "started today",
    }
    source = {name: context.get_parameter_source(name) for name in words}
    unsaid = [said for name, said in words.items() if (told := source[name]) and told.name == "DEFAULT"]
    if unsaid:
        yield (
            f"Taken for granted, as it was not said: {', '.join(unsaid)}. What is worked out rests on it; if any of it "
            "is wrong, start the bin under another name and say it (“underlid new --help”)."
        )


def container(
    name: Annotated[str, typer.Argument(help="What you call it, e.g. bucket.")],
    holds: Annotated[list[str], typer.Argument(help="What it holds, e.g. “10 L” or “2 US gal”.")],
    journal: JournalOption = DEFAULT_JOURNAL,
) -> None:
    """Say what one of your containers holds, so that “half a bucket” means something."""
    from underlid.journal.store import Journal
    from underlid.quantity import is_unit, parse_amount, show_amount

    if is_unit(name):
        raise NotOneOf(f"{name!r} is a unit, so it cannot be the name of a container; call it otherwise.")
    amount = parse_amount(" ".join(holds))
    with Journal.open(journal) as book:
        book.set_container(name, amount)
    print(f"{name}: holds {show_amount(amount)}.")


def log(
    bin: BinArgument,
    line: Annotated[str, typer.Argument(help="What you did and saw, e.g. “last night: middle 2-3 C, edge 1 C”.")],
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Store at once, without asking.")] = False,
    corrects: Annotated[
        str | None, typer.Option(help="Id of the entry that this one corrects; the earlier one stays.")
    ] = None,
    weather: Annotated[
        Path | None,
        typer.Option(
            "--weather",
            "-w",
            envvar="UNDERLID_WEATHER",
            help="Weather file, as outlook takes: the refuge is then watched too, by the last fit if there is one.",
        ),
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Understand a line in your own words, show what was understood, and store it; warn where a stop rule is broken.

    With --json nothing is asked: entries are stored only with --yes.
    """
    from underlid.bedding.materials import unknown_food
    from underlid.entry import corrected, describe, parse_line
    from underlid.journal.store import Journal
    from underlid.records import Feeding

    with Journal.open(journal) as book:
        record = book.bin(bin)
        moment = clock(now, ZoneInfo(record.timezone))
        understood = parse_line(line, bin=record, now=moment, new_id=_id, containers=book.containers())
        records, notes = understood.records, understood.notes_on
        if corrects is not None:
            if len(records) != 1:
                raise NotOneOf(f"--corrects mends one entry, but the line makes {len(records)}; give that one alone.")
            earlier = _entry(corrects, book.entries(record.name, superseded=True))
            mended, notes = corrected(understood, earlier)
            records = (mended,)
        notes += tuple(filter(None, (unknown_food(one.material) for one in records if isinstance(one, Feeding))))
        if not as_json:
            for entry in records:
                print(without_controls(f"  {describe(entry)}  [{entry.id[:SHOWN]}]"))
            for note in notes:
                print(f"  ({note})")
        warned = _alarms(book, record, records, moment, weather)  # whatever is wrong with a plan or file is said before
        store = yes or (not as_json and confirmed())
        if store:
            book.add(records)
    if as_json:
        told = [_as_json(entry) for entry in records]
        show_json({"stored": store, "entries": told, "notes": list(notes), "alarms": list(warned)})
    else:
        print(f"Stored in {journal}." if store else "Nothing was stored.")
        for sentence in warned:
            print(f"For the animals' sake: {sentence}")


def entries(
    bin: BinArgument,
    every: Annotated[bool, typer.Option("--all", help="Show corrected entries too.")] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    as_json: JsonOption = False,
) -> None:
    """List what the journal holds of a bin, oldest first, each with the id that --corrects takes."""
    from underlid.entry import describe
    from underlid.journal.store import Journal

    with Journal.open(journal) as book:
        found = book.entries(bin, superseded=True)
    replaced = {entry.corrects: entry.id for entry in found if entry.corrects}
    shown = [entry for entry in found if every or entry.id not in replaced]
    if as_json:
        show_json([{**_as_json(entry), "corrected_by": replaced.get(entry.id)} for entry in shown])
        return
    for entry in shown:
        mark = f"  corrected by {replaced[entry.id][:SHOWN]}" if entry.id in replaced else ""
        print(without_controls(f"[{entry.id[:SHOWN]}] {describe(entry)}  “{entry.words}”{mark}"))
    hidden = len(found) - len(shown)
    counted = "1 entry" if len(shown) == 1 else f"{len(shown)} entries"
    print(counted + (f", {hidden} corrected ones not shown (--all shows them)" if hidden else ""))


def photo(
    bin: BinArgument,
    picture: Annotated[Path, typer.Argument(help="The picture file.")],
    words: Annotated[str, typer.Option(help="What it shows.")] = "",
    when: Annotated[str, typer.Option(help="When it was taken.")] = "now",
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
) -> None:
    """Keep a picture beside the journal, under its own hash."""
    from underlid.entry import describe
    from underlid.journal.photos import add_photo
    from underlid.journal.store import Journal
    from underlid.quantity.when import parse_when
    from underlid.records import Photo

    with Journal.open(journal) as book:
        record = book.bin(bin)
        tz = ZoneInfo(record.timezone)
        moment = clock(now, tz)
        taken = parse_when(when, now=moment, tz=tz, start=record.started.start)
        kept = add_photo(journal, picture)
        entry = Photo(
            id=_id(), bin=record.name, when=taken, words=words or picture.name, noted_at=moment,
            file=kept.file, sha256=kept.sha256,
        )  # fmt: skip
        book.add([entry])
    print(without_controls(f"[{entry.id[:SHOWN]}] {describe(entry)}: {picture.name}, kept as {kept.file}."))


def _as_json(entry: AnyEntry) -> dict[str, object]:
    from underlid.entry import describe

    return {
        "id": entry.id,
        "kind": type(entry).__name__,
        "understood": describe(entry),
        "words": entry.words,
        "when": entry.when.as_json(),
        "corrects": entry.corrects,
    }


def _entry(beginning: str, among: Sequence[AnyEntry]) -> AnyEntry:
    """The one entry whose id begins so."""
    found = [entry for entry in among if beginning and entry.id.startswith(beginning)]
    if not found:
        raise NotOneOf(f"No entry of this bin has an id that begins with {beginning!r}; “underlid entries” lists them.")
    if len(found) > 1:
        raise NotOneOf(f"{len(found)} entries have an id that begins with {beginning!r}; give more of it.")
    return found[0]


def _id() -> str:
    return str(uuid.uuid4())


def one_of(word: str, allowed: tuple[str, ...], option: str) -> str:
    """The word if it is one of those allowed; otherwise a sentence that names the option."""
    if word not in allowed:
        raise NotOneOf(f"{option} {word!r} is not one of {', '.join(allowed)}.")
    return word


def _alarms(
    book: Journal, record: Bin, new: Sequence[AnyEntry], now: datetime, weather: Path | None
) -> tuple[str, ...]:
    """The stop rules that what was just written breaks, for sure or perhaps; on refuge, by the fit before it."""
    from underlid.trials.plan import plan_from
    from underlid.trials.watch import alarms, rules_for

    # Not by way of `answer`, which takes a second to import: nobody waits for that with wet hands.
    rules = rules_for(record.name, [plan_from(kept.text) for kept in book.plans()])
    said = tuple(alarm.sentence for alarm in alarms(rules, record, new, now))
    return said if weather is None else (*said, *_refuge(book, record, rules, now, weather))


def _refuge(book: Journal, record: Bin, rules: Sequence[StopRule], now: datetime, weather: Path) -> tuple[str, ...]:
    """What a remembered fit says of the refuge; fitting anew would keep a keeper with cold hands waiting."""
    from underlid.answer import last_answer, weather_from
    from underlid.fit.study import FORECAST_DAYS, lay_out
    from underlid.trials.refuge import shrinking

    air = weather_from(weather, record.timezone)
    ahead = now + timedelta(days=FORECAST_DAYS)
    study = last_answer(book, lay_out(record, book.entries(record.name), air, now, ahead))
    return () if study is None else tuple(one.sentence for one in shrinking(rules, study))


def confirmed() -> bool:
    """Ask once; without anyone to answer, nothing is stored."""
    try:
        return input("Store this? [y/N] ").strip().lower() in ("y", "yes")
    except EOFError:
        print()
        return False
