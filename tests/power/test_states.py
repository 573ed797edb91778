from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.signals import PowerState
from underdash.power.holds import Hold
from underdash.power.ignition import Position
from underdash.power.states import TABLES, Effect, Power, PowerError, PowerInputs, PowerOptions, Supply

ON, OFF, START, UNKNOWN = Position.ON, Position.OFF, Position.START, Position.UNKNOWN
AWAKE, LINGERING, ASLEEP, HALTING = PowerState
ACCEPTED = PowerOptions(accept_drain=True)
CRANKABLE = replace(ACCEPTED, silence_s=5.0)

Log = list[tuple[float, PowerState, tuple[Effect, ...]]]
Script = list[tuple[float, PowerInputs]]


def drive(power: Power, script: Script, until: float, tick_s: float = 0.5) -> Log:
    """Step through a script; return (time, state, effects) wherever the state changed or something was to be done."""
    log: Log = []
    before = PowerState.AWAKE
    for index in range(int(until / tick_s) + 1):
        now = index * tick_s
        inputs = [inputs for at, inputs in script if at <= now][-1]
        state, effects = power.step(inputs, now)
        if state is not before or effects:
            log.append((now, state, effects))
        before = state
    return log


def power(supply: Supply, options: PowerOptions = ACCEPTED) -> Power:
    return Power(supply, options)


def at(position: Position, talking: bool = True, volts: float | None = None, holds: Iterable[Hold] = ()) -> PowerInputs:
    return PowerInputs(position, talking, volts, frozenset(holds))


def states(log: Log) -> list[tuple[float, PowerState]]:
    seen: list[tuple[float, PowerState]] = []
    for time, state, _ in log:
        if not seen or seen[-1][1] is not state:
            seen.append((time, state))
    return seen


def effects(log: Log) -> list[Effect]:
    return [effect for _, _, several in log for effect in several]


# --- a parked car, by supply --------------------------------------------------------------------------------------

PARKED: Script = [(0.0, at(ON)), (100.0, at(OFF)), (110.0, at(UNKNOWN)), (120.0, at(UNKNOWN, talking=False))]


@pytest.mark.parametrize(
    ("supply", "expected"),
    [
        (Supply.SWITCHED, [(102.0, LINGERING), (132.0, ASLEEP)]),
        (Supply.HELD, [(102.0, LINGERING), (132.0, HALTING)]),
        (Supply.WAKEABLE, [(102.0, LINGERING), (132.0, ASLEEP), (732.0, HALTING)]),
        (Supply.PERMANENT, [(102.0, LINGERING), (132.0, ASLEEP)]),
    ],
)
def test_after_ignition_off_each_supply_goes_its_way(supply: Supply, expected: list[tuple[float, PowerState]]) -> None:
    assert states(drive(power(supply), PARKED, 800.0)) == expected


def test_going_down_does_things_in_order() -> None:
    log = drive(power(Supply.WAKEABLE), PARKED, 740.0)

    assert log == [
        (102.0, LINGERING, (Effect.STOP_POLLING, Effect.GOODBYE, Effect.FLUSH)),
        (105.0, LINGERING, (Effect.DARK,)),
        (132.0, ASLEEP, (Effect.DARK, Effect.FLUSH)),
        (732.0, HALTING, (Effect.DARK, Effect.FLUSH, Effect.HALT)),
    ]


def test_the_whole_way_of_the_key() -> None:
    script = [
        (0.0, at(OFF)), (1.0, at(UNKNOWN)), (1.5, at(ON)), (5.0, at(START)), (6.0, at(ON)), (300.0, at(OFF)),
        (310.0, at(ON)), (400.0, at(OFF)), (410.0, at(UNKNOWN, talking=False)),
    ]  # fmt: skip

    assert states(drive(power(Supply.HELD), script, 500.0)) == [
        (302.0, LINGERING),
        (310.0, AWAKE),
        (402.0, LINGERING),
        (432.0, HALTING),
    ]


