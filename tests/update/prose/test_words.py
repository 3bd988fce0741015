from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from tests.update import living
from tests.update.sample import ENTRIES, READINGS, amount, from_prior, sample, truth
from underlid.fit.study import Study
from underlid.update.facts import Range, Story, TimeRange
from underlid.update.prose import agreewords, background, heatwords, phrases, telling, words
from underlid.update.prose.numbers import unfounded
from underlid.update.story import tell

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


def at_hours(story: Story, width: float, apart_k: float = 0.0) -> Story:
    """A story whose coldest hour fell within so many hours, no single hour as cold by `apart_k`."""
    usual = story.told_from + timedelta(days=5)
    half = timedelta(hours=width / 2)
    cold = story.coldest
    low, middle, high = (
        side + apart_k for side in (cold.temperature.low, cold.temperature.middle, cold.temperature.high)
    )
    return replace(story, coldest=replace(
        cold, when=TimeRange(usual - half / 2, usual, usual + half * 1.5), estimate_at=usual,
        estimate=replace(cold.temperature, low=low, middle=middle, high=high),
    ))  # fmt: skip


@pytest.mark.parametrize(
    ("width", "said"),
    [(8, "near Tue 6 January, 00:00, nine in ten between"), (96, "near 6 January, nine in ten between 5 January"),
     (200, "some time from 3 to 12 January (nine in ten).")],
)  # fmt: skip
def test_a_day_is_named_only_where_few_are_likely(width: float, said: str) -> None:
    story = at_hours(STORIES["january"](), width)
    assert said in words.coldest(story).full
    assert said in heatwords.coldest_when(story).full
    assert unfounded(heatwords.coldest_when(story)) == ()
    named = "near 6 January" if width < 120 else "some time from 3 to 12 January"
    assert named in telling.coldest(story).full


def test_a_picture_of_a_milder_hour_is_explained() -> None:
    story = at_hours(STORIES["january"](), 200, apart_k=2.5)
    shown = heatwords.hour_shown(story)
    assert "Tue 6 January, 00:00" in shown.full
    assert phrases.temperature_range(story.coldest.estimate) in shown.full
    assert "at another time in each run of the model" in shown.full
    assert unfounded(shown) == ()
    assert shown in telling.temperatures(story)
    same = at_hours(story, 200)
    assert "another time" not in heatwords.hour_shown(same).full
    assert heatwords.hour_shown(same) not in telling.temperatures(same)


def biased(low: float, high: float) -> Story:
    """A story whose readings and weather do not fit together, and what the thermometer was taken to be wrong by."""
    story = STORIES["three readings"]()
    after = Range(low, (low + high) / 2, high, "K", "estimated")
    return replace(
        story, misfit=True, readings=tuple(replace(fact, gap_k=0.0) for fact in story.readings),
        parameters=tuple(replace(one, after=after) if one.name == "bias" else one for one in story.parameters),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (1.04, 3.36, "read 1 to 3.4 °C (1.8 to 6.2 °F) too high"),
        (-2.0, -0.5, "read 0.5 to 2 °C (0.9 to 3.6 °F) too low"),
    ],
)
def test_readings_do_not_agree_where_the_fit_bent_the_thermometer(low: float, high: float, said: str) -> None:
    told = agreewords.agreement(biased(low, high))
    assert told is not None
    assert said in told.full.replace(phrases.NB, " ")
    assert "agree with the model" not in told.full
    assert unfounded(told) == ()


@pytest.mark.parametrize("surprises", [0, 1, 2])
def test_readings_outside_are_not_counted_among_those_inside(surprises: int) -> None:
    story = biased(1.0, 3.0)
    inside = len(heatwords.compared(story)) - surprises
    readings = tuple(replace(fact, gap_k=float(n < surprises)) for n, fact in enumerate(story.readings))
    told = agreewords.agreement(replace(story, readings=readings))
    assert told is not None
    assert f"{('none', 'one', 'two')[inside]} of two bedding readings {'lies' if inside == 1 else 'lie'}" in told.full
    assert unfounded(told) == ()


def test_a_misfit_is_never_told_beside_agreement() -> None:
    story = biased(-0.3, 2.0)
    assert agreewords.agreement(story) is None
    assert all("agree" not in one.full for one in telling.temperatures(story))
    assert heatwords.DOUBTFUL in words.coldest(story).short
    assert agreewords.agreement(replace(story, misfit=False)) is not None


def test_hours_without_a_refuge_are_told_in_place_of_the_first_of_them() -> None:
    story = STORIES["january"]()
    gone = replace(
        story.refuge, share=Range(0, 0, 0, "%", "estimated"), without_h=Range(300, 410, 500, "h", "estimated")
    )
    many = replace(story, refuge=gone)
    assert "300 to 500 hours" in heatwords.room(many).full.replace(phrases.NB, " ")
    assert phrases.day(gone.when.usual) not in heatwords.refuge(many).full
    few = replace(story, refuge=replace(gone, without_h=Range(1, 4, 9, "h", "estimated")))
    assert phrases.day(gone.when.usual) in heatwords.refuge(few).full
    for one in (many, few):
        assert unfounded(heatwords.room(one)) == unfounded(heatwords.refuge(one)) == ()


