"""How many live in the bin, in sentences; every number said here stands in the account.

"Nine chances in ten" always means the range from the 5 to the 95 % point. Ends are rounded outward, and never below
what was found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from underlid.counting.account import Account, seen_at_least
from underlid.counting.detection import Chance, Observed
from underlid.counting.narrowing import PUT_IN, Narrowing
from underlid.counting.parts import ANYWHERE
from underlid.counting.removal import Removed
from underlid.counting.samples import Estimate, Points, StageTotal
from underlid.quantity.show import listed, show_amount, show_when

HALF = 0.55  # of the width; up to here a range is said to be about halved
HARDLY = 0.9  # of the width; from here it is said to hardly shrink


def total(bin: str, found: Estimate) -> tuple[str, str]:
    """How many there are, and how much bedding that rests on; the entries follow."""
    taken = sum(n for _, n in found.parts)
    samples = "one sample" if taken == 1 else f"{taken} samples"
    rests = f"That rests on {samples}, {round(found.litres_sampled, 1):g} litres of {_plain(found.litres)}:"
    if found.worms is None or found.worms_per_litre is None:
        (cocoons,) = found.stages
        return (
            f"Bin {bin}: {_range(cocoons.total, cocoons.found[0], 'cocoons')}, estimated. No worms were counted.",
            rests,
        )
    least = sum(stage.found[0] for stage in found.stages if stage.stage != "cocoon")
    dense = f"{_litre(found.worms_per_litre)} in a litre of bedding"
    return f"Bin {bin}: {_range(found.worms, least, 'worms')}, estimated; that is {dense}. Cocoons are apart.", rests


def beside(told: Account) -> tuple[str, ...]:
    """What was said beside the journal: several passes, two sorters, recovery trials."""
    said = []
    if told.removed is not None:
        said += [passes(told.question.passes, told.removed), *told.removed.remarks]
    if told.observed is not None and told.question.observers is not None:
        said.append(sorters(told.question.observers, told.observed))
    for trial in told.question.recoveries:
        chance = told.chances[trial.stage]
        said.append(
            f"Of {trial.put_in} {_plural(trial.stage)} put in, {trial.found} were found again: with what was judged "
            f"before, sorting finds {_percent(chance)} of {_plural(trial.stage)}."
        )
    return tuple(said)


def passes(catches: Sequence[int], removed: Removed) -> str:
    """The same bedding sorted several times."""
    found = ", ".join(map(str, catches))
    low, nine = down(removed.low, removed.found), "with nine chances in ten"
    high = up(removed.high) if math.isfinite(removed.high) else None
    if high is None:
        span = f"{low} at least {nine}, and the catches set no upper end"
    else:
        span = f"{low}{' and no more' if high == low else f' to {high}'} {nine}"
    few, many = math.floor(100 * removed.chances[0]), math.ceil(100 * removed.chances[1])
    share = f"{few} to {many} %" if few else f"at most {many} %"
    each = "a pass of mean effort" if removed.method.startswith("Leslie") else "a pass"
    were = "animal was" if round(removed.number) == 1 else "animals were"
    return (
        f"Passes that found {found} ({removed.found} in all) say that about {removed.number:.0f} {were} in the bedding "
        f"that was sorted, {span} ({removed.method}); {each} finds {share} of those left. Where it finds fewer than "
        "three in ten the range may be too short, and animals that are harder to find than the rest make the number "
        "too low."
    )


def sorters(given: tuple[int, int, int], observed: Observed) -> str:
    """Two sorters of the same bedding."""
    first, second, both = given
    return (
        f"Two sorters found {first} and {second}, {both} of them the same, so {observed.seen} different animals: about "
        f"{observed.number:.0f} were there, {down(observed.low, observed.seen)} to {up(observed.high)} with nine "
        f"chances in ten (Chapman). The first found {_percent(observed.chances[0])} of what was there, the second "
        f"{_percent(observed.chances[1])}. That holds if neither knew what the other found, and the finds were "
        "matched one by one."
    )


def rows(told: Estimate) -> list[tuple[str, str, str, str, str]]:
    """Stage, found, whole bin (middle), its range, a litre; the last row is all of them but cocoons."""
    table = []
    for stage in told.stages:
        low, high = stage.found
        found = f"{low:.0f}" if low == high else f"{low:.0f} to {high:.0f}"
        table.append((_plural(stage.stage), found, *_cells(stage.total, low), _litre(stage.per_litre)))
    if told.worms is not None and told.worms_per_litre is not None:
        worms = [stage for stage in told.stages if stage.stage != "cocoon"]
        least, most = sum(s.found[0] for s in worms), sum(s.found[1] for s in worms)
        found = f"{least:.0f}" if least == most else f"{least:.0f} to {most:.0f}"
        table.append(("all but cocoons", found, *_cells(told.worms, least), _litre(told.worms_per_litre)))
    return table


def assumed(told: Account) -> tuple[str, ...]:
    """What the total takes for granted."""
    if told.estimate is None:
        return ()
    found = told.estimate
    said = [_detection(told, found.stages)]
    if found.not_looked_for:
        said.append(
            f"Nothing is said of {listed([_plural(stage) for stage in found.not_looked_for])}, as no sample tells "
            "whether they were looked for; they are not in the total."
        )
    if found.whole:
        said.append("The samples hold all of the bedding, so only what sorting overlooks is unknown.")
        return tuple(said)
    said.append(_clumping(found.stages))
    said += _parts(told, found)
    if sum(n for _, n in found.parts) == 1:
        said.append("One sample cannot show how unevenly the animals lie: the range rests mostly on judgement.")
    said += told.bedding.litres.flags
    if told.question.litres is None:
        said.append(
            f"The bedding is taken as {_plain(found.litres)} litres: as laid, less up to a third for sinking. "
            "Measure it, and say --litres, for a better figure."
        )
    return tuple(said)


def narrower(told: Account) -> tuple[str, ...]:
    """What would narrow the range."""
    if told.narrowing is None or told.estimate is None:
        return ()
    said = [*_more_samples(told.narrowing)]
    trial = told.narrowing.with_trial
    if trial < HARDLY:
        said.append(
            f"A recovery trial ({PUT_IN} of each stage put into sorted bedding and looked for, then --recovered) "
            f"would make the range about {_percent_of(trial)} as wide."
        )
    if told.needed is not None and told.question.precision is not None:
        each = show_amount(told.narrowing.volume)
        taken = sum(n for _, n in told.estimate.parts)
        more = max(0, math.ceil(told.needed) - taken)
        said.append(
            f"For a standard error of {100 * told.question.precision:.0f} % in what samples of {each} hold on "
            f"average, the textbook asks for {math.ceil(told.needed)} in all, {more} more (Elliott 1977, recalled); "
            "what sorting overlooks comes on top."
        )
    return tuple(said)


def seen(told: Account) -> tuple[str, ...]:
    """Sightings: lower bounds."""
    if told.span is None:
        return ()
    said = []
    for sighting in told.span.sightings:
        for who, least in seen_at_least([sighting]).items():
            said.append(
                f"“{sighting.words}” ({show_when(sighting.when)}): at least {least} "
                f"{_plural(who) if least != 1 else who}. "
                "Taken as a lower bound, no more."
            )
    if told.estimate is not None:
        for who in told.estimate.disagrees:
            said.append(
                f"Hardly any total that the samples allow has as many {_plural(who)} as were seen; the samples may "
                "have missed where they gather. The sighting is left out of the total, so take that as too low."
            )
    return tuple(said)


def down(value: float, least: float = 0.0) -> str:
    """A lower end, to about two figures, never below what was found."""
    step = _step(value)
    return f"{max(math.floor(value / step) * step, math.floor(least)):.0f}"


def up(value: float) -> str:
    """An upper end, to about two figures."""
    step = _step(value)
    return f"{math.ceil(value / step - 1e-9) * step:.0f}"


# --- inside ----------------------------------------------------------------------------------------------


def _detection(told: Account, stages: Sequence[StageTotal]) -> str:
    parts = []
    for stage in stages:
        chance = told.chances[stage.stage]
        trial = f" (a trial with {chance.tried})" if chance.tried else ""
        parts.append(f"{_percent(chance)} of {_plural(stage.stage)}{trial}")
    judged = any(not told.chances[stage.stage].tried for stage in stages)
    return f"Sorting is taken to find {listed(parts)}{'; without a trial that is our judgement' if judged else ''}."


def _clumping(stages: Sequence[StageTotal]) -> str:
    said = []
    for stage in stages:
        if stage.spread is None:
            said.append(f"{_plural(stage.stage)} show no sign of clumping")
        elif isinstance(stage.spread, float):
            said.append(f"{_plural(stage.stage)} look clumped (k about {stage.spread:.2g} a sample)")
    own = f" In these samples {listed(said)}." if said else " These samples are too few, or too unlike, to show it."
    return f"Animals are taken to lie in clumps the size of a fist; how dense these are begins as our judgement.{own}"


def _parts(told: Account, found: Estimate) -> list[str]:
    shares = told.bedding.shares
    if set(shares) == {ANYWHERE}:
        return ["No place is noted, so the samples are taken to speak for all of the bedding alike."]
    said = [f"{listed([f'{part} {100 * share:.0f} %' for part, share in shares.items()])} of the bedding.".capitalize()]
    for part, n in found.parts:
        if n == 0:
            said.append(
                f"The {part} was not sampled: what lives there is guessed from the rest, with a wide range. A sample "
                "there tells most."
            )
    return said


def _more_samples(found: Narrowing) -> list[str]:
    if not found.with_samples:
        return []
    each = show_amount(found.volume)
    halving = next((n for n, share in found.with_samples.items() if share <= HALF), None)
    if halving is not None:
        return [f"{halving} more samples of {each}, spread over middle and edge, would about halve the range."]
    most, share = max(found.with_samples.items())
    if share >= HARDLY:
        return [f"Even {most} more samples of {each} would hardly narrow it."]
    return [
        f"{most} more samples of {each}, spread over middle and edge, would make it about {_percent_of(share)} as wide."
    ]


def _range(points: Points, least: float, noun: str) -> str:
    low, middle, high = points
    return f"about {_near(middle, least)} {noun}, {down(low, least)} to {up(high)} with nine chances in ten"


def _cells(points: Points, least: float) -> tuple[str, str]:
    low, middle, high = points
    return _near(middle, least), f"{down(low, least)} to {up(high)}"


def _near(value: float, least: float) -> str:
    step = _step(value)
    return f"{max(round(value / step) * step, least):.0f}"


def _litre(points: Points) -> str:
    low, _, high = points
    if high >= 10:
        return f"{math.floor(low)} to {up(high)}"
    return f"{math.floor(10 * low) / 10:g} to {math.ceil(10 * high) / 10:g}"


def _plain(points: Points) -> str:
    low, _, high = points
    first, last = f"{low:.0f}" if low >= 10 else f"{low:.1f}", f"{high:.0f}" if high >= 10 else f"{high:.1f}"
    return first if first == last else f"{first} to {last}"


def _step(value: float) -> float:
    return max(1.0, math.pow(10, math.floor(math.log10(max(value, 1))) - 1) / 2)


def _percent(chance: Chance) -> str:
    low, _, high = (100 * share for share in chance.range)
    return f"{100 * chance.mean:.0f} % ({math.floor(low):.0f} to {math.ceil(high):.0f})"


def _percent_of(share: float) -> str:
    return f"{5 * round(20 * share)} %"


def _plural(noun: str) -> str:
    return f"{noun}s"
