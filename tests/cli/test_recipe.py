"""The recipe as a keeper asks for it."""

import pytest

from tests.cli.conftest import NOW

SIZE = ("--size", "17 x 12 x 11 in")
HAVE = ("--have", "leaves 40 L, 2 buckets of old horse manure; cardboard plenty")
BUCKET = ("--container", "bucket 10 L")


@pytest.fixture
def ask(underlid):
    def call(*words):
        return underlid("recipe", *words)

    return call


def test_amounts_ranges_worms_and_cautions(ask):
    told = ask(*SIZE, *HAVE, *BUCKET)
    assert told.code == 0, told.err
    for words in (
        "leaves", "old horse manure", "rain water", "buckets", "predicted, 5 to 95 %", "C:N", "free air space", "depth",
        "squeeze a handful", "Estimated room:", "Eisenia fetida", "°C (", "°F)", "ten worms", "beans", "mould spores",
        "ash your hands", "local rules", "(recalled)", "(judgement)",
    ):  # fmt: skip
        assert words in told.out, words
    assert "cannot be met" not in told.out


def test_json_has_every_amount_with_its_source(ask):
    told = ask(*SIZE, *HAVE, *BUCKET, "--json").json
    portions = {portion["material"]: portion for portion in told["portions"]}
    assert portions["leaves"]["values"]["moisture_pct"]["mark"] == "recalled"
    assert portions["leaves"]["in_containers"].endswith("buckets")
    moist = told["comes_to"]["moisture"]
    assert moist["wished"] == pytest.approx([0.695, 0.805], abs=0.006)
    assert moist["range"][0] < moist["best"] < moist["range"][2]
    assert moist["provenance"] == "predicted"
    assert told["unmet"] == []
    assert told["water"]["litres"] > 0
    assert told["worms"]["room_kg"][0] < told["worms"]["room_kg"][2]
    assert ask(*SIZE, *HAVE, *BUCKET, "--json").json == told


def test_containers_come_from_the_journal(with_bin):
    assert with_bin("container", "trug", "15 L").code == 0
    told = with_bin("recipe", *SIZE, "--have", "leaves 3 trugs, old horse manure 1 trug")
    assert told.code == 0, told.err
    assert "trug" in told.out.splitlines()[1]
    assert with_bin("entries", "north").code == 0
    assert NOW not in told.out


def test_asking_makes_no_journal(ask, tmp_path):
    assert ask(*SIZE, *HAVE, *BUCKET).code == 0
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_met_is_said(ask):
    told = ask("--litres", "40 L", "--have", "cardboard")
    assert told.code == 0
    assert "The wish for C:N (25 to 35) cannot be met with what is at hand" in told.out
    assert "depends on the ground area" in told.out


def test_a_moisture_the_worms_do_not_bear_is_said(ask):
    told = ask(*SIZE, "--have", "cardboard, compost", "--moisture", "45-50 %")
    assert "Eisenia fetida tolerates a moisture of 60 to 95 %" in told.out


def test_nothing_is_eaten_in_the_frost_and_grit_is_told_apart(ask):
    told = ask(*SIZE, *HAVE[:1], "leaves, old horse manure, sand 2 kg", "--at", "-2 C")
    assert "At -2 °C (28 to 29 °F) they eat nothing" in told.out
    assert "Sand: no help to these wishes; at most" in told.out


def test_own_values_change_the_recipe(ask, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[material.leaves]\nmoisture_pct = { value = 12, low = 10, high = 14 }\n")
    have = ("--have", "leaves 60 L, compost 2 L")
    plain, mine = (ask(*SIZE, *have, "--json", *more).json for more in ((), ("--materials", own)))
    assert mine["water"]["litres"] > plain["water"]["litres"] + 0.5


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((*SIZE, "--have", "crdboard 4 L"), "Did you mean 'cardboard'?"),
        ((*SIZE, "--have", "leaves 4 sacks"), "no container of that name"),
        ((*SIZE, "--have", "leaves 4 cm"), "--have 'leaves 4 cm' gives no volume or mass"),
        ((*SIZE, "--have", "leaves, leaf litter"), "Leaves is at hand twice"),
        ((*SIZE, "--have", ""), "What is at hand makes no bedding"),
        ((*SIZE, "--have", "tomatoes"), "tomato may be at most 20 % of it"),
        (("--have", "leaves"), "Give either --size"),
        ((*SIZE, "--litres", "40 L", "--have", "leaves"), "Give either --size"),
        (("--litres", "40 L", "--depth", "8 in", "--have", "leaves"), "--depth needs the --size"),
        ((*SIZE, "--depth", "20 in", "--have", "leaves"), "does not fit into a bin"),
        ((*SIZE, "--have", "leaves", "--air", "over 30 %"), "--air 'over 30 %' leaves one end open"),
        ((*SIZE, "--have", "leaves", "--moisture", "100 %"), "moisture"),
        ((*SIZE, "--have", "leaves", "--species", "bee"), "bee"),
        ((*SIZE, "--have", "leaves", "--materials", "none.toml"), "none.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(ask, words, sentence):
    told = ask(*words)
    assert told.code == 2, told.out
    assert sentence in told.err
    assert "Traceback" not in told.err


def test_a_damaged_file_names_material_and_field(ask, tmp_path):
    (tmp_path / "own.toml").write_text("[material.leaves]\nmoisture_pct = 12\n")
    told = ask(*SIZE, *HAVE, *BUCKET, "--materials", "own.toml")
    assert told.code == 2
    assert "own.toml, leaves, moisture_pct" in told.err
