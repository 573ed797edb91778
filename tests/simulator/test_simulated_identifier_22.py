from __future__ import annotations

from typing import Any

from underdash.contract.cars import CarDescription
from underdash.simulator.manners import Manners

PROMPT = Manners(pending_share=0.0)


def test_identifiers_answer_and_unknown_ones_are_refused(description: CarDescription, unit: Any) -> None:
    engine = unit(description, "engine", manners=PROMPT)
    assert engine.said("03 22 21 C7 00 00 00 00") == ["05 62 21 c7 11 30"]
    assert engine.said("03 22 21 C8 00 00 00 00") == ["03 7f 22 31"]
    assert engine.said("02 22 21 00 00 00 00 00") == ["03 7f 22 13"]
    assert engine.said("01 22 00 00 00 00 00 00") == ["03 7f 22 13"]


def test_several_identifiers_come_in_the_order_of_asking_and_unknown_ones_are_left_out(
    talkative: CarDescription, unit: Any
) -> None:
    gearbox = unit(talkative, "gearbox", manners=PROMPT)
    assert gearbox.told("22 10 03 10 02") == bytes.fromhex("62 1003 0866 1002 5B")
    assert gearbox.told("22 10 02 99 99 10 03") == bytes.fromhex("62 1002 5B 1003 0866")


def test_a_long_answer_has_every_byte(talkative: CarDescription, unit: Any) -> None:
    gearbox = unit(talkative, "gearbox", manners=PROMPT)
    assert gearbox.told("22 10 01") == bytes.fromhex("62 1001 11F8") + bytes(17) + b"\x5b"


def test_a_request_in_several_frames_is_understood(talkative: CarDescription, unit: Any) -> None:
    gearbox = unit(talkative, "gearbox", manners=PROMPT)
    assert gearbox.told("22 10 02 10 03 10 02 10 03 10 02") == bytes.fromhex(
        "62 1002 5B 1003 0866 1002 5B 1003 0866 1002 5B"
    )


def test_each_unit_has_its_limit_of_identifiers(talkative: CarDescription, unit: Any) -> None:
    poor = unit(talkative, "gearbox", manners=Manners(identifiers_at_once=2, pending_share=0.0))
    assert poor.told("22 10 02 10 03") == bytes.fromhex("62 1002 5B 1003 0866")
    assert poor.told("22 10 02 10 03 10 02") == bytes.fromhex("7F 22 13")
