"""Records to rows and back.

A record's own type hints say its columns: a vague amount named `depth` is `depth_low`, `depth_high`
and so on, a vague time `when` is `when_start`, `when_end` and so on, anything else is one column of
its own name. Rows hold text, numbers and None only, so two rows can be compared.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from datetime import datetime
from functools import cache
from typing import Any, Literal, TypeVar, cast, get_args, get_origin, get_type_hints

from underlid.journal.errors import Unstorable
from underlid.quantity.amount import Kind, VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import (
    AnyEntry,
    BeddingLayer,
    Bin,
    BinKeeper,
    Entry,
    Keeper,
    OwnClaims,
    PhotoShown,
    PlanChange,
    RegisteredPlan,
    SampleCount,
    Stage,
)

Row = dict[str, str | float | None]
Storable = Bin | BeddingLayer | Entry | RegisteredPlan | PlanChange | OwnClaims | Keeper | BinKeeper | PhotoShown
Record = TypeVar("Record", bound=Storable)

#: Longest text that one column takes, in characters: far above any note, below what CSV readers refuse.
MAX_TEXT = 100_000

#: Longest `text`, a whole file in one column that CSV never carries: far above any plan or claims file.
MAX_FILE = 1_000_000

#: Longest id or name, in characters: a row of PostgreSQL's indexes holds no more than two of these.
MAX_NAME = 300

NOT_NOTED_AT = {"noted_at": None}


def _shape(record: type) -> dict[str, Any]:
    hints = get_type_hints(record)
    return {field.name: hints[field.name] for field in fields(record) if get_origin(hints[field.name]) is not tuple}


#: Each field that has columns in its record's own table, with its resolved type hint.
SHAPES: dict[type, dict[str, Any]] = {
    record: _shape(record)
    for record in (
        Bin,
        BeddingLayer,
        *get_args(AnyEntry),
        RegisteredPlan,
        PlanChange,
        OwnClaims,
        Keeper,
        BinKeeper,
        PhotoShown,
    )
}


@cache
def is_amount(hint: object) -> bool:
    """Whether a field of this type is a vague amount, optional or not."""
    return hint is VagueAmount or VagueAmount in get_args(hint)


@cache
def choices(hint: object) -> tuple[str, ...]:
    """Return the words that a field of this type may hold; empty if any text will do."""
    if get_origin(hint) is Literal:
        return get_args(hint)
    return tuple(word for part in get_args(hint) for word in choices(part))


def kind_name(record: type) -> str:
    """Return the keeper's word for a kind of record: SampleCount is 'sample count'."""
    return re.sub(r"(?<!^)(?=[A-Z])", " ", record.__name__).lower()


def named(record: Storable) -> str:
    """Return how a sentence names a record: by the keeper's words if there are any."""
    if isinstance(record, Bin):
        return f"bin '{record.name}'"
    if isinstance(record, RegisteredPlan):
        return f"plan '{record.name}'"
    if isinstance(record, Keeper):
        return f"keeper '{record.name}'"
    if isinstance(record, BinKeeper):
        return f"keeper of bin '{record.bin}'"
    if isinstance(record, PhotoShown):
        return f"mark of photo '{record.photo}'"
    said = "" if isinstance(record, OwnClaims) else record.words
    words = " ".join(said.split()) if isinstance(said, str) else ""
    label = words if len(words) <= 40 else f"{words[:39]}…"
    return f"{kind_name(type(record))} '{label or record.id}'"


# --- record to row ----------------------------------------------------------------------------------


def as_row(record: Storable) -> Row:
    """Return the columns of a record; raise Unstorable if a value could not come back as it is."""
    row: Row = {}
    for name, hint in SHAPES[type(record)].items():
        value = getattr(record, name)
        try:
            row |= _columns(name, hint, value)
        except ValueError as error:
            raise Unstorable(field=name.replace("_", " "), what=named(record), detail=error) from error
    if row.get("id") == "":
        raise Unstorable(field="id", what=named(record), detail="it is empty, give it one")
    return row


def stage_rows(sample: SampleCount) -> list[Row]:
    """Return the rows of a sample's counts, one a stage, in the keeper's order."""
    rows: list[Row] = []
    for position, (stage, amount) in enumerate(sample.counts):
        try:
            head: Row = {"sample": sample.id, "position": position}
            rows.append(head | _columns("stage", Stage, stage) | _columns("count", VagueAmount, amount))
        except ValueError as error:
            raise Unstorable(field=f"count of {stage}", what=named(sample), detail=error) from error
    return rows


def same_content(one: Storable, other: Storable) -> bool:
    """Whether two records say the same. When they were noted is not part of what they say."""
    if type(one) is not type(other) or as_row(one) | NOT_NOTED_AT != as_row(other) | NOT_NOTED_AT:
        return False
    if isinstance(one, SampleCount) and isinstance(other, SampleCount):
        return stage_rows(one) == stage_rows(other)
    if isinstance(one, Bin) and isinstance(other, Bin):
        return [as_row(layer) for layer in one.layers] == [as_row(layer) for layer in other.layers]
    return True


def container_row(name: str, holds: VagueAmount) -> Row:
    """Return the columns of a keeper's container; raise Unstorable if it could not serve as a measure."""
    try:
        if not name:
            raise ValueError("the container has no name, give it one")
        if holds.unit not in ("L", "kg"):
            raise ValueError(f"its unit is '{holds.unit}', say it in litres or kilograms")
        if not 0 <= holds.low <= holds.high < math.inf:
            raise ValueError("it has no bounds, say about how much it is")
        return {"name": name, **amount_columns("holds", holds)}
    except ValueError as error:
        raise Unstorable(field="content", what=f"container '{name}'", detail=error) from error


