from __future__ import annotations

import random
import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import NamedTuple

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from tests.update import living
from tests.update.sample import ZONE, amount
from underlid.update.facts import Ahead, Provenance, Range, Story, TimeRange
from underlid.update.lifefacts import Acid, Animals, Eaten, Found
from underlid.update.prose import phrases, telling, words
from underlid.update.prose.aloud import spoken
from underlid.update.prose.numbers import Figure, Known, numbers_in, strangers, told_by, unfounded
from underlid.update.prose.said import Said

NB = "\u00a0"
# Stories are drawn from so many numbers that shrinking one takes minutes; the sentence at fault says it all.
FEW = settings(max_examples=25, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))


def found_in(text: str) -> list[tuple[str, tuple[float, ...]]]:
    return sorted((one.unit, one.values) for one in numbers_in(text))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("−1.5 °C (29 °F)", {"°C": [(-1.5,)], "°F": [(29,)]}),
        ("−3 to −0.5 °C (26 to 32 °F)", {"°C": [(-3, -0.5)], "°F": [(26, 32)]}),
        ("nine in ten from 3 to 19 (estimated)", {"1": [(3, 19)]}),
        ("from 28 January to 3 February", {"date": [(128,), (203,)]}),
        ("3 to 9 January", {"date": [(103,), (109,)]}),
        ("near Tue 20 January, 07:05", {"date": [(120,)], "clock": [(425,)]}),
        ("20 January 2027", {"date": [(20270120,)]}),
        ("through January 2026", {"month": [(202601,)]}),
        ("pH 6.5 (6.1 to 7)", {"pH": [(6.1, 7), (6.5,)]}),
        ("about 1.2 mS/cm (0.7 to 1.8)", {"mS/cm": [(0.7, 1.8), (1.2,)]}),
        ("three readings and no count", {"1": [(0,), (3,)]}),
        ("One bin can show it, and no part of it.", {}),
        ("1.48 to 1.56 kg, 320 g, 10 litres", {"kg": [(1.48, 1.56)], "g": [(320,)], "L": [(10,)]}),
    ],
)
def test_numbers_are_found_with_their_units(text: str, found: dict[str, list[tuple[float, ...]]]) -> None:
    assert found_in(text) == sorted((unit, values) for unit, each in found.items() for values in each)
    assert found_in(text.replace(" ", NB)) == found_in(text)


def test_a_figure_needs_a_fact_of_its_kind() -> None:
    warm = Range(0.6, 1.4, 2.9, "degC", "estimated")
    assert strangers("0.5 to 3 °C (32 to 38 °F), about 1.5 °C (35 °F)", (warm,)) == ()
    assert strangers("about 1.4 °C", (warm,)) == ("1.4 °C",)  # not rounded as it is told
    assert strangers("0.5 litres", (warm,)) == ("0.5 L",)  # no volume
    assert strangers("35 °F", (Range(34.6, 35, 35.2, "%", "read"),)) == ("35 °F",)
    assert strangers("1 to 3 °C", (warm,)) == ("1 to 3 °C",)  # an end rounded inward
    assert strangers("0.5 to 1.5 °C", (warm,)) == ("0.5 to 1.5 °C",)  # an end and the middle
    assert strangers("about 3 °C", (warm,)) == ("3 °C",)  # an end alone
    assert strangers("about 1.5 °C (38 °F)", (warm,)) == ("38 °F",)  # not the same temperature
    assert strangers("14 January", (date(2026, 1, 15),)) == ("14 January",)
    assert strangers("14 January 2027", (date(2026, 1, 14),)) == ("14 January 2027",)


def test_a_difference_is_told_in_both_units_and_both_ends() -> None:
    apart = Range(-0.52, 0.1, 1.01, "K", "estimated")
    assert strangers("by −0.6 to 1.1 °C (−1.1 to 2 °F)", (apart,)) == ()
    assert strangers("by −0.6 to 1 °C", (apart,)) == ("−0.6 to 1 °C",)
    assert strangers("by −0.6 to 1.1 °C (−1 to 2 °F)", (apart,)) == ("−1 to 2 °F",)


