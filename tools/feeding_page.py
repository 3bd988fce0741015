"""Writes docs/feeding.md and its figure: what citrus does to a small bin, as far as is known."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, cast

import altair as alt
import numpy as np
from numpy.typing import NDArray

from underlid.bedding.materials import Material, material
from underlid.chemistry.aftermath import RECOVERED_PH, TOLERATED_PH, Course, Points, Summary
from underlid.chemistry.pocket import course, draw_rates
from underlid.chemistry.rates import SPREADS
from underlid.fit.feeding import HUMIC, PLANTS, Bed, Moves, bedding_of, feed_of, kg_to_move, what_if_fed
from underlid.update.drawn import drawing
from underlid.update.drawn.charts import BLUE, GREY, INK

Array = NDArray[np.float64]

PAGE = Path(__file__).parent.parent / "docs" / "feeding.md"
FIGURE = Path("figures") / "pocket.svg"  # beside the page
SEED, DRAWS, DAYS, WARM_C, COLD_C = 20, 400, 60.0, 15.0, 5.0
SHOWN_DAYS, SINGLE = 30, 6  # of the figure; draws shown one by one
WIDTH, HEIGHT, TEXT = 300, 240, 13

MANURE, LEAVES, CARD = (material(name) for name in ("old horse manure", "leaves", "cardboard"))
PEEL, LEMON, ORANGE = (material(name) for name in ("lemon peel", "lemon", "orange"))
BED = Bed(((MANURE, 0.5), (LEAVES, 0.5)), litres=20.0)
POOR = Bed(((CARD, 0.5), (LEAVES, 0.5)), litres=20.0)
FINE = Bed(BED.layers, 20.0, grain_m=5e-5)
POOR_FINE, POOR_COARSE = Bed(POOR.layers, 20.0, grain_m=5e-5), Bed(POOR.layers, 20.0, grain_m=3e-3)


@dataclass(frozen=True, slots=True)
class Case:
    """A feeding that the table tells."""

    says: str
    bed: Bed
    food: Material
    kg: float = 0.3
    warm_c: float = WARM_C
    heaps: int = 1
    shells_kg: float = 0.0

    def run(self, days: float = DAYS) -> Course:
        rng = np.random.default_rng(SEED)
        return what_if_fed(
            self.bed, self.food, self.kg, self.warm_c, rng,
            draws=DRAWS, days=days, heaps=self.heaps, shells_kg=self.shells_kg,
        )  # fmt: skip


CASES = (
    Case("300 g lemon peel", BED, PEEL),
    Case("the same at 5 °C (41 °F)", BED, PEEL, warm_c=COLD_C),
    Case("300 g whole lemons, cut", BED, LEMON),
    Case("1 kg whole lemons, cut", BED, LEMON, kg=1.0),
    Case("300 g lemon peel in card and leaves", POOR, PEEL),
    Case("300 g whole lemons in card and leaves", POOR, LEMON),
    Case("the same in five places", POOR, LEMON, heaps=5),
    Case("the same, in one place, with 20 g eggshell in 3 mm pieces", POOR_COARSE, LEMON, shells_kg=0.02),
    Case("the same, in one place, with 20 g eggshell powder (0.05 mm)", POOR_FINE, LEMON, shells_kg=0.02),
)


def main() -> None:
    ran = [case.run() for case in CASES]
    moves = {
        food.name: kg_to_move(BED, food, WARM_C, np.random.default_rng(SEED), draws=DRAWS // 5)
        for food in (PEEL, ORANGE, LEMON)
    }
    PAGE.write_text(page(ran, moves), "utf-8")
    (PAGE.parent / FIGURE).write_text(figure(ran[0], ran[4]), "utf-8")
    print(f"wrote {PAGE.name} and {FIGURE.name}")


def page(ran: Sequence[Course], moves: dict[str, Moves]) -> str:
    bedding = bedding_of(BED, DRAWS, np.random.default_rng(SEED))
    dry, wet = np.asarray(bedding.dry_kg), np.add(bedding.dry_kg, bedding.water_kg)
    first = ran[0].summary()
    fed = feed_of(PEEL, 0.3, DRAWS, np.random.default_rng(SEED))
    protons = 3 * np.asarray(fed.citrate_mol)
    rows = [_row(case, told.summary()) for case, told in zip(CASES, ran, strict=True)]
    foods = {PEEL.name: "citrus peel (lemon, orange)", ORANGE.name: "whole oranges", LEMON.name: "whole lemons"}
    moved = [f"| {foods[name]} | {_kg(one.at_once)} | {_kg(one.eaten)} |" for name, one in moves.items()]
    peel = moves[PEEL.name]
    answer = _fill(
        f"300 g of lemon peel, put in one place at {_warm(WARM_C)}, lower the bedding that touches it by "
        f"{_range(first.pocket_fall, 2)} pH, and move the whole bin by {_range(first.whole_change, 2)}. The chance "
        f"that the pocket falls below pH {TOLERATED_PH:g}, the least that these worms are said to tolerate, is "
        f"{_chance(first.below_chance)}. To lower the whole bin by one pH unit takes {_kg(peel.at_once)} kg of peel "
        f"even if all its acid came at once and none were eaten, in a bin whose bedding weighs {_kg(_points(wet))} kg."
    )
    of_bin = _fill(
        "The bin: 20 L of bedding, old horse manure and leaves by equal volumes, in good order; "
        f"{_range(_points(dry), 1)} kg dry, start pH {_range(_points(ran[0].start_ph), 1)}. Each kg of it takes up "
        f"{_range(_points(np.asarray(bedding.buffer_mol_kg_ph)), 2)} mol of protons per pH, and 300 g of peel bring "
        f"{_range(_points(protons), 3)} mol with their fruit acids. All figures are predicted: the middle, and the "
        f"range from the 5 to the 95 % point of {DRAWS} draws of what is not known."
    )
    hangs = _fill(
        "What the fall of the pocket hangs on most, by rank correlation over the draws of the first row: "
        + "; ".join(f"{name} ({r:+.2f})".replace("-", "−") for name, r in _hangs_on())
        + "."
    )
    judged = sum("judgement" in spread.source for spread in SPREADS.values())
    basis = _fill(
        f"Published: what compost takes up ({HUMIC.low:g} to {HUMIC.high:g} mol per kg dry and pH, {HUMIC.cited}) and "
        "the acid of juices. Recalled: the acid of peel, most constants of equilibrium, how fast microbes eat citrate "
        "(half-life hours to a day at 20 °C, 68 °F), the dissolving of calcite (Plummer, Wigley & Parkhurst 1978). "
        f"Judgement: {judged} of {len(SPREADS)} constants, each with its range in `chemistry/rates.py`: how much sugar "
        "turns to acid where air is short, how much CO2 builds up, how thick the bedding is that meets the scraps (1 "
        "to 4 cm, 0.4 to 1.6 in), how fast worms and water mix it, how much of a piece of shell gets wet; and what "
        f"leaves take up ({PLANTS.low:g} to {PLANTS.high:g}) and card."
    )
    left_out = _fill(
        "Left out: the inside of the scraps, which stays as sour as the fruit until it has rotted; oils of the peel, "
        "which are no matter of pH; what dries or drains; ammonium held by bedding, so ammonia reads high; lime of the "
        "bedding beyond its measured uptake. No reading of a real pocket has been compared with this yet: a strip "
        "pressed into the bedding beside the scraps, after one, three and ten days, would be the first."
    )
    heading = (
        f"| feeding, in one place at {_warm(WARM_C)} unless said | pocket falls by, pH "
        f"| chance below pH {TOLERATED_PH:g} | days until it stays within {RECOVERED_PH:g} of the start, either way "
        "| whole bin moves by, pH, at most |"
    )
    return f"""# What citrus does to a small bin

