"""What docs/verification.md says of the standard earthworm test: a smaller run."""

import numpy as np
import pytest

from tests.worms.standard_test import USUAL_YOUNG, WEEKLY_KG, controls, drawn
from underlid.worms.habitat import Strain
from underlid.worms.species import species

FETIDA = species("E. fetida")


def test_controls_at_the_best_values_are_valid():
    """Every vessel has its 30 young, and the mean lies where reported means do (OECD 222, 2016, recalled)."""
    found = controls(FETIDA, Strain.usual(150))
    enough, even, alive = found.criteria
    assert enough.mean() > 0.98
    assert even.mean() > 0.85
    assert alive.mean() > 0.9
    assert USUAL_YOUNG[0] < found.young.mean() < USUAL_YOUNG[1]


@pytest.mark.parametrize("name", ["E. fetida", "E. andrei"])
def test_most_controls_of_drawn_strains_are_valid(name):
    found = controls(species(name), drawn(150, 1))
    assert np.all(found.criteria, axis=0).mean() > 0.6
    means = found.young.mean(axis=1)
    assert ((means > USUAL_YOUNG[0]) & (means < USUAL_YOUNG[1])).mean() > 0.6
    # strains differ more than vessels of one strain
    assert means.std() > 1.5 * np.sqrt(found.young.var(axis=1).mean() / 8)


def test_a_tenth_of_the_food_fails_the_test():
    """So the criterion of 30 young can be missed."""
    enough, _, _ = controls(FETIDA, Strain.usual(50), weekly_kg=WEEKLY_KG / 10).criteria
    assert enough.mean() < 0.1


def test_adults_taken_out_are_not_counted_as_dead_or_as_young():
    found = controls(FETIDA, Strain.usual(50))
    assert found.dead.mean() < 0.08
    assert found.dead.min() == 0