def test_the_key_lights_the_panels_again() -> None:
    script = [*PARKED, (300.0, at(ON))]
    log = drive(power(Supply.WAKEABLE), script, 310.0)

    assert log[-1] == (300.0, AWAKE, (Effect.LIGHT, Effect.POLL))


def test_a_permanent_supply_ends_by_time_after_three_days() -> None:
    log = drive(power(Supply.PERMANENT), PARKED, 4 * 86400.0, tick_s=60.0)

    assert [state for _, state in states(log)] == [LINGERING, ASLEEP, HALTING]
    assert 3 * 86400 < states(log)[-1][0] < 3 * 86400 + 300


def test_a_permanent_supply_must_be_accepted() -> None:
    with pytest.raises(PowerError, match="accept_drain = true"):
        Power(Supply.PERMANENT)


# --- nothing known ------------------------------------------------------------------------------------------------


def test_an_unknown_ignition_stays_awake_while_any_bus_talks() -> None:
    script = [(0.0, at(UNKNOWN)), (1000.0, at(UNKNOWN, talking=False))]

    assert states(drive(power(Supply.SWITCHED), script, 1040.0)) == [(1030.0, LINGERING)]


def test_a_pause_of_all_buses_starts_the_time_anew() -> None:
    script = [(0.0, at(UNKNOWN, False)), (29.0, at(UNKNOWN)), (29.5, at(UNKNOWN, False))]

    assert states(drive(power(Supply.SWITCHED), script, 100.0))[0] == (59.5, LINGERING)


def test_a_bus_that_talks_on_after_off_does_not_wake_the_accessory() -> None:
    script = [(0.0, at(ON)), (100.0, at(OFF)), (103.0, at(UNKNOWN))]

    assert states(drive(power(Supply.SWITCHED), script, 2000.0)) == [(102.0, LINGERING), (132.0, ASLEEP)]


def test_both_buses_dead_with_the_wire_on_stays_awake() -> None:
    assert drive(power(Supply.HELD), [(0.0, at(ON)), (10.0, at(ON, talking=False))], 4000.0) == []


def test_an_accessory_that_just_started_does_not_halt_before_a_minute() -> None:
    script = [(0.0, at(OFF))]

    assert states(drive(power(Supply.HELD), script, 100.0)) == [(2.0, LINGERING), (60.0, HALTING)]


@pytest.mark.parametrize("hold", Hold)
def test_a_hold_puts_a_halt_by_time_off_until_it_is_over(hold: Hold) -> None:
    script = [(0.0, at(OFF, holds=[hold])), (1000.0, at(OFF))]

    assert states(drive(power(Supply.HELD), script, 1100.0)) == [(2.0, LINGERING), (1000.0, HALTING)]


def test_a_hold_ends_by_its_own_time_counted_from_when_the_halt_was_due() -> None:
    options = replace(ACCEPTED, login_hold_s=500.0, update_hold_s=100.0)
    script = [(0.0, at(OFF, holds=list(Hold))), (300.0, at(OFF, holds=[Hold.UPDATING]))]

    # due at 60, when it has been up for a minute: an update alone would have held it until 160
    assert states(drive(power(Supply.HELD, options), script, 700.0))[-1] == (300.0, HALTING)
    script = [(0.0, at(OFF, holds=list(Hold)))]
    assert states(drive(power(Supply.HELD, options), script, 700.0))[-1] == (560.0, HALTING)


def test_a_key_in_between_gives_a_hold_its_whole_time_again() -> None:
    options = replace(ACCEPTED, login_hold_s=500.0)
    script = [(0.0, at(OFF, holds=list(Hold))), (400.0, at(ON)), (500.0, at(OFF, holds=[Hold.LOGGED_IN]))]

    assert states(drive(power(Supply.HELD, options), script, 1200.0))[-1] == (500.0 + 32.0 + 500.0, HALTING)


def test_nothing_is_held_while_the_starter_turns() -> None:
    machine = power(Supply.HELD)
    drive(machine, [(0.0, at(OFF, holds=[Hold.LOGGED_IN]))], 100.0)
    before = len(machine.holding.by)
    machine.step(at(START, holds=[Hold.LOGGED_IN]), 101.0)
    assert (before, len(machine.holding.by)) == (1, 0)


