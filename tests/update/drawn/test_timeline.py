"""The panels of a bin's page: aligned, no wider than what is known, and without anything that a page may not hold."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.update.sample import ENTRIES, START, ZONE, amount, on, sample
from underlid.records import Reading
from underlid.update.drawn.timeline import DESK, PHONE, Colony, Courses, Done, Timeline, panels
from underlid.update.noted import reading_facts

DAYS = 40


def courses(study):
    out = study.outlook
    span = slice(0, 24 * DAYS, 3)
    return Courses(
        out.time_utc[span], out.air_c[span], out.bedding_c["middle"][span], out.bedding_c["edge"][span],
        100 * out.refuge[span], 100 * out.frozen[span], 100 * out.moisture[span], 200,
    )  # fmt: skip


@pytest.fixture(scope="module")
def told():
    study = sample()
    ph = Reading(id="p", bin="b", when=on(3, 1, 9, "3 Jan"), words="pH 6.5-7", quantity="pH",
                 amount=amount(6.5, 7.0, "pH"), place="middle")  # fmt: skip
    day = np.arange(DAYS)
    fan = np.stack([5 + 0 * day, 10 + day, 20 + 2 * day], axis=1).astype(float)
    at = START + timedelta(days=20)
    colony = Colony(
        study.outlook.time_utc[0] + 86400 * day, fan, fan / 2, 25, ((at, (8.0, 20.0, 900.0)),), ((at, 12.0),)
    )  # fmt: skip
    return Timeline(
        START, START + timedelta(days=DAYS), ZONE.key, courses(study), reading_facts(study, (*ENTRIES, ph)),
        (Done("fed", at, at), Done("noted", at, at + timedelta(days=2))), colony,
    )  # fmt: skip


@pytest.fixture(scope="module", params=[DESK, PHONE], ids=["desk", "phone"])
def drawn(request, told):
    return {one.name: one for one in panels(told, request.param, "t")}


def test_every_panel_that_has_something_is_drawn(drawn):
    assert list(drawn) == ["temperature", "share", "moisture", "ph", "done", "colony"]


def test_a_day_is_at_the_same_place_in_all_panels(drawn):
    lefts = [one.frame[0] for one in drawn.values()]
    rights = [one.frame[0] + one.frame[2] for one in drawn.values()]
    assert max(lefts) - min(lefts) <= 0.5
    assert max(rights) - min(rights) <= 0.5
    assert len({one.whole[0] for one in drawn.values()}) == 1


def test_a_page_with_a_strict_policy_may_hold_them(drawn):
    for one in drawn.values():
        assert not re.search(r"style=|<script|href=|on\w+=", one.svg)
        assert 'aria-hidden="true"' in one.svg


def test_ids_of_one_panel_are_its_own(drawn):
    for name, one in drawn.items():
        assert all(found.startswith(f"t-{name}") for found in re.findall(r'id="([^"]+)"', one.svg))


def test_a_part_of_the_time_keeps_what_falls_in_it(told):
    first = START + timedelta(days=10)
    part = told.between(first, first + timedelta(days=10))
    assert (part.first, part.last) == (first, first + timedelta(days=10))
    assert part.courses.time_utc[0] >= first.timestamp()
    assert part.courses.time_utc[-1] <= part.last.timestamp()
    assert len(part.courses.middle_c) == len(part.courses.time_utc)
    split = told.courses.time_utc[told.courses.predicted_from]
    assert (part.courses.time_utc < split).sum() == min(part.courses.predicted_from, len(part.courses.time_utc))
    assert all(fact.end >= first and fact.start <= part.last for fact in part.readings)
    assert part.colony.counted == () or part.last >= part.colony.counted[0][0]


def test_no_longer_than_there_is(told):
    far = told.between(START - timedelta(days=99), START + timedelta(days=999))
    assert (far.first, far.last, far.done) == (told.first, told.last, told.done)
    assert {fact.id for fact in told.readings} - {fact.id for fact in far.readings} == {"r4", "r5"}  # from later
    np.testing.assert_array_equal(far.courses.time_utc, told.courses.time_utc)
    assert far.courses.predicted_from == told.courses.predicted_from


def test_thinned_keeps_the_present_hour(told):
    few = told.thinned(2).courses
    now = told.courses.time_utc[told.courses.predicted_from - 1]
    assert few.time_utc[few.predicted_from - 1] == now
    assert len(few.time_utc) == pytest.approx(len(told.courses.time_utc) / 2, abs=1)


def test_readings_alone_are_drawn_without_an_estimate(told):
    bare = replace(told, courses=None, colony=None)
    assert [one.name for one in panels(bare, DESK, "t")] == ["temperature", "ph", "done"]


def test_nothing_noted_is_nothing_drawn(told):
    assert panels(replace(told, courses=None, colony=None, readings=(), done=()), DESK, "t") == ()
