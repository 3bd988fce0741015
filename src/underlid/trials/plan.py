"""The plan of a trial: what is to be shown, on which bins, by which counts, settled before the first of them.

A plan is written as JSON that a keeper can read and change until it is registered. Registering freezes its canonical
text under a hash, so that every later change can be seen: what decides must have been said before the counts.

>>> plan = Plan(
...     name="grit", claim="added-grit", statement="Leaving out grit makes no difference beyond the margin.",
...     control="a handful of grit at the start", changed="none", outcome="worms", scale="ratio", unit="",
...     margin=2.0, because="half as many would matter to a keeper", founders=30, starts="2025-05-01", looks=(180, 360),
...     arms={"a": "control", "b": "changed"}, seed=1,
... )
>>> plan_from(canonical(plan)) == plan
True
>>> digest(plan)[:8] == digest(plan_from(canonical(plan)))[:8]
True
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any, Literal, get_args

import numpy as np

from underlid.trials.claims import DIFFERENCES, Outcome, Scale
from underlid.trials.rows import DamagedClaims
from underlid.trials.stopping import StopRule, read_rule

ArmName = Literal["control", "changed"]
ARMS: tuple[ArmName, ...] = get_args(ArmName)
COUNTED: tuple[Outcome, ...] = ("worms", "adults", "young", "cocoons")
#: Outcomes that the journal holds, and the unit of their difference; "" where they are compared as a ratio.
TAKEN: Mapping[Outcome, str] = {
    **dict.fromkeys((*COUNTED, "live mass"), ""),
    **{of: DIFFERENCES[of] for of in ("pH", "bedding temperature", "days to first hatchling")},
}

ALPHA = 0.05  # chance, at most, of calling a true effect as large as the margin “within the margin”
FORMAT = 1  # of the canonical text
MOST_SIGNS = 1_000_000  # what a journal takes, and far more than a plan needs


class PlanProblem(ValueError):
    """A plan that cannot be carried out, or a text that is none."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A trial as it is to be done.

    Attributes
    ----------
    claim : key of the claim; statement : what is put under test
    control, changed : what is done in the bins of either arm
    outcome, scale, unit : what is compared, as a ratio (changed over control) or as a difference in `unit`
    margin : smallest effect that would matter: a ratio above 1, or an amount in `unit`; `because` says why
    founders : animals put into each bin; starts : day, ISO 8601
    looks : days after the start on which the outcome is taken, rising; the last is the end
    arms : bin -> arm, drawn by lot with `seed`
    stated : instead of a control, the range that the claim states for the outcome; all bins are then `changed`
    same_sort : whether all bins are sorted alike, by the same hands and for as long; blind : whether the one who counts
    does not know the arm
    stop : when to act for the animals' sake
    alpha : see ALPHA; assumed_cv : spread of bins treated alike that the size of the trial was reckoned with
    expected : what simulated trials of this plan came to, by name (chances and widths)
    """

    name: str
    claim: str
    statement: str
    control: str
    changed: str
    outcome: Outcome
    scale: Scale
    unit: str
    margin: float
    because: str
    founders: int
    starts: str
    looks: tuple[int, ...]
    arms: Mapping[str, ArmName]
    seed: int
    same_sort: bool = True
    blind: bool = False
    stop: tuple[StopRule, ...] = ()
    alpha: float = ALPHA
    assumed_cv: float | None = None
    stated: tuple[float, float] | None = None
    expected: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _possible(self)
        for name in ("margin", "alpha"):  # 2 and 2.0 are the same plan, and have the same text
            object.__setattr__(self, name, float(getattr(self, name)))
        if self.assumed_cv is not None:
            object.__setattr__(self, "assumed_cv", float(self.assumed_cv))
        if self.stated is not None:
            object.__setattr__(self, "stated", (float(self.stated[0]), float(self.stated[1])))
        object.__setattr__(self, "arms", MappingProxyType(dict(sorted(self.arms.items()))))
        object.__setattr__(
            self, "expected", MappingProxyType({name: float(self.expected[name]) for name in sorted(self.expected)})
        )

    def bins(self, arm: ArmName) -> tuple[str, ...]:
        """The bins of an arm, by name."""
        return tuple(name for name, its in self.arms.items() if its == arm)

    @property
    def days(self) -> int:
        """How long the trial runs."""
        return self.looks[-1]

    @property
    def margin_on_scale(self) -> float:
        """The margin on the scale of the analysis."""
        return math.log(self.margin) if self.scale == "ratio" else self.margin

    @property
    def stated_on_scale(self) -> tuple[float, float] | None:
        """The stated range on the scale of the analysis."""
        if self.stated is None or self.scale == "difference":
            return self.stated
        low, high = self.stated
        return math.log(low) if low > 0 else -math.inf, math.log(high)


def by_lot(bins: Sequence[str], seed: int, *, alike: Sequence[Sequence[str]] = ()) -> dict[str, ArmName]:
    """Half of the bins to each arm, at random; the odd one is changed.

    alike : groups of bins that are alike (size, place); each group is halved by itself

    Raises PlanProblem for a name given twice or in no group.
    """
    groups = [list(group) for group in alike] or [list(bins)]
    named = sorted(name for group in groups for name in group)
    if named != sorted(set(bins)) or len(bins) != len(set(bins)):
        raise PlanProblem("Each bin must be named once, and belong to one group of bins that are alike.")
    rng = np.random.default_rng(seed)
    arms: dict[str, ArmName] = {}
    first: ArmName = "changed"
    for group in groups:
        for name in rng.permutation(sorted(group)):
            arms[str(name)] = first
            first = "changed" if first == "control" else "control"
    return arms


def canonical(plan: Plan) -> str:
    """The plan's text: JSON, keys in order, the same bytes for the same plan."""
    told = {one.name: getattr(plan, one.name) for one in fields(plan)}
    told |= {"arms": dict(plan.arms), "expected": dict(plan.expected)}
    told |= {"stop": [asdict(rule) for rule in plan.stop], "format": FORMAT}
    return json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1, sort_keys=True) + "\n"


