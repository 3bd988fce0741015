"""The charts of a trial: the effect at each look beside the margin, and what each bin gave, by arm."""

from __future__ import annotations

import json
import math
from typing import Any

import altair as alt

from underlid.quantity.amount import NINETY
from underlid.trials.plan import ARMS, Plan
from underlid.trials.taken import Taken
from underlid.trials.verdict import FAILS, HOLDS, Look, Verdict
from underlid.update.drawn.charts import BLUE, DESK, GREEN, GREY, INK, VERMILION, Rows, Size, data_of, finish, named

ARM_MARKS = {"control": (GREY, "square"), "changed": (BLUE, "circle")}
WORD_COLOURS = {HOLDS: GREEN, FAILS: VERMILION}
BAND = "#d8d2c4"
ROW = 46  # px a look or an arm takes
WIDEST = 3.0  # margins that an interval is drawn out to; beyond it has an arrow
TICKS = (0.02, 0.05, 0.1, 0.2, 0.33, 0.5, 0.67, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 3, 5, 10, 20, 50)


def effect_chart(told: Verdict, size: Size = DESK) -> alt.LayerChart:
    """The effect at each look with its interval; the margin is a band and no effect a line.

    Of a trial against a stated range: the bins' mean, and that range as the band.
    """
    plan, looks = told.plan, [look for look in told.looks if look.narrow is not None]
    band = plan.stated_on_scale or (-plan.margin_on_scale, plan.margin_on_scale)
    low, high = _reach(band, looks)
    lanes = [len(looks) - 1 - i for i in range(len(looks))]  # the first look on top
    names = {f"{lane + 0.5:g}": f"day {plan.looks[look.number]}" for lane, look in zip(lanes, looks, strict=True)}
    rows = [_effect(look, lane, low, high) for lane, look in zip(lanes, looks, strict=True)]
    x = _effects(plan, low, high, size)
    y = _lanes(names)
    top = max(1, len(looks))
    whole = [{"x": max(band[0], low), "end": min(band[1], high), "low": 0, "high": top}]
    layers: list[alt.Chart] = [
        alt.Chart(data_of(whole)).mark_rect(color=BAND, opacity=0.7).encode(x=x, x2="end:Q", y=y, y2="high:Q")
    ]
    if plan.stated is None:
        none = [{"x": 0.0, "low": 0, "high": top}]
        layers.append(alt.Chart(data_of(none)).mark_rule(color=INK, strokeWidth=1).encode(x=x, y=y, y2="high:Q"))
    for colour in dict.fromkeys(row["colour"] for row in rows):
        some = [row for row in rows if row["colour"] == colour]
        base = alt.Chart(data_of(some))
        layers += [
            base.mark_rule(color=colour, strokeWidth=5, opacity=0.85).encode(x=x, x2="end:Q", y=named(y, "at")),
            base.mark_point(shape="stroke", angle=90, size=420, color=INK, strokeWidth=2, opacity=1)
            .encode(x=_at(x, "middle"), y=named(y, "at")),
        ]  # fmt: skip
        for side, shape in ((-1, "triangle-left"), (1, "triangle-right")):
            if over := [row for row in some if side in row["over"]]:
                layers.append(
                    alt.Chart(data_of(over)).mark_point(shape=shape, size=90, filled=True, color=colour, opacity=1)
                    .encode(x=_at(x, "x" if side < 0 else "end"), y=named(y, "at"))
                )  # fmt: skip
    return finish(layers, Size(size.width, 56 + ROW * top, size.text, size.tick_days))


def bins_chart(told: Verdict, size: Size = DESK) -> alt.LayerChart:
    """What each bin gave at the look told of: a line as long as it is vague, a mark in its middle."""
    plan, look = told.plan, told.decided_by
    values = [] if look is None else [one for one in look.values if math.isfinite(one.low)]
    rows = [row for arm in ARMS for row in _bins(plan, values, arm)]
    low, high = min(row["x"] for row in rows), max(row["end"] for row in rows)
    room = max(0.06 * (high - low), 0.05)
    x = alt.X("x:Q", title=None, scale=alt.Scale(domain=[low - room, high + room], nice=False, zero=False),
              axis=_amounts(plan, low - room, high + room, size))  # fmt: skip
    arms = [arm for arm in ARMS if any(row["arm"] == arm for row in rows)]
    y = _lanes({f"{len(arms) - i - 0.5:g}": arm for i, arm in enumerate(arms)})
    layers: list[alt.Chart] = []
    for arm in arms:
        colour, shape = ARM_MARKS[arm]
        mine = [row | {"at": row["at"] + len(arms) - arms.index(arm) - 1} for row in rows if row["arm"] == arm]
        base = alt.Chart(data_of(mine))
        layers += [
            base.mark_rule(color=colour, strokeWidth=2, opacity=0.8).encode(x=x, x2="end:Q", y=named(y, "at")),
            base.mark_point(shape=shape, size=70, filled=True, color=colour, stroke="white", strokeWidth=1, opacity=1)
            .encode(x=_at(x, "middle"), y=named(y, "at")),
        ]  # fmt: skip
    return finish(layers, Size(size.width, 40 + 2 * ROW * len(arms), size.text, size.tick_days))


