import numpy as np
import pytest

from tests.update.sample import sample
from underlid.fit.cut import cut


@pytest.fixture(scope="module")
def study():
    return sample()


@pytest.fixture(scope="module")
def whole(study):
    return cut(study)


def test_one_cell_is_the_middle_of_the_bedding(study):
    alone = cut(study, rows=1, columns=1, every_h=12)
    np.testing.assert_allclose(alone.bedding_c[:, 0, 0], study.outlook.bedding_c["middle"][alone.hour], atol=1e-9)


def test_the_middle_column_of_many_is_the_middle_of_the_bedding_too(study):
    many = cut(study, rows=1, columns=5)
    np.testing.assert_allclose(many.bedding_c[:, 0, 2], study.outlook.bedding_c["middle"][many.hour], atol=1e-9)


def test_the_halves_mirror_each_other(whole):
    np.testing.assert_array_equal(whole.bedding_c, whole.bedding_c[:, :, ::-1])
    np.testing.assert_allclose(whole.wall_m, whole.wall_m[::-1])


def test_every_step_is_dated_by_the_grid_of_the_study(study, whole):
    np.testing.assert_array_equal(whole.time_utc, study.case.time_utc[whole.hour])
    assert whole.time_utc[0] == int(study.case.time_utc[0]) + 3600 * whole.hour[0]


def test_the_present_hour_is_one_of_the_steps(study, whole):
    assert study.case.now_index in whole.hour
    assert set(np.diff(whole.hour)) == {6}


def test_cells_lie_in_the_middle_of_equal_parts(study, whole):
    vessel = study.case.situation.vessel
    assert whole.bedding_c.shape[1:3] == (len(whole.depth_m), len(whole.wall_m)) == (6, 9)
    assert whole.depth_m.mean() == pytest.approx(vessel.bedding_depth_m / 2)
    assert whole.wall_m[4] == pytest.approx(vessel.width_m / 2)
    assert whole.wall_m[0] == pytest.approx(vessel.width_m / 18)


def test_in_a_cold_spell_the_rim_is_colder_than_the_core(study, whole):
    coldest = np.abs(whole.hour - int(study.outlook.air_c[: study.case.now_index, 1].argmin())).argmin()
    middle = whole.bedding_c[coldest, :, :, 1]
    assert middle[:, 0].mean() < middle[:, 4].mean()


def test_ranges_are_in_order(whole):
    assert (np.diff(whole.bedding_c, axis=-1) >= 0).all()
