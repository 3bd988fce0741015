"""Which quantities an account has, and when there is none."""

from dataclasses import replace

import pytest

from tests.chemistry.bedding import NOW, SHARES, taken
from underlid.chemistry.account import Tolerance, accounts
from underlid.chemistry.readings import NoReading

FETIDA = Tolerance("Eisenia fetida", (4.5, 5.0, 5.5), (8.5, 9.0, 9.5), (5.0, 7.0), "Edwards 1988")


def ask(*readings, tolerance=FETIDA):
    return accounts("north", readings, NOW, None, None, lambda places: SHARES, tolerance)


def test_each_quantity_has_its_account_or_none():
    told = ask(taken("pH 6.5"))
    assert list(told) == ["pH", "EC"]
    assert told["EC"] is None
    assert told["pH"].outside.either < 0.1
    assert ask(taken("EC 1.2 mS/cm"))["pH"] is None
    assert ask(taken("EC 1.2 mS/cm"))["EC"].outside is None


def test_of_an_unknown_species_no_chance_is_told():
    assert ask(taken("pH 6.5"), tolerance=None)["pH"].outside is None


def test_acid_bedding_is_told():
    sour = ask(*[taken("pH 4.2", instrument="meter")] * 4)["pH"].outside
    assert sour.below > 0.9
    assert sour.above < 0.01


def test_what_tells_nothing_is_kept_as_a_sentence():
    told = ask(taken("EC 1.2 mS/cm"), taken("EC exactly 0 to 0 mS/cm"))["EC"]
    assert len(told.used) == 1
    assert "no salt at all" in told.unusable[0]


@pytest.mark.parametrize("readings", [(), (taken("pH not noted"),), (replace(taken("pH 6"), quantity="moisture"),)])
def test_nothing_read_is_said(readings):
    with pytest.raises(NoReading, match="nothing is known"):
        ask(*readings)
