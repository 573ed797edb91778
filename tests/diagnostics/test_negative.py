from __future__ import annotations

import logging
import warnings

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
    assert str(meaning(code)).endswith(f"code {code:02X})")


def test_a_negative_response_names_the_service_it_refuses() -> None:
    assert refused(bytes.fromhex("7F2231"), 0x22) == Answer(None, refused=0x31)
    assert refused(bytes.fromhex("7F2231"), 0x01) is None


@pytest.mark.parametrize("text", ["", "7F", "7F22", "62F190", "220131"])
def test_what_is_not_one_is_not_taken_for_one(text: str) -> None:
    assert refused(bytes.fromhex(text), 0x22) is None


def test_the_codes_have_the_names_an_independent_stack_gives_them() -> None:
    from udsoncan.Response import Response

    ours = {code: found.name for code in range(256) if (found := meaning(code)).name}
    assert len(ours) == 35
    assert {code: name.lower() for code, name in ours.items()} == {
        code: Response.Code.get_name(code).replace("_", "").lower() for code in ours
    }
    assert str(meaning(0x84)).endswith("is not right (engineIsNotRunning, code 84)")


def test_kwp_gives_a_few_codes_other_meanings_and_only_its_own_services_get_them() -> None:
    assert "wants another format" in str(meaning(0x12, 0x21))
    assert "wants another format" not in str(meaning(0x12, 0x22))
    assert "wrong order" in str(meaning(0x22, 0x1A))
    assert meaning(0x80, 0x21).remedy is Remedy.PARK
    assert meaning(0x80, 0x22).remedy is Remedy.SLOWLY
    assert meaning(0x31, 0x21) == meaning(0x31)


def test_what_kwp_calls_otherwise_has_the_names_another_independent_decoder_gives_it() -> None:
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib.automotive.kwp import KWP_NR

    assert {code: meaning(code, 0x21).name for code in (0x12, 0x22, 0x23, 0x80)} == {
        code: KWP_NR.negativeResponseCodes[code] for code in (0x12, 0x22, 0x23, 0x80)
    }