def has_effect(told: Verdict) -> bool:
    """Whether there is an effect to draw."""
    return any(look.narrow is not None for look in told.looks)


# --- inside ----------------------------------------------------------------------------------------------


def _reach(band: tuple[float, float], looks: list[Look]) -> tuple[float, float]:
    """How far the axis goes: to all ends, but no further than WIDEST times the band's half width from its middle."""
    if not math.isfinite(band[0]):
        band = (band[1] - 2.0, band[1])
    middle, half = (band[0] + band[1]) / 2, (band[1] - band[0]) / 2
    ends = [abs(end - middle) for look in looks for end in look.narrow or () if math.isfinite(end)]
    most = min(max([1.4 * half, *(1.08 * end for end in ends)]), WIDEST * half)
    return middle - most, middle + most


def _effect(look: Look, lane: int, least: float, most: float) -> dict[str, Any]:
    assert look.narrow is not None
    assert look.effect is not None
    low, high = look.narrow
    over = [side for side, beyond in ((-1, low < least), (1, high > most)) if beyond]
    middle = min(max(look.effect.estimate, least), most)
    return {
        "x": min(max(low, least), most), "end": max(min(high, most), least), "middle": middle, "at": lane + 0.5,
        "low": 0, "over": over, "colour": WORD_COLOURS.get(look.word, GREY),
    }  # fmt: skip


def _bins(plan: Plan, values: list[Taken], arm: str) -> Rows:
    mine = [one for one in values if plan.arms[one.bin] == arm]
    rows = []
    for i, one in enumerate(mine):
        low, high = one.low - NINETY * one.noise, one.high + NINETY * one.noise
        high = high if math.isfinite(high) else one.low
        at = 0.15 + 0.7 * (i + 0.5) / len(mine)
        rows.append({"x": low, "end": high, "middle": (low + high) / 2, "at": at, "low": 0, "arm": arm})
    return rows


def _effects(plan: Plan, low: float, high: float, size: Size) -> alt.X:
    scale = alt.Scale(domain=[low, high], nice=False, zero=False)
    if plan.stated is not None:
        return alt.X("x:Q", title=None, scale=scale, axis=_amounts(plan, low, high, size))
    if plan.scale == "ratio":
        return alt.X("x:Q", title=None, scale=scale, axis=_logged(low, high, " ×", size, TICKS))
    signed = "(datum.value > 0 ? '+' : '') + replace(format(datum.value, '~r'), '-', '−') + "
    axis = alt.Axis(tickCount=6, grid=False, labelExpr=signed + json.dumps(f" {plan.unit}"))
    return alt.X("x:Q", title=None, scale=scale, axis=axis)


def _amounts(plan: Plan, low: float, high: float, size: Size) -> alt.Axis:
    if plan.scale == "ratio":
        ticks = [m * 10**d for d in range(-2, 6) for m in (1, 1.5, 2, 3, 5, 7)]
        return _logged(low, high, "", size, ticks)
    return alt.Axis(tickCount=6, grid=False, labelExpr=f"format(datum.value, '~r') + {json.dumps(' ' + plan.unit)}")


def _logged(low: float, high: float, after: str, size: Size, ticks: tuple[float, ...] | list[float]) -> alt.Axis:
    """An axis of logarithms that names the numbers."""
    inside = [tick for tick in ticks if low <= math.log(tick) <= high]
    apart = 4.0 * size.text * (high - low) / size.width  # labels need that much room
    shown: list[float] = []
    for tick in sorted(inside, key=lambda tick: (abs(math.log(tick)), tick)):
        if all(abs(math.log(tick / other)) >= apart for other in shown):
            shown.append(tick)
    values = sorted(math.log(tick) for tick in shown)
    texts = {f"{value:.4f}": f"{math.exp(value):.3g}{after}" for value in values}
    plain = "replace(format(datum.value, '.4f'), '−', '-')"  # the formatter writes a typographic minus
    return alt.Axis(values=values, grid=False, labelExpr=f"({json.dumps(texts)})[{plain}]")


def _lanes(names: dict[str, str]) -> alt.Y:
    return alt.Y(
        "low:Q", title=None, scale=alt.Scale(domain=[0, max(1, len(names))], nice=False),
        axis=alt.Axis(
            values=[float(at) for at in names], grid=False, ticks=False, domain=False,
            labelExpr=f"({json.dumps(names)})[datum.value]",
        ),
    )  # fmt: skip


def _at(x: alt.X, field: str) -> alt.X:
    other = x.copy(deep=True)
    other.shorthand = f"{field}:Q"
    return other