def test_a_hold_without_time_is_none() -> None:
    options = replace(ACCEPTED, login_hold_s=0.0)

    assert states(drive(power(Supply.HELD, options), [(0.0, at(OFF, holds=[Hold.LOGGED_IN]))], 100.0))[-1][0] == 60.0


def test_a_low_battery_waits_for_nobody() -> None:
    script = [(0.0, at(OFF, volts=11.0, holds=list(Hold)))]

    assert states(drive(power(Supply.WAKEABLE), script, 100.0))[-1] == (60.0, HALTING)


# --- cranking -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("supply", Supply)
@pytest.mark.parametrize(
    "cranking",
    [
        [(10.0, at(START)), (14.0, at(ON))],
        # the wire drops and the frames vanish while the starter turns
        [(10.0, at(START)), (10.5, at(OFF)), (14.0, at(UNKNOWN, False)), (19.0, at(ON))],
        # nobody describes START; only the voltage tells
        [(0.0, at(ON, volts=12.6)), (10.0, at(OFF, False, 7.5)), (15.0, at(UNKNOWN, False, 9.2)), (19.0, at(ON))],
        # flapping: never two seconds in one piece
        [(10.0 + n, at(OFF if n % 3 else ON)) for n in range(61)],
        [(10.0 + n / 2, at(list(Position)[n % 4], talking=n % 5 == 0)) for n in range(120)],
        # START seen between pieces of OFF
        [(10.0 + n, at(START if n % 4 == 0 else OFF)) for n in range(60)],
    ],
)
def test_cranking_and_a_flapping_ignition_do_not_leave_awake(supply: Supply, cranking: Script) -> None:
    script = [(0.0, at(ON)), *cranking, (75.0, at(ON))]

    assert drive(power(supply, CRANKABLE), script, 100.0) == []


def test_an_engine_that_died_while_cranking_is_left_alone_only_for_ten_seconds() -> None:
    script = [(0.0, at(ON)), (10.0, at(START)), (12.0, at(OFF))]

    assert states(drive(power(Supply.SWITCHED), script, 30.0)) == [(23.5, LINGERING)]


def test_a_battery_that_stays_low_is_no_endless_cranking() -> None:
    script = [(0.0, at(ON, volts=12.5)), (10.0, at(OFF, volts=9.0))]

    assert states(drive(power(Supply.SWITCHED), script, 30.0)) == [(22.0, LINGERING)]


def test_cranking_out_of_sleep_wakes_when_the_key_is_on() -> None:
    script = [*PARKED, (200.0, at(START)), (202.0, at(ON))]

    assert states(drive(power(Supply.WAKEABLE), script, 300.0))[-2:] == [(132.0, ASLEEP), (202.0, AWAKE)]


# --- low battery --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("supply", [Supply.HELD, Supply.WAKEABLE, Supply.PERMANENT])
def test_a_low_battery_halts_after_a_minute(supply: Supply) -> None:
    options = replace(ACCEPTED, linger_s=1000.0)
    script = [(0.0, at(ON, volts=12.6)), (100.0, at(OFF, volts=11.7))]

    assert states(drive(power(supply, options), script, 200.0)) == [(102.0, LINGERING), (160.0, HALTING)]


def test_a_sleeping_car_says_nothing_and_its_battery_counts_all_the_same() -> None:
    script = [*PARKED, (1000.0, at(UNKNOWN, False, 11.7))]
    log = drive(power(Supply.PERMANENT), script, 1100.0)

    assert log[-1] == (1060.0, HALTING, (Effect.DARK, Effect.FLUSH, Effect.HALT))


