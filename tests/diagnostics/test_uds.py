from __future__ import annotations

import pytest

from underdash.contract.requests import Answer
from underdash.diagnostics import uds


def test_a_request_is_the_service_and_two_bytes() -> None:
    # ISO 14229-1, request built alike by udsoncan
    import udsoncan
    from udsoncan.services.ReadDataByIdentifier import ReadDataByIdentifier

    request = ReadDataByIdentifier.make_request([0xF190], {0xF190: udsoncan.AsciiCodec(17)})
    assert uds.request(0xF190) == request.get_payload() == bytes.fromhex("22F190")


def test_an_answer_is_the_echoed_identifier_and_the_rest() -> None:
    assert uds.read(bytes.fromhex("62F1904142")) == (Answer(0xF190, b"AB"),)
    assert uds.read(bytes.fromhex("62F190")) == (Answer(0xF190, b""),)


def test_a_negative_response_carries_its_code() -> None:
    assert uds.read(bytes.fromhex("7F2278")) == (Answer(None, refused=0x78),)


@pytest.mark.parametrize("text", ["", "62", "62F1", "410C1AF8", "22F190", "7F0131", "7F22"])
def test_what_is_not_an_answer_gives_none(text: str) -> None:
    assert uds.read(bytes.fromhex(text)) == ()
