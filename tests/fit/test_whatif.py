from dataclasses import replace
from functools import partial

import pytest

from tests.update.sample import NOW, sample
from underlid.bedding.vessel import Insulation
from underlid.fit import whatif as module
from underlid.fit.change import feed, insulate, move, resize
from underlid.fit.fate import fate_of, run
from underlid.fit.outlook import PLACES
from underlid.fit.whatif import Compared, NothingToCome, whatif
from underlid.quantity import VagueTime, parse_amount
from underlid.quantity.points import points
from underlid.records import Feeding

FOAM = Insulation("expanded polystyrene", 0.04, ("sides", "lid"))
FIGURES = ("refuge", "refuge_litres", "hours_below", "hours_above", "frozen")


@pytest.fixture(scope="module")
def study():
    return sample()


def compared(found):
    by_place = [one for name in ("coldest", "mean", "coldest_night") for one in getattr(found, name).values()]
    return [*by_place, *(getattr(found, name) for name in FIGURES)]


@pytest.fixture(scope="module")
def wrapped(study):
    return whatif(study, [partial(insulate, layer=FOAM)])


def test_without_a_change_nothing_differs(study):
    found = whatif(study, [])
    for one in compared(found):
        assert one.difference == (0.0, 0.0, 0.0)
        assert one.verdict == "same"
    assert found.helps == 0.0


def test_the_bin_as_it_is_has_the_figures_of_its_outlook(study, wrapped):
    later = study.index(NOW) + 1
    for place in PLACES:
        minima = study.outlook.draws_c[place][:, later:].min(axis=1)
        assert wrapped.coldest[place].now == pytest.approx(points(minima), abs=0.1)  # steps are chosen anew from now on
    least = study.outlook.refuge_draws[:, later:, 0].min(axis=1)
    assert wrapped.refuge.now == pytest.approx(points(least), abs=0.02)


def test_a_difference_is_taken_draw_by_draw(wrapped):
    cold = wrapped.coldest["middle"]
    apart = cold.changed[2] - cold.changed[0] + cold.now[2] - cold.now[0]
    assert cold.difference[2] - cold.difference[0] < apart / 2


def test_wrapping_keeps_the_edge_from_its_coldest_hour_and_water_from_freezing(wrapped):
    assert wrapped.coldest["edge"].verdict == "more"
    assert wrapped.frozen.verdict == "less"
    assert 0 < wrapped.helps <= 1


def test_more_wrapping_makes_more_difference_and_a_film_of_card_hardly_any(study, wrapped):
    thin = whatif(study, [partial(insulate, layer=Insulation("cardboard", 0.002, ("sides",)))])
    edge = "edge"
    assert 0 <= thin.coldest[edge].difference[1] < 0.2 * wrapped.coldest[edge].difference[1]


def test_the_worth_of_wrapping_is_dealt_out_and_gathered_in_order(study, monkeypatch):
    monkeypatch.setattr(module, "WRAPPING_WORTH", (1.0,) * 5)
    found = whatif(study, [partial(insulate, layer=FOAM)])
    now, case = study.index(NOW), study.case
    lots, thermal = fate_of(case, study.posterior), case.prior.thermal(study.posterior.draws)
    state = run(case, thermal, lots, slice(0, now + 1)).end
    at_once = run(insulate(case, FOAM).case, thermal, lots, slice(now, len(case.time_utc)), state)
    minima = (at_once.probes_c[:, 1:, 0] + lots.spots["middle"][:, now + 1 :]).min(axis=1)
    assert found.coldest["middle"].changed == pytest.approx(points(minima), abs=1e-6)
    worn = replace(FOAM, thickness_m=FOAM.thickness_m / 2)
    monkeypatch.setattr(module, "WRAPPING_WORTH", (0.5,) * 5)
    halved = whatif(study, [partial(insulate, layer=FOAM)])
    monkeypatch.setattr(module, "WRAPPING_WORTH", (1.0,) * 5)
    assert whatif(study, [partial(insulate, layer=worn)]).coldest == halved.coldest


def test_a_bigger_bin_has_more_litres_of_refuge_for_the_same_share(study):
    found = whatif(study, [partial(resize, length_m=0.9, width_m=0.6, height_m=0.5)])
    depth = study.case.situation.vessel.bedding_depth_m / study.case.situation.vessel.height_m * 0.5
    held = 1000 * 0.9 * 0.6 * depth
    assert found.refuge_litres.changed == pytest.approx(tuple(held * share for share in found.refuge.changed))
    assert found.coldest["middle"].difference[1] > 0.1


def test_indoors_the_bedding_comes_to_the_room_and_the_room_keeps_its_range(study):
    found = whatif(study, [partial(move, siting="indoors", room=parse_amount("about 12 C"))])
    low, middle, high = found.mean["edge"].changed
    assert 10 < low < middle < high < 20
    assert high - low > 2.0  # “about” is 1.5 degC each way
    assert found.hours_below.verdict in ("less", "undecided")


def test_another_base_scales_what_was_fitted_and_is_less_sure(study):
    found = whatif(study, [partial(move, base="feet")])
    assert any("scaled" in note for note in found.notes)
    assert found.coldest["middle"].difference[1] < 0  # feet let the frost in from below


def test_a_feeding_warms_a_little_if_anything(study):
    given = Feeding(
        id="f", bin="b", when=VagueTime(NOW, NOW, "exact", "now"), words="fed 2 kg rind", material="rind",
        amount=parse_amount("2 kg"),
    )  # fmt: skip
    mean = whatif(study, [partial(feed, feeding=given)]).mean["middle"]
    assert mean.verdict == "more"
    assert mean.difference[1] < 3


def test_changes_add_up_in_one_answer(study):
    both = whatif(study, [partial(move, base="soil"), partial(insulate, layer=FOAM)])
    assert both.sentences == ("stood on soil", "wrapped in 4 cm of expanded polystyrene (sides and lid)")
    assert len(both.cautions) == len(set(both.cautions)) >= 3


def test_the_same_question_has_the_same_answer(study, wrapped):
    assert whatif(study, [partial(insulate, layer=FOAM)]) == wrapped


@pytest.mark.parametrize(
    ("difference", "verdict"),
    [((0.1, 0.2, 0.3), "more"), ((-3, -2, -1), "less"), ((-0.1, 0.2, 0.3), "undecided"), ((0, 0, 0.1), "undecided"),
     ((0, 0, 0), "same")],
)  # fmt: skip
def test_a_range_that_includes_no_effect_is_undecided(difference, verdict):
    assert Compared((0, 0, 0), (1, 1, 1), difference).verdict == verdict


def test_nothing_can_be_told_where_the_weather_ends_at_the_present(study):
    ended = replace(study, case=replace(study.case, time_utc=study.case.time_utc[: study.index(NOW) + 1]))
    with pytest.raises(NothingToCome, match="newer file"):
        whatif(ended, [])
