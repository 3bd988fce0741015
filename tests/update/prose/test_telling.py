from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import datetime

import pytest

from tests.update import living
from tests.update.sample import ZONE
from underlid.update.facts import Story, TimeRange, TrialFact
from underlid.update.prose import heatwords, phrases, telling, words
from underlid.update.prose.aloud import spoken
from underlid.update.prose.said import SECTIONS, Said, unsaid

#: What no account of one bin may say. Words of keepers and of trials are theirs.
OVERCLAIMED = (
    r"prove[sdn]?", r"proof", r"always", r"never fails", r"guarantee\w*", r"no difference", r"certain(?:ly)?",
    r"sure to", r"undoubtedly", r"definitely", r"safe", r"harmless", r"exactly", r"significant(?:ly)?", r"because of",
    r"thanks to", r"works? better", r"best", r"impossible", r"every bin", r"all bins",
)  # fmt: skip
STATEMENTS = {
    "Cannot tell yet: nothing is in the journal.": "cannot tell yet",
    "Holds within the margin: all of it inside.": "has held",
    "Fails: all of it beyond.": "has not held",
}


@pytest.fixture(scope="module", params=living.STORIES)
def story(request: pytest.FixtureRequest) -> Story:
    return living.STORIES[request.param]()


def every(story: Story) -> list[Said]:
    return [one for section in telling.sections(story) for one in section.said]


def section(story: Story, name: str) -> str:
    return " ".join(one.full for found in telling.sections(story) if found.name == name for one in found.said)


def sentences(text: str) -> list[str]:
    """Split where a mark is followed by a space and a capital, or ends the text: "1.5" and "a.m." stay whole."""
    return [part for part in re.split(r"(?<=[.?!])\s+(?=[A-Z“0-9])", text) if part]


def syllables(word: str) -> int:
    """Groups of vowels, a last silent e left out, one at least: the usual rule of thumb (recalled).

    Figures count a syllable a digit, which is no fewer than are spoken of most.
    """
    if word[0].isdigit():
        return sum(letter.isdigit() or letter == "." for letter in word)
    plain = re.sub(r"(?<=[^aeiouyl])e$|(?<=[^aeioutd])ed$|es$", "", word.lower())
    return max(1, len(re.findall(r"[aeiouy]+", plain)))


def grade(text: str) -> float:
    """Flesch-Kincaid grade level (Kincaid et al. 1975): 0.39 words a sentence + 11.8 syllables a word - 15.59."""
    found = re.findall(r"\d+(?:\.\d+)?|[A-Za-z’'-]+", text)
    by_sentence = len(found) / len(sentences(text))
    return 0.39 * by_sentence + 11.8 * sum(map(syllables, found)) / len(found) - 15.59


def test_the_grade_of_known_texts() -> None:
    # 6 words and 6 syllables: 0.39 x 6 + 11.8 - 15.59.
    assert grade("The cat sat on the mat.") == pytest.approx(-1.45)
    assert grade("Considerable microbial immobilisation characterises lignocellulosic substrates.") > 20


@pytest.mark.parametrize(
    ("word", "n"), [("bedding", 2), ("temperature", 4), ("we", 1), ("worms", 1), ("looked", 1), ("ice", 1), ("29", 2)]
)
def test_syllables_are_counted_about_right(word: str, n: int) -> None:
    assert syllables(word) == n


def test_the_sections_stand_in_order_with_something_said_in_each(story: Story) -> None:
    told = telling.sections(story)
    assert {one.name: one.title for one in told} == SECTIONS
    assert [one.name for one in told] == list(SECTIONS)
    assert all(one.said for one in told)


def test_the_month_is_told_in_three_sentences(story: Story) -> None:
    month = telling.sections(story)[0].said
    assert len(month) == 3
    for one in month:
        assert one.short
        assert len(sentences(one.full)) == 1


def test_sentences_are_whole(story: Story) -> None:
    for text in (text for one in every(story) for text in (one.full, one.short) if text):
        assert not re.search(r"  |\s[.,;:]|\.\.|,,|\(\)|\bNone\b(?! of)|\bnan\b|\binf\b|[{}]", text), text
        assert text[-1] in ".?!"
        named = any(text.startswith(one.name) for one in story.trials)  # as its keeper writes it
        assert named or text[0] == "“" or text[0].isupper() or text[0].isdigit(), text


