"""A year in sentences: every number is one of the year's facts, with its range and where it comes from."""

from __future__ import annotations

from datetime import date, timedelta

from underlid.update.facts import Range, TimeRange
from underlid.update.prose import phrases
from underlid.update.prose.heatwords import in_doubt
from underlid.update.prose.lifewords import given
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Said
from underlid.update.prose.words import ONE_BIN
from underlid.update.yearfacts import Kept, Month, Twice, Year

FREE_H = 1.0  # less than this without refuge, at the 95 % point, is told as none
TWO_YEARS = (
    "One bin in two winters is two winters, not a test: the weather differs, the bedding is older, and those who live "
    "in it are not those who began. What happened was possible here, which does not make it true in general."
)
FITTED = ("weather", "fit")
ONE_WEATHER = Said(
    "One typical year of weather was laid over all these dates, so the same months of two years are not set beside "
    "each other: they had one and the same weather.",
    evidence=("weather",),
)
NEAR = timedelta(days=5)  # a moment known no closer than this is told by its ends alone: our judgement


def span(year: Year) -> str:
    """The days told of: "6 December 2025 to 3 February 2027"."""
    first, last = year.told_from, year.told_to
    start = dated(first) if first.year != last.year else ""
    return f"{start} to {dated(last)}" if start else f"{phrases.days(first, last)} {last.year}"


def in_short(year: Year) -> tuple[Said, ...]:
    """What the year came to."""
    said = (
        _basis(year), _coldest(year), _mean(year), _refuge(year), _living(year), _born(year), _fed(year.kept),
        _turned(year), _read(year.kept), _corrected(year.kept),
    )  # fmt: skip
    return tuple(one for one in said if one is not None)


def gaps(year: Year) -> tuple[Said, ...]:
    """Months that are told in part, not at all, or not yet."""
    said = [
        Said(
            f"{one.month:%B %Y} is told in part: {days(one)}."
            if one.bedding is not None
            else f"{one.month:%B %Y} is not told: less than a day of it was worked out.",
            facts=(one.month, one.first, one.last),
        )
        for one in year.months
        if not one.whole and not one.to_come
    ]
    if ahead := [one.month for one in year.months if one.to_come]:
        names = f"{ahead[0]:%B %Y}" + (f" to {ahead[-1]:%B %Y}" if len(ahead) > 1 else "")
        said.append(Said(f"Still to come: {names}.", facts=(ahead[0], ahead[-1])))
    if year.left_out is not None:
        first, last = year.left_out
        names = f"{first:%B %Y}" + (f" to {last:%B %Y}" if first < last else "")
        said.append(Said(f"The bin is older: {names} {'are' if first < last else 'is'} left out.", facts=(first, last)))
    return tuple(said)


def twice(year: Year) -> tuple[Said, ...]:
    """The same months of two years."""
    if not year.twice:
        return ()
    return (Said(TWO_YEARS, "Two winters differ in many ways, so this is no test.", (2,)), *map(_warmer, year.twice))


def tests(year: Year) -> tuple[Said, ...]:
    """The trials that the bin is in, with their verdicts as they stand."""
    return tuple(
        Said(f"{trial.name}: {trial.sentence}", facts=(trial,), evidence=(f"trial-{trial.name}",))
        for trial in year.trials
    )


def unknown(year: Year) -> tuple[Said, ...]:
    """What the account does not know."""
    doubts = [Said(sentence, facts=(sentence,)) for sentence in (*year.careful, *year.unknown)]
    if year.one_weather:
        doubts.append(ONE_WEATHER)
    return (*doubts, Said(ONE_BIN, "One bin can show what can happen. It cannot show what always happens."))


def signed(found: Range) -> str:
    """A change of animals: "20 fewer to 60 more", "" if there is none."""
    low, high = (int(end) for end in phrases.outward(found))
    if low == high:
        return _more(low) if low else ""
    if low >= 0:
        return f"{low} to {high} more"
    return f"{-high} to {-low} fewer" if high <= 0 else f"{_more(low)} to {_more(high)}"


def some(found: Range) -> tuple[str, str]:
    """A number of animals in a table: its range, and its middle."""
    ends, figure = phrases.animals_range(found), phrases.animals_figure(found)
    if ends == "0":
        return "perhaps none", ""
    return ends, "perhaps none" if figure == "0" else f"about {figure}"


