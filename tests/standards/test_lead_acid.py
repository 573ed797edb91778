"""What a lead-acid battery does at rest and under a starter, as handbooks say, against the power tables and the page.

Rest: voltages of a flooded battery, hours at rest at 25 degC, as two charts on mailing lists say. Starting: levels
I to IV of ISO 16750-2, 4.6.3, for 12 V, and the plateau of up to 20 s of pulse 4 in ISO 7637-2 (both from memory).
"""

from __future__ import annotations

import pytest

from underdash.contract.signals import PowerState
from underdash.power.ignition import Position
from underdash.power.states import Effect, Power, PowerInputs, PowerOptions, Supply
from underdash.signals.piecewise import piecewise
from underdash_battery.settings import FLOODED

RESTS = {100: 12.6, 75: 12.4, 50: 12.2, 25: 12.0, 0: 11.6}
OTHER_CHART = {100: 12.7, 0: 11.8}
CUT_OFFS = (11.8, 12.2)
"""What is sold sets its cut-off between these (from memory)."""
RUNNING_V = 13.2
LEVELS = {"I": (8.0, 9.5), "II": (4.5, 6.5), "III": (3.0, 5.0), "IV": (6.0, 6.5)}
"""The dip of some 50 ms and the plateau, in volts."""
PLATEAU_S = (1.0, 10.0, 20.0)
STEP_S = 0.05


@pytest.mark.parametrize(("charge", "volts"), RESTS.items())
def test_the_page_s_charge_at_rest_is_the_chart_s(charge: float, volts: float) -> None:
    assert piecewise(list(FLOODED))(volts)[0] == pytest.approx(charge)


def test_the_other_chart_is_no_further_off_than_a_meter_s_one_per_cent() -> None:
    # 1 % of 12 V is 120 mV, which is some 15 % of charge
    for charge, volts in OTHER_CHART.items():
        nearest = min(abs(piecewise(list(FLOODED))(volts + off)[0] - charge) for off in (-0.12, 0.0, 0.12))
        assert nearest <= 15.0


def test_the_cut_off_is_a_usual_one_and_below_any_engine_that_runs() -> None:
    options = PowerOptions()
    assert CUT_OFFS[0] <= options.cutoff_v <= CUT_OFFS[1] < RUNNING_V
    assert min(volts for _, volts in sorted(RESTS.items())) < options.cutoff_v < RESTS[25]


@pytest.mark.parametrize("supply", Supply)
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("plateau_s", PLATEAU_S)
def test_a_start_of_the_standard_s_levels_neither_ends_nor_halts_anything(
    supply: Supply, level: str, plateau_s: float
) -> None:
    """The starter turns, every control unit restarts and says nothing, and nobody has described START."""
    power = Power(supply, PowerOptions(accept_drain=True))
    dip, plateau = LEVELS[level]
    script = [(12.2, Position.ON, True, 90.0), (dip, Position.UNKNOWN, False, 0.05)]
    script += [(plateau, Position.UNKNOWN, False, plateau_s), (14.2, Position.ON, True, 60.0)]
    now = 0.0
    did: list[Effect] = []
    for volts, position, talking, seconds in script:
        for _ in range(max(1, round(seconds / STEP_S))):
            state, effects = power.step(PowerInputs(position, talking, volts), now)
            did += effects
            now += STEP_S
    assert (state, did) == (PowerState.AWAKE, [])
