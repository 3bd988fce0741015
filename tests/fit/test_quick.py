"""The quick fit against the full one and against the truth of invented journals, in a mild autumn."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.fit.journals import BEGIN, HOME, SPOTS, laid, weather
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.outlook import PLACES, stray
from underlid.fit.posterior import PARAMETERS
from underlid.fit.quick import DRAWS, quick_fit, quick_fit_case, quick_study
from underlid.fit.study import fit_case, lay_out, study
from underlid.heat.model import simulate, standard_probes
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import Reading

READINGS = 14


def invented(seed, days=24):
    """A case whose truth is a draw of the prior on a finer grid, and that truth: (3 places, hours) [degC]."""
    rng = np.random.default_rng([seed, 7])
    blank = laid((), days)
    vessel = blank.situation.vessel
    parameters = blank.prior.parameters(0.7 * rng.standard_normal((1, len(PARAMETERS))))
    run = simulate(
        vessel, blank.prior.thermal(parameters), blank.drive, list(standard_probes(vessel).values()), grid=(5, 4, 7)
    )
    true_c = run.probes_c[0].T + stray(np.full(3, parameters["scatter"][0]), len(blank.time_utc), rng)
    entries = []
    for number, hour in enumerate(np.sort(rng.choice(np.arange(24, days * 24), READINGS, replace=False))):
        spot, at = int(rng.integers(3)), BEGIN + timedelta(hours=int(hour))
        shown = blank.prior.thermometer(parameters).shown(true_c[spot, [hour]], blank.drive.air_c[hour])[0]
        low = float(np.floor(shown + rng.normal(0, INSTRUMENT_K)))
        amount = VagueAmount(low, low + 1, "degC", "between", f"{low:g} to {low + 1:g} C")
        when = VagueTime(at, at, "exact", "then")
        entries.append(
            Reading(
                id=f"{number}", bin=HOME.name, when=when, words=amount.words, quantity="temperature", amount=amount,
                place=SPOTS[spot],
            )
        )  # fmt: skip
    return laid(tuple(entries), days), true_c


def held(outlook, true_c, first=0):
    """The share of hours in which the 90 % ranges hold the truth."""
    bands = [outlook.bedding_c[place] for place in PLACES]
    return float(
        np.mean([(b[:, 0] <= t) & (t <= b[:, 2]) for b, t in zip(bands, true_c[:, first:], strict=True)])
    )  # fmt: skip


@pytest.fixture(scope="module")
def fitted():
    return [(case, true_c, quick_fit_case(case, 1)) for case, true_c in map(invented, range(6))]


def test_its_ranges_hold_the_truth_about_as_often_as_they_say(fitted):
    shares = [held(quick_study(case, quick).outlook, true_c, quick.hour) for case, true_c, quick in fitted]
    assert 0.82 <= np.mean(shares) <= 0.99


def test_it_agrees_with_the_full_fit_within_the_ranges(fitted):
    case, _, quick = fitted[0]
    full = study(case, fit_case(case, 1)).outlook
    mine = quick_study(case, quick).outlook
    for place in PLACES:
        theirs, ours = full.bedding_c[place][quick.hour :], mine.bedding_c[place]
        assert ((theirs[:, 0] <= ours[:, 1]) & (ours[:, 1] <= theirs[:, 2])).mean() > 0.95
        width = (ours[:, 2] - ours[:, 0]).mean() / (theirs[:, 2] - theirs[:, 0]).mean()
        assert 0.7 < width < 1.5


def test_it_says_how_many_sets_carry_the_weight_and_whether_that_is_enough(fitted):
    for _, _, quick in fitted:
        assert 1 <= quick.effective <= quick.sets
        assert 1 / quick.effective <= quick.largest + 1e-9
        assert len(quick.draws["loss"]) == DRAWS
    assert sum(quick.trusted for _, _, quick in fitted) >= len(fitted) / 2
    poor = replace(fitted[0][2], effective=5.0)
    assert not poor.trusted
    assert not replace(fitted[0][2], effective=20.0, largest=0.5).trusted


def test_readings_narrow_what_the_prior_leaves_open(fitted):
    case, _, quick = fitted[0]
    alone = quick_fit_case(laid(()), 1)
    assert alone.readings == 0
    assert "No reading" in alone.notes[0]
    wide, narrow = (quick_study(case, one).outlook.bedding_c["middle"][-240:] for one in (alone, quick))
    assert (narrow[:, 2] - narrow[:, 0]).mean() < 0.9 * (wide[:, 2] - wide[:, 0]).mean()


def test_the_same_seed_gives_the_same_draws_and_another_seed_others(fitted):
    case, _, quick = fitted[0]
    again, other = quick_fit_case(case, 1), quick_fit_case(case, 2)
    assert all(np.array_equal(quick.draws[name], again.draws[name]) for name in quick.draws)
    assert not np.array_equal(quick.draws["loss"], other.draws["loss"])


def test_weather_after_the_last_reading_changes_nothing(fitted):
    case, _, quick = fitted[0]
    last = int(case.evidence.hour.max()) + 1
    air = np.array(case.drive.air_c)
    air[last:] -= 20
    again = quick_fit(case.prior, case.evidence, case.moist, replace(case.drive, air_c=air), 1)
    assert np.array_equal(quick.draws["heat"], again.draws["heat"])


def test_an_outlook_from_the_kept_state_is_that_of_the_whole_run(fitted):
    case, _, quick = fitted[1]
    assert quick.hour > 0
    going_on = quick_study(case, quick).outlook
    anew = quick_study(case, replace(quick, hour=0, end=None)).outlook
    # Air is as observed up to now, so both run the same bedding, and differ by their strays alone.
    wet, before = going_on.moisture_draws, anew.moisture_draws[:, quick.hour :]
    assert np.abs(wet - before).max() < 1e-3
    middle = [one.bedding_c["middle"][-48:, 1] for one in (going_on, anew)]
    assert np.abs(middle[0] - middle[1]).max() < 1.0


def test_readings_that_contradict_the_weather_are_told():
    case, _ = invented(0)
    shifted = [
        replace(one, amount=replace(one.amount, low=one.amount.low + d, high=one.amount.high + d))
        for one, d in zip(case.evidence.used, np.tile([11.0, -11.0], READINGS), strict=False)
    ]
    now = case.now
    odd = quick_fit_case(lay_out(HOME, shifted, weather(), now, now), 1)
    assert odd.misfit
    assert "do not fit together" in odd.notes[0]
    assert "°F" in odd.notes[0]