def digest(plan: Plan) -> str:
    """SHA-256 of the canonical text, in hex."""
    return hashlib.sha256(canonical(plan).encode()).hexdigest()


def plan_from(text: str) -> Plan:
    """A plan from its text. Raises PlanProblem, saying what is wrong and where."""
    if len(text) > MOST_SIGNS:
        raise PlanProblem(f"The plan has more than {MOST_SIGNS} characters, which no plan needs; make it anew.")
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise PlanProblem(f"The plan is not JSON: {error}. Mend it there, or make it anew.") from None
    if not isinstance(told, dict):
        raise PlanProblem("The plan must be one JSON object, as `underlid plan` writes it.")
    if told.pop("format", FORMAT) != FORMAT:
        raise PlanProblem("The plan was written by a newer underlid; this one cannot read it.")
    known = {one.name: one for one in fields(Plan)}
    if strange := sorted(set(told) - set(known)):
        raise PlanProblem(f"The plan has “{strange[0]}”, which is no part of a plan; take it out.")
    needed = {
        name
        for name in known
        if name not in {"same_sort", "blind", "stop", "alpha", "assumed_cv", "stated", "expected"}
    }
    if lacking := sorted(needed - set(told)):
        raise PlanProblem(f"The plan lacks “{lacking[0]}”; make it anew, or write it in.")
    try:
        made = Plan(**{name: _read(name, told[name]) for name in told})
        canonical(made).encode()
    except UnicodeEncodeError:
        raise PlanProblem("The plan holds half of a character, which has no bytes; write its words anew.") from None
    return made


# --- inside ----------------------------------------------------------------------------------------------

_TEXTS = ("name", "claim", "statement", "control", "changed", "outcome", "scale", "unit", "because", "starts")


def _read(name: str, value: Any) -> Any:
    wants: dict[str, tuple[Any, str]] = {
        **dict.fromkeys(_TEXTS, (str, "words")),
        **dict.fromkeys(("founders", "seed"), (int, "a whole number")),
        **dict.fromkeys(("margin", "alpha"), (int | float, "a number")),
        **dict.fromkeys(("same_sort", "blind"), (bool, "true or false")),
        **dict.fromkeys(("looks", "stop"), (list, "a list")),
        **dict.fromkeys(("arms", "expected"), (dict, "an object")),
        "assumed_cv": (int | float | None, "a number or null"),
        "stated": (list | None, "a list of two numbers, or null"),
    }
    kind, words = wants[name]
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise PlanProblem(f"In the plan, “{name}” must be {words}, but is {json.dumps(value, ensure_ascii=False)}.")
    if name in ("margin", "alpha") or (name == "assumed_cv" and value is not None):
        return _float(name, value)
    if name == "looks" and not all(isinstance(day, int) and not isinstance(day, bool) for day in value):
        raise PlanProblem("In the plan, “looks” must be whole days after the start, as [90, 180, 360].")
    if name == "stated" and value is not None:
        if len(value) != 2 or not all(isinstance(end, int | float) and not isinstance(end, bool) for end in value):
            raise PlanProblem("In the plan, “stated” must be two numbers, as [60, 90], or null.")
        return _float(name, value[0]), _float(name, value[1])
    if name == "expected":
        if not all(isinstance(number, int | float) and not isinstance(number, bool) for number in value.values()):
            raise PlanProblem("In the plan, “expected” must hold numbers, as simulated trials gave them.")
        return {key: _float(name, number) for key, number in value.items()}
    if name == "arms" and not all(isinstance(arm, str) for arm in value.values()):
        raise PlanProblem(f"In the plan, “arms” must give each bin one of the arms {' and '.join(ARMS)}.")
    if name == "stop":
        return tuple(_rule(row) for row in value)
    return tuple(value) if name == "looks" else value


