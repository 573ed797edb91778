from __future__ import annotations

import asyncio
from collections.abc import Callable
from math import inf

import pytest

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.port import PortAbsentError, QuietEvents
from underdash.bus.table import Table
from underdash.contract.cars import CarDescription
from underdash.pace import paced_loop
from underdash.simulator.car import SimulatedCar
from underdash.simulator.driver import Phase, Script
from underdash.simulator.station import Station
from underdash.simulator.turbo_car import TurboDesign

SCRIPT: Script = (Phase("on", 60.0, "ON"),)


class Heard(QuietEvents):
    """Keeps every frame."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self.tap = self.frames.append


def drive(
    description: CarDescription, seconds: float, then: Callable[..., None] | None = None
) -> tuple[Station, Heard]:
    """Let a station run on memory buses for simulated seconds, with a listener on the drive bus."""
    loop = paced_loop(inf)
    buses = {bus.role: MemoryBus(bus.role) for bus in description.buses}
    car = SimulatedCar(description, TurboDesign(), SCRIPT)
    station = Station(car, {role: bus.port() for role, bus in buses.items()}, loop)
    heard, port = Heard(), buses["drive"].port()
    port.open(loop, Table(), heard)
    try:
        loop.call_soon(station.start)
        if then is not None:
            loop.call_later(1.0, then, port, buses)
        loop.run_until_complete(asyncio.sleep(seconds))
        station.stop()
        count = len(heard.frames)
        loop.run_until_complete(asyncio.sleep(1.0))
        assert len(heard.frames) == count
    finally:
        loop.close()
    return station, heard


def test_frames_come_at_the_loops_pace(description: CarDescription) -> None:
    station, heard = drive(description, 10.0)
    times = [frame.at for frame in heard.frames if frame.id == 0x101]
    assert 480 < len(times) <= 501
    assert 9.5 < times[-1] - times[0] < 10.1
    assert station.refused == 0
    assert station.sent > len(heard.frames)


def test_a_request_on_the_bus_is_answered_after_the_units_latency(description: CarDescription) -> None:
    request = Frame(0x7E0, bytes.fromhex("0201050000000000"))
    _, heard = drive(description, 3.0, lambda port, buses: port.send(request))
    asked = next(frame for frame in heard.frames if frame.id == 0x7E0)
    answered = next(frame for frame in heard.frames if frame.id == 0x7E8)
    assert 0.005 <= answered.at - asked.at <= 0.03
    assert answered.data[:3] == bytes.fromhex("034105")


def test_frames_without_room_are_lost_and_counted(description: CarDescription) -> None:
    def fill(port: object, buses: dict[str, MemoryBus]) -> None:
        buses["drive"].full = True

    station, _ = drive(description, 3.0, fill)
    assert station.refused > 300


def test_the_car_is_back_when_its_adapter_is(description: CarDescription) -> None:
    def pull(port: object, buses: dict[str, MemoryBus]) -> None:
        buses["comfort"].unplug()
        asyncio.get_running_loop().call_later(3.0, buses["comfort"].plug)

    station, _ = drive(description, 20.0, pull)
    expected = 19.9 * 400
    assert 0.85 * expected < station.sent < expected


def test_a_port_that_cannot_be_opened_is_told_and_the_others_are_closed_again(description: CarDescription) -> None:
    loop = paced_loop(inf)
    buses = {bus.role: MemoryBus(bus.role) for bus in description.buses}
    buses["comfort"].unplug()
    ports = {role: bus.port() for role, bus in buses.items()}
    station = Station(SimulatedCar(description, TurboDesign(), SCRIPT), ports, loop)
    try:
        with pytest.raises(PortAbsentError):
            station.start()
        assert not ports["drive"].send(Frame(0x7E0, b""))
        station.stop()
    finally:
        loop.close()