Written by `make feeding`.

{answer}

![pH of a pocket of 300 g lemon peel over {SHOWN_DAYS} days, in two kinds of bedding](figures/pocket.svg)

{of_bin}

## How much moves the whole bin by one pH unit

| food | kg, all acid at once, none eaten | kg, as one feeding whose acids are eaten as they come |
|---|---|---|
{chr(10).join(moved)}

The second column is beyond any such bin, and says only that acid does not pile up where microbes are at work; in the
long run peel leaves base behind, as its ash is alkaline.

## What happens in the pocket

{heading}
|---|---|---|---|---|
{chr(10).join(rows)}

{hangs}

## What is known and what is judgement

{basis}

{left_out}
"""


def figure(manure: Course, card: Course) -> str:
    """Pocket and bulk against the start, in two kinds of bedding."""
    panels = [_panel(manure, "old horse manure and leaves"), _panel(card, "card and leaves")]
    chart = (
        alt.hconcat(*panels, spacing=18)
        .properties(background="white", padding=12)
        .configure(aria=False, font=drawing.FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelFontSize=TEXT, titleFontSize=TEXT, titleFontWeight="normal", labelColor=INK, titleColor=INK,
            gridColor="#e4e1da", domainColor="#8b8f94", tickColor="#8b8f94", labelPadding=4, titlePadding=8,
        )
    )  # fmt: skip
    says = (
        "pH of pocket and bulk against the start: the pocket falls, then comes back over weeks; the bulk hardly moves."
    )
    inline = drawing.svg(cast(alt.LayerChart, chart), "pocket", says)
    return inline.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) + "\n"


def _panel(told: Course, name: str) -> alt.LayerChart:
    kept = told.time_h <= 24 * SHOWN_DAYS
    day = told.time_h[kept] / 24
    pocket, bulk = (ph[:, kept] - told.start_ph[:, None] for ph in (told.pocket_ph, told.bulk_ph))
    low, middle, high = np.quantile(pocket, [0.05, 0.5, 0.95], axis=0)
    far = np.median(bulk, axis=0)
    rows = [
        {"d": _n(d), "low": _n(lo), "ph": _n(mid), "high": _n(hi), "bulk": _n(b)}
        for d, lo, mid, hi, b in zip(day, low, middle, high, far, strict=True)
    ]
    single = [
        {"d": _n(d), "ph": _n(ph), "draw": i} for i in range(SINGLE) for d, ph in zip(day, pocket[i], strict=True)
    ]
    x = alt.X("d:Q", title="days after feeding", scale=alt.Scale(domain=[0, SHOWN_DAYS], nice=False),
              axis=alt.Axis(grid=False, values=list(range(0, SHOWN_DAYS + 1, 5))))  # fmt: skip
    scale = alt.Scale(domain=[-1.5, 1], nice=False, clamp=True)
    axis = alt.Axis(values=[-1.5, -1, -0.5, 0, 0.5, 1], format="+~g", title="pH, against the start")
    low_y, ph_y, bulk_y = (alt.Y(f"{of}:Q", scale=scale, axis=axis) for of in ("low", "ph", "bulk"))
    base, ones = alt.Chart(_data(rows)).encode(x=x), alt.Chart(_data(single)).encode(x=x)
    words = alt.Chart(_data([
        {"d": 5, "ph": -1.4, "says": "blue: pocket, middle, range, six draws"},
        {"d": 5, "ph": 0.85, "says": "dashed: bulk, middle"},
    ]))  # fmt: skip
    chart = alt.layer(
        base.mark_area(color=BLUE, opacity=0.18).encode(y=low_y, y2="high:Q"),
        ones.mark_line(color=BLUE, opacity=0.45, strokeWidth=0.8).encode(y=ph_y, detail="draw:N"),
        base.mark_line(color=BLUE, strokeWidth=2.2).encode(y=ph_y),
        base.mark_line(color=GREY, strokeWidth=1.6, strokeDash=[5, 3]).encode(y=bulk_y),
        words.mark_text(align="left", fontSize=TEXT, color=INK).encode(x=x, y=ph_y, text="says:N"),
    )
    title = alt.TitleParams(name, anchor="start", fontSize=TEXT, color=INK, offset=6)
    return cast(alt.LayerChart, chart.properties(width=WIDTH, height=HEIGHT, title=title))


def _data(rows: list[dict[str, Any]]) -> alt.InlineData:
    return alt.InlineData(values=rows)


def _hangs_on(many: int = 5) -> list[tuple[str, float]]:
    """What the pocket's fall goes with most, and the rank correlation."""
    from scipy.stats import spearmanr

    rng = np.random.default_rng(SEED)
    made, rates = (bedding_of(BED, DRAWS, rng), feed_of(PEEL, 0.3, DRAWS, rng)), draw_rates(DRAWS, rng)
    told = course(*made, rates, WARM_C, days=DAYS)
    fall = told.start_ph - told.pocket_ph.min(axis=1)
    drawn = {f.name: getattr(one, f.name) for one in (*made, rates) for f in fields(one)}
    found = [
        (CALLED.get(name, name.replace("_", " ")), float(spearmanr(value, fall).statistic))
        for name, value in drawn.items()
        if np.ptp(value) > 0
    ]
    return sorted(found, key=lambda one: -abs(one[1]))[:many]


