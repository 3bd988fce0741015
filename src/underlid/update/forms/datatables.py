"""The tables that a story's data are handed on as: what was noted, and what was made of it.

Ranges are three columns, p5, p50 and p95: nine in ten of what fits the readings lies between the first and the last.
Numbers are written with all their digits, as the account was made from them; what is not known is an empty cell.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from numpy.typing import NDArray

from underlid.quantity.amount import VagueAmount
from underlid.records import Reading
from underlid.update.facts import Noted, Story
from underlid.update.lifefacts import Animals

Cell = str | float | bool | date | None
Kind = Literal["string", "number", "integer", "boolean", "date", "datetime", "moment"]
PERCENTS = ("p5", "p50", "p95")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, what its cells hold, their unit ("" for none), and what it means.

    kind : "moment" is a time with its offset written in any way of ISO 8601, as the keeper's journal has it
    """

    name: str
    kind: Kind
    says: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `key` are the columns that no two rows have in common, () if rows may be alike."""

    name: str
    says: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


PROVENANCE = Column(
    "provenance", "string",
    "read: noted by the keeper; estimated: the model after the readings, under observed weather; predicted: the same "
    "model under weather that has not been observed.",
)  # fmt: skip


def tables(story: Story) -> tuple[Table, ...]:
    """All tables of a story but its facts.

    One with nothing in it stays as headings alone, so that whoever reads the files finds that there was nothing; what
    was not worked out at all is left out.
    """
    found = [readings(story), _hours(story)]
    if story.days is not None:
        found.append(_days_ahead(story))
    if story.animals is not None:
        found += [_animals(story.animals, story), _counted(story.animals), _stages(story.animals)]
    return (*found, _feedings(story), _noted(story), _trials(story), _parameters(story))


# --- what was noted --------------------------------------------------------------------------------------


def readings(story: Story) -> Table:
    """The columns that a journal exports and imports."""
    columns = (
        Column("id", "string", "Names the reading."),
        Column("bin", "string", "Bin it was taken in."),
        *_time_columns("when"),
        Column("words", "string", "The whole entry in the keeper's words."),
        Column("corrects", "string", "Always empty here: the table noted says which entries replace an earlier one."),
        Column("noted_at", "moment", "When it was put into the journal."),
        Column("quantity", "string", "What was measured."),
        *_amount_columns("amount", "what was read", "the unit stands in amount_unit"),
        Column("place", "string", "Where in the bin."),
        *_amount_columns("depth", "how far below the surface", "m"),
        Column("instrument", "string", "What it was measured with."),
    )
    rows = tuple(_reading_row(fact.taken) for fact in story.readings if fact.taken is not None)
    says = "The month's readings, each as the range that the keeper's words leave open. A journal imports this file."
    return Table("readings", says, columns, ("id",), rows)


def _reading_row(taken: Reading) -> tuple[Cell, ...]:
    when = taken.when
    return (
        taken.id, taken.bin, when.start.isoformat(), when.end.isoformat(), when.kind, when.words, _flags(when.flags),
        taken.words, "", None if taken.noted_at is None else taken.noted_at.isoformat(), taken.quantity,
        *_amount(taken.amount), taken.place, *(_amount(taken.depth) if taken.depth else (None,) * 6), taken.instrument,
    )  # fmt: skip


def _time_columns(name: str) -> tuple[Column, ...]:
    return (
        Column(f"{name}_start", "moment", "Earliest time it may have been."),
        Column(f"{name}_end", "moment", "Latest time it may have been."),
        Column(f"{name}_kind", "string", "How the time is meant: exact, between, about, not noted."),
        Column(name, "string", "The time in the keeper's words."),
        Column(f"{name}_flags", "string", "What to look at in it, a JSON list."),
    )


def _amount_columns(name: str, what: str, unit: str) -> tuple[Column, ...]:
    return (
        Column(f"{name}_low", "number", f"Lower end of {what}; empty if it is open.", unit),
        Column(f"{name}_high", "number", f"Upper end of {what}; empty if it is open.", unit),
        Column(f"{name}_unit", "string", "Unit of both ends; 1 is a count or a pure number."),
        Column(f"{name}_kind", "string", "How it is meant: exact, between, about, at least, at most, not noted."),
        Column(name, "string", "The amount in the keeper's words."),
        Column(f"{name}_flags", "string", "What to look at in it, a JSON list."),
    )


def _amount(amount: VagueAmount) -> tuple[Cell, ...]:
    return float(amount.low), float(amount.high), amount.unit, amount.kind, amount.words, _flags(amount.flags)


def _flags(flags: tuple[str, ...]) -> str:
    return json.dumps(flags, ensure_ascii=False) if flags else ""


_SPAN = (
    Column("start", "datetime", "Earliest time it may have been, with the offset from UTC."),
    Column("end", "datetime", "Latest time it may have been, with the offset from UTC."),
)
_WORDS = (
    Column("words", "string", "The entry in the keeper's words."),
    Column("meaning", "string", "What it was taken to mean."),
)


def _feedings(story: Story) -> Table:
    rows = tuple((one.start, one.end, one.words, one.meaning) for one in story.feedings)
    return Table("feedings", "What was given to the bin in the month.", (*_SPAN, *_WORDS), (), rows)


def _noted(story: Story) -> Table:
    kinds: dict[str, tuple[Noted, ...]] = {
        "sighting": story.sightings, "sample": story.samples, "note": story.notes, "correction": story.corrections,
    }  # fmt: skip
    columns = (*_SPAN, Column("kind", "string", "sighting, sample, note, or correction of an earlier entry."), *_WORDS)
    rows = tuple(
        (one.start, one.end, kind, one.words, one.meaning) for kind, several in kinds.items() for one in several
    )
    return Table("noted", "What else the keeper noted in the month.", columns, (), rows)


# --- what was made of it ----------------------------------------------------------------------------------


def _hours(story: Story) -> Table:
    hours = story.hours
    columns = (
        _at("Beginning of the hour"),
        *_three("air_c", "degC", "Air beside the bin"),
        *_three("middle_c", "degC", "Middle of the bedding"),
        *_three("refuge_pct", "%", "Share of the bedding inside the band that the worms tolerate"),
        *_three("ice_pct", "%", "Share of the bedding's water that is ice"),
        PROVENANCE,
    )
    rows: Iterable[tuple[Cell, ...]] = (
        (when, *air, *middle, *refuge, *ice, where)
        for when, air, middle, refuge, ice, where in zip(
            _times(hours.time_utc, story), _listed(hours.air_c), _listed(hours.middle_c), _listed(hours.refuge_pct),
            _listed(hours.ice_pct), _from(hours.predicted_from, len(hours.time_utc)), strict=True,
        )
    )  # fmt: skip
    if hours.truth_c is not None:
        columns += (Column("truth_c", "number", "The invented truth of the middle of the bedding.", "degC"),)
        rows = ((*row, float(truth)) for row, truth in zip(rows, hours.truth_c, strict=True))
    return Table("hours", "The month hour by hour, and the days after it if it ends near now.", columns, ("time",),
                 tuple(rows))  # fmt: skip


def _days_ahead(story: Story) -> Table:
    days = story.days
    assert days is not None
    columns = (
        Column("date", "date", "Local day."),
        *_three("middle_c", "degC", "Lowest hour of the day in the middle of the bedding"),
        *_three("air_c", "degC", "Lowest hour of the day in the air of past years"),
        Column("forecast", "boolean", "Whether a weather forecast carries the day; otherwise past years do."),
        PROVENANCE,
    )
    none: list[list[float]] = [[math.nan] * 3 for _ in days.days]
    air = none if days.air_c is None else _listed(days.air_c)
    rows = tuple(
        _row(day, *middle, *past, i < days.forecast_days, "predicted")
        for i, (day, middle, past) in enumerate(zip(days.days, _listed(days.middle_c), air, strict=True))
    )
    return Table("days_ahead", "The days to come.", columns, ("date",), rows)


def _animals(found: Animals, story: Story) -> Table:
    daily = found.daily
    columns = (_at("Time of the day it is told for"), *_three("worms", "1", "All animals but cocoons"),
               *_three("adults", "1", "Adults"), PROVENANCE)  # fmt: skip
    rows = tuple(
        _row(when, *worms, *adults, where)
        for when, worms, adults, where in zip(
            _times(daily.time_utc, story), _listed(daily.worms), _listed(daily.adults),
            _from(daily.predicted_from, len(daily.time_utc)), strict=True,
        )
    )  # fmt: skip
    says = "Animals in the bin day by day, fitted to all counts and sightings."
    return Table("animals", says, columns, ("time",), rows)


def _counted(found: Animals) -> Table:
    columns = (
        _at("Middle of the time it may have been"),
        Column("what", "string", "counted: what the samples of that day alone come to; seen: at least so many."),
        *_three("worms", "1", "All animals but cocoons"),
        PROVENANCE,
    )
    rows: list[tuple[Cell, ...]] = [
        (when, "counted", one.low, one.middle, one.high, one.provenance) for when, one in found.daily.counted
    ]
    rows += [(when, "seen", least, None, None, "read") for when, least in found.daily.seen]
    return Table("counted", "Counts and sightings of all months, as they are drawn beside the fitted animals.", columns,
                 (), tuple(rows))  # fmt: skip


def _stages(found: Animals) -> Table:
    columns = (Column("date", "date", "Local day."), Column("stage", "string", "Stage of life."),
               *_three("animals", "1", "Animals of that stage"), PROVENANCE)  # fmt: skip
    rows = tuple((found.at, stage, one.low, one.middle, one.high, one.provenance) for stage, one in found.stages)
    return Table("stages", "Animals of each stage at the end of the month.", columns, ("date", "stage"), rows)


def _trials(story: Story) -> Table:
    columns = tuple(
        Column(name, "string", says)
        for name, says in (
            ("name", "Names the trial."), ("arm", "What is done with this bin in it."),
            ("statement", "What is tested."), ("sentence", "The verdict so far."),
        )
    )  # fmt: skip
    rows = tuple((one.name, one.arm, one.statement, one.sentence) for one in story.trials)
    return Table("trials", "Trials that the bin is in.", columns, ("name",), rows)


def _parameters(story: Story) -> Table:
    columns = (
        Column("name", "string", "Name of the parameter in the model."),
        Column("unit", "string", "Unit of its six numbers; 1 is a pure number."),
        *_three("before", "see unit", "Before any reading"),
        *_three("after", "see unit", "After the readings"),
        PROVENANCE,
    )
    rows = tuple(
        (one.name, one.after.unit, one.before.low, one.before.middle, one.before.high, one.after.low, one.after.middle,
         one.after.high, one.after.provenance)
        for one in story.parameters
    )  # fmt: skip
    return Table("parameters", "What the readings taught about the bin.", columns, ("name",), rows)


# --- cells ------------------------------------------------------------------------------------------------


def text_of(cell: Cell) -> str:
    """A cell as it is written."""
    if cell is None or (isinstance(cell, float) and not math.isfinite(cell)):
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, datetime):
        return cell.isoformat(timespec="seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    return cell if isinstance(cell, str) else repr(cell)


def _row(*cells: Cell) -> tuple[Cell, ...]:
    return cells


def _at(says: str) -> Column:
    return Column("time", "datetime", f"{says}, with the offset from UTC.")


def _three(name: str, unit: str, says: str) -> tuple[Column, ...]:
    return tuple(Column(f"{name}_{part}", "number", f"{says}, {part[1:]} % point.", unit) for part in PERCENTS)


def _times(time_utc: NDArray[Any], story: Story) -> list[datetime]:
    zone = ZoneInfo(story.timezone)
    return [datetime.fromtimestamp(int(second), UTC).astimezone(zone) for second in time_utc]


def _from(predicted: int, many: int) -> list[str]:
    return ["estimated" if i < predicted else "predicted" for i in range(many)]


def _listed(values: NDArray[Any]) -> list[list[float]]:
    listed: list[list[float]] = values.tolist()
    return listed
