"""Stop rules: when to act for the animals' sake, written so that software can watch them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from underlid.quantity.units import to_fahrenheit
from underlid.trials.rows import DamagedClaims, Table, number, one_of, only, words

Then = Literal["end the trial", "return the arm to the control condition", "look closer"]

#: What a stop rule may watch, and the unit of its limit; None: seen or smelt, without a limit.
WATCHED: dict[str, str | None] = {
    "deaths share": "of the animals put in",
    "escape": "of the animals put in",
    "refuge below": "of the bedding",
    "bedding above": "degC",
    "bedding below": "degC",
    "moisture below": "% of wet mass",
    "moisture above": "% of wet mass",
    "pH below": "pH",
    "pH above": "pH",
    "ammonia smell": None,
    "foul smell": None,
}


@dataclass(frozen=True, slots=True)
class StopRule:
    """When to act, and what to do then; `limit` is in `unit`, and None for what is only smelt.

    `hours` : how long it must last, or over which deaths and escapes are counted; None: act at once
    """

    name: str
    what: str
    limit: float | None
    unit: str | None
    hours: float | None
    then: Then
    because: str
    source: str

    @property
    def watched(self) -> str:
        """What is watched and its limit, for people: “pH below 5 for 48 h”."""
        lasting = ""
        if self.hours is not None:
            time = f"{self.hours / 24:g} days" if self.hours > 48 else f"{self.hours:g} h"
            lasting = f" within {time}" if self.what in ("deaths share", "escape") else f" for {time}"
        if self.limit is None or self.unit is None:
            return self.what + lasting
        if self.unit.startswith("of the"):
            return f"{self.what} {100 * self.limit:g} % {self.unit}{lasting}"
        if self.unit == "degC":
            return f"{self.what} {self.limit:g} °C ({to_fahrenheit(self.limit):.0f} °F){lasting}"
        return f"{self.what} {self.limit:g} {self.unit if self.unit != 'pH' else ''}".rstrip() + lasting


def read_rule(name: str, row: Table, where: str) -> StopRule:
    """A stop rule from its table in a claims file."""
    what: str = one_of(row, "what", tuple(WATCHED), where)
    unit = WATCHED[what]
    only(row, {"what", "hours", "then", "because", "source"} | ({"limit", "unit"} if unit else set()), where)
    if unit and words(row, "unit", where) != unit:
        raise DamagedClaims(f"{where}: unit must be {unit!r} for {what}.")
    limit = number(row, "limit", where) if unit else None
    if limit is not None and unit and unit.startswith("of the") and not 0 < limit < 1:
        raise DamagedClaims(f"{where}: limit is a share {unit}, between 0 and 1; it is {limit:g}.")
    hours = number(row, "hours", where) if "hours" in row else None
    if hours is not None and hours <= 0:
        raise DamagedClaims(f"{where}: hours must be above 0, or left out to act at once.")
    then: Then = one_of(row, "then", get_args(Then), where)
    return StopRule(name, what, limit, unit, hours, then, words(row, "because", where), words(row, "source", where))
