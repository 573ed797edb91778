"""Faults the daemon survives, on the simulated car: what goes wrong, what must go on, and what must be said."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.port import PortDownError
from underdash.display.panels.picture import PicturePanel
from underdash.power.ignition import Seen
from underdash.simulator.driver import Phase
from underdash.simulator.units import Fault

ROOT = Path(__file__).parents[2]
ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))
FROM_S, TO_S, END_S = 5.0, 8.0, 16.0
ENGINE, ENGINE_ANSWERS, STEADY = 0x18DA10F1, 0x18DAF110, 0x08F1A210
POLLS, KEY, SILENCE = "requests", "key", "silence"
"""What must be there at the end: requests go out again; the key is still read; nothing was ever sent."""


def every(journey: Any, seconds: float, do: Callable[[], object], end_s: float = TO_S) -> None:
    """Do something again and again while the fault lasts."""
    count = int((end_s - FROM_S) / seconds)
    for number in range(count):
        journey.at(FROM_S + number * seconds, do)


def unplugged(journey: Any) -> None:
    journey.at(FROM_S, journey.buses["drive"].unplug)
    journey.at(TO_S, lambda: journey.plug("drive"))


def dead(journey: Any) -> None:
    journey.at(FROM_S, journey.buses["drive"].unplug)


def down(journey: Any) -> None:
    def fail() -> None:
        for port in tuple(journey.buses["drive"]._open):
            port.fail(PortDownError("interface can0 is down; switch it on"))

    every(journey, 0.1, fail)
    journey.at(TO_S + 1, lambda: journey.listen("drive"))


def bus_off(journey: Any) -> None:
    journey.at(FROM_S, lambda: journey.buses["drive"].inject_error(0x40, bytes(8)))
    journey.at(FROM_S, lambda: setattr(journey.buses["drive"], "full", True))
    journey.at(TO_S, lambda: setattr(journey.buses["drive"], "full", False))
    journey.at(TO_S, lambda: journey.buses["drive"].inject_error(0x100, bytes(8)))


def error_storm(journey: Any) -> None:
    every(journey, 0.005, lambda: journey.buses["drive"].inject_error(0x88, bytes(8)))


def flood(journey: Any) -> None:
    def burst() -> None:
        for number in range(40):
            journey.buses["drive"].inject(Frame(0x100 + number, bytes(8)))

    every(journey, 0.02, burst)


def fd_frames(journey: Any) -> None:
    every(journey, 0.01, lambda: journey.buses["drive"].inject(Frame(STEADY, bytes(64), True, fd=True)))


def unit(fault: Fault) -> Callable[[Any], None]:
    return lambda journey: journey.at(FROM_S, lambda: journey.demo.simulated.fail("engine", fault))


def broken_sequences(journey: Any) -> None:
    texts = (
        "21",
        "2F11",
        "10",
        "1000",
        "100000000000",
        "100A4105",
        "30",
        "00",
        "0F41",
        "",
        "1014410541424344",
        "7F",
        "037F01",
    )
    frames = [Frame(ENGINE_ANSWERS, bytes.fromhex(text), True) for text in texts]
    every(journey, 0.05, lambda: [journey.buses["drive"].inject(frame) for frame in frames])


def somebody_asks(journey: Any) -> None:
    ask = Frame(ENGINE, bytes.fromhex("0201050000000000"), True)
    journey.at(FROM_S, lambda: journey.buses["drive"].inject(ask))


def wrong_car(journey: Any) -> None:
    journey.at(0.6, lambda: journey.buses["drive"].inject(Frame(STEADY, bytes(3), True)))


def ignition_unproven(journey: Any) -> None:
    def forget() -> None:
        for entry in journey.demo.daemon.key.ignition._entries:
            entry.seen = Seen()

    journey.at(0.0, forget)


def ignition_always_on(journey: Any) -> None:
    """Have the description look at bits that happen to say ON whatever the key does."""
    ignition = journey.demo.daemon.key.ignition
    sample = ignition.sample

    def misread(signal: str, value: object, at: float, wire: str = "") -> None:
        sample(signal, "ON" if signal == "vehicle.ignition" else value, at, wire)

    def begin() -> None:
        ignition.sample = misread
        for entry in ignition._entries:
            entry.seen = Seen()

    journey.at(0.0, begin)


def stopped(journey: Any) -> None:
    """Be stopped for a minute, as by SIGSTOP: what the buses said meanwhile is heard all at once."""
    key = journey.demo.daemon.key
    journey.at(FROM_S, lambda: setattr(key, "_looked_at", key._looked_at - 60.0))


def clock(journey: Any) -> None:
    real = time.time
    jumps = iter([0.0, 3e8, -9e8, 2e9, -1.7e9] * 1000)
    journey.at(FROM_S, lambda: setattr(time, "time", lambda: real() + next(jumps)))
    journey.at(TO_S, lambda: setattr(time, "time", real))


def panel_fails(journey: Any) -> None:
    show = PicturePanel.show

    def fail(self: object, *args: object) -> None:
        raise OSError("the cable came off")

    def begin() -> None:
        PicturePanel.show = fail  # type: ignore[method-assign,assignment]
        journey.demo.daemon.screens[0].wall_gap_s = 0.0
        # another page, so that there is something to show
        journey.demo.daemon.screens[0].turn(1)

    def end() -> None:
        # the drive is faster than the panel's threads; a picture that fails is due again, so this waits in vain
        journey.demo.daemon.screens[0].settled(1.0)
        PicturePanel.show = show  # type: ignore[method-assign]

    journey.at(FROM_S, begin)
    journey.at(TO_S, end)


def nobody_acknowledges(journey: Any) -> None:
    journey.at(FROM_S, lambda: setattr(journey.buses["drive"], "dropping", True))
    journey.at(TO_S, lambda: setattr(journey.buses["drive"], "dropping", False))


def key_bus_dead(journey: Any) -> None:
    journey.at(FROM_S, journey.buses["comfort"].unplug)
    journey.at(TO_S, lambda: journey.plug("comfort"))


@dataclass(frozen=True)
class Row:
    """A fault: its name, how it is made, what must go on, what must be said (a pattern)."""

    fault: str
    make: Callable[[Any], None]
    goes_on: str
    said: str


ROWS = (
    Row("adapter unplugged and back", unplugged, POLLS, "not plugged in|has gone"),
    Row("interface down and up", down, POLLS, "interface can0 is down"),
    Row("bus-off and back", bus_off, POLLS, "off the bus after too many errors"),
    Row("wrong rate, error-frame storm", error_storm, POLLS, "error frames in the last second; check the bit rate"),
    Row("frame flood", flood, POLLS, "drive is heard"),
    Row("FD frames among classic ones", fd_frames, POLLS, "drive is heard"),
    Row("one of two buses dead", dead, KEY, "bus drive is absent"),
    Row("the bus of the key dead and back", key_bus_dead, POLLS, "ignition unknown|bus comfort is absent"),
    Row("nobody acknowledges", nobody_acknowledges, POLLS, "do not get out|not confirmed"),
    *(Row(f"control unit {fault.value}", unit(fault), POLLS, said) for fault, said in (
        (Fault.SILENT, "engine 01.*unanswered|engine.*silent"), (Fault.SLOW, "engine 01 .*answered"),
        (Fault.PENDING, "still working"), (Fault.REFUSING, "engine says"),
        (Fault.LATE, "engine 01.*unanswered|engine.*silent"), (Fault.FOREIGN, "engine 01.*unanswered|engine.*silent"))),
    Row("broken ISO-TP sequences", broken_sequences, POLLS, "engine 01 .*answered"),
    Row("another tester", somebody_asks, POLLS, "another tester uses 18DA10F1; we step back"),
    Row("wrong car for the description", wrong_car, SILENCE, "not the described car: 08F1A210 on drive has 3 bytes"),
    Row("ignition field that was not seen on and off", ignition_unproven, SILENCE, "has not been seen both on and off"),
    Row("ignition field that always reads ON", ignition_always_on, SILENCE, "has not been seen both on and off"),
    Row("the program stopped for a minute", stopped, POLLS, "stood still for a moment"),
    Row("clock jumping by years", clock, POLLS, "drive is heard"),
    Row("panel raises in show", panel_fails, POLLS, "does not take images: the cable came off"),
)  # fmt: skip

ELSEWHERE = {
    "a page that never returns": ("display/test_renderer.py", "test_a_page"),
    "disk full while recording": (
        "wiring/test_recorder.py",
        "test_a_full_disk_ends_the_recording_and_says_so",
    ),
    "state file truncated at every byte": (
        "wiring/test_kept.py",
        "test_a_file_cut_off_at_any_byte_means_nothing_was_seen",
    ),
    "page and step of a plug-in that fails": ("wiring/test_demo.py", "test_a_suspended_plug_in_runs_nowhere"),
    "the guard shuts in the middle of a request": (
        "wiring/test_several_frames.py",
        "test_a_guard_that_shuts_in_the_middle_of_a_request_is_not_asked_a_thousand_times",
    ),
    "a card too slow to flush before power-off": (
        "wiring/test_leaving.py",
        "test_a_disk_that_never_comes_back_does_not_keep_it_on",
    ),
    "frames that waited while the program was stopped": (
        "wiring/test_key.py",
        "test_frames_that_queued_up_while_the_program_was_stopped_do_not_open_the_guard",
    ),
    "state directory that cannot be written": (
        "wiring/test_kept.py",
        "test_a_folder_in_its_place_or_a_file_in_its_way_is_no_error",
    ),
    "power cut while writing": (
        "wiring/test_recorder.py",
        "test_what_was_flushed_survives_being_killed_in_the_middle",
    ),
    "serial line cut mid-frame, at every byte, and back": (
        "../plugins/serial_panel/tests/test_serial_cuts.py",
        "test_wherever_the_line_is_cut_the_picture_becomes_right_once_it_is_back",
    ),
    "controller of a panel that restarts at every byte": (
        "../plugins/serial_panel/tests/test_serial_cuts.py",
        "test_wherever_the_controller_restarts_the_picture_becomes_right",
    ),
    "SIGTERM": (
        "cli/test_run_command.py",
        "test_it_starts_says_what_the_bus_does_and_ends_in_order",
    ),
    "SIGKILL": (
        "cli/test_run_command.py",
        "test_a_killed_daemon_leaves_no_lock",
    ),
    "configuration with every kind of mistake": (
        "config/test_car_mistakes.py",
        "test_every_kind_of_mistake_has_its_sentence",
    ),
    "ignition flapping while cranking": (
        "wiring/test_demo.py",
        "test_an_ignition_that_flaps_while_cranking_keeps_awake",
    ),
}


def sentences(journey: Any) -> set[str]:
    """Everything a person could read now."""
    daemon = journey.demo.daemon
    status = daemon.status()
    asked = [one.sentence for one in daemon.assembly.asking.status(status.now)]
    buses = [bus.sentence for bus in status.buses]
    return {*status.closed, *status.faults, *status.snapshot.notes, *buses, *asked, status.ignition.why, status.car}


def play(journey: Any, make: Callable[[Any], None]) -> set[str]:
    """Drive with a fault; returns all that was said meanwhile."""
    said: set[str] = set()
    make(journey)
    for number in range(int(END_S / 0.5)):
        journey.at(0.4 + number * 0.5, lambda: said.update(sentences(journey)))
    journey.run(END_S)
    return said | sentences(journey)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.fault)
def test_a_fault_is_survived_and_told(row: Row, drive: Any, table: list[tuple[str, str, str]]) -> None:
    journey = drive(ON)
    said = play(journey, row.make)
    told = next((sentence for sentence in sorted(said) if re.search(row.said, sentence)), "")
    assert told, f"nothing like {row.said!r} in {sorted(said)}"
    late = journey.requests(END_S - 3, END_S)
    shown = journey.seen[-1][1].reading("vehicle.ignition").value
    assert shown == "ON"
    match row.goes_on:
        case "requests":
            assert late, "nothing is asked any more"
        case "silence":
            assert not journey.requests(1.0)
    table.append((row.fault, f"key {shown}, {len(late)} requests in the last 3 s", told))


def test_what_needs_a_test_of_its_own_has_one(table: list[tuple[str, str, str]]) -> None:
    for fault, where in ELSEWHERE.items():
        file, name = where
        assert f"def {name}" in (ROOT / "tests" / file).read_text()
        table.append((fault, os.path.normpath(f"tests/{file}"), name))
