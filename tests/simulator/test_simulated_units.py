from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from underdash.contract.cars import CarDescription
from underdash.simulator.manners import Manners


@pytest.mark.parametrize("service", ["11 01", "2E 21 C7 00", "31 01 02 03", "27 01", "10 03", "14 FF FF FF", "04"])
def test_nothing_but_reading_is_there(description: CarDescription, unit: Any, service: str) -> None:
    data = bytes.fromhex(service)
    request = (bytes((len(data),)) + data).ljust(8, b"\0").hex()
    assert unit(description, "engine").said(request) == [f"03 7f {data[0]:02x} 11"]


def test_a_unit_has_the_services_that_something_is_asked_of_it_in(talkative: CarDescription, unit: Any) -> None:
    assert unit(talkative, "gearbox").said("02 21 01") == ["03 7f 21 11"]
    assert unit(talkative, "battery").said("03 22 10 01") == ["03 7f 22 11"]
    assert unit(talkative, "battery").said("02 01 0D") == ["03 7f 01 11"]


def test_all_units_of_service_01_answer_what_all_are_asked(talkative: CarDescription, unit: Any) -> None:
    ask = "02 01 00 00 00 00 00 00"
    assert unit(talkative, "engine").said(ask, functional=True) == ["06 41 00 08 10 00 01"]
    assert unit(talkative, "gearbox").said(ask, functional=True) == ["06 41 00 00 08 00 00"]
    assert unit(talkative, "battery").said(ask, functional=True) == []


@pytest.mark.parametrize("request_bytes", ["02 01 2F", "02 09 55", "02 3E 00", "30 00 00", "10 09 22 10 01 10 02 10"])
def test_what_a_unit_has_not_it_passes_over_when_all_are_asked(
    talkative: CarDescription, unit: Any, request_bytes: str
) -> None:
    assert unit(talkative, "gearbox").said(request_bytes, functional=True) == []


def test_an_address_byte_tells_units_apart_over_isotp_too(talkative: CarDescription, unit: Any) -> None:
    climate = unit(talkative, "climate")
    assert climate.said("77 03 22 0A 0B") == []
    assert climate.said("03 22 0A 0B") == []
    assert climate.said("78 03 22 0A 0C") == ["78 03 7f 22 31"]
    assert climate.told("22 0A 0B") == bytes.fromhex("62 0A 0B 11 F8 00 00 00 00 00 00 5B")


def test_in_extended_addressing_a_unit_hears_its_own_address_and_answers_with_the_testers(
    talkative: CarDescription, unit: Any
) -> None:
    units = [replace(one, reply_address=0xF1) if one.name == "climate" else one for one in talkative.units]
    climate = unit(replace(talkative, units=tuple(units)), "climate", manners=Manners(pending_share=0.0))
    assert climate.said("F1 03 22 0A 0C") == []
    assert climate.said("78 03 22 0A 0C") == ["f1 03 7f 22 31"]

    def later(data: str, now: float) -> list[str]:
        answers = climate.simulated.answer(bytes.fromhex(data), {"gearbox.oil_pressure": 300.0}, now)
        return [frame.hex(" ")[:11] for _, frame in answers]

    assert later("78 03 22 0A 0B", 100.0)[-1] == "f1 10 0c 62"
    assert later("F1 30 00 00", 100.1) == []
    assert [frame[:5] for frame in later("78 30 00 00", 100.3)] == ["f1 21", "f1 22"]


def test_latency_is_seeded_and_between_5_and_25_ms(description: CarDescription, unit: Any) -> None:
    first = [unit(description, "engine", seed).ask("02 01 05")[0][0] for seed in range(50)]
    assert first == [unit(description, "engine", seed).ask("02 01 05")[0][0] for seed in range(50)]
    assert len(set(first)) > 40
    assert 0.005 <= min(first) <= max(first) <= 0.025


def test_a_few_answers_to_identifiers_are_pending_first(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine")
    answers = [engine.said("03 22 21 C7") for _ in range(1000)]
    pending = [answer for answer in answers if answer[0] == "03 7f 22 78"]
    assert 5 < len(pending) < 50
    assert all(answer[-1] == "05 62 21 c7 11 30" for answer in answers)
    prompt = unit(description, "engine", manners=Manners(pending_share=0.0))
    assert {len(prompt.said("03 22 21 C7")) for _ in range(300)} == {1}


def test_requests_are_counted_and_flow_control_is_none(talkative: CarDescription, unit: Any) -> None:
    gearbox = unit(talkative, "gearbox", manners=Manners(pending_share=0.0))
    assert gearbox.told("22 10 01") is not None
    assert gearbox.said("03 22 99 99") == ["03 7f 22 31"]
    assert gearbox.simulated.answered == 2
