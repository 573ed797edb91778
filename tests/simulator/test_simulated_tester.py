from __future__ import annotations

from math import inf

import pytest

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.contract.cars import CarDescription
from underdash.contract.errors import UnderdashError
from underdash.contract.requests import ControlUnit
from underdash.pace import paced_loop
from underdash.simulator.car import SimulatedCar
from underdash.simulator.driver import Phase
from underdash.simulator.manners import Manners
from underdash.simulator.station import Station
from underdash.simulator.tester import OtherTester, Question
from underdash.simulator.turbo_car import TurboDesign

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
VIN = b"\x49\x02\x01UNDERDASHTARN0001"


def test_requests_come_when_the_script_says() -> None:
    tester = OtherTester((Question(ENGINE, b"\x01\x05", 0.5, 0.25), Question(ENGINE, b"\x01\x0c", 0.6)))
    assert tester.next_at() == -inf
    assert tester.advance(100.0) == []
    assert tester.next_at() == 100.5
    sent = [(tick / 10, frame.data.hex()) for tick in range(13) for _, frame in tester.advance(100.0 + tick / 10)]
    assert sent == [(0.5, "0201050000000000"), (0.6, "02010c0000000000"), (0.8, "0201050000000000"),
                    (1.0, "0201050000000000")]  # fmt: skip
    assert tester.asked == 4


def test_after_its_last_question_it_has_nothing_to_do() -> None:
    tester = OtherTester((Question(ENGINE, b"\x01\x05"),))
    [(bus, frame)] = tester.advance(1.0)
    assert (bus, frame.id) == ("drive", 0x7E0)
    assert tester.next_at() == inf


def test_it_sends_flow_control_of_its_own_and_puts_answers_together() -> None:
    tester = OtherTester((Question(ENGINE, b"\x09\x02"),), Manners(block_size=1, st_min=5, longest_message=4095))
    tester.advance(0.0)
    [(_, flow)] = tester.answer("drive", Frame(0x7E8, b"\x10\x14" + VIN[:6]), 0.01)
    assert (flow.id, flow.data) == (0x7E0, bytes.fromhex("3001050000000000"))
    assert len(tester.answer("drive", Frame(0x7E8, b"\x21" + VIN[6:13]), 0.02)) == 1
    assert tester.answer("drive", Frame(0x7E8, b"\x22" + VIN[13:]), 0.03) == []
    assert [(told.at, told.unit, told.message) for told in tester.told] == [(0.03, "engine", VIN)]


def test_frames_of_others_are_none_of_its_business() -> None:
    tester = OtherTester((Question(ENGINE, b"\x09\x02"),))
    first = b"\x10\x14" + VIN[:6]
    assert tester.keys("drive") == {0x7E8}
    assert tester.keys("comfort") == set()
    for bus, frame in (("comfort", Frame(0x7E8, first)), ("drive", Frame(0x7E9, first)),
                       ("drive", Frame(0x7E8, first, remote=True))):  # fmt: skip
        assert tester.answer(bus, frame, 0.0) == []


def test_a_longer_request_goes_on_with_the_units_flow_control() -> None:
    tester = OtherTester((Question(ENGINE, bytes.fromhex("22 1001 1002 1003 1004")),))
    [(_, first)] = tester.advance(0.0)
    assert first.data == bytes.fromhex("1009221001100210")
    [(_, second)] = tester.answer("drive", Frame(0x7E8, bytes.fromhex("300000")), 0.01)
    assert second.data == bytes.fromhex("2103100400000000")


def test_in_a_makers_format_it_sends_the_frame_as_it_is_and_no_flow_control() -> None:
    turbo = ControlUnit("turbo", "drive", 0x6A1, 0x6A2, address=0x5C)
    tester = OtherTester((Question(turbo, bytes.fromhex("455CA21A0401"), raw=True),))
    [(_, frame)] = tester.advance(0.0)
    assert frame.data == bytes.fromhex("455CA21A04010000")
    assert tester.keys("drive") == set()
    assert tester.answer("drive", Frame(0x6A2, bytes.fromhex("5C10145CE21A0411")), 0.01) == []


def test_questions_that_cannot_be_asked_are_named() -> None:
    with pytest.raises(UnderdashError, match="question to 'engine' is empty"):
        Question(ENGINE, b"")
    with pytest.raises(UnderdashError, match="every 0 s"):
        Question(ENGINE, b"\x01\x05", every_s=0.0)


def test_on_a_bus_it_gets_its_answers_from_the_simulated_car(talkative: CarDescription) -> None:
    units = {unit.name: unit for unit in talkative.units}
    loop = paced_loop(inf)
    bus = MemoryBus("drive")
    car = SimulatedCar(talkative, TurboDesign(), (Phase("on", 60.0, "ON"),), manners={"gearbox": Manners(block_size=1)})
    tester = OtherTester(
        (
            Question(units["engine"], b"\x09\x02", 1.0, 1.0),
            Question(units["gearbox"], bytes.fromhex("22 1002 1003 1002 1003"), 1.0, 1.0),
            Question(units["gearbox"], bytes.fromhex("22 1001"), 1.5, 1.0),
        ),
        Manners(block_size=2, longest_message=4095),
    )
    stations = [Station(each, {"drive": bus.port()}, loop) for each in (car, tester)]
    try:
        for station in stations:
            loop.call_soon(station.start)
        loop.call_later(20.25, loop.stop)
        loop.run_forever()
        for station in stations:
            station.stop()
    finally:
        loop.close()
    answers = [
        (told.unit, told.message[:3].hex(), len(told.message)) for told in tester.told if told.message[0] != 0x7F
    ]
    assert tester.asked == 59
    assert [told.message for told in tester.told if told.unit == "engine"] == [VIN] * 20
    assert answers.count(("gearbox", "621002", 15)) == 20
    assert answers.count(("gearbox", "621001", 23)) == 19
