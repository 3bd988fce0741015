"""The command that asks whether the fitted bin produces readings like the keeper's."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    PERCENTS,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    show_json,
)
from underlid.cli.study import study_of
from underlid.cli.update import file_name

if TYPE_CHECKING:
    from underlid.fit.leftout import Predicted
    from underlid.fit.predictive import Check, Group, Predictive


def fitcheck(
    bin: BinArgument,
    weather: WeatherOption,
    past: PastOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="HTML file to write; BIN-fitcheck.html if not given.")
    ] = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check the fit: each reading against what the fit to all the others expects; writes a page."""
    from underlid.files import write_whole
    from underlid.fit.predictive import predictive
    from underlid.update.forms.fitpage import page

    study = study_of(bin, weather, past or [], None, place, fill_gaps, seed, journal, now, quiet=as_json)
    found = predictive(study)
    target = out or Path(f"{file_name(bin)}-fitcheck.html")
    write_whole(target, page(study, found).encode())
    if as_json:
        show_json({"file": str(target), **fitcheck_json(found)})
    else:
        _print(found)
        print(f"Written to {target}.")


def fitcheck_json(found: Predictive) -> dict[str, object]:
    """The check as plain JSON types: temperatures in degC, differences in K, moisture in % of wet mass."""
    from underlid.update.prose import fitwords

    def check(one: Check | None) -> dict[str, object] | None:
        return None if one is None else {"value": one.value, "by_luck": [one.low, one.high], "agrees": one.agrees}

    def group(one: Group) -> dict[str, object]:
        return {"name": one.name, "count": one.count, "inside": check(one.inside), "residual": check(one.residual_k)}

    def reading(one: Predicted) -> dict[str, object]:
        entry = one.reading
        return {
            "id": entry.id, "quantity": entry.quantity, "place": entry.place, "words": entry.words,
            "when": entry.when.words,
            "time": datetime.fromtimestamp(one.time_utc, fitwords.zone(found)).isoformat(timespec="minutes"),
            "compared": [side if math.isfinite(side) else None for side in (one.low, one.high)],
            "unit": entry.amount.unit,
            "expected": dict(zip(PERCENTS, one.expected, strict=True)), "provenance": "estimated",
            "pit": list(one.pit), "inside": one.inside, "surprise": one.surprise, "left_out": one.unseen,
            "effective_draws": one.effective,
        }  # fmt: skip

    return {
        "bin": found.bin,
        "verdict": fitwords.verdict(found),
        "problems": list(fitwords.problems(found)),
        "remarks": list(fitwords.remarks(found)),
        "count": len(found.readings),
        "few": found.few,
        "inside": check(found.inside),
        "spread": check(found.spread),
        "residual": check(found.residual_k),
        "drift_in_30_days": check(found.drift_k),
        "places": [group(one) for one in found.places],
        "months": [group(one) for one in found.months],
        "parts": found.parts.round(3).tolist(),
        "part_by_luck": list(found.part),
        "stretched": [{"parameter": name, "to": "upper" if way > 0 else "lower"} for name, way in found.stretched],
        "settled": found.trusted,
        "fits": not found.misfit,
        "seed": found.seed,
        "readings": [reading(one) for one in found.readings],
    }


def _print(found: Predictive) -> None:
    from underlid.update.prose import fitwords

    print(f"Bin {found.bin}. {fitwords.verdict(found)}")
    for sentence in (*fitwords.problems(found), *fitwords.remarks(found)):
        print(f"  {sentence}")
    if found.readings:
        print(f"Surprises. {fitwords.surprises(found)}")
    for one in found.surprises:
        print(
            f"  “{one.reading.words}” ({one.reading.when.words}), {fitwords.spot(one)}: expected "
            f"{fitwords.expected(one)}; {fitwords.surprise(one)}"
        )
    if found.residual_k is not None:
        print(f"What is left over. {fitwords.left_over(found)}")
