import pytest

from underlid.worms.species import FACTS, DamagedFacts, UnknownSpecies, all_species, read_species, species

GOOD = """
name = "Eisenia andrei"
common_name = "tiger worm"
[tolerated_low_c]
value = 1
low = 0
high = 4
source = "a test"
[tolerated_high_c]
value = 35
low = 33
high = 37
source = "a test"
[tolerated_low_moisture_pct]
value = 60
low = 50
high = 65
source = "a test"
[tolerated_high_moisture_pct]
value = 95
low = 90
high = 97
source = "a test"
"""


def test_the_band_of_eisenia_fetida_is_the_published_one():
    """0-35 degC: Edwards 1988, seen in a secondary source."""
    assert species("Eisenia fetida").band_c == (0.0, 35.0)
    assert species("e. fetida") is species("Eisenia fetida")


def test_the_moisture_of_both_species_is_the_published_one():
    """60-95 % of wet mass: Dominguez & Edwards 1997; 65-85 %: Muyima 1994; both recalled."""
    assert species("Eisenia fetida").moisture == (0.6, 0.95)
    assert species("Dendrobaena veneta").moisture == (0.65, 0.85)


def test_every_species_file_keeps_spread_and_source():
    for one in all_species().values():
        for fact in (getattr(one, name) for name in FACTS):
            assert fact.low < fact.high
            assert fact.source


def test_an_unknown_species_is_refused():
    with pytest.raises(UnknownSpecies, match="known species: "):
        species("Lumbricus terrestris")


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("value = 1", "value = 9", "low <= value <= high"),
        ('source = "a test"', 'source = ""', "a source"),
        ("value = 1", "", "needs the numbers"),
        ("value = 1", "value =", "not valid TOML"),
        ('common_name = "tiger worm"', "", "common_name"),
        ('name = "Eisenia andrei"', 'name = "Eisenia andrei minor"', "two words"),
    ],
)
def test_a_damaged_file_is_named_with_its_fact(old, new, sentence):
    with pytest.raises(DamagedFacts, match=sentence):
        read_species(GOOD.replace(old, new, 1), "andrei.toml")
