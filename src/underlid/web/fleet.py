"""The page of all bins, worst first: the latest look at each, and a round of new looks in the background."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from underlid.fleet import Ahead, Alert, Kind, NotTold, Points, chance_words
from underlid.journal.errors import NoJournal
from underlid.journal.store import Journal
from underlid.update.facts import Range
from underlid.update.prose import phrases
from underlid.web.asked import Strict
from underlid.web.guard import device_of
from underlid.web.kept import Age, ago, weather_files
from underlid.web.looking import NO_WEATHER, Look, Looking, NeedsWeather, Round, looks
from underlid.web.parts import FIND_FROM, Find, JournalPart, LeafNumber, SettingsPart, page, turned_to
from underlid.web.settings import Settings

router = APIRouter()

COLDEST, WARMEST = "Middle, coldest hour", "Middle, warmest hour"

#: What heads an alert.
HEADS: dict[Kind, str] = {
    "stop rule": "For the animals’ sake", "freezing": "Freezing", "little refuge": "Little refuge",
    "too hot": "Too hot", "too dry": "Too dry", "too wet": "Too wet", "misfit": "Misfit", "unsettled": "Not settled",
    "silent": "Long not read",
}  # fmt: skip
#: As this page says it, where the list of a terminal names a command.
UNSETTLED = (
    "The quick fit has not settled (estimated): its ranges are doubtful. Open its page, where it is fitted alone and "
    "in full."
)

#: What says that a quick fit is not to be relied on.
DOUBTFUL: frozenset[Kind] = frozenset({"unsettled", "misfit"})

Group = Literal["care", "alone", "untold", "unseen", "quiet"]
Only = Literal["all", "care", "alone", "newer", "untold", "unseen", "quiet"]

#: The parts of the list in their order, each with its heading.
GROUPS: dict[Group, str] = {
    "care": "To see to, worst first", "alone": "To be fitted alone", "untold": "Not fitted, and why",
    "unseen": "Not looked at yet", "quiet": "Without a warning",
}  # fmt: skip
#: What the list can be narrowed to, and what its count is called.
NARROWED: dict[Only, str] = {
    "all": "in all", "care": "to see to", "alone": "to be fitted alone", "newer": "with newer entries",
    "untold": "not fitted", "unseen": "not looked at yet", "quiet": "without a warning",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """A bin as it is listed; `look` and `age` are None of one that was not looked at yet."""

    bin: str
    group: Group
    look: Look | None
    age: Age | None

    @property
    def order(self) -> tuple[Any, ...]:
        """Worst first within its part of the list, and by name where equal."""
        told = None if self.look is None else self.look.told
        worst = () if told is None or isinstance(told, NotTold) else told.order
        return list(GROUPS).index(self.group), worst if self.group == "care" else (), self.bin

    @property
    def alone(self) -> bool:
        """Whether its quick fit is in doubt."""
        told = None if self.look is None else self.look.told
        return not (told is None or isinstance(told, NotTold)) and any(one.kind in DOUBTFUL for one in told.alerts)

    @property
    def newer(self) -> int:
        """Entries that came after the look."""
        return 0 if self.age is None else max(0, self.age.newer)

    def within(self, only: Only) -> bool:
        """Whether it is in the narrowed list."""
        return {"all": True, "alone": self.alone, "newer": self.newer > 0}.get(only, self.group == only)


class RoundTold(Strict):
    """How far a round of looks is: `state` is none, running, stopping, done, stopped or failed."""

    state: Literal["none", "running", "stopping", "done", "stopped", "failed"]
    bins: int
    done: int
    share: float
    sentence: str


# --- the page -----------------------------------------------------------------------------------------------


@router.get("/fleet", include_in_schema=False)
def fleet_page(
    request: Request,
    settings: SettingsPart,
    only: Only = "all",
    leaf: LeafNumber = 1,
    find: Find = "",
) -> Response:
    """Every bin's latest look, worst first; nothing is computed for it."""
    try:
        with Journal.open(settings.journal) as journal:
            counts, keepers = journal.entry_counts(), journal.keepers()
    except NoJournal:
        counts, keepers = {}, {}
    now = settings.now()
    rows = _rows(counts, settings, now)
    find = find.strip()
    found = [row for row in rows if row.within(only) and find.casefold() in row.bin.casefold()]
    leafed, leaf, leaves = turned_to(found, leaf)
    device = device_of(request)
    asker = None if device is None else keepers.get(device.keeper)
    return page(
        request, "fleet.html", many=len(rows), tiles=_tiles(rows, only), only=only, find=find,
        called=NARROWED[only], leaf=leaf, leaves=leaves, count=len(found), groups=GROUPS, heads=HEADS,
        shown=_grouped(leafed), ages=_ages(rows), findable=len(rows) >= FIND_FROM,
        stale=sum(row.age is not None and row.age.weather_changed for row in rows), one=next(iter(counts), None),
        no_weather=NO_WEATHER if settings.weather is None else "", going=_looking(request).last(),
        may=device is None or not keepers or (asker is not None and asker.role != "reader"),
        seen=any(row.look is not None for row in rows), says=_says, ahead=_ahead, ago=ago,
        readings=_readings, parted=_parted, shortly=_shortly, leading=_leading,
        rest_on_alone=any(row.alone for row in rows),
    )  # fmt: skip