def test_one_and_many_agree(story: Story) -> None:
    everything = " ".join(f"{one.full} {one.short}" for one in every(story)).replace("\u00a0", " ")
    for noun in ("worm", "reading", "feeding", "litre", "day", "count", "sighting", "meal", "hour", "surprise"):
        assert not re.search(rf"(?<![\d.])(?<!to )\b(?:one|1) (?:bedding )?{noun}s\b", everything, re.I), noun
        assert not re.search(rf"\b(?:two|three|four|five|[2-9]|\d\d+) (?:bedding )?{noun}\b", everything), noun


def test_figures_say_whether_they_are_read_estimated_or_predicted(story: Story) -> None:
    for one in every(story):
        if re.search(r"°C|litres|mS/cm|worms? (?:lived|are|is)", one.full) and not one.full.startswith("Of "):
            assert one.provenance is not None, one.full
            assert one.evidence, one.full


def test_evidence_is_named_by_known_names(story: Story) -> None:
    ids = {f"reading-{fact.id}" for fact in story.readings}
    ids |= {f"reading-{id}" for one in story.acid for id in one.readings}
    named = ids | {f"trial-{one.name}" for one in story.trials} | {"weather", "fit", "counts", "feedings", "species"}
    assert {anchor for one in every(story) for anchor in one.evidence} <= named


def test_nothing_is_claimed_that_one_bin_cannot_show(story: Story) -> None:
    theirs = {text for one in story.trials for text in (one.statement.rstrip("."), one.sentence)}
    for text in [*(part for one in every(story) for part in (one.full, one.short)), *telling.short(story)]:
        ours = text
        for words_of_others in theirs:
            ours = ours.replace(words_of_others, "")
        assert not re.search(rf"\b(?:{'|'.join(OVERCLAIMED)})\b", ours, re.IGNORECASE), text


def test_every_account_says_what_one_bin_can_show(story: Story) -> None:
    assert words.ONE_BIN in section(story, "unknown")
    assert "This is only one bin." in " ".join(telling.short(story))


def test_a_child_is_told_it_in_six_to_twelve_sentences(story: Story) -> None:
    told = " ".join(telling.short(story))
    assert 6 <= len(sentences(told)) <= 12


def test_a_child_of_ten_can_follow(story: Story) -> None:
    assert grade(spoken(" ".join(telling.short(story)))) <= 6
    assert grade(spoken(" ".join(one.short for one in every(story) if one.short))) <= 6


def test_a_child_is_not_told_more_surely_than_a_grown_up(story: Story) -> None:
    for one in every(story):
        if re.search(r"\d", one.short) and one.provenance in ("estimated", "predicted"):
            assert re.search(r"\babout|think|may|perhaps|fits? what|not fit", one.short, re.I), one.short


def test_the_short_form_names_no_number_that_the_full_one_lacks(story: Story) -> None:
    for one in every(story):
        assert set(re.findall(r"\d+(?:\.\d+)?", one.short)) <= set(re.findall(r"\d+(?:\.\d+)?", one.full)), one


def test_nobody_looked_is_said_to_a_child_too() -> None:
    story = living.three()
    usual = story.coldest.when.usual
    story = replace(story, coldest=replace(story.coldest, when=TimeRange(usual, usual, usual)))
    far = replace(story, coldest=replace(story.coldest, read_near=False))
    assert "Nobody looked just then." in " ".join(telling.short(far))
    assert "nobody read a thermometer then" in section(far, "month")
    near = replace(story, coldest=replace(story.coldest, read_near=True))
    assert "Nobody looked" not in " ".join(telling.short(near))


def test_long_afterwards_the_account_says_where_the_rest_is_told() -> None:
    story = living.STORIES["december"]()
    assert story.afterwards
    (said,) = [one for found in telling.sections(story) if found.name == "next" for one in found.said]
    assert said.full.startswith(
        "This month is told from 27 January 2026; what comes next is in a later month’s account."
    )
    assert "--now" in said.full
    assert "Under test in this bin: “citrus scraps”." in section(story, "month")
    untried = replace(story, trials=())
    assert "Apart from one bedding reading of this month, how warm the bedding was is not known" in section(
        untried, "month"
    )
    assert "No bedding reading was noted" in section(replace(untried, readings=()), "month")
    assert not any(one.provenance == "predicted" for one in every(story) if "next" in one.full)


