import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.bedding.vessel import Vessel
from underlid.counting import CannotTell
from underlid.counting.parts import SUNK, Bedding, bedding_litres, shares
from underlid.heat.grid import Grid
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import BeddingLayer, Bin

VESSEL = Vessel(0.43, 0.30, 0.28, 0.22)


def metres(low, high=None):
    return VagueAmount(low, high or low, "m", "between", "")


def a_bin(*depths):
    layers = tuple(BeddingLayer(str(n), n, "leaves", depth, metres(0.7)) for n, depth in enumerate(depths))
    when = VagueTime(datetime(2025, 12, 1, tzinfo=UTC), datetime(2025, 12, 2, tzinfo=UTC), "exact", "1 Dec")
    return Bin(
        "1", "north", when, "UTC", metres(0.42, 0.44), metres(0.29, 0.31), metres(0.28), "outdoors", "slab",
        "polypropylene", metres(0.003), metres(20), "Eisenia andrei", layers,
    )  # fmt: skip


def test_the_edge_and_the_surface_are_where_the_heat_model_has_them():
    """A watt in part of the bedding is as many times denser as that part is smaller."""
    laid = Grid.of((VESSEL.length_m, VESSEL.width_m, VESSEL.bedding_depth_m), (8, 7, 12))
    spread, middle, _, surface, _ = laid.patterns()[1:]
    food = spread > 0
    parts = shares(VESSEL, {"middle", "surface"})
    assert parts["middle"] / (1 - parts["surface"]) == pytest.approx(1 / (middle[food] / spread[food]).max())
    assert parts["surface"] == pytest.approx(1 / (surface / laid.share).max())


def test_parts_by_hand():
    core = (0.33 / 0.43) * (0.20 / 0.30)  # a third of half of 30 cm is 5 cm each side
    assert shares(VESSEL, {"middle"}) == pytest.approx({"middle": core, "edge": 1 - core})
    assert shares(VESSEL, {"edge", "not noted"}).keys() == {"middle", "edge"}
    assert shares(VESSEL, {"surface"})["surface"] == 1 / 8
    assert shares(VESSEL, {"not noted"}) == {"not noted": 1.0}


@given(st.floats(0.05, 2), st.floats(0.05, 2), st.sets(st.sampled_from(["middle", "edge", "surface", "not noted"])))
def test_shares_are_of_the_whole(length, width, places):
    parts = shares(Vessel(max(length, width), min(length, width), 0.3, 0.2), places)
    assert sum(parts.values()) == pytest.approx(1)
    assert min(parts.values()) > 0


def test_litres_from_sunk_to_as_laid():
    held = bedding_litres(a_bin(metres(0.10, 0.12), metres(0.10, 0.12)), VESSEL)
    assert held.high == pytest.approx(0.44 * 0.31 * 0.24 * 1000)
    assert held.low == pytest.approx(SUNK * 0.42 * 0.29 * 0.20 * 1000)
    assert not held.flags


def test_a_depth_that_is_not_noted_is_wide_and_said():
    unknown = VagueAmount(-math.inf, math.inf, "m", "not noted", "not noted")
    held = bedding_litres(a_bin(unknown), VESSEL)
    assert held.high / held.low > 1.9
    assert "not noted" in held.flags[0]


@pytest.mark.parametrize("litres", [(0, 5), (5, math.inf), (-1, 3)])
def test_bedding_needs_bounds(litres):
    with pytest.raises(CannotTell, match="no bounds"):
        Bedding(VagueAmount(litres[0], litres[1], "L", "between", "some"), {"middle": 1.0})


def test_shares_that_are_not_of_the_whole():
    with pytest.raises(CannotTell, match="sum to 1"):
        Bedding(VagueAmount(5, 5, "L", "exact", ""), {"middle": 0.5})