@router.post("/fleet/look", include_in_schema=False)
def look(request: Request, journal: JournalPart, settings: SettingsPart) -> Response:
    """Begin a round of looks; where one is under way, that goes on."""
    if settings.weather is None:
        raise NeedsWeather(NO_WEATHER)
    rows = _rows(journal.entry_counts(), settings, settings.now())
    _looking(request).begin(request.app.state.worker, [row.bin for row in sorted(rows, key=_most_wanted)])
    return RedirectResponse("/fleet#round", 303)


@router.post("/fleet/stop", include_in_schema=False)
def stop(request: Request) -> Response:
    """Let a round end after the few bins that are under way."""
    _looking(request).stop()
    return RedirectResponse("/fleet#round", 303)


@router.get("/api/fleet/round", summary="How far the looks at all bins are", tags=["bins"])
def round_told(request: Request) -> RoundTold:
    """The round of looks under way, else the latest since the server began."""
    found: Round | None = _looking(request).last()
    if found is None:
        return RoundTold(state="none", bins=0, done=0, share=0.0, sentence="No round of looks was begun.")
    return RoundTold(
        state=found.state, bins=found.bins, done=found.done, share=round(found.share, 4), sentence=found.sentence
    )


# --- inside -------------------------------------------------------------------------------------------------


def _looking(request: Request) -> Looking:
    return request.app.state.looking  # type: ignore[no-any-return]


def _rows(counts: Mapping[str, int], settings: Settings, now: datetime) -> list[Row]:
    """A row for each bin, in the order of the list."""
    known, files = looks(settings.journal), weather_files(settings)
    rows = []
    for name, entries in counts.items():
        seen = known.get(name)
        rows.append(Row(name, _group(seen), seen, None if seen is None else seen.age(entries, files, now)))
    return sorted(rows, key=lambda row: row.order)


def _group(seen: Look | None) -> Group:
    if seen is None:
        return "unseen"
    if isinstance(seen.told, NotTold):
        return "untold"
    if not seen.told.alerts:
        return "quiet"
    return "alone" if all(one.kind in DOUBTFUL for one in seen.told.alerts) else "care"


def _most_wanted(row: Row) -> tuple[bool, bool, float]:
    """What a new round begins with: bins never looked at, those with newer entries, and the oldest looks."""
    return row.age is not None, row.newer == 0, 0.0 if row.age is None else row.age.made_at.timestamp()


def _tiles(rows: list[Row], only: Only) -> list[tuple[Only, str, int]]:
    """What the list can be narrowed to, with how many bins that leaves; empty ones are left out."""
    counted = [(name, called, sum(row.within(name) for row in rows)) for name, called in NARROWED.items()]
    return [(name, called, many) for name, called, many in counted if many or name in ("all", "care", only)]


def _grouped(rows: list[Row]) -> dict[Group, list[Row]]:
    return {group: some for group in GROUPS if (some := [row for row in rows if row.group == group])}


def _ages(rows: list[Row]) -> str:
    """ "looked at 2 hours ago", "looked at between 5 minutes ago and 2 days ago"; empty where nothing was."""
    olds = [row.age.old for row in rows if row.age is not None]
    if not olds:
        return ""
    first, last = ago(min(olds)), ago(max(olds))
    return f"looked at {first}" if first == last else f"looked at between {last} and {first}"


def _says(alert: Alert) -> str:
    return UNSETTLED if alert.kind == "unsettled" else alert.says


def _parted(alerts: tuple[Alert, ...]) -> tuple[list[Alert], list[Alert]]:
    """What is said in full at once: every stop rule, else the worst; and the others."""
    first = [one for one in alerts if one.kind == "stop rule"] or list(alerts[:1])
    return first, [one for one in alerts if one not in first]


def _shortly(alerts: list[Alert]) -> str:
    """ "little refuge 92%, too dry over 98%, long not read"."""
    said = [
        HEADS[one.kind].lower() + ("" if one.chance is None else f" {chance_words(one.chance).removeprefix('of ')}")
        for one in alerts
    ]
    return ", ".join(said)


def _leading(alerts: tuple[Alert, ...]) -> list[str]:
    """The temperature that matters most, or both."""
    kinds = {one.kind for one in alerts}
    hot = [WARMEST] if "too hot" in kinds else []
    return hot if hot and "freezing" not in kinds else [COLDEST, *hot]


def _readings(used: int) -> str:
    return phrases.count(used, "reading") if used else "no reading: from the weather and what the bin is made of alone"


def _ahead(ahead: Ahead) -> dict[str, str]:
    """The days ahead in words, each a range that holds nine chances in ten."""
    return {
        COLDEST: phrases.temperature_range(Range(*ahead.coldest_c, "degC", "predicted")),
        WARMEST: phrases.temperature_range(Range(*ahead.warmest_c, "degC", "predicted")),
        "Refuge, least": _share(ahead.refuge),
        "Water, in the end": _share(ahead.moisture),
    }


def _share(points: Points) -> str:
    low, middle, high = points
    return phrases.percent_range(Range(100 * low, 100 * middle, 100 * high, "%", "predicted", 100.0))
