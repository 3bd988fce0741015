"""The balance of one bin: what was noted goes in, what cannot be weighed is named, and the answers agree."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.update.sample import BIN, END, ENTRIES, INF, amount, on, sample
from underlid.bedding.materials import material
from underlid.fit.balance_sheet import RIPE, balance_sheet
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.given import given
from underlid.fit.tally import tally
from underlid.records import BeddingLayer, Feeding


def fed(id, size, what="kitchen scraps", when=None, place="not noted"):
    words = f"{size.words} {what}"
    return Feeding(
        id=id, bin=BIN.name, when=when or on(8, 1, 12, "8 Jan"), words=words, material=what, amount=size, place=place
    )


def with_records(*entries, bin=BIN, bedding_c=None):
    """The sample study with other feedings, another bin, or bedding held at a temperature."""
    study = sample()
    case = replace(study.case, entries=entries, bin=bin)
    told = study.outlook
    if bedding_c is not None:
        told = replace(
            told,
            draws_c={place: np.full_like(of, bedding_c) for place, of in told.draws_c.items()},
            moisture_draws=np.full_like(told.moisture_draws, 0.7),
        )
    return replace(study, case=case, outlook=told)


@pytest.fixture(scope="module")
def told():
    return balance_sheet(sample(), 1)


def test_what_was_laid_is_area_times_depth_times_density(told):
    leaves = next(row for row in told.rows if row.name == "leaves")
    by_hand = 0.55 * 0.38 * 0.11 * material("leaves").bulk_kg_m3.value  # [m, m, m, kg/m3], middles as noted
    assert leaves.laid[0] < by_hand < leaves.laid[2]
    assert leaves.laid[1] == pytest.approx(by_hand, rel=0.1)
    assert told.litres_laid[1] == pytest.approx(550 * 0.38 * 0.2, rel=0.03)
    assert told.depth_laid_m[1] == pytest.approx(0.2, abs=0.005)


def test_what_was_fed_is_what_was_noted_and_the_rest_is_named(told):
    assert told.feedings == 1
    scraps = next(row for row in told.rows if row.name == "kitchen scraps")
    assert 0.2 <= scraps.fed[0] <= scraps.fed[2] <= 0.3
    assert told.lower_bound
    [left] = told.left_out
    assert "some more peelings" in left
    assert "tells no mass or volume" in left


def test_what_is_given_is_left_or_gone(told):
    row = told.whole
    assert 0 < row.lost[0] < row.lost[2] < 0.3  # seven weeks at some 3 degC
    assert row.dry_left[1] == pytest.approx(row.dry_given[1] * (1 - row.lost[1]), rel=0.05)
    assert row.co2[1] == pytest.approx(row.carbon_gone[1] * 44.009 / 12.011)
    assert row.dry_given[1] == pytest.approx(sum(one.dry_given[1] for one in told.rows), rel=0.05)


def test_ripeness_and_castings_grow_while_nothing_is_fed(told):
    ahead = slice(told.now, None)
    assert (np.diff(told.ripeness[:, ahead]) >= -1e-12).all()
    assert (np.diff(told.castings_kg[:, ahead]) >= -1e-12).all()
    assert told.castings.dry_kg == pytest.approx(told.castings_kg[:, told.now])
    assert told.time_utc[told.now] <= sample().case.now.timestamp() < told.time_utc[told.now] + 3600


def test_a_cold_winter_makes_no_harvest(told):
    assert told.ripe.chance == 0
    assert told.ripe.time_utc is None
    assert told.at_ripe is None
    assert told.at_end.dry_kg[1] > told.castings.dry_kg[1]


def test_the_same_seed_gives_the_same_balance_and_another_does_not(told):
    again = balance_sheet(sample(), 1)
    assert again.whole == told.whole
    assert np.array_equal(again.castings_kg, told.castings_kg)
    assert balance_sheet(sample(), 2).whole != told.whole


def test_frozen_bedding_loses_nothing():
    still = balance_sheet(with_records(*ENTRIES, bedding_c=-3.0), 1)
    assert still.whole.co2 == pytest.approx((0, 0, 0))
    assert still.whole.nitrogen_kept == pytest.approx((1, 1, 1))
    assert still.castings.dry_kg == pytest.approx((0, 0, 0))
    assert still.best_days == pytest.approx((0, 0, 0))


def test_a_warm_bin_of_scraps_is_ripe_and_what_it_gives_is_told():
    scraps = BeddingLayer("l", 0, "kitchen scraps", amount(0.1, 0.12, "m"), amount(70, 80, "%"))
    warm = balance_sheet(with_records(bin=replace(BIN, layers=(scraps,)), bedding_c=22.0), 1)
    assert warm.ripe.chance > 0.9
    assert warm.ripe.time_utc is not None
    assert warm.at_ripe is not None
    early, usual, late = warm.ripe.time_utc
    assert warm.time_utc[warm.now] <= early <= usual <= late <= warm.time_utc[-1]
    assert warm.at_ripe.wet_kg[1] == pytest.approx(warm.at_ripe.dry_kg[1] / 0.3, rel=0.01)  # at 70 % moisture
    assert warm.sunk[0] > 0.3
    assert warm.ripeness[1, -1] > RIPE


def test_days_at_best_are_days_at_the_best_temperature():
    study = with_records(*ENTRIES, bedding_c=25.0)
    assert balance_sheet(study, 1).best_days[1] == pytest.approx(study.case.now_index / 24)


def test_a_volume_is_weighed_by_the_density_and_pieces_water_and_the_unknown_are_not():
    study = with_records(
        fed("a", amount(2, 2, "L", "exact", "2 L"), "coffee grounds"), fed("b", amount(3, 3, "1", "exact", "3")),
        fed("c", amount(1, 1, "kg", "exact", "1 kg"), "moon dust"),
        fed("d", amount(1, 1, "L", "exact", "1 L"), "water"),
        fed("e", amount(1, INF, "kg", "at least", "at least 1 kg")),
    )  # fmt: skip
    found = given(study.case, 200, np.random.default_rng(1))
    [coffee] = [lot for lot in found.lots if not lot.laid]
    density = material("coffee grounds").bulk_kg_m3
    assert (coffee.kg >= 0.002 * density.low).all()
    assert (coffee.kg <= 0.002 * density.high).all()
    assert [
        name in told for name, told in zip(("3 kitchen", "moon dust", "at least 1 kg"), found.left_out, strict=True)
    ]
    assert len(found.left_out) == 3


def test_one_material_is_as_dense_in_every_lot():
    two = amount(2, 2, "L", "exact", "2 L")
    found = given(with_records(fed("a", two), fed("b", two)).case, 50, np.random.default_rng(1))
    first, second = (lot for lot in found.lots if not lot.laid)
    assert np.array_equal(first.kg, second.kg)
    assert first.kg.std() > 0


def test_a_feeding_at_a_vague_time_may_have_been_at_any_of_it():
    when = on(1, 1, 0, "early January", window_h=240)
    found = given(with_records(fed("a", amount(1, 1, "kg"), when=when)).case, 300, np.random.default_rng(1))
    start = (when.start.timestamp() - sample().case.time_utc[0]) / 3600
    hours = found.lots[-1].hour
    assert start <= hours.min() < start + 40
    assert start + 200 < hours.max() <= start + 240


def test_a_time_known_no_better_than_two_months_is_left_out():
    when = on(8, 12, 0, "in winter", window_h=24 * 45, year=2025)
    found = given(with_records(fed("a", amount(1, 1, "kg"), when=when)).case, 20, np.random.default_rng(1))
    assert "no better than a month" in found.left_out[0]


def test_what_is_not_noted_is_assumed_and_said():
    bare = balance_sheet(with_records(bin=replace(BIN, layers=())), 1)
    assert any("a mere guess" in note for note in bare.notes)
    layer = replace(BIN.layers[0], depth=amount(-INF, INF, "m", "not noted"))
    vague = balance_sheet(with_records(bin=replace(BIN, layers=(layer, BIN.layers[1]))), 1)
    assert any("How deep leaves lay is not noted: 9 cm" in note for note in vague.notes)


def test_rot_before_the_weather_is_said_to_be_missing():
    start = BIN.started.start - timedelta(days=30)
    older = replace(BIN, started=replace(BIN.started, start=start, end=start))
    assert any("begins 30 days after the bin" in note for note in balance_sheet(with_records(bin=older), 1).notes)
    assert not any("days after the bin" in note for note in balance_sheet(with_records(), 1).notes)


def test_compost_laid_counts_as_turned_and_is_said_to():
    layer = replace(BIN.layers[0], material="compost")
    told = balance_sheet(with_records(bin=replace(BIN, layers=(layer, BIN.layers[1]))), 1)
    assert any("Compost was crumbly when given" in note for note in told.notes)
    compost = next(row for row in told.rows if row.name == "compost")
    assert compost.turned == pytest.approx((1, 1, 1))


def test_casts_of_a_census_are_what_its_worms_ate_and_are_among_the_castings():
    study = sample(end=END)
    found = census(prior(study), tally((), study.case.time_utc), 1, draws=60)
    told = balance_sheet(study, 1, found)
    now = round(study.case.now_index / 24)
    eaten = np.median(found.lives.kg[:, now, 2])
    assert told.through_worms is not None
    assert 0.5 * eaten < told.through_worms[1] < 0.9 * eaten  # 60 to 80 % of it, recalled
    assert told.castings.dry_kg[0] >= told.through_worms[0]
    assert told.castings.dry_kg[2] >= told.through_worms[2]