def test_a_part_is_never_told_beyond_its_whole() -> None:
    """Rounded outward, 29.9 litres of 30.3 would be 30 to 31 of about 30."""
    most = Range(29.9, 30.3, 30.3, "L", "estimated").of_bedding(30.3)
    assert phrases.litres_range(most).replace(NB, " ") == "29 to 30 litres"
    assert strangers("29 to 30 litres, about 30 litres", (most,)) == ()
    small = Range(3.9, 4.4, 4.4, "L", "estimated").of_bedding(4.4)
    assert phrases.litres(small).replace(NB, " ") == "4 litres"
    assert phrases.litres_range(small).replace(NB, " ") == "3.5 to 4 litres"


def test_two_known_limits_make_a_band_and_no_other() -> None:
    band = (Known(0.0, "degC"), Known(35.0, "degC"))
    assert strangers("0 to 35 °C, 32 to 95 °F", band) == ()
    assert strangers("35 to 0 °C", band) == ("35 to 0 °C",)
    assert strangers("0 to 25 °C", band) == ("0 to 25 °C",)


def test_a_change_is_told_as_more_or_fewer() -> None:
    change = Range(-12.95, -5.0, -1.0, "1", "estimated")
    assert strangers("by about 5, nine in ten from 1 to 13", (change,)) == ()
    assert strangers("fallen by up to 13", (change,)) == ("13",)  # an end alone is named as a fact of its own
    assert strangers("by about 4", (change,)) == ("4",)


@pytest.mark.parametrize(("share", "told"), [(0.34, 35.0), (0.0, 5.0), (1.0, 95.0)])
def test_a_chance_is_told_to_the_nearest_twentieth(share: float, told: float) -> None:
    assert told_by((Known(share, "chance"),)).single == {"%": {told}}


def test_words_of_a_keeper_stand_letter_for_letter_or_are_checked() -> None:
    fact = "middle 38 C, or 39"
    assert strangers(f"“{fact}” was noted", (fact,)) == ()
    assert strangers("“middle 38 C, or 40” was noted", (fact,)) == ("38", "40")
    # A bare number is not waved through wherever it stands.
    assert strangers("about 7 worms", ("7",)) == ("7",)


# --- stories of facts drawn at random --------------------------------------------------------------------


class Drawn(NamedTuple):
    """A story whose name is short, as a failing one is shown whole."""

    story: Story

    def __repr__(self) -> str:
        return "a story"


@st.composite
def ranges(draw: st.DrawFn, low: float, high: float, unit: str, provenance: Provenance = "estimated") -> Range:
    found = sorted(draw(st.floats(low, high)) for _ in range(3))
    narrow = draw(st.sampled_from([1.0, 0.2, 0.0]))  # a range of no width now and then
    middle = found[1]
    return Range(middle + narrow * (found[0] - middle), middle, middle + narrow * (found[2] - middle), unit, provenance)


def whole(found: Range) -> Range:
    """Percentiles of whole numbers: now and then between two of them."""
    low, high = (round(20 * side) / 20 for side in (found.low, found.high))
    return replace(found, low=low, middle=min(max(round(2 * found.middle) / 2, low), high), high=high)


moments = st.datetimes(datetime(2026, 1, 1), datetime(2026, 1, 31)).map(lambda when: when.replace(tzinfo=ZONE))
days = st.dates(date(2026, 1, 1), date(2027, 6, 1))
amounts = st.tuples(st.floats(-15, 40), st.floats(-15, 40)).map(lambda sides: amount(min(sides), max(sides)))
spells = st.integers(0, 40).map(timedelta)
chances = st.floats(0, 1)
in_hand = st.sampled_from(["6 adults, 3 juveniles counted in 2 L", "12 animals seen"])
founds = st.builds(Found, days, in_hand, st.booleans())


@st.composite
def times(draw: st.DrawFn) -> TimeRange:
    early, usual, late = sorted(draw(st.tuples(moments, moments, moments)))
    return TimeRange(early, usual, late)