def days(one: Month) -> str:
    """The days of a month that are told of."""
    return phrases.day(one.first) if one.first == one.last else phrases.days(one.first, one.last)


def dated(moment: date) -> str:
    """ "6 December 2025"."""
    return f"{phrases.day(moment)} {moment.year}"


# --- inside ----------------------------------------------------------------------------------------------


def _basis(year: Year) -> Said:
    readings = phrases.count(year.readings_used, "bedding reading")
    full = f"What is estimated here rests on the weather, the bin’s build and {readings}, hour by hour, {span(year)}."
    full = f"{full} {in_doubt(year)}".rstrip()
    return Said(full, facts=(year.readings_used, year.told_from, year.told_to, year.told_to.year), evidence=FITTED)


def _coldest(year: Year) -> Said:
    found, when = year.bedding.coldest, year.bedding.coldest_when
    full = (
        f"The coldest hour in the middle of the bedding was about {phrases.temperature(found)}, nine in ten from "
        f"{phrases.temperature_range(found)}. It fell {_near(when)}."
    )
    short = f"The coldest hour was about {phrases.temperature(found)}."
    return Said(full, short, (found, when), "estimated", FITTED)


def _mean(year: Year) -> Said:
    found = year.bedding.mean
    full = (
        f"On the mean of all these hours the middle was about {phrases.temperature(found)}, nine in ten from "
        f"{phrases.temperature_range(found)}."
    )
    return Said(full, "", (found,), "estimated", FITTED)


def _refuge(year: Year) -> Said:
    bedding, whole = year.bedding, f"roughly {phrases.number(year.bedding_litres, 0)} litres"
    band = f"the band that {year.species} tolerates ({phrases.band(*year.band_c)})"
    facts = (
        bedding.refuge_l, bedding.without_h, bedding.refuge_when, year.species, Known(year.bedding_litres, "L"),
        *(Known(end, "degC") for end in year.band_c),
    )  # fmt: skip
    evidence = (*FITTED, "species")
    if bedding.refuge_l.low >= 0.995 * year.bedding_litres:
        full = f"All of the {whole} of bedding stayed within {band}."
        return Said(full, "All of the bedding stayed fit to live in.", facts, "estimated", evidence)
    if bedding.without_h.high >= FREE_H:
        hours = phrases.hours_range(bedding.without_h)
        left, short = f"In all, {hours} had none.", f"In all, {hours} had no place fit to live in."
        if bedding.without_h.low >= FREE_H:  # the first hour without any is no time to tell of
            return Said(f"At times there was no refuge, no part of the bedding within {band}. {left}", short, facts,
                        "estimated", evidence)  # fmt: skip
    else:
        left, short = "There was some at every hour.", "There was always a place fit to live in."
    full = (
        f"The refuge, the part of the bedding within {band}, was smallest {_near(bedding.refuge_when)}: "
        f"{phrases.litres_range(bedding.refuge_l)} of {whole}. {left}"
    )
    return Said(full, short, facts, "estimated", evidence)


def _living(year: Year) -> Said | None:
    lived = year.lived
    if lived is None:
        return None
    change, begun = signed(lived.change), dated(year.told_from)
    than = f"{change} than on {begun}, nine in ten" if change else f"as many as on {begun}"
    counts = "one count or sighting, " if year.counted == 1 else f"{year.counted} counts and sightings, "
    about = f"about {phrases.animals(lived.worms)}"
    if phrases.animals_figure(lived.worms) == "0":
        about = "perhaps no worm"
    full = (
        f"On {dated(lived.at)} {about} lived there, nine in ten from {phrases.animals_range(lived.worms)}; "
        f"cocoons are not among them. That is {than}. It rests on {counts if year.counted else ''}the founders, the "
        f"bedding and published rates{'' if year.counted else ' alone: nobody counted or saw any worm'}."
    )
    facts = (lived.at, lived.worms, lived.change, year.counted, year.told_from)
    return Said(full, f"At the end {about} lived there.", facts, "estimated", ("counts", "fit", "species"))


def _born(year: Year) -> Said | None:
    lived = year.lived
    if lived is None:
        return None

    def told(found: Range) -> str:
        ends, figure = phrases.animals_range(found), phrases.animals_figure(found)
        return "perhaps none" if ends == "0" else f"{'perhaps none' if figure == '0' else f'about {figure}'} ({ends})"

    full = (
        f"In between: cocoons laid {told(lived.laid)}, young hatched {told(lived.hatched)}, worms died "
        f"{told(lived.died)}, each nine in ten."
    )
    facts = (lived.laid, lived.hatched, lived.died)
    return Said(full, "", facts, "estimated", ("counts", "fit", "species"))