def test_a_misfit_is_told_among_what_did_not_fit() -> None:
    story = living.three()
    story = replace(story, readings=tuple(replace(fact, gap_k=0.0) for fact in story.readings))
    assert "lies outside the range" in section(story, "surprises")
    assert "all of them together do not fit this weather" in section(replace(story, misfit=True), "surprises")
    assert "together" not in section(replace(living.STORIES["odd"](), misfit=True), "surprises")


def test_a_month_to_come_is_not_blamed_for_what_nobody_did() -> None:
    story = living.STORIES["predicted"]()
    assert story.to_come
    ahead = replace(story, eaten=replace(living.EATEN, feedings=0, given_g=None, unweighed=0))
    for name in ("done", "surprises"):
        assert section(ahead, name).startswith("The month has not come yet")
    assert "This month has not come yet." in " ".join(telling.short(ahead))
    running = living.story(eaten=replace(living.EATEN, feedings=0, given_g=None, unweighed=0))
    assert section(running, "done").startswith("No feeding was noted this month so far.")


def test_what_was_told_in_the_three_sentences_is_added_to_and_not_repeated() -> None:
    story = living.story()
    low = phrases.temperature_range(story.soon.coldest.temperature) if story.soon else ""
    cold = phrases.temperature_range(story.coldest.temperature)
    assert low in section(story, "month")
    assert section(story, "next").count(low) <= 1  # that of the later days may look alike
    assert cold in section(story, "month")
    assert cold not in heatwords.coldest_when(story).full
    assert "the chance of the middle going below" in section(story, "next")


def test_doubt_is_passed_on_in_both_forms() -> None:
    story = replace(living.story(), trusted=False)
    assert "read this with doubt" in section(story, "month")
    assert "We are not sure of this yet." in " ".join(telling.short(story))
    assert len(sentences(" ".join(telling.short(replace(living.gone(), misfit=True))))) <= 12


@pytest.mark.parametrize("sentence", STATEMENTS)
def test_a_verdict_is_told_to_a_child_as_it_stands(sentence: str) -> None:
    story = living.story(trials=(TrialFact("tea", "changed", "Tea leaves make no difference.", sentence),))
    assert STATEMENTS[sentence] in " ".join(telling.short(story))
    assert sentence in section(story, "tests")


def test_without_a_trial_it_says_that_nothing_is_under_test() -> None:
    said = section(living.bare(), "tests")
    assert said.startswith("Nothing is under test in this bin.")
    assert "could not tell" in said


def test_without_any_fit_of_animals_the_refuge_takes_their_place() -> None:
    assert "the worms tolerate" in section(living.bare(), "month")
    assert "does not say how many worms" in section(living.bare(), "animals")
    assert "does not say how many worms" in section(living.bare(), "unknown")


def test_what_is_due_is_told_by_its_days() -> None:
    said = section(living.story(), "next")
    assert "On 31 January: take the temperature" in said
    assert "(2 to 5 February)" in said
    next_year = replace(living.STEPS[1], first=datetime(2026, 12, 30, tzinfo=ZONE).date(),
                        last=datetime(2027, 1, 2, tzinfo=ZONE).date())  # fmt: skip
    assert "(30 December to 2 January 2027)" in section(living.story(steps=(next_year,)), "next")


def test_the_same_story_is_told_the_same_way_by_another_process() -> None:
    tell = (
        "from tests.update import living; from underlid.update.prose import telling; "
        "print(telling.sections(living.story()))"
    )
    first, second = (
        subprocess.run(
            [sys.executable, "-c", tell], env=os.environ | {"PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in ("1", "2")
    )
    assert b"Section" in first
    assert first == second


def test_where_figures_come_from_is_told_once() -> None:
    """In a sentence's own words, or else by the chip beside it: a word that only holds the word is no such thing."""
    assert unsaid("About 6 worms (estimated).", "estimated") is None
    assert unsaid("It is predicted to fall.", "predicted") is None
    assert unsaid("Three readings were noted.", "read") == "read"
    assert unsaid("Take care.", None) is None
    said = [one for one in every(living.story()) if one.provenance]
    assert {one.unsaid is None for one in said} == {True, False}
