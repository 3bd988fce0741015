"""Many bins at once: the list, its order, its memory, and the same bytes whoever does the work."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.fit.journals import BEGIN, HOME
from underlid.fit.quick import QuickPosterior
from underlid.fit.study import fit_case
from underlid.fleet import Ahead, Alert, Told, fleet
from underlid.journal.store import Journal
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import BeddingLayer, Reading

NOW = BEGIN + timedelta(days=20)


def reading(bin, hour, low, number, place="middle"):
    at = BEGIN + timedelta(hours=hour)
    amount = VagueAmount(low, low + 1, "degC", "between", f"{low:g} to {low + 1:g} C")
    when = VagueTime(at, at, "exact", f"{at:%Y-%m-%d %H:%M}")
    return Reading(
        id=f"{bin}-{number}", bin=bin, when=when, words=amount.words, quantity="temperature", amount=amount, place=place
    )


@pytest.fixture
def weather(tmp_path):
    """A cooling autumn until a week after the present, with frost in the end."""
    hours = np.arange(28 * 24)
    air = 12 - 18 * (hours / hours[-1]) ** 3 + 3 * np.sin(2 * np.pi * (hours % 24 - 9) / 24)
    first = np.datetime64(int(BEGIN.timestamp()), "s")
    rows = [f"{first + np.timedelta64(int(h) * 3600, 's')}Z,{t:.1f}" for h, t in zip(hours, air, strict=True)]
    path = tmp_path / "autumn.csv"
    path.write_text("\n".join(["time_utc,temp_c", *rows]) + "\n")
    return path


@pytest.fixture
def journal(tmp_path):
    """Three bins: one with readings, one of them far too hot; one without; one that begins after the present."""
    with Journal.create(tmp_path / "journal") as book:
        for number, name in enumerate(("ash", "beech", "cedar")):
            layers = tuple(replace(one, id=f"{name}-{i}") for i, one in enumerate(HOME.layers))
            assert all(isinstance(one, BeddingLayer) for one in layers)
            begun = NOW + timedelta(days=3) if name == "cedar" else BEGIN
            started = VagueTime(begun, begun, "exact", f"{begun:%Y-%m-%d %H:%M}")
            book.add_bin(replace(HOME, id=f"bin-{number}", name=name, layers=layers, started=started))
        book.add([reading("ash", 48 + 30 * i, 12.0 - 0.2 * i, i) for i in range(10)])
        yield book


def test_every_bin_is_told_or_the_reason_is_and_none_stops_the_others(journal, weather):
    found = fleet(journal, weather, NOW)
    assert {one.bin for one in found.told} == {"ash", "beech"}
    assert [one.bin for one in found.not_told] == ["cedar"]
    assert "after the present" in found.not_told[0].reason
    for one in found.told:
        assert one.ahead is not None
        assert one.ahead.until == NOW + timedelta(days=7)
        assert one.ahead.coldest_c[0] <= one.ahead.coldest_c[1] <= one.ahead.coldest_c[2]
    assert next(one for one in found.told if one.bin == "ash").readings == 10


def test_frost_ahead_is_an_alert_with_its_chance(journal, weather):
    found = fleet(journal, weather, NOW, bins=["beech"]).told[0]
    assert found.ahead is not None
    assert found.ahead.coldest_c[0] < 0
    assert {"freezing", "little refuge"} <= {one.kind for one in found.alerts if one.provenance == "predicted"}
    for one in found.alerts:
        if one.provenance == "predicted":
            assert f"{one.chance:.0%}" in one.says


def test_one_weather_file_for_each_bin_and_a_bin_without(journal, weather):
    found = fleet(journal, {"ash": weather}, NOW, bins=["ash", "beech"])
    assert [one.bin for one in found.told] == ["ash"]
    assert found.not_told[0].reason == "No weather file is given for it."


def test_only_what_has_changed_is_fitted_again(journal, weather):
    first = fleet(journal, weather, NOW)
    again = fleet(journal, weather, NOW)
    assert (first.fitted, again.fitted) == (2, 0)
    assert again.told == first.told
    journal.add([reading("beech", 300, 9.0, 99)])
    later = fleet(journal, weather, NOW + timedelta(hours=5))
    assert later.fitted == 1


@pytest.mark.computes
def test_two_processes_give_what_one_does(journal, weather, tmp_path):
    alone = fleet(journal, weather, NOW, count=1)
    for kept in (tmp_path / "journal" / "fits").glob("*"):
        kept.unlink()
    together = fleet(journal, weather, NOW, count=2)
    assert together.fitted == 2
    assert together == alone


def test_the_worst_is_first_and_of_equals_the_coldest(journal, weather):
    journal.add([reading("beech", 24 * 19, 45.0, 50)])  # beyond what any worm stands: a stop rule
    found = fleet(journal, weather, NOW)
    assert found.told[0].bin == "beech"
    assert found.told[0].alerts[0].kind == "stop rule"
    assert found.told[0].alerts[0].provenance == "read"
    assert [one.order for one in found.told] == sorted(one.order for one in found.told)


def test_badness_weighs_the_chance():
    likely, seldom = (Alert("freezing", chance, "predicted", "") for chance in (0.9, 0.2))
    assert likely.badness > seldom.badness
    told = Told("ash", (likely, seldom), None, 0, 1.0, True, False, ())
    assert told.order == (-likely.badness, -likely.badness - seldom.badness, 0.0)
    ahead = Ahead(NOW, (-9.0, -5.0, -2.0), (1.0, 2.0, 3.0), (0.5, 0.6, 0.7), (0.6, 0.7, 0.8))
    mild = replace(ahead, coldest_c=(-3.0, -2.0, -1.0))
    assert replace(told, ahead=ahead).order < replace(told, ahead=mild).order


def test_a_long_silence_is_told(journal, weather, monkeypatch):
    from underlid import fleet as module

    def silent():
        return ["silent" in [one.kind for one in told.alerts] for told in fleet(journal, weather, NOW).told]

    assert silent() == [False, False]
    monkeypatch.setattr(module, "SILENT_DAYS", 15)  # ash was last read 8 days ago, beech never, in 20
    said = {
        told.bin: [one.says for one in told.alerts if one.kind == "silent"]
        for told in fleet(journal, weather, NOW).told
    }
    assert said == {"ash": [], "beech": ["No reading yet for 20 days: look in and read the middle."]}


def test_careful_fits_in_full_what_has_not_settled(journal, weather, monkeypatch):
    asked = []

    def in_full(case, seed):
        asked.append(case.bin.name)
        return fit_case(case, seed)

    monkeypatch.setattr(QuickPosterior, "trusted", property(lambda self: False))
    monkeypatch.setattr("underlid.fleet.fit_case", in_full)
    found = fleet(journal, weather, NOW, bins=["ash"], careful=True)
    assert asked == ["ash"]
    assert found.told[0].full
    again = fleet(journal, weather, NOW, bins=["ash"], careful=True)
    assert asked == ["ash"]
    assert again.told == found.told


def test_what_a_bin_cannot_do_is_its_own_affair(journal, weather, monkeypatch):
    from underlid import fleet as module

    def refuse(case, seed):
        raise ValueError("no fit for this one")

    monkeypatch.setattr(module, "quick_fit_case", refuse)
    found = fleet(journal, weather, NOW, bins=["ash"])
    assert found.told == ()
    assert found.not_told[0].reason == "no fit for this one"
