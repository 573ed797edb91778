"""The whole way on the simulated car: what is on the buses, what is shown, and what happens when things go wrong."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.refusals import Reason
from underdash.contract.buttons import GoQuiet
from underdash.contract.signals import PowerState
from underdash.diagnostics.obd import with_fields
from underdash.simulator.driver import Phase, Press
from underdash.simulator.units import Fault
from underdash.wiring.chain import Cause
from underdash.wiring.daemon import Daemon
from underdash.wiring.report import report

Make = Callable[..., Any]

KEY_FRAME_S = 0.1
"""The frame that tells the key's position comes this often."""
LAST_S = 0.05
"""No frame of ours later than this after the frame that says OFF."""
ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))


def positions_said(journey: Any) -> list[tuple[float, int]]:
    """What the bus said of the key, and when; 3 is ON."""
    return [(at, frame.data[0] & 0x07) for at, frame in journey.wire["comfort"] if frame.id == 0x0C4A1020]


def said_on(positions: list[tuple[float, int]], at: float) -> bool:
    """Whether the last frame before a moment said ON."""
    before = bisect_right(positions, at, key=lambda item: item[0])
    return before > 0 and positions[before - 1][1] == 3


def off_frames(journey: Any) -> list[float]:
    """When the bus said something else than ON for the first time after ON."""
    positions = positions_said(journey)
    return [at for (_, before), (at, after) in pairwise(positions) if before == 3 and after != 3]


# --- nothing is sent unless the ignition is ON -----------------------------------------------------------------------


def test_requests_are_sent_while_the_ignition_is_on(short: Any) -> None:
    assert len(short.requests()) > 50
    assert {short.asks[frame.id] for _, frame in short.requests()} == set(short.asks.values())


def test_no_frame_of_ours_is_on_a_bus_while_the_key_is_not_on(short: Any) -> None:
    positions = positions_said(short)
    for at, frame in short.requests():
        if said_on(positions, at):
            continue
        late_s = min(at - off for off in off_frames(short) if off <= at)
        assert late_s <= LAST_S, f"{frame} at {at:.3f} s, {late_s * 1e3:.0f} ms after the frame that says OFF"


def test_nothing_is_sent_after_the_frame_that_says_off(short: Any) -> None:
    last_off = off_frames(short)[-1]
    sent = [at for at, _ in short.requests()]
    assert last_off - 0.5 < max(sent) <= last_off + LAST_S


def test_nothing_is_sent_while_the_engine_is_cranked_and_until_two_seconds_after(short: Any) -> None:
    starter = next(at for at, values in short.true if values["vehicle.ignition"] == "START")
    running = next(at for at, values in short.true if at > starter and values["vehicle.ignition"] == "ON")
    assert not short.requests(starter + KEY_FRAME_S + LAST_S, running + 2.0)
    assert short.requests(running + 2.0, running + 3.0)


def test_only_requests_that_the_description_declares_are_sent(short: Any) -> None:
    templates = short.demo.built.assembly.compiled.templates
    parts = (0x2, 0x3)  # later frames of a long request, and flow control
    for _, frame in short.requests():
        assert frame.data[0] >> 4 in parts or any(one.matches(frame) for one in templates), frame
    sent = {frame.id for _, frame in short.wire["drive"]}
    described = {one.id for one in short.demo.built.assembly.car.broadcasts}
    answers = {unit.response_id for unit in short.demo.built.assembly.car.units}
    others = sent - described - answers - set(short.asks)
    assert all(short.demo.simulated.description.name == "tarn" for _ in others)


def test_nothing_is_sent_on_a_bus_that_may_only_be_listened_to(drive: Make) -> None:
    journey = drive(edit=lambda text: text.replace("transmit = true", "transmit = false"))
    journey.run(14)
    assert not journey.requests()
    assert journey.demo.daemon.status().guard[Reason.TRANSMIT_OFF] > 0
    assert any("transmit = true" in sentence for sentence in journey.demo.daemon.status().closed)


def test_a_power_off_by_key_in_the_middle_of_polling_stops_it(drive: Make) -> None:
    journey = drive((*ON[:1], Phase("on", 5.037, "ON"), Phase("off", 4, "LOCK")))
    journey.run()
    off = off_frames(journey)[-1]
    assert journey.requests(off - 0.3, off)
    assert not journey.requests(off + LAST_S)