def test_a_year_is_said_where_it_is_not_that_of_the_month() -> None:
    story = STORIES["january"]()
    assert story.soon is not None
    soon = replace(story.soon, first=date(2026, 12, 30), last=date(2027, 1, 5))
    story = replace(story, soon=soon)
    assert heatwords.low(story).full.startswith("From 30 December to 5 January 2027 the middle")
    assert words.key_figures(story)[2].label == "Low of 30 Dec to 5 Jan 2027"
    assert words.key_figures(STORIES["january"]())[2].label == "Low of 27 Jan to 3 Feb"


def test_estimated_and_predicted_are_never_mixed_up() -> None:
    assert "was about" in words.coldest(STORIES["january"]()).full
    assert "predicted" in words.coldest(STORIES["predicted"]()).full
    assert "predicted" in words.refuge(STORIES["predicted"]()).full


def test_the_coldest_hour_is_so_far_only_while_the_month_runs() -> None:
    assert "coldest hour so far" in words.coldest(STORIES["january"]()).full
    assert "coldest hour in" in words.coldest(STORIES["december"]()).full


def test_nobody_there_is_said_unless_a_reading_may_have_been_close() -> None:
    story = at_hours(STORIES["january"](), 12)
    far = replace(story, coldest=replace(story.coldest, read_near=False))
    assert words.basis(far).full.startswith("Nobody read a thermometer then")
    close = replace(story, coldest=replace(story.coldest, read_near=True))
    assert words.basis(close).full.startswith("A reading may fall close")
    assert "No bedding reading has been used" in words.basis(STORIES["no readings"]()).full
    assert "cannot be told" in words.basis(at_hours(story, 20 * 24)).full


def test_an_unsettled_fit_is_said_at_once() -> None:
    case = sample().case
    doubtful = replace(from_prior(case), largest=0.4)
    story = tell(Study(case, doubtful, sample().outlook), (2026, 1))
    assert "has not settled" in words.basis(story).full


@pytest.mark.parametrize(
    ("low", "high", "words_said"), [(100.0, 100.0, "All of the roughly 42"), (0.0, 0.2, "no bedding within")]
)
def test_a_whole_or_vanished_refuge_is_said_plainly(low: float, high: float, words_said: str) -> None:
    story = STORIES["january"]()
    share = Range(low, low, high, "%", "estimated")
    assert words_said in words.refuge(replace(story, refuge=replace(story.refuge, share=share))).full


def test_a_surprise_is_named_in_the_keepers_words() -> None:
    story = tell(sample((replace(READINGS[1], amount=amount(19, 20)),)), (2026, 1))
    told = words.agreement(story)
    assert told is not None
    assert "one surprise: “between 2.5 and 3.5”" in told.full
    assert words.verdict(story.readings[0]).startswith("surprise: warmer by")


def test_wide_parameters_and_missing_places_are_confessed() -> None:
    said = " ".join(words.unknown(STORIES["january"]()))
    assert "One reading this month has no place noted" in said
    assert "hardly narrowed these" in said
    assert said.endswith(words.ONE_BIN)


def care(story: Story) -> list[str]:
    return [one.full for one in background.care(story)]


def test_ice_brings_its_caution_only_where_it_may_come() -> None:
    story = STORIES["january"]()
    assert any(said.startswith("Ice") for said in care(story))
    mild = Range(8.0, 9.0, 10.0, "degC", "estimated")
    warm = replace(
        story,
        coldest=replace(story.coldest, temperature=mild),
        refuge=replace(story.refuge, ice=Range(0.0, 0.0, 0.0, "%", "estimated")),
        soon=None,
        rest=None,
    )
    assert not any(said.startswith("Ice") for said in care(warm))
    assert any("Wash your hands" in said for said in care(warm))


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


def test_worms_are_a_key_figure_where_they_were_fitted() -> None:
    keys = {key.label: key for key in words.key_figures(living.story())}
    worms = keys["Worms on 27 January"]
    assert worms.figure == "24"
    assert worms.range[0].replace("\u00a0", " ") == "14 to 42"
    assert worms.provenance == "estimated"
    assert not any("Worms" in key.label for key in words.key_figures(living.bare()))


def test_a_refuge_in_one_sentence_is_the_same_as_in_many() -> None:
    story = STORIES["predicted"]()
    told, one = heatwords.refuge(story), heatwords.room(story)
    assert one.short == told.short
    assert phrases.litres_range(story.refuge.litres) in one.full
    assert phrases.litres_range(story.refuge.litres) in told.full


def test_without_readings_nothing_is_said_to_agree() -> None:
    told = agreewords.agreement(STORIES["no readings"]())
    assert told is not None
    assert "agree" not in told.full
    assert told.short == ""


def test_what_comes_after_the_next_days_is_told_only_if_it_is_predicted() -> None:
    story = STORIES["january"]()
    assert "31 March" in heatwords.rest(story).full  # type: ignore[union-attr]
    assert heatwords.rest(replace(story, rest=None)) is None
    assert "Nothing is predicted" in heatwords.soon(replace(story, soon=None)).full


def test_entries_of_the_sample_are_all_told() -> None:
    story = STORIES["january"]()
    count = sum(len(part) for part in (story.readings, story.feedings, story.sightings, story.samples, story.notes))
    assert count == len(ENTRIES) - 1  # one reading belongs to December
