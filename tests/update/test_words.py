from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime

import pytest

from tests.update.sample import ENTRIES, READINGS, amount, from_prior, sample, truth
from underlid.fit.study import Study
from underlid.records import Bin
from underlid.update import background, words
from underlid.update.facts import Days, Hours, Parameter, Range, Story
from underlid.update.story import tell

ONE = r"(−?\d+(?:\.\d+)?)"
STORIES = {
    "january": lambda: tell(sample(), (2026, 1), truth=truth(sample())),
    "december": lambda: tell(sample(), (2025, 12)),
    "predicted": lambda: tell(sample(), (2026, 3)),
    "no readings": lambda: tell(sample(()), (2026, 1)),
    "three readings": lambda: tell(sample(READINGS[:3]), (2026, 1)),
}


@pytest.fixture(params=STORIES)
def story(request: pytest.FixtureRequest) -> Story:
    return STORIES[request.param]()


def told(story: Story) -> list[str]:
    said = [*words.in_short(story), *words.truth(story), words.month_caption(story), words.refuge_caption(story)]
    said += [words.outlook_caption(story), words.outlook_note(story)]
    return said


def facts(found: object) -> Iterator[object]:
    """Every range, date and plain number among the facts."""
    yield found
    if is_dataclass(found):
        for field in fields(found):
            part = getattr(found, field.name)
            if not isinstance(part, (Bin, Hours, Days, Parameter)):
                yield from facts(part)
    elif isinstance(found, tuple):
        for one in found:
            yield from facts(one)
    elif isinstance(found, dict):
        yield from facts(tuple(found.values()))


def value(text: str) -> float:
    return float(text.replace("−", "-"))


def to_f(celsius: float) -> float:
    return 9 * celsius / 5 + 32


def test_every_number_said_is_one_of_the_facts(story: Story) -> None:
    known = list(facts(story))
    ranges = [one for one in known if isinstance(one, Range)]
    numbers = [float(one) for one in known if isinstance(one, (int, float)) and not isinstance(one, bool)]
    stamps = [one for one in known if isinstance(one, date)]
    if story.days:
        stamps += story.days.days

    def ends(match: re.Match[str], unit: str, step: float) -> str:
        low, high = value(match[1]), value(match[2])
        assert any(
            0 <= one.low - low <= step and 0 <= high - one.high <= step for one in ranges if one.unit == unit
        ) or (low, high) in (story.refuge.band_c, story.water.tolerated_pct), match[0]  # fmt: skip
        return ""

    def both_ends(match: re.Match[str]) -> str:
        ends(match, "degC", 1.0)
        assert value(match[3]) == math.floor(to_f(value(match[1])))
        assert value(match[4]) == math.ceil(to_f(value(match[2])))
        return ""

    def warmth(match: re.Match[str]) -> str:
        middles = [one.middle for one in ranges if one.unit == "degC"]
        assert any(abs(one - value(match[1])) <= 0.5 for one in (*middles, *numbers)), match[0]
        assert abs(value(match[2]) - to_f(value(match[1]))) <= 0.5
        return ""

    def near(match: re.Match[str], step: float) -> str:
        middles = [one.middle for one in ranges]
        assert any(abs(one - value(match[1])) <= step for one in (*middles, *numbers)), match[0]
        return ""

    def share(match: re.Match[str]) -> str:
        shares = [100 * one.below_band for one in (story.soon, story.rest) if one]
        shares += [100 * one for one in (story.water.too_dry, story.water.too_wet) if one is not None]
        shares += list(story.truth.held.values()) if story.truth else []
        # A range without width is told as one number.
        shares += [one.low for one in ranges if one.unit == "%" and math.floor(one.low) == math.ceil(one.high)]
        limit = {"under": (0, 2.5), "over": (97.5, 100)}.get(match[1])
        if limit:
            assert any(limit[0] <= one <= limit[1] for one in shares), match[0]
        else:
            assert any(abs(one - value(match[2])) <= 2.5 for one in shares), match[0]
        return ""

    def day(match: re.Match[str]) -> str:
        number = datetime.strptime(f"{match[2]} {match[1]} 2024", "%B %d %Y")
        assert any((one.day, one.month) == (number.day, number.month) for one in stamps), match[0]
        return ""

    def clock(match: re.Match[str]) -> str:
        moments = [one for one in stamps if isinstance(one, datetime)]
        assert any((one.hour, one.minute) == (int(match[1]), int(match[2])) for one in moments), match[0]
        return ""

    months = "(January|February|March|April|May|June|July|August|September|October|November|December)"
    for sentence in told(story):
        left = re.sub(r"“[^”]*”( \([^)]*\))?", "", sentence.replace("\u00a0", " "))  # the keeper's own words
        left = re.sub(rf"{ONE} to {ONE} °C \({ONE} to {ONE} °F\)", both_ends, left)
        left = re.sub(rf"\({ONE} to {ONE} °C, 32 to 95 °F\)", lambda m: ends(m, "band", 0), left)
        left = re.sub(rf"{ONE} °C \({ONE} °F\)", warmth, left)
        left = re.sub(rf"{ONE} to {ONE} %", lambda m: ends(m, "%", 1.0), left)
        left = re.sub(rf"{ONE} to {ONE} litres", lambda m: ends(m, "L", 1.0), left)
        left = re.sub(rf"{ONE} to {ONE} hours", lambda m: ends(m, "h", 1.0), left)
        left = re.sub(rf"{ONE} litres", lambda m: near(m, 0.5), left)
        left = re.sub(rf"(\w+) {ONE} %", share, left)
        left = re.sub(rf"(\d\d?) to (\d\d? {months})", r"\1 \3 to \2", left)
        left = re.sub(rf"(\d\d?) {months}", day, left)
        left = re.sub(r"(\d\d):(\d\d)", clock, left)
        left = left.replace(f"{story.month:%B %Y}", "")
        left = re.sub(r"(\d+) hours", lambda m: near(m, 0), left)
        assert not re.search(r"\d", left), f"a number from nowhere in {sentence!r}: {left!r}"