# --- what is shown is true -------------------------------------------------------------------------------------------


def test_every_value_shown_is_the_true_one_within_its_resolution(short: Any) -> None:
    assembly = short.demo.built.assembly
    fields = [field for one in assembly.car.broadcasts for field in one.fields]
    fields += [field for poll in assembly.car.polls for field in with_fields(poll).fields]
    compared = set()
    for field in fields:
        if field.points or field.values or field.unit is not None:
            continue
        for at, snapshot in short.seen:
            reading = snapshot.reading(field.signal)
            if not isinstance(reading.value, float) or not reading.source.startswith(("broadcast", "poll")):
                continue
            oldest = at - (reading.seconds_old or 0.0) - 0.25
            true = [float(values[field.signal]) for when, values in short.true if oldest <= when <= at]
            low, high = min(true) - 1.01 * field.scale, max(true) + 1.01 * field.scale
            assert low <= reading.value <= high, f"{field.signal} at {at:.2f} s: {reading.value}, true {low}..{high}"
            compared.add(field.signal)
    assert {"engine.speed", "engine.manifold_pressure", "engine.coolant_temperature", "vehicle.speed"} <= compared


def test_the_key_shown_follows_the_true_one(short: Any) -> None:
    for at, snapshot in short.seen:
        shown = snapshot.reading("vehicle.ignition").value
        assert shown in {None} | {v["vehicle.ignition"] for when, v in short.true if at - 0.35 <= when <= at}


def test_every_frame_on_the_buses_is_counted(short: Any) -> None:
    for bus in short.demo.daemon.status().buses:
        # the buses were last looked at up to a fifth of a second before the end
        in_the_end = sum(at > short.demo.seconds - 0.25 for at, _ in short.wire[bus.role])
        assert len(short.wire[bus.role]) - in_the_end - 3 <= bus.frames <= len(short.wire[bus.role])


def test_power_follows_the_key(short: Any) -> None:
    states = [state for _, state in short.demo.power]
    assert states[0] == "awake"
    assert states[-1] == "lingering"


# --- pages and buttons -----------------------------------------------------------------------------------------------


def shows(journey: Any, found: list[str]) -> Callable[[], None]:
    return lambda: found.append(journey.demo.daemon.screens[0].deck.current.name)


def test_a_held_button_turns_the_page_and_what_it_needs_is_asked_for(drive: Make) -> None:
    script = (ON[0], Phase("on", 9, "ON", presses=(Press("up", 4.0, 1.2),)))
    journey = drive(script)
    pages: list[str] = []
    journey.at(4.2, shows(journey, pages))
    journey.at(6.5, shows(journey, pages))
    journey.run()
    assert pages == ["boost", "temperatures"]
    assert journey.demo.daemon.fingers.performed == 1


def test_a_short_press_turns_nothing(drive: Make) -> None:
    journey = drive((ON[0], Phase("on", 4, "ON", presses=(Press("up", 1.0, 0.2), Press("cruise_set", 2.0, 1.5)))))
    journey.run()
    assert journey.demo.daemon.fingers.performed == 0
    assert journey.demo.daemon.screens[0].deck.current.name == "boost"


def test_the_peak_is_held_and_a_hold_of_menu_forgets_it(drive: Make) -> None:
    pull = Phase("pull", 8, speed_kmh=90, pedal=0.95)
    coast = Phase("coast", 8, presses=(Press("menu", 3.0, 1.2),))
    journey = drive((ON[0], Phase("on", 9, "ON"), Phase("starter", 1.2, "START"), Phase("idle", 4), pull, coast))
    before: list[float | None] = []
    journey.at(24.2, lambda: before.append(journey.seen[-1][1].stored_peaks.get("boost.known_pressure")))
    journey.run()
    boost = [value for value in journey.values("boost.known_pressure", until=24.2) if isinstance(value, float)]
    assert before[0] is not None
    assert before[0] >= max(boost) > 20
    after = journey.seen[-1][1].stored_peaks.get("boost.known_pressure")
    assert after is None or after < before[0] / 2


