from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from underdash.contract.cars import CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics.isotp import Dropped
from underdash.diagnostics.single_frame import decode
from underdash.simulator.manners import Manners


def test_two_units_on_one_id_are_told_apart_by_their_address(description: CarDescription, unit: Any) -> None:
    turbo, exhaust = unit(description, "turbo"), unit(description, "exhaust")
    request = "45 5C A2 1A 04 01 00 00"
    assert turbo.said(request) == ["46 5c e2 1a 04 11 12"]
    assert exhaust.said(request) == []
    assert exhaust.said("45 67 A2 2B 11 01 00 00") == ["46 67 e2 2b 11 17 eb"]


@pytest.mark.parametrize(
    "request_bytes",
    ["45 5C A3 1A 04 01 00 00", "45 5C A2 1A 04 02 00 00", "44 5C A2 1A 04 01 00 00", "45 5C A2", ""],
    ids=["another command", "another mode", "wrong count", "cut short", "empty"],
)
def test_the_format_is_taken_to_the_letter(description: CarDescription, unit: Any, request_bytes: str) -> None:
    assert unit(description, "turbo").said(request_bytes) == []


def test_an_unknown_number_is_refused_in_the_commands_place(description: CarDescription, unit: Any) -> None:
    assert unit(description, "turbo").said("45 5C A2 1A 99 01 00 00") == ["44 5c 7f a2 31"]


@pytest.fixture
def wordy(description: CarDescription) -> CarDescription:
    fields = (Field("engine.manifold_pressure", Bits(0, 16), scale=0.05), Field("exhaust.temperature", Bits(3)))
    return replace(description, polls=(*description.polls, PollRequest("turbo", "odd", 0x1A20, fields)))


def test_an_answer_longer_than_a_frame_is_refused(wordy: CarDescription, unit: Any) -> None:
    assert unit(wordy, "turbo").said("45 5C A2 1A 20 01 00 00") == ["44 5c 7f a2 14"]


def test_or_it_spills_over_under_its_true_count_and_a_reader_can_name_it(wordy: CarDescription, unit: Any) -> None:
    turbo = unit(wordy, "turbo", manners=Manners(spills=True))
    said = turbo.ask("45 5C A2 1A 20 01 00 00")
    assert [data.hex(" ") for _, data in said] == ["48 5c e2 1a 20 11 12 00", "ff"]
    assert said[0][0] < said[1][0]
    declared: ControlUnit = turbo.simulated.unit
    [form] = wordy.formats
    dropped = decode(form, declared, said[0][1])
    assert isinstance(dropped, Dropped)
    assert (dropped.reason, dropped.identifier) == ("several frames", 0x1A20)
    assert decode(form, declared, said[1][1]) is None