def test_the_month_is_told_in_a_few_sentences(story: Story) -> None:
    assert 3 <= len(words.in_short(story)) <= 6


def test_estimated_and_predicted_are_never_mixed_up() -> None:
    assert "was about" in words.coldest(STORIES["january"]())
    assert "predicted" in words.coldest(STORIES["predicted"]())
    assert "predicted" in words.refuge(STORIES["predicted"]())


def test_the_coldest_hour_is_so_far_only_while_the_month_runs() -> None:
    assert "coldest hour so far" in words.coldest(STORIES["january"]())
    assert "coldest hour in" in words.coldest(STORIES["december"]())


def test_nobody_there_is_said_unless_a_reading_may_have_been_close() -> None:
    story = STORIES["january"]()
    far = replace(story, coldest=replace(story.coldest, read_near=False))
    assert words.basis(far).startswith("Nobody read a thermometer then")
    close = replace(story, coldest=replace(story.coldest, read_near=True))
    assert words.basis(close).startswith("A reading may fall close")
    assert "No bedding reading has been used" in words.basis(STORIES["no readings"]())


def test_an_unsettled_fit_is_said_at_once() -> None:
    case = sample().case
    doubtful = replace(from_prior(case), largest=0.4)
    story = tell(Study(case, doubtful, sample().outlook), (2026, 1))
    assert "has not settled" in words.basis(story)


@pytest.mark.parametrize(
    ("low", "high", "words_said"), [(100.0, 100.0, "All of the roughly 42"), (0.0, 0.2, "no bedding within")]
)
def test_a_whole_or_vanished_refuge_is_said_plainly(low: float, high: float, words_said: str) -> None:
    story = STORIES["january"]()
    share = Range(low, low, high, "%", "estimated")
    assert words_said in words.refuge(replace(story, refuge=replace(story.refuge, share=share)))


def test_a_surprise_is_named_in_the_keepers_words() -> None:
    story = tell(sample((replace(READINGS[1], amount=amount(19, 20)),)), (2026, 1))
    assert "one surprise: “between 2.5 and 3.5”" in words.agreement(story)
    assert words.verdict(story.readings[0]).startswith("surprise: warmer by")


def test_wide_parameters_and_missing_places_are_confessed() -> None:
    said = " ".join(words.unknown(STORIES["january"]()))
    assert "One reading this month has no place noted" in said
    assert "hardly narrowed these" in said
    assert said.endswith(words.ONE_BIN)


def test_ice_brings_its_caution_only_where_it_may_come() -> None:
    story = STORIES["january"]()
    assert any(said.startswith("Ice") for said in background.cautions(story))
    mild = Range(8.0, 9.0, 10.0, "degC", "estimated")
    warm = replace(
        story,
        coldest=replace(story.coldest, temperature=mild),
        refuge=replace(story.refuge, ice=Range(0.0, 0.0, 0.0, "%", "estimated")),
        soon=None,
        rest=None,
    )
    assert not any(said.startswith("Ice") for said in background.cautions(warm))
    assert any("Wash your hands" in said for said in background.cautions(warm))


def test_every_parameter_of_the_fit_has_words() -> None:
    story = STORIES["january"]()
    assert {found.name for found in story.parameters} == set(sample().posterior.draws)
    for found in story.parameters:
        assert all(words.parameter(found))


def test_the_invented_truth_is_called_invented_only_in_a_demo() -> None:
    assert len(words.truth(STORIES["january"]())) == 2
    assert words.truth(STORIES["december"]()) == ()


def test_sources_name_weather_species_and_seed() -> None:
    said = dict(background.sources(STORIES["january"]()))
    assert said["Weather"] == "an invented winter of sines"
    assert "seed 5" in said["Made with"]
    assert any("Edwards 1988" in source for source in said.values())


def test_entries_of_the_sample_are_all_told() -> None:
    story = STORIES["january"]()
    count = sum(len(part) for part in (story.readings, story.feedings, story.sightings, story.samples, story.notes))
    assert count == len(ENTRIES) - 1  # one reading belongs to December