def test_quiet_ends_sending_at_once_and_its_end_brings_it_back(drive: Make) -> None:
    journey = drive(ON)
    journey.at(5, lambda: journey.demo.daemon.perform(GoQuiet(True)))
    journey.at(7, lambda: journey.demo.daemon.perform(GoQuiet(False)))
    journey.run(10)
    assert journey.requests(4, 5)
    assert not journey.requests(5 + LAST_S, 6.999)  # one may go out in the very moment of the release
    assert journey.requests(7, 9)
    assert "quiet" in next(snapshot.notes for at, snapshot in journey.seen if at > 6)
    assert "quiet" not in journey.seen[-1][1].notes


# --- another tester --------------------------------------------------------------------------------------------------


def test_another_tester_makes_us_step_back_for_half_a_minute(drive: Make) -> None:
    journey = drive(ON)
    ask = Frame(0x18DA10F1, bytes.fromhex("0201050000000000"), True)
    other = journey.buses["drive"].port()
    journey.at(0.0, lambda: other.open(journey.loop, {}, _Deaf()))
    for second in range(6, 14):
        journey.at(second, lambda: other.send(ask))
    journey.run(50)
    engine = [at for at, frame in journey.requests() if frame.id == ask.id]
    ours = [at for at in engine if not any(abs(at - second) < 0.02 for second in range(6, 14))]
    assert any(at < 6 for at in ours)
    assert not [at for at in ours if 6.1 < at < 43]
    assert any(at > 43 for at in ours)
    for at, snapshot in journey.seen:
        if 7.5 < at < 13.5:
            assert snapshot.reading("engine.coolant_temperature").value is not None
    # its answers were read all the same; the other pairs of ids are not disturbed
    assert [at for at, frame in journey.requests(20, 30) if frame.id == 0x0B20C0A1]


class _Deaf:
    tap = None

    def __getattr__(self, name: str) -> Callable[..., None]:
        return lambda *args: None


# --- what breaks -----------------------------------------------------------------------------------------------------


def test_a_bus_that_is_unplugged_takes_its_values_along_and_the_other_goes_on(drive: Make) -> None:
    journey = drive(ON)
    journey.at(6, journey.buses["drive"].unplug)
    journey.at(11, lambda: journey.plug("drive"))
    journey.run(30)
    gone = [s for at, s in journey.seen if 7.5 < at < 10.5]
    assert gone
    for snapshot in gone:
        assert snapshot.reading("vehicle.speed").value is None
        assert snapshot.reading("vehicle.ignition").value == "ON"
        assert "bus drive is absent" in snapshot.notes
    assert journey.seen[-1][1].reading("vehicle.speed").value is not None
    assert journey.requests(20, 30)
    # while it was away it was not tried again and again
    assert journey.demo.daemon.status().asking.held < 200


def test_the_bus_of_the_key_being_unplugged_ends_sending(drive: Make) -> None:
    journey = drive(ON)
    journey.at(6, journey.buses["comfort"].unplug)
    journey.run(12)
    assert journey.requests(5, 6)
    # the last word of the frame counts for its lifetime, a second, and no longer
    assert not journey.requests(7 + LAST_S)


@pytest.mark.parametrize("fault", [one for one in Fault if one is not Fault.NONE])
def test_a_control_unit_that_misbehaves_disturbs_no_other(drive: Make, fault: Fault) -> None:
    journey = drive(ON)
    journey.at(6, lambda: journey.demo.simulated.fail("engine", fault))
    journey.run(30)
    assert not journey.demo.daemon.status().faults
    assert None not in journey.values("engine.manifold_pressure", 6)
    wrong = [
        v
        for v in journey.values("engine.coolant_temperature")
        if v is not None and abs(v - journey_coolant(journey)) > 5
    ]
    assert not wrong
    if fault in (Fault.SILENT, Fault.REFUSING, Fault.FOREIGN):
        assert None in journey.values("engine.coolant_temperature", 6)


def journey_coolant(journey: Any) -> float:
    return float(journey.true[-1][1]["engine.coolant_temperature"])


def test_nobody_who_acknowledges_means_steps_back_and_no_crash(drive: Make) -> None:
    journey = drive(ON)

    def full(on: bool) -> Callable[[], None]:
        return lambda: setattr(journey.buses["drive"], "full", on)

    journey.at(6, full(True))
    journey.at(8, full(False))
    journey.run(16)
    assert not journey.demo.daemon.status().faults
    assert journey.requests(12, 16)