@pytest.mark.parametrize(
    "script",
    [
        [(0.0, at(ON, volts=11.0))],  # ignition on: somebody drives
        [(0.0, at(UNKNOWN, volts=11.0))],  # nobody knows, the bus talks
        [(0.0, at(OFF, volts=11.8))],  # not below
        [(0.0, at(OFF))],  # no source for the voltage
        [(20.0 * n + dt, at(OFF, volts=v)) for n in range(50) for dt, v in ((0.0, 11.5), (15.0, 12.0))],  # not 60 s
        [(25.0 * n + dt, at(p, volts=11.0)) for n in range(40) for dt, p in ((0.0, START), (1.0, OFF))],  # starts
    ],
)
def test_what_does_not_count_as_a_low_battery(script: Script) -> None:
    options = replace(ACCEPTED, linger_s=1e6)

    assert HALTING not in [state for _, state in states(drive(power(Supply.WAKEABLE, options), script, 900.0))]


def test_the_time_begins_thirty_seconds_after_start() -> None:
    options = replace(ACCEPTED, linger_s=1e6)
    script = [(0.0, at(ON)), (10.0, at(START, volts=9.0)), (12.0, at(OFF, volts=11.0))]
    log = drive(power(Supply.HELD, options), script, 200.0)

    # START was last seen at 11.5 s
    assert states(log)[-1] == (101.5, HALTING)


def test_silence_alone_counts_only_once_the_accessory_lingers() -> None:
    options = replace(ACCEPTED, linger_s=1e6)
    log = drive(power(Supply.HELD, options), [(0.0, at(UNKNOWN, False, 11.0))], 200.0)

    assert states(log) == [(30.0, LINGERING), (90.5, HALTING)]


def test_a_switched_supply_does_not_look_at_the_battery() -> None:
    script = [(0.0, at(OFF, volts=11.0))]

    assert HALTING not in [state for _, state in states(drive(power(Supply.SWITCHED), script, 900.0))]


# --- the key comes back -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("supply", [Supply.HELD, Supply.WAKEABLE])
def test_the_key_that_returns_during_power_off_makes_it_a_reboot_once(supply: Supply) -> None:
    options = replace(ACCEPTED, asleep_s=10.0)
    log = drive(power(supply, options), [(0.0, at(ON)), (100.0, at(OFF)), (145.0, at(ON))], 200.0)

    assert effects(log)[-2:] == [Effect.HALT, Effect.REBOOT]
    assert log[-1] == (145.0, HALTING, (Effect.REBOOT,))


def test_a_halt_that_does_not_happen_is_asked_for_again() -> None:
    log = drive(power(Supply.HELD), [(0.0, at(ON)), (100.0, at(OFF))], 320.0)

    assert [(time, what) for time, _, what in log if Effect.HALT in what] == [
        (132.0, (Effect.DARK, Effect.FLUSH, Effect.HALT)),
        (222.0, (Effect.HALT,)),
        (312.0, (Effect.HALT,)),
    ]


def test_a_reboot_that_does_not_happen_is_asked_for_again_and_stays_a_reboot() -> None:
    script = [(0.0, at(ON)), (100.0, at(OFF)), (140.0, at(ON)), (141.0, at(OFF))]
    log = drive(power(Supply.HELD), script, 320.0)

    assert effects(log)[-3:] == [Effect.REBOOT, Effect.REBOOT, Effect.REBOOT]


# --- whatever happens ---------------------------------------------------------------------------------------------

INPUTS = st.builds(
    PowerInputs,
    position=st.sampled_from(Position),
    talking=st.booleans(),
    volts=st.none() | st.floats(0, 16),
    holds=st.frozensets(st.sampled_from(Hold)),
)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(Supply), st.lists(st.tuples(INPUTS, st.sampled_from([0.1, 1.0, 30.0, 700.0])), max_size=60))
def test_power_only_moves_along_its_table(supply: Supply, steps: list[tuple[PowerInputs, float]]) -> None:
    machine = power(supply)
    allowed = {(row.state, row.to) for row in TABLES[supply]} | {(state, state) for state in PowerState}
    before, now = machine.state, 0.0
    for inputs, pause in steps:
        now += pause
        state, done = machine.step(inputs, now)
        assert (before, state) in allowed
        assert not (inputs.position is Position.START and state is not before)
        assert Effect.HALT not in done or (state is PowerState.HALTING and supply is not Supply.SWITCHED)
        assert inputs.position is not Position.ON or state in (PowerState.AWAKE, PowerState.HALTING)
        before = state
