"""Bins beside each other: differences beyond the ranges, and nothing said of why."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import get_args

import html5lib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tests.update.sample import amount, sample
from underlid.quantity.points import points
from underlid.update.beside import BY_CHANCE, BesideError, apart, tell_beside
from underlid.update.drawn import yearcharts
from underlid.update.drawn.charts import PHONE
from underlid.update.facts import Provenance, Range, Story, TrialFact
from underlid.update.forms.besidepage import laid_out, page, printed
from underlid.update.prose import besidewords
from underlid.update.prose.numbers import unfounded
from underlid.update.story import tell

LIDS = TrialFact("Lids", "control", "A lid keeps warm.", "Cannot tell yet: 3 of 8 bins are counted.")


@pytest.fixture(scope="module")
def story() -> Story:
    return tell(sample(), (2026, 1))


def named(story: Story, name: str, warmer_k: float = 0.0) -> Story:
    """The same account of another bin, so much warmer."""
    cold = story.coldest.temperature
    warm = replace(cold, low=cold.low + warmer_k, middle=cold.middle + warmer_k, high=cold.high + warmer_k)
    return replace(
        story, bin=replace(story.bin, name=name), coldest=replace(story.coldest, temperature=warm),
        hours=replace(story.hours, middle_c=story.hours.middle_c + warmer_k),
    )  # fmt: skip


def test_the_chance_of_missing_each_other_is_that_of_normal_estimates() -> None:
    closed = 2 * norm.sf(norm.ppf(0.95) * math.sqrt(2))
    assert closed == pytest.approx(BY_CHANCE, abs=2e-4)
    rng = np.random.default_rng(3)
    low, _, high = points(rng.standard_normal((4000, 2))) - 0.0  # the range about a truth of 0
    means = rng.standard_normal((200_000, 2))
    missed = np.abs(means[:, 0] - means[:, 1]) > (high[0] - low[0] + high[1] - low[1]) / 2
    assert missed.mean() == pytest.approx(BY_CHANCE, abs=0.004)


ENDS = st.tuples(st.floats(-50, 50), st.floats(0, 20)).map(lambda found: (found[0], found[0] + found[1]))


@given(ENDS, ENDS)
def test_two_ranges_are_apart_where_no_number_is_in_both(a: tuple[float, float], b: tuple[float, float]) -> None:
    one, other = (Range(low, (low + high) / 2, high, "degC", "estimated") for low, high in (a, b))
    assert apart(one, other) == apart(other, one) == (max(one.low, other.low) > min(one.high, other.high))
    assert not apart(one, one)


def test_a_warmer_bin_differs_and_a_slightly_warmer_one_is_not_resolved(story: Story) -> None:
    cold = story.coldest.temperature
    width = cold.high - cold.low
    told = tell_beside([story, named(story, "Larch", 0.5 * width), named(story, "Rowan", 1.2 * width)])
    coldest = told.figures[0]
    assert coldest.beyond == ((0, 2),)
    assert coldest.pairs == 3
    said = besidewords.differences(told, coldest).full
    assert said == "Coldest hour, middle: A is colder than C, beyond the ranges; not resolved in the other two pairs."
    assert told.by_chance == pytest.approx(BY_CHANCE * 3 * len(told.figures))


def test_bins_alike_are_not_resolved_and_never_called_alike(story: Story) -> None:
    told = tell_beside([story, named(story, "Larch")])
    assert told.differs == ()
    for one in told.figures:
        said = besidewords.differences(told, one).full
        assert said.endswith(("not resolved in any pair.", "in all."))
        assert "no difference" not in said


def test_estimates_are_not_compared_with_predictions(story: Story) -> None:
    predicted = named(story, "Larch", 30.0)
    predicted = replace(
        predicted,
        coldest=replace(predicted.coldest, temperature=replace(predicted.coldest.temperature, provenance="predicted")),
    )
    assert tell_beside([story, predicted]).figures[0].pairs == 0
    assert get_args(Provenance) == ("read", "estimated", "predicted")


def test_builds_differ_where_what_was_noted_cannot_be_one_number(story: Story) -> None:
    record = replace(
        story.bin, name="Larch", wall="wood", founders=amount(45, 80, "1"), wall_thickness=amount(0.01, 0.02, "m")
    )
    told = tell_beside([story, replace(story, bin=record, refuge=replace(story.refuge, bedding_litres=60.0))])
    assert told.differs == ("litres", "wall", "wall_mm")  # 30 to 50 and 45 to 80 founders may be as many
    more = replace(record, founders=amount(51, 80, "1"))
    assert "founders" in tell_beside([story, replace(story, bin=more)]).differs


def test_builds_are_told_as_recorded_and_not_as_read(story: Story) -> None:
    (part,) = (part for part in laid_out(tell_beside([story, named(story, "Larch")])).parts if "built" in part.title)
    assert [kind for _, kind in part.tables[0].columns] == [None] * 6
    assert part.said[0].full.startswith("As recorded when each bin was started;")


def test_only_a_trial_may_tell_why(story: Story) -> None:
    alone = tell_beside([story, named(story, "Larch", 9.0)])
    tried = tell_beside(
        [replace(story, trials=(LIDS,)), replace(named(story, "Larch"), trials=(replace(LIDS, arm="changed"),)),
         named(story, "Rowan")]
    )  # fmt: skip
    assert [one.arms for one in tried.tested] == [(("A", "control"), ("B", "changed"))]
    assert besidewords.tests(tried)[0].full == f"Lids (A: control, B: changed): {LIDS.sentence}"
    for told, ends in ((alone, "None of these bins is in a trial"), (tried, "below, under “Under test”")):
        said = " ".join(one.full for one in besidewords.in_short(told))
        assert "nothing here tells why they differ" in said
        assert ends in said
        assert "because" not in said


def test_every_number_said_is_a_fact(story: Story) -> None:
    for stories in ([story, named(story, "L", 9.0)], [replace(named(story, f"{i}", 2.0 * i), trials=(LIDS,)) for i in
                                                     range(8)]):  # fmt: skip
        told = tell_beside(stories)
        for part in laid_out(told).parts:
            for said in (*part.said, *part.after):
                assert unfounded(said) == (), said.full


def test_what_cannot_be_set_beside_each_other_is_refused(story: Story) -> None:
    with pytest.raises(BesideError, match="1 accounts were given; two to 26"):
        tell_beside([story])
    with pytest.raises(BesideError, match="'Porch tote' was given twice"):
        tell_beside([story, story])
    with pytest.raises(BesideError, match="December 2025 and January 2026"):
        tell_beside([story, named(tell(sample(), (2025, 12)), "Larch")])


def test_all_panels_have_one_scale(story: Story) -> None:
    stories = [named(story, f"{i}", 4.0 * i) for i in range(3)]
    scale = yearcharts.common_scale(stories)
    for i, one in enumerate(stories):
        layer = yearcharts.panel(one, scale, i, PHONE).to_dict()["layer"][0]
        assert layer["encoding"]["y"]["scale"]["domain"] == list(scale)
        assert scale[0] <= one.hours.middle_c.min()
        assert one.hours.middle_c.max() <= scale[1]


def test_the_page_is_strictly_well_formed_and_holds_no_foreign_markup(story: Story) -> None:
    stories = [named(story, f"Bin <{i}> & co", 3.0 * i) for i in range(4)]
    made = page(tell_beside(stories))
    html5lib.HTMLParser(strict=True).parse(made)
    ids = re.findall(r' id="([^"]+)"', made)
    assert len(ids) == len(set(ids))
    assert "<script" not in made
    assert "Bin &lt;1&gt; &amp; co" in made


def test_the_paper_is_the_same_every_time(story: Story) -> None:
    told = tell_beside([story, named(story, "Larch", 3.0)])
    made = printed(told)
    assert made.startswith(b"%PDF-")
    assert printed(told) == made


def test_colour_and_shape_tell_ten_bins_apart() -> None:
    assert len(set(yearcharts.BIN_MARKS)) == len(yearcharts.BIN_MARKS) == 10