CALLED = {
    "fermented": "share of sugar turned to acid",
    "citrate_mol": "acid of the peel",
    "shell_m": "thickness of the bedding that touches it",
    "more_co2_atm": "CO2 in the pocket",
    "co2_atm": "CO2 in the bin",
    "buffer_mol_kg_ph": "what the bedding takes up",
    "ph": "pH at the start",
    "release_per_day": "how fast the juice leaves",
    "base_mol": "base in the peel's ash",
    "dry_kg": "dry mass of bedding",
    "acetate_per_day": "how fast acetate is eaten",
    "lactate_per_day": "how fast lactate is eaten",
    "citrate_per_day": "how fast citrate is eaten",
    "soluble": "sugar in the peel",
    "carbon_mol": "carbon of the peel",
    "litres": "how loosely the peel lies",
}


def _row(case: Case, told: Summary) -> str:
    days = tuple(hours / 24 for hours in told.recovered_h)
    within = " to ".join("beyond 60" if math.isinf(d) else f"{d:.0f}" for d in (days[0], days[2]))
    middle = "beyond 60" if math.isinf(days[1]) else f"{days[1]:.0f}"
    return (
        f"| {case.says} | {_range(told.pocket_fall, 2)} | {_chance(told.below_chance)} | {middle} ({within}) "
        f"| {_range(told.whole_change, 2)} |"
    )


def _range(points: Points, digits: int) -> str:
    low, middle, high = (f"{value:.{digits}f}".replace("-", "−") for value in points)
    return f"{middle} ({low} to {high})"


def _kg(points: Points) -> str:
    low, middle, high = map(_mass, points)
    return f"{middle} ({low} to {high})"


def _mass(kg: float) -> str:
    if math.isinf(kg):
        return "more than 1000"
    return f"{kg:.2g}" if kg < 100 else f"{round(kg, -1):.0f}"


def _points(values: Array) -> Points:
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return float(low), float(middle), float(high)


def _chance(share: float) -> str:
    return "below 1 %" if share < 0.01 else f"{100 * share:.0f} %"


def _warm(celsius: float) -> str:
    return f"{celsius:.0f} °C ({celsius * 9 / 5 + 32:.0f} °F)"


def _n(value: float) -> float:
    return round(float(value), 3)


def _fill(words: str) -> str:
    return textwrap.fill(words, 120)


if __name__ == "__main__":
    main()
