"""What lives, is eaten and was read of acid, from a study to facts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest

from tests.update.sample import BIN, ENTRIES, ZONE, amount, on, sample
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.reckoning import reckoning
from underlid.fit.tally import tally
from underlid.quantity.amount import VagueAmount
from underlid.quantity.show import show_amount
from underlid.records import AnyEntry, Photo, Place, Reading, Sighting
from underlid.update import lifestory, noted
from underlid.update.lifestory import Colony
from underlid.update.story import span_of_month, tell

END = datetime(2026, 2, 1, tzinfo=ZONE)


@pytest.fixture(scope="module")
def colony() -> Colony:
    of = sample()
    before, counted = prior(of), tally(of.case.entries, of.case.time_utc)
    found = census(before, counted, 1, sets=40, draws=8)
    return Colony(counted, found, reckoning(before, found), ())


def test_worms_are_of_the_day_of_the_last_hour_told_whatever_clocks_do(colony: Colony) -> None:
    """In March an hour is skipped, so that the state nearest to the last hour stands beyond midnight."""
    story = tell(sample(), (2026, 3), colony=colony)
    assert story.animals is not None
    assert story.animals.at == story.told_to.date()
    of = sample()
    midnight = of.index(datetime(2026, 3, 11, tzinfo=ZONE))
    told = lifestory.animals(of, colony, (midnight - 48, midnight), of.case.entries, ZONE)
    assert told.at == date(2026, 3, 10)


def test_what_the_fit_cannot_explain_is_kept_with_its_day_and_words(colony: Colony) -> None:
    of = sample()
    slip = np.zeros(len(colony.census.slip))
    slip[[any(entry.id == "c1" for entry in used) for used in colony.counted.used]] = 0.9
    odd = colony._replace(census=replace(colony.census, slip=slip))
    january = tuple(of.index(moment) for moment in span_of_month(date(2026, 1, 1), ZONE))
    told = lifestory.animals(of, odd, (january[0], january[1]), of.case.entries, ZONE)
    assert [(one.when.day, one.what, one.doubted) for one in told.found] == [
        (11, "about 10 to 14 adults seen", False), (25, "4 adults, 1 cocoon counted in 1 L", True),
    ]  # fmt: skip
    assert [one.what for one in told.doubted] == ["4 adults, 1 cocoon counted in 1 L"]
    december = lifestory.animals(of, odd, (0, 24 * 20), of.case.entries, ZONE)
    assert [one.when.day for one in december.found] == [25]  # doubted, whenever it was


def test_long_after_the_month_nothing_of_now_is_told(colony: Colony) -> None:
    told = lifestory.eaten(sample(), ENTRIES, colony, None, ZONE, late=True)
    assert told.feedings == 2
    assert (told.can_eat_g, told.lost_pct, told.castings_l, told.ripe, told.late) == (None, None, None, None, True)
    assert lifestory.eaten(sample(), ENTRIES, colony, None, ZONE).can_eat_g is not None


def ph(id: str, place: Place) -> Reading:
    return Reading(id=id, bin=BIN.name, when=on(12, 1, 9, "12 Jan"), words="pH 6 to 7", quantity="pH",
                   amount=amount(6, 7, "pH"), place=place, instrument="strip")  # fmt: skip


@pytest.mark.parametrize(
    ("places", "told"),
    [(("not noted",), []), (("not noted", "middle"), ["middle"]), (("middle", "edge"), ["edge", "middle"])],
)
def test_only_parts_that_were_read_by_name_are_places(places: tuple[Place, ...], told: list[str]) -> None:
    readings = tuple(ph(f"p{i}", place) for i, place in enumerate(places))
    (found,) = lifestory.acid(sample(), readings, END)
    assert sorted(place for place, _ in found.places) == told
    assert len(found.readings) == len(places)


@pytest.mark.parametrize(
    "seen",
    [amount(9.6, 14.4, "1", "about", "about a dozen"), amount(3, np.inf, "1", "at least", "3 or more"),
     amount(5, 5, "1", "exact", "5"), amount(0.4, 1.6, "1", "about", "one or so")],
)  # fmt: skip
def test_the_fewest_that_were_seen_are_those_shown_when_they_were_entered(seen: VagueAmount) -> None:
    fewest = noted.least(seen)
    assert show_amount(seen).removeprefix("about ").removeprefix("at least ").split(" ")[0] == str(fewest)
    entry: AnyEntry = Sighting(id="s", bin=BIN.name, when=on(11, 1, 7, "11 Jan"), words="seen", amount=seen,
                               stage="adult", place="surface")  # fmt: skip
    (said,) = noted.sightings((entry,), ZONE)
    assert said.meaning == f"at least {fewest} adult{'s' if fewest > 1 else ''}, surface"


def test_a_photo_stands_with_its_words_and_not_with_its_file() -> None:
    photo = Photo(id="x", bin=BIN.name, when=on(11, 1, 7, "11 Jan"), words="the bin on sorting day",
                  file="c3403d00.jpg", sha256="c3403d00")  # fmt: skip
    (said,) = noted.notes((photo,), ZONE)
    assert (said.words, said.meaning) == ("the bin on sorting day", "photo")