def _float(name: str, value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        raise PlanProblem(f"In the plan, “{name}” has a number too large to reckon with; give a smaller one.") from None


def _rule(row: Any) -> StopRule:
    if not isinstance(row, dict) or not isinstance(row.get("name"), str):
        raise PlanProblem("In the plan, each rule under “stop” must be an object with a name; copy one from a claim.")
    given = {key: value for key, value in row.items() if key != "name" and value is not None}
    try:
        return read_rule(row["name"], given, f"the plan, stop.{row['name']}")
    except DamagedClaims as wrong:
        raise PlanProblem(f"In {wrong}") from None


def _possible(plan: Plan) -> None:
    problem = ""
    if not plan.name.strip() or plan.name != plan.name.strip():
        problem = "needs a name without a space at either end"
    elif not plan.statement.strip() or (
        plan.stated is None and plan.control.strip().casefold() == plan.changed.strip().casefold()
    ):
        problem = "needs a statement, and two arms that differ; say what is done in each"
    elif plan.outcome not in TAKEN:
        problem = f"has the outcome “{plan.outcome}”, which the journal does not hold; choose of {', '.join(TAKEN)}"
    elif (plan.scale, plan.unit) != (how := ("difference", unit) if (unit := TAKEN[plan.outcome]) else ("ratio", "")):
        problem = f"must compare {plan.outcome} as a {' in '.join(filter(None, how))}; write so as “scale” and “unit”"
    elif plan.stated is not None and not 0 <= plan.stated[0] < plan.stated[1] < math.inf:
        problem = "needs the stated range from its lower to its higher end, 0 or above"
    elif plan.stated is not None and "control" in plan.arms.values():
        problem = "compares bins with a stated range, so none is a control; give all of them as “changed”"
    elif plan.stated is None and not (
        math.isfinite(plan.margin) and plan.margin > (1.0 if plan.scale == "ratio" else 0.0)
    ):
        least = "1, as 1.5 for half as many again" if plan.scale == "ratio" else f"0 {plan.unit}"
        problem = f"needs a margin above {least}: without one nothing can be called alike"
    elif not plan.because.strip():
        problem = "needs a reason for its margin (“because”): the smallest effect that would matter to you"
    elif not set(plan.arms.values()) <= set(ARMS) or not all(name.strip() for name in plan.arms):
        problem = f"must give each bin one of the arms {' and '.join(ARMS)}"
    elif "changed" not in plan.arms.values():
        problem = "needs at least one bin with the change"
    elif not plan.looks or plan.looks[0] < 1 or any(b <= a for a, b in zip(plan.looks, plan.looks[1:], strict=False)):
        problem = "needs days on which the outcome is taken, rising from 1 or more"
    elif plan.looks[-1] > 3660:
        problem = "runs for more than ten years; give fewer days"
    elif plan.founders < 1 or plan.seed < 0:
        problem = "needs at least one founder in each bin, and a seed of 0 or more"
    elif not 0 < plan.alpha < 0.5:
        problem = "needs an error rate (“alpha”) above 0 and below 0.5; 0.05 is usual"
    elif plan.assumed_cv is not None and not 0 < plan.assumed_cv < 10:
        problem = "needs a spread of like bins (“assumed_cv”) above 0 and below 10, or null; 0.3 means 30 %"
    elif not all(math.isfinite(number) for number in plan.expected.values()):
        problem = "has a number under “expected” that is none; make it anew"
    else:
        try:
            date.fromisoformat(plan.starts) + timedelta(days=plan.looks[-1] + 366)  # with room for late counts
        except (ValueError, OverflowError):
            problem = f"starts on “{plan.starts}”, which is no day; write it as 2026-04-01"
    if problem:
        raise PlanProblem(f"The plan “{plan.name}” {problem}.")


def as_json(plan: Plan) -> dict[str, object]:
    """The plan as plain JSON types, with its hash."""
    return {**json.loads(canonical(plan)), "sha256": digest(plan)}