@st.composite
def stories(draw: st.DrawFn) -> Story:
    base = living.STORIES[draw(st.sampled_from(["full", "odd", "gone", "three", "december", "predicted"]))]()
    p: Provenance = draw(st.sampled_from(["estimated", "predicted"]))
    counts = st.integers(0, 30)

    def of(low: float, high: float, unit: str, told: Provenance = p) -> Range:
        return draw(ranges(low, high, unit, told))

    def number(low: float, high: float) -> Range:
        return whole(of(low, high, "1"))

    top = draw(st.sampled_from([4.0, 40.0, 4000.0]))
    animals = Animals(
        at=draw(days), worms=number(0, top), before=number(0, top), change=number(-top, top),
        stages=tuple((stage, number(0, top)) for stage in ("cocoon", "hatchling", "juvenile", "sub-adult", "adult")),
        live_g=of(0, top, "g"), alive=draw(chances), density_g_m2=of(0, 50 * top, "g/m2"),
        usual_g_m2=draw(st.tuples(st.floats(100, 1000), st.floats(1000, 5000))), crowded=draw(chances),
        samples=draw(counts), sightings=draw(counts), founders="20 or 30, I forget", careful=("A chance of 83%.",),
        daily=living.animals().daily, found=draw(st.lists(founds, max_size=3).map(tuple)),
    )  # fmt: skip
    fed = draw(st.integers(0, 12))
    given_g = draw(st.none() | ranges(1, 3000, "g", "read")) if fed else None
    eaten = Eaten(
        feedings=fed, unweighed=draw(st.integers(0, fed)), given_g=given_g,
        can_eat_g=draw(st.none() | ranges(0, 500, "g", "predicted")), lost_pct=of(0, 60, "%"),
        castings_l=of(0, 30, "L"), ripe=draw(st.none() | st.tuples(days, days, days)), ripe_chance=draw(chances),
        ripe_by=draw(days), at=draw(days),
    )  # fmt: skip
    acid = Acid(
        "pH", of(4, 9, "pH", "estimated"), (("middle", of(4, 9, "pH")), ("edge", of(4, 9, "pH"))), (5.04, 9.0),
        draw(chances), tuple(f"p{n}" for n in range(draw(st.integers(1, 12)))), (),
    )  # fmt: skip
    salt = Acid("EC", of(0, 4, "mS/cm"), (("edge", of(0, 4, "mS/cm")),), None, None, ("e1",), ())
    readings = tuple(
        replace(one, expected=of(-15, 30, "degC"), gap_k=draw(st.floats(0, 30)), amount=draw(amounts))
        for one in base.readings
    )
    first = draw(days)
    share = of(0, 100, "%")
    litres = replace(share, low=share.low * 0.42, middle=share.middle * 0.42, high=share.high * 0.42, unit="L")
    cold = replace(base.coldest, temperature=of(-15, 25, "degC"), when=draw(times()), read_near=draw(st.booleans()))
    return replace(
        base,
        animals=draw(st.none() | st.just(animals)),
        eaten=eaten,
        acid=(acid, salt),
        readings=readings,
        coldest=cold,
        refuge=replace(
            base.refuge,
            share=share,
            litres=litres,
            widest=of(0, 42, "L"),
            when=draw(times()),
            without_h=of(0, 700, "h"),
        ),
        water=replace(base.water, now=of(30, 95, "%"), too_dry=draw(chances), too_wet=draw(chances), until=draw(days)),
        soon=base.soon and draw(ahead(base.soon)),
        rest=base.rest and draw(ahead(base.rest)),
        steps=tuple(replace(one, first=first, last=first + draw(spells)) for one in living.STEPS),
        readings_used=draw(st.integers(0, 200)),
        trusted=draw(st.booleans()),
        misfit=draw(st.booleans()),
    )


@st.composite
def ahead(draw: st.DrawFn, span: Ahead) -> Ahead:
    low = replace(span.coldest, temperature=draw(ranges(-15, 25, "degC", "predicted")))
    first, last = sorted(draw(st.tuples(days, days)))
    return replace(span, below_band=draw(chances), first=first, last=last, coldest=low)


