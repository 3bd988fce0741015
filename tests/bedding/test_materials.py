"""What is known of materials, and a keeper's own file laid over it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.bedding.facts import DamagedMaterials
from underlid.bedding.materials import (
    DESCRIBED,
    NoLayer,
    UnknownMaterial,
    dry_density_kg_m3,
    every_material,
    find,
    material,
    materials,
    read_materials,
)

EVERY = {one.name: one for one in every_material().values()}


def test_names_and_other_names_of_before_still_work():
    """What keepers may have written for their bins, with the dry densities those bins were fitted with."""
    for name, dry_kg_m3 in {
        "leaf litter": 73.47, "autumn leaves": 73.47, "dry leaves": 73.47, "cardboard": 142.6,
        "shredded cardboard": 142.6,
        "newsprint": 123.5, "shredded paper": 123.5, "straw": 118.8, "hay": 118.8, "sawdust": 146.4,
        "horse manure": 226.8, "old horse manure": 226.8, "manure": 226.8, "aged manure": 226.8,
        "cow manure": 164.35, "garden compost": 210.0, "old bedding": 210.0, "finished compost": 210.0,
    }.items():  # fmt: skip
        assert material(name).dry_density_kg_m3 == pytest.approx(dry_kg_m3, rel=1e-3), name
    for name in ("leaf mould", "leaf mold", "card", "paper", "wood shavings", "shavings", "castings"):
        assert material(name)


def test_there_are_as_many_as_a_household_has():
    assert len(EVERY) >= 60


@pytest.mark.parametrize("one", EVERY.values(), ids=EVERY)
def test_a_material_can_be(one):
    """Organic matter is 40-63 % carbon; shares add up to no more than all; nothing is denser than its solids."""
    for key in DESCRIBED:
        fact = getattr(one, key)
        assert fact.low <= fact.value <= fact.high, key
        assert fact.cited, key
    assert one.carbon_pct.value <= 0.63 * one.volatile_pct.value
    assert one.volatile_pct.value + one.calcite_pct.value <= 101
    assert one.density_kg_m3[1] < 2500
    acids = one.citric_g_kg.high + one.acetic_g_kg.high + one.lactic_g_kg.high + one.malic_g_kg.high
    assert acids <= 0.5 * 1000 * (1 - one.moisture)
    assert (one.kind == "mineral") == (one.volatile_pct.value < 20)
    assert (one.decays == "inert") == (one.kind == "mineral") == (one.decay_per_day.value == 0)
    if one.nitrogen_pct.mark == "judgement" and one.kind != "mineral":
        fact = one.nitrogen_pct
        assert fact.high >= 1.2 * fact.low


@pytest.mark.parametrize(
    ("name", "nitrogen_pct", "carbon_nitrogen", "moisture_pct"),
    [
        ("leaves", 0.9, 54, 38), ("horse manure", 1.6, 30, 72), ("cattle manure", 2.4, 19, 81),
        ("sheep manure", 2.7, 16, 69), ("poultry manure", 8.0, 6, 69), ("cardboard", 0.10, 563, 8),
        ("vegetable peels", 2.7, 19, 87), ("fruit scraps", 1.4, 40, 80), ("apple pomace", 1.1, 48, 88),
        ("straw", 0.7, 80, 12), ("coffee grounds", 2.0, 20, None), ("seaweed", 1.9, 17, None),
        ("banana skin", 1.2, 35, 88), ("citrus peel", 1.0, 40, 80),
    ],
)  # fmt: skip
def test_values_are_near_the_handbook(name, nitrogen_pct, carbon_nitrogen, moisture_pct):
    """Averages of NRAES-54, appendix A (1992), recalled; the last two from feed tables, recalled."""
    one = material(name)
    assert one.nitrogen_pct.value == pytest.approx(nitrogen_pct, rel=0.06)
    assert one.carbon_nitrogen == pytest.approx(carbon_nitrogen, rel=0.16)
    if moisture_pct is not None:
        assert one.moisture == pytest.approx(moisture_pct / 100)


def test_acids_are_told_by_the_hydrogen_ions_they_give_up():
    """200 g of lemon at 20 g/kg: 4 g of citric acid, 20.8 mmol, 62.5 mmol of hydrogen ions (worked by hand)."""
    lemon = material("lemon")
    assert 0.2 * lemon.citric_g_kg.value == pytest.approx(4.0)
    citric = lemon.citric_g_kg.value / 192.12 * 3
    assert 0.2 * citric == pytest.approx(0.0625, rel=1e-3)
    assert lemon.acid_mol_kg == pytest.approx(citric + lemon.malic_g_kg.value * 2 / 134.09)


def test_lime_is_told_by_the_hydrogen_ions_it_takes_up():
    """CaCO3 of 100.09 g/mol takes up two: pure lime has 19.98 mol per kg (worked by hand)."""
    shells = EVERY["egg shells"]
    assert shells.lime_mol_kg == pytest.approx(0.94 * 19.98, rel=1e-3)


def test_minerals_are_no_layer_of_bedding():
    for name in ("sand", "garden soil", "egg shells"):
        assert name in every_material()
        assert name not in materials()
        with pytest.raises(NoLayer, match="mixed into bedding"):
            material(name)
    with pytest.raises(UnknownMaterial):
        dry_density_kg_m3([("leaves", 0.1), ("sand", 0.01)])


def test_what_has_no_nitrogen_has_a_carbon_to_nitrogen_without_end():
    assert EVERY["garden lime"].carbon_nitrogen == math.inf


def test_an_unknown_name_is_answered_with_the_nearest():
    with pytest.raises(UnknownMaterial, match="Did you mean 'banana skin'"):
        find("bananna skin", every_material())
    with pytest.raises(UnknownMaterial, match="Known: apple cores"):
        find("xyzzy", every_material())


def test_cautions_are_where_they_matter():
    assert any("worming" in text for text in material("horse manure").cautions)
    assert any("beans" in text for text in material("hay").cautions)
    assert not any("worming" in text for text in material("cardboard").cautions)


@pytest.fixture
def own(tmp_path):
    def write(text):
        path = tmp_path / "own.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


DRY = "[material.leaves]\nmoisture_pct = { value = 15, low = 10, high = 20 }\n"


def test_a_keepers_value_replaces_ours_and_the_rest_stays(own):
    path = own(DRY)
    leaves = find("autumn leaves", read_materials(path))
    assert leaves.moisture == 0.15
    assert leaves.moisture_pct.source == "the keeper's own file (judgement)"
    assert leaves.nitrogen_pct == material("leaves").nitrogen_pct
    assert material("leaves").moisture == 0.38


def test_a_keeper_may_use_another_name_of_ours_and_add_names(own):
    path = own('["material"."Leaf Litter"]\naliases = ["oak"]\nmark = "measured"\nsource = "oven, 5 Nov"\n'
               "moisture_pct = { value = 15, low = 10, high = 20 }\n")  # fmt: skip
    known = read_materials(path)
    assert find("oak", known) is find("leaves", known)
    assert find("oak", known).moisture_pct.source == "oven, 5 Nov (measured)"


NEW = """[material."spent hops"]
group = "brewed"
moisture_pct = { value = 75, low = 65, high = 82 }
carbon_pct = { value = 46, low = 43, high = 50 }
nitrogen_pct = { value = 3.5, low = 2.5, high = 4.5 }
bulk_kg_m3 = { value = 400, low = 300, high = 500 }
"""


def test_a_new_material_takes_the_rest_from_its_group(own):
    hops = find("spent hops", read_materials(own(NEW)))
    assert hops.carbon_nitrogen == pytest.approx(46 / 3.5)
    assert hops.kind == "scraps"
    assert hops.volatile_pct == material("coffee grounds").volatile_pct


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[material.leaves\n", r"own\.toml is not TOML"),
        (b"\xff\xfe\x00", r"own\.toml is not TOML"),
        ("moisture = 3\n", r"own\.toml: 'moisture' is not known; known: material"),
        ("material = 3\n", r"own\.toml: must be a table"),
        ("[material]\nleaves = 3\n", r"own\.toml, leaves: must be a table"),
        ("[material.leaves]\nmoisture_pct = 15\n", r"own\.toml, leaves, moisture_pct: must be a table"),
        ("[material.leaves]\nmoisture = 15\n", r"own\.toml, leaves: 'moisture' is not known; known: .*moisture_pct"),
        (DRY.replace("low = 10, ", ""), r"own\.toml, leaves, moisture_pct: needs the numbers .* low is missing"),
        (DRY.replace("15", "30"), r"leaves, moisture_pct: must have low <= value <= high, but has 10, 30, 20"),
        (DRY.replace("20 }", "120 }"), r"moisture_pct: 10 to 120 % of wet mass is not possible; .* at most 99"),
        (DRY.replace("15", "nan"), "value is missing or no number"),
        (DRY.replace("15", "true"), "value is missing or no number"),
        (DRY + 'mark = "sure"\n', r"leaves, moisture_pct: needs mark, one of: published"),
        (DRY + 'group = "fluff"\n', r"own\.toml, leaves: there is no group 'fluff'; use one of dry plants"),
        (DRY + 'decays = "never"\n', r"own\.toml, leaves: decays 'never' is not known; use one of fast"),
        (DRY + 'cautions = ["bears"]\n', r"own\.toml, leaves: there is no caution 'bears'"),
        (DRY + "aliases = [3]\n", r"own\.toml, leaves: aliases must be a list of words"),
        (DRY + 'aliases = ["straw"]\n', r"own\.toml names 'straw' twice \(leaves and straw\)"),
        (DRY + DRY.replace("leaves", '"leaf litter"'), r"own\.toml, leaf litter: is the same as 'leaves'; keep one"),
        (NEW.replace("nitrogen_pct", "salt_g_kg"), r"own\.toml, spent hops: needs nitrogen_pct"),
        (NEW.replace('group = "brewed"\n', ""), r"own\.toml, spent hops: needs group as words"),
    ],
)  # fmt: skip
def test_a_damaged_file_is_refused_by_file_material_and_field(own, text, sentence):
    with pytest.raises(DamagedMaterials, match=sentence):
        read_materials(own(text))


@given(
    st.recursive(
        st.none() | st.integers() | st.text(max_size=5) | st.sampled_from(["leaves", "brewed", "fast"]),
        lambda one: (
            st.lists(one, max_size=2)
            | st.dictionaries(st.sampled_from([*DESCRIBED, "group", "aliases", "value", "low", "high", "mark"]), one)
        ),
        max_leaves=8,
    )
)
def test_any_table_is_read_or_refused_in_words(tmp_path_factory, table):
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_text(f"[material]\nleaves = {_toml(table)}\n", "utf-8")
    try:
        found = read_materials(path)
    except DamagedMaterials as refused:
        named = str(refused).startswith("any.toml")
    else:
        named = set(found) >= set(every_material())
    assert named


def _toml(value):
    match value:
        case None:
            return "1979-05-27"
        case str():
            return '"' + "".join(c if c.isalnum() and c.isascii() else "?" for c in value) + '"'
        case list():
            return f"[{', '.join(map(_toml, value))}]"
        case dict():
            return f"{{{', '.join(f'{key} = {_toml(item)}' for key, item in value.items())}}}"
    return str(max(min(value, 2**62), -(2**62)))
