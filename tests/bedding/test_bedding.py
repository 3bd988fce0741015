import pytest

from underlid.bedding.breakdown import cardinal
from underlid.bedding.materials import UnknownMaterial, dry_density_kg_m3, material, materials
from underlid.bedding.vessel import ImpossibleVessel, UnknownWall, Vessel


@pytest.mark.parametrize(
    ("temperature_c", "factor"),
    [(5, 0.0857143), (10, 0.307692), (15, 0.6), (20, 0.872727), (25, 1.0), (30, 0.8), (0, 0.0), (35, 0.0), (-4, 0.0)],
)
def test_cardinal_temperature_factor(temperature_c, factor):
    """Form of Rosso et al. 1993 with cardinal temperatures 0, 25, 35; values computed from the published form."""
    assert cardinal(float(temperature_c)) == pytest.approx(factor, abs=1e-6)


def test_every_material_has_a_sourced_positive_dry_density():
    for name, one in materials().items():
        assert 0 < one.moisture < 1, name
        assert 0 < one.density_kg_m3[0] <= one.density_kg_m3[1], name
        assert 20 < one.dry_density_kg_m3 < 400, name
        assert one.source, name


def test_an_unknown_material_is_refused_with_the_nearest_name():
    with pytest.raises(UnknownMaterial, match="Did you mean 'cardboard'"):
        material("cardbord")


def test_layers_are_weighted_by_depth():
    leaves, manure = material("leaves").dry_density_kg_m3, material("horse manure").dry_density_kg_m3
    mixed = dry_density_kg_m3([("leaves", 0.10), ("aged horse manure", 0.05)])
    assert mixed == pytest.approx((2 * leaves + manure) / 3)


@pytest.mark.parametrize(
    ("sizes", "sentence"),
    [
        ((0.4, 0.3, 0.2, 0.25), "only 0.2 m high"),
        ((-0.4, 0.3, 0.2, 0.1), "check the unit"),
        ((43.0, 30.0, 28.0, 20.0), "check the unit"),
        ((float("nan"), 0.3, 0.2, 0.1), "check the unit"),
    ],
)
def test_an_impossible_bin_is_refused(sizes, sentence):
    with pytest.raises(ImpossibleVessel, match=sentence):
        Vessel(*sizes)


def test_an_unknown_wall_is_refused_with_the_known_ones():
    with pytest.raises(UnknownWall, match="polypropylene"):
        Vessel(0.4, 0.3, 0.25, 0.2, wall="gold")
