import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.breakdown import cardinal
from underlid.bedding.materials import UnknownMaterial, dry_density_kg_m3, material, materials
from underlid.bedding.vessel import (
    CONDUCTIVITY,
    FACES,
    ImpossibleVessel,
    Insulation,
    ThinOrThickInsulation,
    UnknownWall,
    Vessel,
    conductivity_of,
)


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
        ((0.4, 0.3, 0.2, 0.25), r"25 cm \(9\.84 in\) deep but the bin is only 20 cm \(7\.87 in\) high"),
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


@pytest.mark.parametrize(
    ("wall", "thickness_m", "resistance"),
    [("polypropylene", 0.003, 0.015), ("wood", 0.020, 0.154), ("polyethylene", 0.003, 0.006)],
)
def test_resistance_of_bare_walls(wall, thickness_m, resistance):
    """Thickness over conductivity [m2K/W]; the plastics within the 0.005-0.015 of 2-3 mm walls."""
    vessel = Vessel(0.4, 0.3, 0.25, 0.2, wall=wall, wall_thickness_m=thickness_m)
    assert {round(vessel.resistance(face), 3) for face in FACES} == {resistance}


def test_layers_add_up_on_the_faces_they_cover():
    """5 cm of polystyrene, 0.05/0.037 = 1.351 m2K/W, on sides and lid; 2 cm of cork, 0.476, below."""
    plain = Vessel(0.4, 0.3, 0.25, 0.2)
    layers = (
        Insulation("expanded polystyrene", 0.05),
        Insulation("cork", 0.02, ("base",)),
        Insulation("cork", 0.02, ("lid",)),
    )
    wrapped = Vessel(0.4, 0.3, 0.25, 0.2, insulation=layers)
    added = [wrapped.resistance(face) - plain.resistance(face) for face in ("sides", "lid", "base")]
    assert added == pytest.approx([1.351, 1.351 + 0.476, 0.476], abs=0.001)


@settings(deadline=None)
@given(first_m=st.floats(0.001, 0.5), second_m=st.floats(0.001, 0.5))
def test_two_layers_are_as_good_as_one_as_thick(first_m, second_m):
    both = [Insulation("straw", first_m), Insulation("straw", second_m)]
    one = Insulation("straw", first_m + second_m)
    assert sum(layer.resistance for layer in both) == pytest.approx(one.resistance)


def test_what_insulates_conducts_less_than_plastic_and_more_than_still_air():
    """Still air conducts 0.024 W/mK (CRC, recalled): no dry fill is better, foamed gas aside by little."""
    walls = {"polypropylene", "polyethylene", "wood"}
    assert all(0.024 < value < 0.1 for name, value in CONDUCTIVITY.items() if name not in walls)
    assert all(conductivity_of(name) > 0.1 for name in walls)


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("polystirene", "expanded polystyrene"),
        ("Styrene", "expanded polystyrene"),
        ("extruded polystirene", "extruded polystyrene"),
        ("polyethilene", "polyethylene"),
        ("rock wool", "mineral wool"),
        ("bubblewrap", "bubble wrap"),
    ],
)
def test_an_unknown_material_is_answered_with_the_one_whose_word_is_nearest(asked, meant):
    with pytest.raises(UnknownWall, match=f"did you mean '{meant}'"):
        conductivity_of(asked)


@pytest.mark.parametrize("thickness_m", [0.0, -0.01, 0.0005, 5.0, float("nan")])
def test_a_layer_too_thin_or_too_thick_is_refused(thickness_m):
    with pytest.raises(ThinOrThickInsulation, match="1 mm to 1 m"):
        Insulation("straw", thickness_m)


@pytest.mark.parametrize(
    ("said", "meant"), [("cardbord", "cardboard"), ("Straw", "straw"), ("mineralwool", "mineral wool")]
)
def test_an_unknown_layer_is_refused_with_the_nearest_name(said, meant):
    with pytest.raises(UnknownWall, match=f"did you mean {meant!r}"):
        Insulation(said, 0.05)


def test_an_impossible_wall_is_refused():
    with pytest.raises(ImpossibleVessel, match=r"0 to 50 cm \(20 in\) thick"):
        Vessel(0.4, 0.3, 0.25, 0.2, wall_thickness_m=3.0)
