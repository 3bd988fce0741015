from __future__ import annotations

from dataclasses import replace

import pytest

from tests.update import living
from tests.update.sample import ENTRIES, READINGS, amount, from_prior, sample, truth
from underlid.fit.study import Study
from underlid.update.facts import Range, Story
from underlid.update.prose import background, heatwords, phrases, words
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


def test_estimated_and_predicted_are_never_mixed_up() -> None:
    assert "was about" in words.coldest(STORIES["january"]()).full
    assert "predicted" in words.coldest(STORIES["predicted"]()).full
    assert "predicted" in words.refuge(STORIES["predicted"]()).full


def test_the_coldest_hour_is_so_far_only_while_the_month_runs() -> None:
    assert "coldest hour so far" in words.coldest(STORIES["january"]()).full
    assert "coldest hour in" in words.coldest(STORIES["december"]()).full


def test_nobody_there_is_said_unless_a_reading_may_have_been_close() -> None:
    story = STORIES["january"]()
    far = replace(story, coldest=replace(story.coldest, read_near=False))
    assert words.basis(far).full.startswith("Nobody read a thermometer then")
    close = replace(story, coldest=replace(story.coldest, read_near=True))
    assert words.basis(close).full.startswith("A reading may fall close")
    assert "No bedding reading has been used" in words.basis(STORIES["no readings"]()).full


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
    assert "one surprise: “between 2.5 and 3.5”" in words.agreement(story).full
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
    told = heatwords.agreement(STORIES["no readings"]())
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
