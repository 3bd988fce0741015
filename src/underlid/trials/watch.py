"""Stop rules watched: what the entries of a bin say about when to act for the animals' sake.

A vague reading breaks a rule for sure where all of its interval is beyond the limit, and may break it where a part is.
Deaths, escapes and smells have no readings of their own; they are found in the keeper's notes by a few plain words.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from underlid.quantity.amount import AmountError, VagueAmount, parse_amount
from underlid.quantity.show import show_when
from underlid.records import AnyEntry, Bin, Measured, Note, Reading
from underlid.trials.claims import welfare_rules
from underlid.trials.plan import Plan
from underlid.trials.stopping import StopRule

LATELY = timedelta(days=14)  # an older entry says little of today: our judgement

#: Rules that a reading may break: which quantity, and whether the limit is the least or the most.
READ: dict[str, tuple[Measured, Callable[[float, float], bool]]] = {
    "bedding above": ("temperature", lambda value, limit: value > limit),
    "bedding below": ("temperature", lambda value, limit: value < limit),
    "moisture below": ("moisture", lambda value, limit: value < limit),
    "moisture above": ("moisture", lambda value, limit: value > limit),
    "pH below": ("pH", lambda value, limit: value < limit),
    "pH above": ("pH", lambda value, limit: value > limit),
}
_PLANTS = r"(?!\s+(?:lea\w+|plants?|wood|grass|flies|fly|flowers?|roots?|batter\w+)\b)"  # not the animals
NOTED = {
    "deaths share": re.compile(r"\b(?:dead|died|dying|corpses?)\b" + _PLANTS, re.IGNORECASE),
    "escape": re.compile(r"\b(?:escap\w+|crawl\w* out|climb\w* out|outside the bin|left the bin)\b", re.IGNORECASE),
    "ammonia smell": re.compile(r"\bammonia\b", re.IGNORECASE),
    "foul smell": re.compile(r"\b(?:foul|rotten|stinks?|stank|stinking|putrid)\b", re.IGNORECASE),
}
_DENIED = re.compile(
    r"\b(?:no|not|none|without|nobody|never|\w+n['’]t)\b(?:(?!\b(?:and|but|then|yet)\b)[^.;,:])*$", re.IGNORECASE
)
_NUMBERS = (
    "a|about|some|at least|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|dozens?|couple|few|several"
)
_SAID_OF = re.compile(r"\b(?:worms?|adults?|juveniles?|hatchlings?|were|are|was|had|have|of|them|found)\b", re.I)
_HOW_MANY = re.compile(rf"(?=((?:\b(?:{_NUMBERS})\b|(?<![\d.])\d)[^.;,]*$))", re.IGNORECASE)  # from each number on


@dataclass(frozen=True, slots=True)
class Alarm:
    """A rule that an entry breaks, for sure or perhaps, and what to do in a sentence."""

    rule: StopRule
    entry: AnyEntry
    sure: bool
    sentence: str


def alarms(rules: Sequence[StopRule], record: Bin, entries: Sequence[AnyEntry], now: datetime) -> tuple[Alarm, ...]:
    """What the entries of the last two weeks break: for each rule the worst and latest entry, the sure ones first."""
    known = [one for one in entries if one.when.start <= now]
    lately = [one for one in known if now - LATELY <= one.when.end]
    found = []
    for rule in rules:
        if rule.what in READ:
            found += _by_reading(rule, lately)
        elif rule.what in NOTED and rule.limit is None:
            found += [_alarm(rule, one, True) for one, _ in _noted(rule, lately)]
        elif rule.what in NOTED:
            since = now - max(LATELY, timedelta(hours=rule.hours or 0.0))
            found += _by_sum(rule, record, [one for one in known if since <= one.when.end], now - LATELY)
    first: dict[StopRule, Alarm] = {}
    for one in sorted(found, key=lambda one: (not one.sure, -one.entry.when.end.timestamp())):
        first.setdefault(one.rule, one)
    return tuple(first.values())


def rules_for(bin: str, plans: Sequence[Plan]) -> tuple[StopRule, ...]:
    """The rules that hold for every bin, and those of the trials that it is in.

    Where a trial has a rule of every bin as it stands, but for what to do then, that of the trial takes its place. A
    trial never loosens one.
    """
    ours = {_watched(rule): rule for rule in welfare_rules()}
    return tuple((ours | {_watched(rule): rule for plan in plans if bin in plan.arms for rule in plan.stop}).values())


# --- inside ----------------------------------------------------------------------------------------------


def _watched(rule: StopRule) -> tuple[str, float | None, float | None]:
    return rule.what, rule.limit, rule.hours


def _by_reading(rule: StopRule, entries: Sequence[AnyEntry]) -> list[Alarm]:
    quantity, beyond = READ[rule.what]
    limit = math.nan if rule.limit is None else rule.limit
    found = []
    for one in entries:
        if isinstance(one, Reading) and one.quantity == quantity and one.amount.kind != "not noted":
            ends = [beyond(end, limit) for end in (one.amount.low, one.amount.high) if math.isfinite(end)]
            if any(ends):
                found.append(_alarm(rule, one, all(ends) and one.amount.kind != "about"))
    return found


def _noted(rule: StopRule, entries: Sequence[AnyEntry]) -> list[tuple[Note, VagueAmount | None]]:
    """The notes that say so, each with how many, None where that is not said."""
    found = []
    for one in entries:
        if isinstance(one, Note):
            for said in NOTED[rule.what].finditer(one.words):
                before = one.words[: said.start()]
                if not _DENIED.search(before):
                    found.append((one, _how_many(before)))
                    break
    return found


def _by_sum(rule: StopRule, record: Bin, entries: Sequence[AnyEntry], lately: datetime) -> list[Alarm]:
    """Deaths or escapes add up over the time of the rule; the alarm is of the latest note, if that is of late."""
    noted = _noted(rule, entries)
    if not noted or rule.limit is None:
        return []
    latest, _ = max(noted, key=lambda pair: pair[0].when.end)
    if latest.when.end < lately:
        return []
    low = sum(0.0 if many is None else max(many.low, 0.0) for _, many in noted)
    high = sum(math.inf if many is None else many.high for _, many in noted)
    most = rule.limit * record.founders.high if math.isfinite(record.founders.high) else math.inf
    least = rule.limit * max(record.founders.low, 0.0)
    return [_alarm(rule, latest, low >= most, len(noted))] if high >= least else []


def _how_many(before: str) -> VagueAmount | None:
    """The number that stands before the word, None where there is none to be read."""
    for said in _HOW_MANY.finditer(before):
        with suppress(AmountError):
            return parse_amount(" ".join(_SAID_OF.sub("", said[1]).split()), expect="1")
    return None


def _alarm(rule: StopRule, entry: AnyEntry, sure: bool, together: int = 1) -> Alarm:
    lasting = ", if it lasts," if rule.hours is not None and rule.what not in ("deaths share", "escape") else ""
    others = f" with {together - 1} earlier" if together > 1 else ""
    breaks = f"{'breaks' if sure else 'may break'}{lasting}"
    return Alarm(
        rule, entry, sure,
        f"Bin {entry.bin}: “{entry.words}” ({show_when(entry.when)}){others} {breaks} the stop rule “{rule.watched}”: "
        f"{rule.then}. {rule.because}",
    )  # fmt: skip
