from __future__ import annotations

from random import Random

import pytest

from underdash.contract.cars import CarDescription
from underdash.contract.signals import Value
from underdash.simulator.units import Fault, Replies, SimulatedUnit

VALUES: dict[str, Value] = {
    "engine.coolant_temperature": 83.0,
    "engine.speed": 1726.0,
    "engine.oil_temperature": 80.0,
    "engine.charge_pressure": 220.0,
    "engine.manifold_pressure": 218.5,
    "exhaust.temperature": 612.3,
}


def unit(description: CarDescription, name: str, seed: int = 4) -> SimulatedUnit:
    declared = next(each for each in description.units if each.name == name)
    return SimulatedUnit(declared, description.polls, description.formats, Random(seed))


def ask(subject: SimulatedUnit, request: str) -> Replies:
    return subject.answer(bytes.fromhex(request), VALUES)


def said(subject: SimulatedUnit, request: str) -> list[str]:
    return [payload.hex(" ") for _, payload in ask(subject, request)]


def test_service_01_answers_as_the_standards_examples_do(description: CarDescription) -> None:
    engine = unit(description, "engine")
    assert said(engine, "02 01 05 00 00 00 00 00") == ["03 41 05 7b"]
    assert said(engine, "02 01 0C 00 00 00 00 00") == ["04 41 0c 1a f8"]
    assert said(engine, "02 01 5C 00 00 00 00 00") == ["03 41 5c 78"]


def test_several_parameters_at_once_leave_out_the_unknown(description: CarDescription) -> None:
    engine = unit(description, "engine")
    assert said(engine, "04 01 0C 2F 05 00 00 00") == ["06 41 0c 1a f8 05 7b"]


def test_an_answer_too_long_for_one_frame_is_refused(description: CarDescription) -> None:
    assert said(unit(description, "engine"), "04 01 0C 05 5C 00 00 00") == ["03 7f 01 14"]


def test_support_masks_name_what_it_has(description: CarDescription) -> None:
    engine = unit(description, "engine")
    assert said(engine, "02 01 00 00 00 00 00 00") == ["06 41 00 08 10 00 01"]
    assert said(engine, "02 01 20 00 00 00 00 00") == ["06 41 20 00 00 00 01"]
    assert said(engine, "02 01 40 00 00 00 00 00") == ["06 41 40 00 00 00 10"]
    assert said(engine, "02 01 60 00 00 00 00 00") == ["03 7f 01 31"]


def test_identifiers_answer_and_unknown_ones_are_refused(description: CarDescription) -> None:
    engine = unit(description, "engine")
    assert said(engine, "03 22 21 C7 00 00 00 00") == ["05 62 21 c7 11 30"]
    assert said(engine, "03 22 21 C8 00 00 00 00") == ["03 7f 22 31"]
    assert said(engine, "02 22 21 00 00 00 00 00") == ["03 7f 22 13"]


@pytest.mark.parametrize("service", ["11 01", "2E 21 C7 00", "31 01 02 03", "27 01", "10 03", "14 FF FF FF", "04"])
def test_nothing_but_reading_is_there(description: CarDescription, service: str) -> None:
    data = bytes.fromhex(service)
    request = (bytes((len(data),)) + data).ljust(8, b"\0").hex()
    assert said(unit(description, "engine"), request) == [f"03 7f {data[0]:02x} 11"]


def test_two_units_on_one_id_are_told_apart_by_their_address(description: CarDescription) -> None:
    turbo, exhaust = unit(description, "turbo"), unit(description, "exhaust")
    request = "45 5C A2 1A 04 01 00 00"
    assert said(turbo, request) == ["46 5c e2 1a 04 11 12"]
    assert said(exhaust, request) == []
    assert said(exhaust, "45 67 A2 2B 11 01 00 00") == ["46 67 e2 2b 11 17 eb"]


@pytest.mark.parametrize(
    "request_bytes",
    ["45 5C A3 1A 04 01 00 00", "45 5C A2 1A 04 02 00 00", "44 5C A2 1A 04 01 00 00", "45 5C A2", ""],
    ids=["another command", "another mode", "wrong count", "cut short", "empty"],
)
def test_the_format_is_taken_to_the_letter(description: CarDescription, request_bytes: str) -> None:
    assert said(unit(description, "turbo"), request_bytes) == []


def test_an_unknown_number_in_the_makers_format_is_refused_in_the_commands_place(description: CarDescription) -> None:
    assert said(unit(description, "turbo"), "45 5C A2 1A 99 01 00 00") == ["44 5c 7f a2 31"]


def test_latency_is_seeded_and_between_5_and_25_ms(description: CarDescription) -> None:
    first = [ask(unit(description, "engine", seed), "02 01 05")[0][0] for seed in range(50)]
    assert first == [ask(unit(description, "engine", seed), "02 01 05")[0][0] for seed in range(50)]
    assert len(set(first)) > 40
    assert 0.005 <= min(first) <= max(first) <= 0.025


def test_a_few_answers_to_identifiers_are_pending_first(description: CarDescription) -> None:
    engine = unit(description, "engine")
    answers = [said(engine, "03 22 21 C7") for _ in range(1000)]
    pending = [answer for answer in answers if answer[0] == "03 7f 22 78"]
    assert 5 < len(pending) < 50
    assert all(answer[-1] == "05 62 21 c7 11 30" for answer in answers)


def test_faults_on_demand(description: CarDescription) -> None:
    engine = unit(description, "engine")
    within_s = engine.unit.answer_within_s
    engine.fault = Fault.SILENT
    assert ask(engine, "02 01 05") == []
    engine.fault = Fault.REFUSING
    assert said(engine, "02 01 05") == ["03 7f 01 22"]
    engine.fault = Fault.FOREIGN
    assert said(engine, "02 01 05") == ["03 41 04 7b"]
    assert said(engine, "03 22 21 C7") == ["05 62 21 c6 11 30"]
    engine.fault = Fault.SLOW
    assert 0.5 * within_s < ask(engine, "02 01 05")[0][0] < within_s
    engine.fault = Fault.LATE
    assert ask(engine, "02 01 05")[0][0] > within_s
    engine.fault = Fault.PENDING
    assert [(at, payload.hex(" ")) for at, payload in ask(engine, "02 01 05")] == [
        (0.02, "03 7f 01 78"),
        (2.0, "03 7f 01 78"),
        (4.5, "03 41 05 7b"),
    ]
    engine.fault = Fault.NONE
    assert said(engine, "02 01 05") == ["03 41 05 7b"]


def test_faults_in_the_makers_format(description: CarDescription) -> None:
    turbo, request = unit(description, "turbo"), "45 5C A2 1A 04 01 00 00"
    turbo.fault = Fault.REFUSING
    assert said(turbo, request) == ["44 5c 7f a2 22"]
    turbo.fault = Fault.FOREIGN
    assert said(turbo, request) == ["46 5c e2 1a 05 11 12"]
    turbo.fault = Fault.PENDING
    assert said(turbo, request) == ["44 5c 7f a2 78", "44 5c 7f a2 78", "46 5c e2 1a 04 11 12"]
