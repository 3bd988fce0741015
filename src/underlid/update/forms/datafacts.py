"""Every range, chance and moment of a story as tables, with where in the account it is told and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from underlid.update.facts import ColdestHour, Provenance, Range, Story, TimeRange
from underlid.update.forms.datatables import PROVENANCE, Cell, Column, Table
from underlid.update.lifefacts import Animals
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Section

#: Chances that a fact holds beside its ranges, and where they come from; of animals, as their number does.
CHANCES: dict[str, Provenance] = {
    "too_dry": "predicted", "too_wet": "predicted", "below_band": "predicted", "ripe_chance": "predicted",
    "outside": "estimated", "alive": "estimated", "crowded": "estimated",
}  # fmt: skip
#: The facts that go into the tables, and the parts of the account that may name a chance of theirs by itself.
TOLD: dict[str, tuple[str, ...]] = {
    "coldest": (), "refuge": (), "water": ("temperatures", "next"), "soon": ("month", "next"), "rest": ("next",),
    "animals": ("animals",), "eaten": ("done",), "acid": ("chemistry",), "readings": (),
}  # fmt: skip


def facts_and_moments(story: Story, told: Sequence[Section]) -> tuple[Table, Table]:
    """Ranges and chances, and moments, with the sections that tell them and what they rest on.

    told : `telling.sections` of the story
    """
    roots = [(name, getattr(story, name)) for name in TOLD]
    said = [(section.name, one, list(_within("", one.facts))) for section in told for one in section.said]

    def where(name: str, parent: object, fact: object) -> tuple[str, str]:
        """The sections that tell a fact, and what it rests on there."""
        ranged, root = isinstance(fact, Range | TimeRange), name.split(".", 1)[0]
        alone = [fact, *([Known(fact, "chance")] if isinstance(fact, float) else [])]
        telling = [
            (section, one.evidence) for section, one, parts in said
            if any(part == fact if ranged else whole is parent for _, whole, part in parts)
            or (section in TOLD[root] and any(known in alone for known in one.facts if isinstance(known, Known | date)))
        ]  # fmt: skip
        sections, evidence = [section for section, _ in telling], [basis for _, every in telling for basis in every]
        return "; ".join(dict.fromkeys(sections)), "; ".join(dict.fromkeys(evidence))

    rows: list[tuple[Cell, ...]] = []
    moments: list[tuple[Cell, ...]] = []
    for name, parent, fact in (found for root, value in roots for found in _within(root, value)):
        if isinstance(fact, Range):
            rows.append(
                (name, fact.low, fact.middle, fact.high, fact.unit, fact.provenance, *where(name, parent, fact))
            )
        elif isinstance(fact, TimeRange):
            moments.append((name, fact.early, fact.usual, fact.late, *where(name, parent, fact)))
        elif isinstance(fact, datetime):
            moments.append((name, None, fact, None, *where(name, parent, fact)))
        elif isinstance(fact, float):
            of = parent.worms.provenance if isinstance(parent, Animals) else CHANCES[name.rsplit(".", 1)[1]]
            rows.append((name, None, fact, None, "1", of, *where(name, parent, fact)))
    if story.eaten is not None and story.eaten.ripe is not None:
        zone = ZoneInfo(story.timezone)
        ripe = [datetime.combine(day, time(), zone) for day in story.eaten.ripe]
        moments.append(("eaten.ripe", *ripe, *where("eaten.ripe", story.eaten, story.eaten.ripe[1])))
    tellings = (
        Column("told_in", "string", "Parts of the account that tell it, with semicolons between; empty if none does."),
        Column("evidence", "string", "What it rests on, with semicolons between."),
    )
    ranges = (
        Column("name", "string", "Names the fact."),
        Column("low", "number", "Its 5 % point; empty for a chance.", "see unit"),
        Column("middle", "number", "Its 50 % point, or the chance.", "see unit"),
        Column("high", "number", "Its 95 % point; empty for a chance.", "see unit"),
        Column("unit", "string", "Unit of the numbers; 1 is a count, a pure number or a chance."),
        PROVENANCE,
        *tellings,
    )
    times = (
        Column("name", "string", "Names the moment."),
        *(Column(part, "datetime", f"Its {point}, with the offset from UTC; a day is told as its midnight.")
          for part, point in (("early", "5 % point; empty for one hour"), ("usual", "50 % point, or the one hour"),
                              ("late", "95 % point; empty for one hour"))),
        *tellings,
    )  # fmt: skip
    return (
        Table("facts", "Every range and chance that the account tells, and those it draws on.", ranges, ("name",),
              tuple(rows)),
        Table("moments", "When things fell, as ranges.", times, ("name",), tuple(moments)),
    )  # fmt: skip


def _within(name: str, value: object, parent: object = None) -> Iterator[tuple[str, object, object]]:
    """Every range, moment, hour and chance inside a fact: its name, the fact that holds it, and itself."""
    if isinstance(value, Range | TimeRange):
        yield name, parent, value
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            part = getattr(value, field.name)
            if field.name in CHANCES and part is not None:
                yield f"{name}.{field.name}", value, float(part)
            elif isinstance(value, ColdestHour) and isinstance(part, datetime):
                yield f"{name}.{field.name}", value, part
            elif field.name not in ("daily", "taken", "amount"):
                yield from _within(f"{name}.{field.name}", part, value)
    elif isinstance(value, tuple):
        for i, part in enumerate(value):
            if isinstance(part, tuple) and len(part) == 2 and isinstance(part[0], str):
                yield from _within(f"{name}.{part[0]}", part[1], parent)
            else:
                key = getattr(part, "id", None) or getattr(part, "quantity", None) or i
                yield from _within(f"{name}.{key}", part, parent)