def test_a_wrong_car_is_noticed_and_nothing_is_sent(drive: Make) -> None:
    journey = drive(ON)
    port = journey.buses["drive"].port()
    journey.at(0.0, lambda: port.open(journey.loop, {}, _Deaf()))

    def stranger() -> None:
        port.send(Frame(0x08F1A210, bytes(3), True))
        journey.loop.call_later(0.02, stranger)

    journey.at(0.1, stranger)
    journey.run(12)
    assert not journey.requests()
    assert journey.demo.daemon.status().guard[Reason.WRONG_CAR] > 0


def test_a_silent_drive_bus_is_not_asked_anything(drive: Make) -> None:
    """The description expects its frames there, and they do not come."""
    journey = drive(ON)
    journey.at(0.0, lambda: setattr(journey.buses["drive"], "dropping", True))
    journey.run(15)
    assert not journey.requests()


def test_an_ignition_that_flaps_while_cranking_keeps_awake(drive: Make) -> None:
    flapping = [Phase(f"crank {n}", 0.6, "START" if n % 2 else "OFF") for n in range(10)]
    journey = drive((ON[0], Phase("on", 5, "ON"), Phase("starter", 1.0, "START"), *flapping, Phase("idle", 5)))
    journey.run()
    assert [state for _, state in journey.demo.power] == ["awake"]


# --- plug-ins that fail ----------------------------------------------------------------------------------------------

BROKEN = """
def fall(canvas, snapshot):
    if snapshot.number("vehicle.speed") is not None:
        raise RuntimeError("my page broke")
    canvas.title("tiny")

@hookimpl
def display_pages(car):
    return [Page("tiny", "Tiny", fall, ("vehicle.speed", "tiny.sum"))]

def step(state, inputs, dt_s):
    if (state or 0) < 10:  # once its page is off
        return (state or 0) + 1, None
    raise ZeroDivisionError("my sum broke")

@hookimpl
def signals():
    return [Signal("tiny.sum", "kPa", "a sum that breaks")]

@hookimpl
def derived_signals(car):
    return [Derived("tiny.sum", ("vehicle.speed",), step)]
"""


