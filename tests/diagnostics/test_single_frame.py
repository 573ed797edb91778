from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.contract.requests import Answer, ControlUnit, Part, PartKind, SingleFrameFormat
from underdash.diagnostics.isotp import Dropped
from underdash.diagnostics.single_frame import decode, encode, mistakes, positions, room

COUNT = Part(PartKind.COUNT, value=0xC8)
ADDRESS = Part(PartKind.ADDRESS)
COMMAND = Part(PartKind.COMMAND)
NUMBER = Part(PartKind.IDENTIFIER, 2)
ONCE = Part(PartKind.MODE, value=0x01)
DATA = Part(PartKind.DATA)
# made up
FORM = SingleFrameFormat(
    "made_up", 0xA3, (COUNT, ADDRESS, COMMAND, NUMBER, ONCE), (COUNT, ADDRESS, COMMAND, NUMBER, DATA)
)
UNIT = ControlUnit("charge", "drive", 0x0F00, 0x0F01, extended=True, address=0x5C)


def test_the_count_is_its_constant_plus_what_follows_and_the_mode_asks_once() -> None:
    assert encode(FORM, UNIT, 0x1234) == bytes.fromhex("CD5CA3123401")


def test_an_answer_adds_to_the_command_and_echoes_the_number() -> None:
    # request plus 40: common practice, no source
    assert decode(FORM, UNIT, bytes.fromhex("CE5CE312340BB800")) == Answer(0x1234, bytes.fromhex("0BB8"))


def test_padding_is_not_part_of_the_value_whatever_it_looks_like() -> None:
    assert decode(FORM, UNIT, bytes.fromhex("CD5CE3123450FFFF")) == Answer(0x1234, b"\x50")
    assert decode(FORM, UNIT, bytes.fromhex("CD5CE3123450")) == Answer(0x1234, b"\x50")
    assert decode(FORM, UNIT, bytes.fromhex("CC5CE31234000000")) == Answer(0x1234, b"")


@pytest.mark.parametrize(
    "text",
    [
        "CE67E312340BB800",  # another unit on the same id
        "CE5CE412340BB800",  # another command
        "CE5CA312340BB800",  # a request
        "C35CE312340BB800",  # says fewer bytes than the echo has
        "035CE312340BB800",  # less than the constant
        "CE5CE3",
        "",
    ],
)
def test_what_is_not_this_units_answer_is_not_taken_for_one(text: str) -> None:
    assert decode(FORM, UNIT, bytes.fromhex(text)) is None


def test_an_answer_too_long_for_one_frame_is_named_with_whose_it_is() -> None:
    found = decode(FORM, UNIT, bytes.fromhex("D25CE3123401020304"[:16]))
    assert isinstance(found, Dropped)
    assert (found.reason, found.identifier) == ("several frames", 0x1234)
    assert "6 bytes" in found.why
    assert "holds 3" in found.why


def test_a_cut_frame_is_named() -> None:
    found = decode(FORM, UNIT, bytes.fromhex("CF5CE3123401"))
    assert isinstance(found, Dropped)
    assert found.reason == "length"


def test_a_refusal_stands_where_the_command_would() -> None:
    # as in ISO 14229-1; for makers' formats common practice, no source
    assert decode(FORM, UNIT, bytes.fromhex("CC5C7FA331000000")) == Answer(None, refused=0x31)
    assert decode(FORM, UNIT, bytes.fromhex("CC5C7FA431000000")) is None
    assert decode(FORM, UNIT, bytes.fromhex("CB5C7FA331000000")) is None


def test_a_reply_without_echo_leaves_open_what_it_answers() -> None:
    form = replace(FORM, reply=(COUNT, ADDRESS, COMMAND, DATA))
    assert decode(form, UNIT, bytes.fromhex("CC5CE30BB8000000")) == Answer(None, bytes.fromhex("0BB8"))


def test_a_reply_without_count_is_all_that_follows() -> None:
    form = replace(FORM, reply=(COMMAND, NUMBER, Part(PartKind.FIXED, value=0x07), DATA))
    assert decode(form, UNIT, bytes.fromhex("E31234070BB8")) == Answer(0x1234, bytes.fromhex("0BB8"))
    assert decode(form, UNIT, bytes.fromhex("E31234080BB8")) is None


@settings(deadline=None)
@given(st.integers(0, 0xFFFF), st.binary(min_size=1, max_size=3), st.integers(0, 255))
def test_what_a_unit_says_is_read_as_it_said_it(number: int, value: bytes, address: int) -> None:
    unit = replace(UNIT, address=address)
    frame = bytes((0xC8 + 4 + len(value), address, 0xE3)) + number.to_bytes(2) + value
    assert decode(FORM, unit, frame.ljust(8, b"\0")) == Answer(number, value)


@settings(deadline=None)
@given(st.binary(max_size=8))
def test_no_frame_breaks_it(data: bytes) -> None:
    decode(FORM, UNIT, data)


def test_a_unit_without_address_cannot_be_asked() -> None:
    with pytest.raises(UnderdashError, match="give the unit its `address`"):
        encode(FORM, replace(UNIT, address=None), 0x1234)


def test_a_number_too_large_for_its_part_is_refused() -> None:
    with pytest.raises(UnderdashError, match="12345 does not fit 2 byte"):
        encode(FORM, UNIT, 0x12345)


def test_the_format_knows_what_varies_and_how_much_a_reply_holds() -> None:
    assert positions(FORM, PartKind.IDENTIFIER) == (3, 4)
    assert positions(FORM, PartKind.COMMAND) == (2,)
    assert positions(FORM, PartKind.ADDRESS) == (1,)
    assert room(FORM) == 3
    assert mistakes(FORM) == []


@pytest.mark.parametrize(
    ("form", "part"),
    [
        (replace(FORM, request=(COUNT, ADDRESS, NUMBER)), "exactly one command"),
        (replace(FORM, request=(COMMAND,)), "exactly one identifier"),
        (replace(FORM, request=(COMMAND, NUMBER, DATA)), "data part"),
        (replace(FORM, request=(COMMAND, Part(PartKind.IDENTIFIER, 8))), "9 bytes"),
        (replace(FORM, request=(Part(PartKind.COMMAND, 2), NUMBER)), "one byte"),
        (replace(FORM, reply=(COMMAND, DATA, NUMBER)), "at the end"),
        (replace(FORM, reply=(COMMAND, NUMBER)), "at the end"),
        (replace(FORM, reply=(NUMBER, DATA)), "exactly one command"),
        (replace(FORM, reply=(COMMAND, Part(PartKind.FIXED, 7), DATA)), "no byte"),
    ],
)
def test_a_format_that_contradicts_itself_says_where(form: SingleFrameFormat, part: str) -> None:
    assert any(part in found for found in mistakes(form))
