"""Water and frost together: what evaporates near 0 degC, and water that comes to frozen bedding."""

import numpy as np
import pytest

from tests.heat.bins import VESSEL, drive, thermal
from underlid.bedding.vessel import Insulation, Vessel
from underlid.heat import properties
from underlid.heat.model import simulate, standard_probes

PROBES = list(standard_probes(VESSEL).values())


@pytest.mark.parametrize("wrapped", [(), (Insulation("expanded polystyrene", 0.03, ("sides", "lid", "base")),)])
def test_a_surface_that_dries_near_freezing_freezes_in_the_reduced_model_as_in_the_full_field(wrapped):
    vessel = Vessel(0.43, 0.30, 0.28, 0.22, insulation=wrapped)
    hours = 24 * 8
    weather = drive(np.full(hours, 0.4), start_c=3.0, humidity_pct=np.full(hours, 40.0))
    sets = thermal(drying=3.0, heat=0.01)
    handed, full = (simulate(vessel, sets, weather, PROBES, full=full) for full in (False, True))
    assert full.frozen.max() > 0.01
    assert handed.probes_c == pytest.approx(full.probes_c, abs=0.06)
    assert handed.frozen == pytest.approx(full.frozen, abs=0.01)


def test_water_given_to_frozen_bedding_brings_its_heat_of_fusion():
    """4 L at 0 degC onto bedding well below: it freezes and warms the bedding, and no heat is lost or made."""
    hours, given_kg = 30, 4.0
    water_kg = np.zeros(hours)
    water_kg[10] = given_kg
    # Insulated, dead and shut: nothing else can change the heat.
    sets = thermal(moisture=0.6, loss=1e-9, lid=1e-9, base=1e-9, heat=1e-9, drying=1e-9)
    cells = simulate(VESSEL, sets, drive(np.full(hours, -3.0), start_c=-6.0, water_kg=water_kg), [], full=True).end
    before = simulate(VESSEL, sets, drive(np.full(5, -3.0), start_c=-6.0), [], full=True).end

    def heat_j(state):
        water = properties.water_fraction(sets.dry_kg_m3, state.moisture)[0]
        medium = (
            properties.heat_capacity(sets.dry_kg_m3[0], water), properties.frozen_capacity(sets.dry_kg_m3[0], water),
            properties.latent_heat(water), properties.FIRST_FREEZING_C,
        )  # fmt: skip
        return np.mean([properties.enthalpy(t, *medium) for t in state.field_c[0]]) * VESSEL.bedding_m3

    assert cells.moisture[0] > before.moisture[0] + 0.05
    assert cells.field_c.mean() > before.field_c.mean() + 1.0
    assert heat_j(cells) == pytest.approx(heat_j(before), rel=0.01)


def test_ice_does_not_drain():
    """The same flood onto thawed bedding and into deep frost: what freezes before it has drained stays."""
    hours = 24 * 6
    flood = np.zeros(hours)
    flood[0] = 14.0  # more than 0.8 of the pores holds
    warm, cold = (
        simulate(
            VESSEL, thermal(drying=1e-9), drive(np.full(hours, air_c), start_c=air_c, water_kg=flood), [], full=True
        ).moisture[0]
        for air_c in (8.0, -25.0)
    )
    assert warm[1] > warm[-1]
    assert cold[-1] > warm[-1] + 0.005
    assert cold[-1] == pytest.approx(cold[-24], abs=1e-3)