def _fed(kept: Kept) -> Said:
    facts = (kept.feedings, kept.unweighed, kept.given_g)
    if not kept.feedings:
        return Said("No feeding was noted.", "No feeding was noted.", facts, "read", ("feedings",))
    full = f"{_noted(kept.feedings, 'feeding')}"
    if kept.given_g is None:
        full += ", none with an amount that can be weighed."
    else:
        full += f": {given(kept.given_g)} of food by the keeper’s words"
        full += f", and {phrases.count(kept.unweighed, 'feeding')} of unknown weight." if kept.unweighed else "."
    return Said(full, full, facts, "read", ("feedings",))


def _turned(year: Year) -> Said | None:
    lost, castings = year.lost_pct, year.castings_l
    if lost is None or castings is None:
        return None
    full = (
        f"Of the dry matter laid and fed since the bin was started, {phrases.percent_range(lost)} has gone to the air "
        f"by {dated(year.now)}; {phrases.litres_range(castings)} of what is left is crumbly and dark."
    )
    return Said(full, "", (lost, castings, year.now), "estimated", ("feedings", "fit"))


def _read(kept: Kept) -> Said:
    if not kept.readings:
        return Said("No reading was noted.", "No reading was noted.", (kept.readings,), "read")
    full = _noted(kept.readings, "reading")
    if kept.compared:
        of = "all" if kept.compared == kept.readings else _spelled(kept.compared)
        outside = (
            "none of those lies wholly outside the model’s range"
            if not kept.surprises
            else f"{phrases.count(kept.surprises, 'surprise')} among those, wholly outside the model’s range"
        )
        full += (
            f", {of} of the bedding’s temperature; {outside}. One exact reading in ten would lie outside such a range "
            "by chance."
        )
    else:
        full += "."
    return Said(full, "", (kept.readings, kept.compared, kept.surprises), "read", ("readings",))


def _corrected(kept: Kept) -> Said | None:
    if not kept.corrected:
        return None
    made = _noted(kept.corrected, "correction").replace("noted", "made")
    return Said(f"{made}; the journal keeps what was written before.", "", (kept.corrected,), "read")


def _warmer(one: Twice) -> Said:
    span, apart = phrases.days(one.first, one.last), one.mean.difference
    earlier, later = one.earlier.year, one.later.year
    if one.mean.resolved:
        side = "warmer" if apart.low > 0 else "colder"
        apart = apart if apart.low > 0 else _mirrored(apart)
        by = phrases.difference_range(apart)
        full = f"From {span} the middle was {by} {side} in {later} than in {earlier}, on the mean of these days"
    else:
        by = phrases.difference_range(apart)
        full = (
            f"From {span} whether the middle was warmer in {later} than in {earlier} is not resolved: {by} on the mean "
            "of these days"
        )
    before, after = (phrases.warmth(air) for air in one.air_c)
    full += f", nine in ten; the air was {after} on the mean, against {before} the year before, by the weather given."
    facts = (one.first, one.last, earlier, later, apart, *(Known(air, "degC") for air in one.air_c))
    return Said(full, "", facts, "estimated", FITTED)


def _noted(number: int, noun: str) -> str:
    return f"{phrases.count(number, noun).capitalize()} {'was' if number == 1 else 'were'} noted"


def _mirrored(found: Range) -> Range:
    return Range(-found.high, -found.middle, -found.low, found.unit, found.provenance)


def _spelled(number: int) -> str:
    return phrases.SMALL[number] if number < len(phrases.SMALL) else str(number)


def _more(number: int) -> str:
    return f"{number} more" if number >= 0 else f"{-number} fewer"


def _near(when: TimeRange) -> str:
    """ "near 14 January 2026, nine in ten between 13 January 2026 and 15 January 2026"."""
    early, usual, late = (dated(moment) for moment in (when.early, when.usual, when.late))
    if early == late:
        return f"on {usual}"
    if when.late - when.early > NEAR:
        return f"at some time between {early} and {late} (nine in ten)"
    return f"near {usual}, nine in ten between {early} and {late}"
