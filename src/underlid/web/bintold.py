"""What pages and programs may ask of a bin's view, and what they are told: every word and number bounded."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, Field, StringConstraints

from underlid.web.asked import Strict
from underlid.web.work import Job

#: No control characters: they cannot be seen, and so cannot be meant.
_SEEN = r"^[^\x00-\x1f\x7f]*$"
Words = Annotated[str, StringConstraints(min_length=1, max_length=120, pattern=_SEEN, strip_whitespace=True)]
Where = Literal["open shelter", "outdoors", "unheated shed", "indoors"]

MOST_WRAP_CM, MOST_LITRES = 20.0, 2000.0


class FeedAsked(Strict):
    """A feeding to be judged before it is given, in the keeper's words."""

    amount: Words = Field(examples=["300 g"])
    food: Words = Field(examples=["lemon peel"])
    heaps: int = Field(default=1, ge=1, le=100, description="In how many places it would be put.")
    ph: Words | None = Field(default=None, description="pH of the bedding, “6.5-7”; else by the journal.")


class ChangeAsked(Strict):
    """What would be changed now; what is left out stays as it is."""

    insulate_cm: float = Field(default=0.0, ge=0, le=MOST_WRAP_CM, allow_inf_nan=False)
    litres: float | None = Field(default=None, ge=1, le=MOST_LITRES, allow_inf_nan=False)
    siting: Where | None = None
    room_c: float | None = Field(default=None, ge=-10, le=40, allow_inf_nan=False, description="Air of a room, °C.")


class JobTold(BaseModel):
    """A piece of work as it stands; ask again until its state is done, refused or failed."""

    id: str
    state: Literal["waiting", "running", "done", "refused", "failed"]
    progress: float = Field(ge=0, le=1)
    result: Any = None
    error: str | None = None
    asked_at: AwareDatetime
    made_at: AwareDatetime | None = None

    @staticmethod
    def of(job: Job) -> JobTold:
        """The job as it is told."""
        return JobTold(
            id=job.id, state=job.state, progress=job.progress, result=job.result, error=job.error,
            asked_at=job.asked_at, made_at=job.made_at,
        )  # fmt: skip


class Series(BaseModel):
    """Every few hours: times as the bin's wall clock in ms as if UTC, and 5, 50 and 95 % of each course."""

    at: list[int]
    predicted_from: int
    units: dict[str, str]
    middle: list[list[float]]
    edge: list[list[float]]
    surface: list[list[float]]
    air: list[list[float]]
    moisture: list[list[float]]
    refuge: list[list[float]]
    ice: list[list[float]]


class CutTold(BaseModel):
    """A vertical cut across the middle in tenths of a degree, rows from the surface down, left wall to the middle."""

    at: list[int]
    now: int
    rows: int
    columns: int
    band_c: list[float]
    width_m: float
    height_m: float
    depth_m: list[float]
    wall_m: list[float]
    tenths: dict[str, list[list[int]]]
    refuge_pct: list[list[float]]
    species: str


class View(BaseModel):
    """What was made last: ranges are 5, 50 and 95 %, and every figure says whether it is estimated or predicted."""

    bin: str
    made_at: AwareDatetime
    made_by: str
    timezone: str
    now: int
    unit: str
    seed: int
    entries: int
    missing: str | None = Field(description="What is missing for estimates, in a sentence.")
    readings_used: int
    settled: bool
    careful: list[str]
    figures: list[dict[str, Any]]
    items: list[dict[str, Any]] = Field(description="What was noted, on the time axis.")
    alarms: list[dict[str, Any]]
    shrinking: list[str]
    trials: list[dict[str, Any]]
    days: list[dict[str, Any]]
    series: Series | None
    cut: CutTold | None
    population: dict[str, Any] | None
    notes: list[str]


class ViewTold(BaseModel):
    """The view made last, how old it is, and the job that makes it anew if one is at work."""

    bin: str
    state: Literal["none", "stale", "fresh"]
    sentence: str
    newer: int = Field(description="Entries that the view does not know yet.")
    job: str | None
    view: View | None
