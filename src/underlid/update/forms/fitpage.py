"""The check of a fit as one HTML page that needs no network, no script and no other file."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import altair as alt

from underlid import __version__
from underlid.fit.leftout import Predicted
from underlid.fit.predictive import Predictive
from underlid.fit.study import METHOD, Study
from underlid.update.drawn import charts, fitcharts
from underlid.update.forms.webpage import Drawn, both_widths, style, template
from underlid.update.prose import fitwords, phrases, words
from underlid.update.story import parameters_of


def page(study: Study, found: Predictive) -> str:
    """The check as a self-contained HTML page; the same study gives the same bytes."""
    warm = found.temperatures
    captions = {
        "readings": f"Temperatures in order of time beside the ranges expected of them. {fitwords.verdict(found)}",
        "parts": f"Readings in {len(found.parts)} equal parts of what was expected, lowest first: "
        f"{', '.join(phrases.number(n) for n in found.parts)}.",
        "residual": f"What was noted less what was expected, through time. {fitwords.left_over(found)}",
    }

    def drawn(chart: Callable[[Predictive, charts.Size], alt.LayerChart], name: str) -> Drawn:
        return both_widths(partial(chart, found), name, captions[name])

    return template("fitpage.html.j2").render(
        found=found,
        style=style(),
        told=f"{phrases.day(study.case.now)} {study.case.now:%Y}",
        verdict=fitwords.verdict(found),
        problems=fitwords.problems(found),
        remarks=fitwords.remarks(found),
        charts={
            "readings": drawn(fitcharts.readings_chart, "readings") if warm else None,
            "parts": drawn(fitcharts.parts_chart, "parts") if found.readings else None,
            "residual": drawn(fitcharts.residual_chart, "residual") if warm else None,
        },
        places=[place for place in charts.PLACE_MARKS if any(one.reading.place == place for one in warm)],
        marks=charts.PLACE_MARKS,
        colours={
            "blue": charts.BLUE, "grey": charts.GREY, "ink": charts.INK, "alert": fitcharts.ALERT,
            "luck": fitcharts.LUCK, "bar": fitcharts.BAR,
        },
        surprises_in_short=fitwords.surprises(found),
        surprises=[_row(found, one) for one in found.surprises],
        moisture=[_row(found, one) for one in found.readings if one not in warm],
        left_over=fitwords.left_over(found),
        tables=[
            (title, [fitwords.group(one) for one in groups])
            for title, groups in (("By place", found.places), ("By month", found.months))
            if len(groups) > 1
        ],
        parameters=[words.parameter(one) for one in parameters_of(study)],
        limits=fitwords.limits(found, study.case.typical),
        sources=_sources(study, found),
    )  # fmt: skip


def _row(found: Predictive, one: Predicted) -> dict[str, object]:
    tz, when = fitwords.zone(found), one.reading.when
    return {
        "when_words": when.words,
        "when": phrases.window(when.start.astimezone(tz), when.end.astimezone(tz)),
        "where": fitwords.spot(one),
        "noted": fitwords.noted(one),
        "words": one.reading.words,
        "expected": fitwords.expected(one),
        "surprise": one.surprise,
        "verdict": fitwords.surprise(one) if one.surprise else "inside",
    }


def _sources(study: Study, found: Predictive) -> tuple[tuple[str, str], ...]:
    runs = phrases.count(len(study.posterior.draws["bias"]), "run")
    return (
        ("Weather", study.case.weather_source + (" (a typical year, not the real one)" if study.case.typical else "")),
        ("Leaving out", "Gelfand, Dey and Chang 1992; weights truncated as in Ionides 2008"),
        ("Vague readings", "Dunn and Smyth 1996; Czado, Gneiting and Held 2009"),
        ("Made with", f"underlid {__version__}: method {METHOD}, seed {found.seed}, {runs} of the model"),
    )