def every(story: Story) -> list[Said]:
    return [one for section in telling.sections(story) for one in section.said]


@FEW
@given(stories().map(Drawn))
def test_every_number_told_is_one_of_the_facts_named(drawn: Drawn) -> None:
    story = drawn.story
    for one in every(story):
        assert unfounded(one) == (), one
    facts = [fact for one in every(story) for fact in one.facts]
    facts += [sum(fact.surprise for fact in story.readings)]
    for text in telling.short(story):
        assert strangers(text, facts) == ()


@FEW
@given(stories().map(Drawn))
def test_no_fact_is_told_with_two_figures(drawn: Drawn) -> None:
    story = drawn.story
    """Large figures, captions and what is read aloud tell a range with the same three numbers as the sentences."""
    spans = [span for span in (story.soon, story.rest) if span is not None]
    refuge = story.refuge
    facts: list[object] = [story.coldest, refuge.litres, refuge.share, refuge.widest, *spans, story.month]
    facts += [Known(span.below_band, "chance") for span in spans]
    facts += [Known(side, "degC") for side in (*refuge.band_c, refuge.widest_band_c[0])]
    facts += [Known(refuge.bedding_litres, "L"), sum(fact.temperature for fact in story.readings)]
    if story.animals is not None:
        facts += [story.animals.worms, story.animals.live_g, story.animals.at, Known(story.animals.alive, "chance")]
    for key in words.key_figures(story):
        unit = " litres" if "refuge" in key.label else ""
        texts = (key.label, key.figure, key.beside + unit, f"({'; '.join(key.range)})")
        assert strangers(" ~ ".join(texts), facts) == (), key
    for caption in (words.month_caption(story), words.refuge_caption(story), words.outlook_caption(story)):
        assert strangers(caption, facts) == (), caption
    for one in every(story):
        for text in (one.full, one.short):
            assert figures(spoken(text)) == figures(text.replace("-", "−")), text


def test_an_invented_truth_is_told_by_its_own_numbers() -> None:
    story = living.story()
    truth = story.truth
    assert truth is not None
    held = tuple(Known(share, "%") for share in truth.held.values())
    facts = (*held, Known(truth.hours, "h"), Known(truth.coldest_c, "degC"), truth.coldest_at, story.coldest)
    assert strangers(" ".join(words.truth(story)), facts) == ()
    assert story.days is not None
    assert strangers(words.outlook_note(story), story.days.days) == ()


def figures(text: str) -> list[str]:
    """Numbers in figures, in their order, with their signs."""
    plain = text.replace("minus ", "−").replace(NB, " ")
    return re.findall(r"(?:(?<![\w.])−)?\d+(?:\.\d+)?", plain)


def test_a_changed_digit_is_noticed_nearly_always() -> None:
    rng = random.Random(3)
    tried = caught = 0
    for name in ("full", "odd", "crowded", "predicted"):
        for one in every(living.STORIES[name]()):
            for place in [match.start() for match in re.finditer(r"\d", one.full)]:
                digit = rng.choice([d for d in "0123456789" if d != one.full[place]])
                changed = replace(one, full=one.full[:place] + digit + one.full[place + 1 :])
                tried += 1
                caught += bool(unfounded(changed))
    assert tried > 1000
    assert caught / tried > 0.95


def test_a_changed_number_in_words_is_noticed() -> None:
    said = Said("Two feedings were noted this month.", "", (2, 0), "read", ("feedings",))
    assert unfounded(said) == ()
    assert unfounded(replace(said, full="Three feedings were noted this month.")) == ("Three",)
    assert unfounded(replace(said, full="One feeding was noted this month.")) == ("One feeding",)


def test_a_figure_keeps_how_it_was_written() -> None:
    assert numbers_in("about 5 %") == (Figure("5 %", (5.0,), "%"),)
    assert timedelta(minutes=numbers_in("at 17:30")[0].values[0]) == timedelta(hours=17, minutes=30)
