"""The what-if command as a keeper calls it."""

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.cli.conftest import NOW
from underlid.bedding.vessel import CONDUCTIVITY, FACES, ThinOrThickInsulation, UnknownWall
from underlid.cli.changes import NoChange, layer_of, moved
from underlid.fit.evidence import NoNumber
from underlid.quantity import AmountError

pytestmark = pytest.mark.usefixtures("quick")


@pytest.fixture
def ask(logged, winter):
    def call(*words):
        return logged("whatif", "north", "--weather", winter, "--now", NOW, *words)

    return call


def test_the_answer_first_then_a_table_then_what_to_beware_of(ask):
    told = ask("--insulate", "3 cm expanded polystyrene")
    assert told.code == 0, told.err
    first = told.out.splitlines()[0]
    assert first.startswith("Bin north, wrapped in 3 cm of expanded polystyrene (sides and lid):")
    assert "°F" in told.out
    assert told.out.index("coldest night, middle") < told.out.index("Beware: Leave the air holes open")


def test_json_holds_every_figure_with_its_range_and_says_it_is_predicted(ask):
    told = ask(
        "--insulate", "5 cm cork", "--faces", "sides,lid,base", "--move", "unheated shed", "--base", "feet",
        "--size", "60 x 40 x 35 cm", "--bedding", "leaves 5 cm", "--feed", "500 g melon rind",
        "--feed-when", "tomorrow", "--json",
    ).json  # fmt: skip
    assert told["provenance"] == "predicted"
    assert len(told["changes"]) == 5
    assert told["changes"][-1].endswith("melon rind (4 Feb 2026)")
    for name in ("coldest", "coldest_night", "mean"):
        for place in ("middle", "edge", "surface"):
            low, middle, high = told[name][place]["difference"].values()
            assert low <= middle <= high
    for name in ("refuge", "refuge_litres", "hours_below", "hours_above", "frozen"):
        assert told[name]["verdict"] in ("more", "less", "same", "undecided")
    assert 0 <= told["helps"] <= 1
    assert any("small bin" in caution or "sour" in caution for caution in told["cautions"])


def test_the_same_question_has_the_same_answer(ask):
    words = ("--base", "soil", "--json")
    assert ask(*words).out == ask(*words).out


def test_sizes_are_told_and_drawn(ask, tmp_path):
    told = ask("--litres", "10,40,160", "--chart", "sizes.svg", "--json")
    assert told.code == 0, told.err
    assert [row["litres"] for row in told.json["sizes"]] == [10, 40, 160]
    assert told.json["fitted"]["litres"] == pytest.approx(17 * 12 * 11 * 0.0163871, abs=0.1)  # cubic inches
    assert any("Only the bin of 37 litres was fitted" in note for note in told.json["notes"])
    assert (tmp_path / "sizes.svg").read_text("utf-8").startswith("<svg")
    shown = ask("--litres", "10,40,160")
    assert "(this bin)" in shown.out
    assert "predicted" in shown.out


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "--insulate"),
        (("--insulate", "gold"), "thickness and a material"),
        (("--insulate", "3 cm gold"), "No conductivity"),
        (("--insulate", "3 expanded polystyrene"), "has no unit"),
        (("--insulate", "3 cm cork", "--faces", "front"), "--faces"),
        (("--faces", "sides"), "--insulate"),
        (("--move", "balcony"), "open shelter"),
        (("--move", "open shelter"), "already"),
        (("--move", "indoors"), "--room"),
        (("--room", "12 C"), "--move indoors"),
        (("--size", "60 x 40 cm"), ""),
        (("--depth", "10 cm"), "--size"),
        (("--bedding", "leaves 20 cm"), "more fit"),
        (("--bedding", "leaves"), "depth"),
        (("--bedding", "gravel 5 cm"), "gravel"),
        (("--feed", "3 apples"), "mass"),
        (("--feed", "500 g rind; middle 3 C"), "not one feeding"),
        (("--feed", "500 g rind", "--feed-when", "yesterday"), "passed"),
        (("--feed-when", "tomorrow"), "--feed"),
        (("--litres", "ten"), "10,20,40"),
        (("--litres", "0"), "litres"),
        (("--litres", "nan"), "litres"),
        (("--litres", "10", "--base", "feet"), "alone"),
        (("--litres", "10", "--chart", "x.pdf"), ".svg or .png"),
        (("--base", "feet", "--chart", "x.svg"), "--litres"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_sentence(ask, words, part):
    told = ask(*words)
    assert told.code == 2, told.out
    assert told.err.startswith("underlid: ")
    assert part in told.err
    assert "fitting" not in told.err


@given(st.integers(1, 900), st.sampled_from(sorted(CONDUCTIVITY)), st.sets(st.sampled_from(FACES), min_size=1),
       st.sampled_from(["{mm} mm {what}", "{mm}mm of {what}", "{cm:g} cm {what}", "{mm} mm thick {what}"]))  # fmt: skip
def test_any_layer_is_read_back(mm, material, faces, form):
    layer = layer_of(form.format(mm=mm, cm=mm / 10, what=material), ", ".join(faces))
    assert layer.thickness_m == pytest.approx(mm / 1000)
    assert layer.material == material
    assert set(layer.faces) == faces


@given(st.text(max_size=40))
def test_any_other_words_are_refused_by_an_error_of_ours(words):
    with suppress(NoChange, AmountError, NoNumber, UnknownWall, ThinOrThickInsulation):
        layer_of(words, "sides")


@pytest.mark.parametrize(
    ("words", "metres"), [("2 in straw", 0.0508), ("about 1 in of quilt", 0.0254), ("2-3 cm cork", 0.025),
                          ("½ in sheep’s wool", 0.0127), ("2 to 3 cm cork", 0.025)],
)  # fmt: skip
def test_layers_in_a_keepers_words(words, metres):
    assert layer_of(words, "lid").thickness_m == pytest.approx(metres, rel=1e-3)


def test_a_layer_without_a_thickness_is_no_layer():
    with pytest.raises(NoChange, match="thickness and a material"):
        layer_of("straw", "sides")


def test_a_thickness_without_a_unit_is_asked_for_it():
    with pytest.raises(NoChange, match="has no unit; write “3 cm expanded polystyrene”"):
        layer_of("3 expanded polystyrene", "sides")


def test_a_shed_is_an_unheated_shed():
    change: Any = moved("shed", None, None)[0]
    assert change.keywords["siting"] == "unheated shed"
