from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.requests import Answer, ControlUnit, Part, PartKind, Protocol, SingleFrameFormat
from underdash.diagnostics.isotp import Dropped
from underdash.diagnostics.speech import (
    IDENTIFIER_1A,
    IDENTIFIER_21,
    IDENTIFIER_22,
    SERVICE_01,
    SERVICE_09,
    STANDARD,
    Speech,
    from_format,
    from_protocol,
    speeches,
)

UNIT = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
SHARED = replace(UNIT, address=0x5C)
REQUEST = (Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2))
FORM = SingleFrameFormat("made_up", 0xA3, REQUEST, (*REQUEST, Part(PartKind.DATA)))


def protocol(name: str = "odd") -> Protocol:
    return Protocol(
        name,
        encode=lambda unit, identifier: bytes((0x05, 0xA5)) + identifier.to_bytes(2, "little"),
        decode=lambda unit, data: Answer(int.from_bytes(data[2:4], "little"), data[4:]) if data[1] == 0xE5 else None,
        identifier_bytes=(2, 3),
        command_byte=1,
    )


@pytest.mark.parametrize(
    ("speech", "unit", "identifier", "frame", "varies", "command_at", "room"),
    [
        (SERVICE_01, UNIT, 0x0C, "02010C", (2,), 1, 4093),
        (SERVICE_01, SHARED, 0x0C, "5C02010C", (3,), 2, 4093),
        (IDENTIFIER_22, UNIT, 0xF190, "0322F190", (2, 3), 1, 4092),
        (IDENTIFIER_22, SHARED, 0xF190, "5C0322F190", (3, 4), 2, 4092),
        (from_format(FORM), SHARED, 0x1234, "5CA31234", (2, 3), 1, 4),
        (from_protocol(protocol()), UNIT, 0x1234, "05A53412", (2, 3), 1, 8),
    ],
)
def test_a_protocol_knows_its_bytes(
    *,
    speech: Speech,
    unit: ControlUnit,
    identifier: int,
    frame: str,
    varies: tuple[int, ...],
    command_at: int,
    room: int,
) -> None:
    assert speech.encode(unit, identifier) == bytes.fromhex(frame)
    assert speech.varies(unit) == varies
    assert speech.command_at(unit) == command_at
    assert speech.room(unit) == room


@pytest.mark.parametrize(
    ("speech", "unit", "frame", "answer"),
    [
        (SERVICE_01, UNIT, "410C1AF8", Answer(0x0C, bytes.fromhex("1AF8"))),
        (SERVICE_01, SHARED, "410C1AF8", Answer(0x0C, bytes.fromhex("1AF8"))),
        (IDENTIFIER_22, UNIT, "62F19041", Answer(0xF190, b"A")),
        (SERVICE_09, UNIT, "49020141", Answer(0x02, b"\1A")),
        (IDENTIFIER_21, UNIT, "610141", Answer(0x01, b"A")),
        (IDENTIFIER_1A, UNIT, "5A9041", Answer(0x90, b"A")),
        (from_format(FORM), SHARED, "5CE3123477", Answer(0x1234, b"\x77")),
        (from_protocol(protocol()), UNIT, "06E5341277", Answer(0x1234, b"\x77")),
    ],
)
def test_a_protocol_reads_its_answers(speech: Speech, unit: ControlUnit, frame: str, answer: Answer) -> None:
    assert speech.decode(unit, bytes.fromhex(frame), {}, ()) == (answer,)


def test_a_protocol_reads_nobody_elses_answers() -> None:
    assert SERVICE_01.decode(UNIT, bytes.fromhex("62F19041"), {}, ()) == ()
    assert IDENTIFIER_22.decode(UNIT, bytes.fromhex("410C1AF8"), {}, ()) == ()
    assert IDENTIFIER_21.decode(UNIT, bytes.fromhex("62F19041"), {}, ()) == ()


def test_a_request_for_several_is_spelt_and_its_answer_cut_at_the_lengths_that_are_known() -> None:
    assert SERVICE_01.message is not None
    assert SERVICE_01.message((0x0C, 0x0D)) == bytes.fromhex("010C0D")
    answer = bytes.fromhex("410C1AF80D2A")
    assert SERVICE_01.decode(UNIT, answer, SERVICE_01.sizes, (0x0C, 0x0D)) == (
        Answer(0x0C, b"\x1a\xf8"), Answer(0x0D, b"*"),
    )  # fmt: skip
    assert isinstance(IDENTIFIER_22.decode(UNIT, bytes.fromhex("621234AA1235"), {0x1234: 2}, (0x1234, 0x1235)), Dropped)


def test_one_frame_holds_so_many_identifiers() -> None:
    assert [SERVICE_01.most_in_a_frame(unit) for unit in (UNIT, SHARED)] == [6, 5]
    assert [IDENTIFIER_22.most_in_a_frame(unit) for unit in (UNIT, SHARED)] == [3, 2]
    assert IDENTIFIER_21.most_in_a_frame(UNIT) == 1


def test_only_standard_protocols_are_no_makers_own() -> None:
    assert not SERVICE_01.maker
    assert not IDENTIFIER_22.maker
    assert from_format(FORM).maker
    assert from_protocol(protocol()).maker


def test_what_a_plug_ins_protocol_raises_names_it() -> None:
    found = from_protocol(protocol()).decode(UNIT, b"", {}, ())
    assert isinstance(found, Dropped)
    assert found.why == "decode of protocol 'odd' raised IndexError: index out of range"


def test_a_format_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(UnderdashError, match="'made_up' cannot be used: its reply needs one data part"):
        from_format(replace(FORM, reply=REQUEST))


def test_protocols_are_found_by_name_and_mistakes_leave_the_others_running() -> None:
    broken = replace(FORM, name="broken", reply=REQUEST)
    found, problems = speeches([FORM, broken], [protocol(), protocol("service_01")])
    assert set(found) == {*(speech.name for speech in STANDARD), "made_up", "odd"}
    assert found["service_01"] is SERVICE_01
    assert [problem.split()[1] for problem in problems] == ["'broken'", "'service_01'"]
