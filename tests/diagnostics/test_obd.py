from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.requests import Answer, PollRequest
from underdash.diagnostics import obd
from underdash.diagnostics.parameters import PARAMETERS


def test_a_request_is_the_service_and_the_parameter() -> None:
    assert obd.request(0x0C) == bytes.fromhex("010C")


def test_an_answer_is_the_echoed_parameter_and_its_bytes() -> None:
    assert obd.read(bytes.fromhex("410C1AF8")) == (Answer(0x0C, bytes.fromhex("1AF8")),)


def test_a_parameter_that_is_not_in_the_table_keeps_all_its_bytes() -> None:
    assert obd.read(bytes.fromhex("41F2010203")) == (Answer(0xF2, bytes.fromhex("010203")),)


def test_a_unit_may_send_more_than_it_must() -> None:
    # fuel trims of banks 3 and 4 come as a second byte
    assert obd.read(bytes.fromhex("41068070")) == (Answer(0x06, bytes.fromhex("8070")),)


def test_a_negative_response_carries_its_code() -> None:
    assert obd.read(bytes.fromhex("7F0112")) == (Answer(None, refused=0x12),)


@pytest.mark.parametrize("text", ["", "41", "010C", "62F190", "7F2231", "7F01"])
def test_what_is_not_an_answer_gives_none(text: str) -> None:
    assert obd.read(bytes.fromhex(text)) == ()


@settings(deadline=None)
@given(st.binary(max_size=8))
def test_no_message_breaks_it(message: bytes) -> None:
    for answer in obd.read(message):
        assert (answer.refused is None) == (answer.identifier is not None)


@settings(deadline=None)
@given(st.sets(st.sampled_from([pid for pid, p in PARAMETERS.items() if p.size <= 2]), min_size=1, max_size=3))
def test_an_answer_to_several_parameters_gives_each_its_bytes(pids: set[int]) -> None:
    body = b"".join(bytes((pid, *range(PARAMETERS[pid].size))) for pid in pids)
    assert obd.read(b"\x41" + body) == tuple(Answer(pid, bytes(range(PARAMETERS[pid].size))) for pid in pids)


def test_a_mask_counts_on_from_its_own_number() -> None:
    assert obd.supported(0x40, bytes.fromhex("80000001")) == (0x41, 0x60)
    assert obd.supported(0x00, b"") == ()


def test_standard_requests_carry_the_fields_of_the_table() -> None:
    speed, scale = obd.polls("engine", [0x0C, 0x4F], 0.2)
    assert (speed.unit, speed.protocol, speed.identifier, speed.period_s, speed.once) == (
        "engine", "service_01", 0x0C, 0.2, False,
    )  # fmt: skip
    assert speed.fields == PARAMETERS[0x0C].fields
    assert scale.once
    with pytest.raises(KeyError):
        obd.poll("engine", 0xF2)


def test_a_standard_request_without_fields_gets_those_of_the_table() -> None:
    bare = PollRequest("engine", "service_01", 0x0C, ())
    assert obd.with_fields(bare).fields == PARAMETERS[0x0C].fields
    own = PollRequest("engine", "service_01", 0x0C, PARAMETERS[0x0D].fields)
    for untouched in (
        own,
        PollRequest("engine", "identifier_22", 0x0C, ()),
        PollRequest("engine", "service_01", 0xF2, ()),
    ):
        assert obd.with_fields(untouched) is untouched
