"""From a feeding in a keeper's words to what is asked of it: the one path that every door takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from underlid.bedding.facts import Fact
from underlid.fit.acidhistory import NoHistory, history, moisture_of
from underlid.fit.acidity import acidity
from underlid.fit.acidtelling import ph_now
from underlid.fit.feedbed import amount_of, bed_of, bedding_c_of, fitted_c, fitted_live, food_of, live_of
from underlid.fit.feedharm import Question
from underlid.fit.reckoning import Points
from underlid.fit.study import Study
from underlid.quantity import VagueAmount
from underlid.records import AnyEntry, Bin, Feeding
from underlid.worms.species import species


def question_of(
    record: Bin,
    entries: Sequence[AnyEntry],
    feeding: Feeding,
    now: datetime,
    seed: int,
    *,
    ph: VagueAmount | None = None,
    bedding_c: VagueAmount | None = None,
    heaps: int = 1,
    fitted: tuple[Study, Points] | None = None,
    progress: Callable[[float], None] = lambda done: None,
) -> tuple[Question, tuple[str, ...]]:
    """What is asked of a feeding, and sentences on what that takes for granted.

    ph, bedding_c : what the keeper says of the bedding, which then counts and not the journal
    fitted : the study of the bin and the live mass of its worms [kg], where there is weather
    """
    food = food_of(feeding)
    amount, kind = amount_of(feeding, food), species(record.species)
    bed, assumed = bed_of(record, ph)
    study = None
    if fitted is None:
        warm, warmth = bedding_c_of(bedding_c, entries, now)
        live_kg, crowd = live_of(record)
    else:
        study, alive = fitted
        warm, warmth = fitted_c(study) if bedding_c is None else bedding_c_of(bedding_c, entries, now)
        live_kg, crowd = fitted_live(alive)
        bed = replace(bed, moisture_pct=moisture_of(study))
    try:
        of = history(record, entries, now, ph=ph, bedding_c=warm, study=None if bedding_c is not None else study)
    except NoHistory:
        of = None
    found = None if of is None or not (of.fed or of.heard) else acidity(of, seed, progress=progress)
    if found is not None:
        if ph is None:
            low, middle, high = found.told["now_ph"].after
            bed = replace(bed, ph=Fact(middle, low, high, "the journal's readings and feedings", "judgement"))
            assumed = (*(one for one in assumed if "--ph" not in one or not found.used), ph_now(found))
        assumed = (*assumed, *found.refused)
    return Question(bed, food, amount, warm, kind, live_kg, heaps, found), (warmth, *assumed, crowd)