def amount_columns(name: str, amount: VagueAmount | None) -> Row:
    """Return the six columns of a vague amount; an open side is None."""
    if amount is None:
        return dict.fromkeys(f"{name}_{part}" for part in ("low", "high", "unit", "kind", "words", "flags"))
    if math.isnan(amount.low) or math.isnan(amount.high):
        raise ValueError("it is not a number, write the amount again")
    if amount.low > amount.high or amount.low == math.inf or amount.high == -math.inf:
        raise ValueError(f"its low end {amount.low} is above its high end {amount.high}, swap them")
    return {
        # SQLite has no minus zero: adding 0.0 takes it to be zero everywhere.
        f"{name}_low": float(amount.low) + 0.0 if math.isfinite(amount.low) else None,
        f"{name}_high": float(amount.high) + 0.0 if math.isfinite(amount.high) else None,
        f"{name}_unit": _text(amount.unit),
        f"{name}_kind": _choice(amount.kind, get_args(Kind)),
        f"{name}_words": _text(amount.words),
        f"{name}_flags": _flags(amount.flags),
    }


def _columns(name: str, hint: object, value: Any) -> Row:
    if is_amount(hint):
        return amount_columns(name, value)
    if hint is VagueTime:
        # By the instant, not the clock's face: 02:10 comes after 02:50 in the hour that autumn repeats.
        if _moment(value.start).timestamp() > _moment(value.end).timestamp():
            raise ValueError(f"its start {value.start} comes after its end {value.end}, swap them")
        return {
            f"{name}_start": value.start.isoformat(),
            f"{name}_end": value.end.isoformat(),
            f"{name}_kind": _choice(value.kind, get_args(Kind)),
            f"{name}_words": _text(value.words),
            f"{name}_flags": _flags(value.flags),
        }
    if value is None and type(None) in get_args(hint):
        return {name: None}
    if hint is datetime or isinstance(value, datetime):
        return {name: _moment(value).isoformat()}
    if hint is int:
        return {name: int(value)}
    if hint is float or float in get_args(hint):
        return {name: _number(value)}
    if name == "text":
        return {name: _text(value, MAX_FILE)}
    return {name: _choice(value, allowed) if (allowed := choices(hint)) else _text(value)}


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{value!r} is not a number")
    return float(value) + 0.0  # as above: no minus zero


def _moment(value: Any) -> datetime:
    if not isinstance(value, datetime):
        raise ValueError(f"{value!r} is not a moment")
    if value.tzinfo is None:
        raise ValueError(f"{value} has no time zone, give it one")
    return value


def _choice(value: Any, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise ValueError(f"'{value}' is not one of {', '.join(allowed)}")
    return cast(str, value)


def _text(value: Any, most: int = MAX_TEXT) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not text")
    if len(value) > most:
        raise ValueError(f"it has {len(value)} characters and {most} is the most, shorten it or split it")
    if not is_text(value):
        raise ValueError("it holds a sign that is not text, type it again")
    return value


def is_text(value: str) -> bool:
    """Whether every store can hold a text: no NUL, which PostgreSQL has not, and no half of a letter."""
    return "\0" not in value and (value.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in value))


def check_name(field: str, record: Storable) -> None:
    """Raise Unstorable if an id or a name is too long to be looked up by."""
    value = getattr(record, field)
    if len(value) > MAX_NAME:
        detail = f"it has {len(value)} characters and {MAX_NAME} is the most, shorten it"
        raise Unstorable(field=field, what=named(record), detail=detail)


def _flags(flags: tuple[str, ...]) -> str:
    return _text(json.dumps([_text(flag) for flag in flags], ensure_ascii=False))


# --- row to record ----------------------------------------------------------------------------------


def as_record(record: type[Record], row: Mapping[str, Any], **more: object) -> Record:
    """Return the record that a row holds; `more` are the fields kept in tables of their own.

    Raises ValueError, TypeError or KeyError on a row that `as_row` could not have made.
    """
    make: Callable[..., Record] = record
    return make(**{name: _field(name, hint, row) for name, hint in SHAPES[record].items()}, **more)


def stage_counts(rows: Iterable[Mapping[str, Any]]) -> tuple[tuple[Stage, VagueAmount], ...]:
    """Return a sample's counts from its stage rows."""
    return tuple((row["stage"], amount_of("count", row)) for row in rows)


def amount_of(name: str, row: Mapping[str, Any]) -> VagueAmount:
    """Return the vague amount in the columns that start with `name`."""
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    return VagueAmount(
        low=-math.inf if low is None else low,
        high=math.inf if high is None else high,
        unit=row[f"{name}_unit"],
        kind=row[f"{name}_kind"],
        words=row[f"{name}_words"],
        flags=tuple(json.loads(row[f"{name}_flags"])),
    )


def _field(name: str, hint: object, row: Mapping[str, Any]) -> object:
    if is_amount(hint):
        return None if row[f"{name}_kind"] is None else amount_of(name, row)
    if hint is VagueTime:
        return VagueTime(
            start=datetime.fromisoformat(row[f"{name}_start"]),
            end=datetime.fromisoformat(row[f"{name}_end"]),
            kind=row[f"{name}_kind"],
            words=row[f"{name}_words"],
            flags=tuple(json.loads(row[f"{name}_flags"])),
        )
    value = row[name]
    if hint is datetime:
        return _moment(datetime.fromisoformat(value))
    if datetime in get_args(hint) and value is not None:
        return datetime.fromisoformat(value)
    return value