def test_a_plug_in_that_raises_is_suspended_and_named_and_the_daemon_goes_on(
    drive: Make, tiny_plugin: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib.metadata import entry_points

    from underdash.loading import load
    from underdash.wiring import building

    points = [*entry_points(group="underdash"), tiny_plugin(BROKEN)]
    monkeypatch.setattr(building, "load", lambda enabled, **given: load(enabled, points, **given))
    journey = drive(
        ON,
        edit=lambda text: text.replace('"page_turn"]', '"page_turn", "tiny"]').replace(
            'deck = ["boost"', 'deck = ["tiny", "boost"'
        ),
    )
    assert not journey.demo.built.assembly.loaded.refused
    # the drive jumps ahead of the clock on the wall, by which the renderer's thread draws
    for second in (1, 1.5, 2):
        journey.at(second, lambda: [screen.settled(20) for screen in journey.demo.daemon.screens])
    journey.run(7)
    status = journey.demo.daemon.status()
    assert status.pages == (("main", "boost"),)
    assert any("page 'tiny' was taken off" in fault and "my page broke" in fault for fault in status.faults)
    assert any("tiny suspended" in fault and "my sum broke" in fault for fault in status.faults)
    assert any("tiny suspended" in note for note in status.snapshot.notes)
    assert journey.requests(5, 7)


WITH_A_HANDLER = (
    BROKEN.replace("fall, (", "draw, (").replace("< 10", "< 0")
    + """
def draw(canvas, snapshot):
    canvas.title("fine")

@hookimpl
def button_handlers(car):
    return [ButtonHandler("next", GestureKind.HOLD, lambda gesture, snapshot: [], hold_s=3.0)]

@hookimpl
def alerts(car):
    return [Alert("tiny fast", "vehicle.speed", "too fast", above=200.0)]

@hookimpl
def power_changed(state):
    raise RuntimeError("I am suspended")
"""
)


def handlers_of(daemon: Daemon) -> set[str]:
    return {bound.plugin for bound in daemon.assembly.bindings._by_gesture.values()}


def test_a_suspended_plug_in_runs_nowhere_any_more_and_what_it_declared_stays(
    drive: Make, tiny_plugin: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib.metadata import entry_points

    from underdash.loading import load
    from underdash.wiring import building

    points = [*entry_points(group="underdash"), tiny_plugin(WITH_A_HANDLER)]
    monkeypatch.setattr(building, "load", lambda enabled, **given: load(enabled, points, **given))
    journey = drive(
        ON,
        edit=lambda text: text.replace('"page_turn"]', '"page_turn", "tiny"]').replace(
            'deck = ["boost"', 'deck = ["tiny", "boost"'
        ),
    )
    daemon = journey.demo.daemon
    assert not journey.demo.built.assembly.loaded.refused
    assert "tiny" in handlers_of(daemon)
    journey.run(5)
    assert list(daemon.assembly.suspended) == ["tiny"]
    deck = daemon.screens[0].deck
    assert "tiny" not in deck.names
    assert deck.off == {"tiny": "its plug-in tiny is suspended"}
    assert "tiny" not in handlers_of(daemon)
    assert all(item.signal != "tiny.sum" for item in daemon.assembly.derived.derived())
    assert "vehicle.speed" in daemon.acting.alerts.signals
    daemon._calls.tell(PowerState.ASLEEP)
    assert "my sum broke" in daemon.assembly.suspended["tiny"]
    chain = daemon.telling.why("tiny.sum", journey.loop.time())
    assert chain.fault.cause is Cause.PLUGIN_SUSPENDED


# --- the whole drive -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def whole(drive: Make) -> Any:
    """The Tarn's whole drive, half an hour of it."""
    return drive(None, every_s=0.05).run()


def phase_times(journey: Any) -> dict[str, tuple[float, float]]:
    times, at = {}, 0.0
    for phase in journey.demo.script:
        times[phase.what] = (at, at + phase.seconds)
        at += phase.seconds
    return times


@pytest.mark.slow
def test_on_the_whole_drive_nothing_is_sent_unless_the_key_is_on(whole: Any) -> None:
    offs, positions = off_frames(whole), positions_said(whole)
    for at, frame in whole.requests():
        assert said_on(positions, at) or min(at - off for off in offs if off <= at) <= LAST_S, f"{frame} at {at:.3f} s"
    assert len(whole.requests()) > 10_000


@pytest.mark.slow
def test_on_the_whole_drive_the_reference_grows_old_on_the_climb_and_is_renewed_at_the_top(whole: Any) -> None:
    times = phase_times(whole)
    qualities = {
        what: {str(snapshot.reading("ambient.pressure").quality) for at, snapshot in whole.seen if start <= at <= end}
        for what, (start, end) in times.items()
    }
    assert qualities["cruise"] == {"good"}
    assert "dated" in qualities["climb on"]
    assert "dated" not in {
        str(snapshot.reading("ambient.pressure").quality)
        for at, snapshot in whole.seen
        if times["engine stopped, ignition on"][0] + 6 <= at <= times["engine stopped, ignition on"][1]
    }


@pytest.mark.slow
def test_on_the_whole_drive_the_error_of_an_old_reference_is_the_climb_and_the_new_one_is_right(whole: Any) -> None:
    times = phase_times(whole)
    top = times["idle at the top"][1] - 1
    stopped = times["engine stopped, ignition on"][1] - 0.5

    def error(at: float) -> float:
        shown = next(s.reading("ambient.pressure").value for when, s in whole.seen if when >= at)
        true = next(values["ambient.pressure"] for when, values in whole.true if when >= at)
        return float(shown) - float(true)

    assert error(times["cruise"][0]) == pytest.approx(0.0, abs=0.5)
    assert error(top) == pytest.approx(16.8, abs=1.5)
    assert error(stopped) == pytest.approx(0.0, abs=0.3)


@pytest.mark.slow
def test_on_the_whole_drive_power_goes_down_step_by_step(whole: Any) -> None:
    states = [state for _, state in whole.demo.power]
    assert states[:1] == ["awake"]
    assert states[-1] in ("lingering", "asleep", "off")
    slow = "is slow"  # which says something of the machine that the test runs on
    assert not [fault for fault in whole.demo.daemon.status().faults if slow not in fault]


@pytest.mark.slow
def test_the_report_of_a_whole_drive_tells_what_was_known_before_the_car_fell_asleep(whole: Any) -> None:
    told = report(whole.demo, 1.0)
    assert told["final"]["vehicle.ignition"]["value"] == "ON"
    assert told["final"]["gearbox.oil_temperature"]["value"] > 60.0
    assert told["car"]["recognised"] == "the car is the described one"
    assert told["power"][-1]["state"] == "asleep"
