from __future__ import annotations

from typing import Any

from underdash.contract.cars import CarDescription
from underdash.contract.requests import PollRequest
from underdash.diagnostics.obd import with_fields
from underdash.diagnostics.parameters import FULL_SCALE_PRESSURE
from underdash.simulator.manners import Manners
from underdash.simulator.service_01 import Service01
from underdash.simulator.spelling import answerable


def alone(*pids: int) -> Service01:
    return Service01({pid: with_fields(PollRequest("engine", "service_01", pid, ())).fields for pid in pids})


def test_service_01_answers_as_the_standards_examples_do(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine")
    assert engine.said("02 01 05 00 00 00 00 00") == ["03 41 05 7b"]
    assert engine.said("02 01 0C 00 00 00 00 00") == ["04 41 0c 1a f8"]
    assert engine.said("02 01 5C 00 00 00 00 00") == ["03 41 5c 78"]


def test_several_parameters_at_once_leave_out_the_unknown(description: CarDescription, unit: Any) -> None:
    assert unit(description, "engine").said("04 01 0C 2F 05 00 00 00") == ["06 41 0c 1a f8 05 7b"]


def test_six_parameters_at_once_take_several_frames(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine")
    assert engine.said("07 01 0C 05 5C 2F 00 20")[0] == "10 12 41 0c 1a f8 05 7b"
    assert engine.told("01 0C 05 5C 2F 00 20") == bytes.fromhex("41 0C 1AF8 05 7B 5C 78 00 08100001 20 00000001")


def test_more_parameters_than_it_takes_are_refused(description: CarDescription, unit: Any) -> None:
    assert unit(description, "engine").told("01 0C 05 5C 2F 00 20 0D") == bytes.fromhex("7F 01 13")
    poor = unit(description, "engine", manners=Manners(parameters_at_once=1))
    assert poor.said("03 01 0C 05") == ["03 7f 01 13"]
    assert poor.said("01 01") == ["03 7f 01 13"]


def test_support_masks_name_what_it_has(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine")
    assert engine.said("02 01 00 00 00 00 00 00") == ["06 41 00 08 10 00 01"]
    assert engine.said("02 01 20 00 00 00 00 00") == ["06 41 20 00 00 00 01"]
    assert engine.said("02 01 40 00 00 00 00 00") == ["06 41 40 00 00 00 10"]
    assert engine.said("02 01 60 00 00 00 00 00") == ["03 7f 01 31"]


def test_an_answer_with_a_presence_byte_tells_what_is_there_and_has_its_full_length(
    talkative: CarDescription, unit: Any
) -> None:
    # parameter 70: bit 1 is the sensor of charger A; 220 kPa in steps of 1/32
    assert unit(talkative, "engine").told("01 70") == bytes.fromhex("41 70 02 0000 1B80 0000 0000 00")
    both = alone(0x67).reply(b"\x67", {"engine.coolant_temperature": 91.0, "obd2.coolant_temperature_2": 51.0})
    assert both == bytes.fromhex("67 03 83 5B")


def test_sensors_that_the_car_does_not_have_need_no_value(talkative: CarDescription) -> None:
    [charge] = [with_fields(poll).fields for poll in talkative.polls if poll.identifier == 0x70]
    assert answerable(charge, {"engine.charge_pressure": 220.0})
    assert not answerable(charge, {"engine.speed": 900.0})
    assert not answerable(with_fields(PollRequest("engine", "service_01", 0x0B, ())).fields, {"engine.speed": 900.0})


def test_a_unit_that_tells_a_full_scale_uses_it() -> None:
    engine, values = alone(0x0B, 0x4F), {"engine.manifold_pressure": 250.0, FULL_SCALE_PRESSURE: 510.0}
    assert engine.reply(b"\x0b", values) == bytes.fromhex("0B 7D")
    assert engine.reply(b"\x4f", {**values, **dict.fromkeys(_others(), 0.0)}) == bytes.fromhex("4F 00 00 00 33")


def _others() -> list[str]:
    fields = with_fields(PollRequest("engine", "service_01", 0x4F, ())).fields
    return [field.signal for field in fields if field.signal != FULL_SCALE_PRESSURE]
