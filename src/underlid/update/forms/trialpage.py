"""A trial and its verdict as one HTML page that needs no network, no script and no other file."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial

import altair as alt

from underlid import __version__
from underlid.trials import shown, telling
from underlid.trials.claims import Claim
from underlid.trials.plan import digest
from underlid.trials.verdict import Verdict
from underlid.trials.watch import Alarm
from underlid.update.drawn import charts, trialcharts
from underlid.update.forms.webpage import Drawn, both_widths, style, template
from underlid.update.prose import phrases


def page(told: Verdict, claim: Claim | None, alarms: tuple[Alarm, ...], now: datetime) -> str:
    """The trial as a self-contained HTML page; the same verdict gives the same bytes."""
    sentence = telling.sentence(told)
    looked = told.decided_by is not None

    def drawn(chart: Callable[[Verdict, charts.Size], alt.LayerChart], name: str, says: str) -> Drawn:
        return both_widths(partial(chart, told), name, says)

    return template("trialpage.html.j2").render(
        told=told,
        plan=told.plan,
        claim=claim,
        sentence=sentence,
        sha256=digest(told.plan),
        told_on=f"{phrases.day(now)} {now:%Y}",
        style=style(),
        charts={
            "effect": drawn(trialcharts.effect_chart, "effect", sentence) if trialcharts.has_effect(told) else None,
            "bins": drawn(trialcharts.bins_chart, "bins", "What each bin gave, by arm.") if looked else None,
        },
        rows=telling.rows(told),
        looks=telling.looks(told),
        margin=shown.margin_words(told.plan),
        compared=(
            "The mean of the bins." if told.plan.stated is not None else
            "Changed over control." if told.plan.scale == "ratio" else "Changed less control."
        ),
        settles=telling.settles(told),
        rivals=telling.rivals(told),
        expected=telling.expected(told.plan),
        alarms=alarms,
        arm_marks=trialcharts.ARM_MARKS,
        colours={
            "holds": charts.GREEN, "fails": charts.VERMILION, "open": charts.GREY, "band": trialcharts.BAND,
            "ink": charts.INK,
        },
        made=f"underlid {__version__}",
    )  # fmt: skip
