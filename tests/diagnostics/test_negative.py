from __future__ import annotations

import pytest

from underdash.contract.requests import Answer
from underdash.diagnostics.negative import Remedy, meaning, refused


@pytest.mark.parametrize("code", [0x11, 0x12, 0x31, 0x7E, 0x7F, 0x33])
def test_what_a_unit_will_never_answer_is_parked(code: int) -> None:
    assert meaning(code).remedy is Remedy.PARK


def test_a_busy_unit_is_asked_again_and_a_working_one_is_waited_for() -> None:
    assert meaning(0x21).remedy is Remedy.LATER
    assert meaning(0x78).remedy is Remedy.WAIT


@pytest.mark.parametrize("code", [0x10, 0x22, 0x25, 0x81, 0x94, 0x95, 0x00, 0xFF])
def test_everything_else_is_asked_again_rarely(code: int) -> None:
    assert meaning(code).remedy is Remedy.SLOWLY


@pytest.mark.parametrize("code", range(256))
def test_every_code_has_a_sentence_with_its_number(code: int) -> None:
    assert str(meaning(code)).endswith(f"(code {code:02X})")


def test_a_negative_response_names_the_service_it_refuses() -> None:
    assert refused(bytes.fromhex("7F2231"), 0x22) == Answer(None, refused=0x31)
    assert refused(bytes.fromhex("7F2231"), 0x01) is None


@pytest.mark.parametrize("text", ["", "7F", "7F22", "62F190", "220131"])
def test_what_is_not_one_is_not_taken_for_one(text: str) -> None:
    assert refused(bytes.fromhex(text), 0x22) is None


def test_the_codes_have_the_names_an_independent_stack_gives_them() -> None:
    from udsoncan.Response import Response

    named = {code: Response.Code.get_name(code) for code in (0x11, 0x12, 0x21, 0x22, 0x31, 0x33, 0x78, 0x7F)}
    assert named == {
        0x11: "ServiceNotSupported",
        0x12: "SubFunctionNotSupported",
        0x21: "BusyRepeatRequest",
        0x22: "ConditionsNotCorrect",
        0x31: "RequestOutOfRange",
        0x33: "SecurityAccessDenied",
        0x78: "RequestCorrectlyReceived_ResponsePending",
        0x7F: "ServiceNotSupportedInActiveSession",
    }


def test_kwp_gives_a_few_codes_other_meanings_and_only_its_own_services_get_them() -> None:
    assert "wants another format" in str(meaning(0x12, 0x21))
    assert "wants another format" not in str(meaning(0x12, 0x22))
    assert "wrong order" in str(meaning(0x22, 0x1A))
    assert meaning(0x80, 0x21).remedy is Remedy.PARK
    assert meaning(0x80, 0x22).remedy is Remedy.SLOWLY
    assert meaning(0x31, 0x21) == meaning(0x31)
