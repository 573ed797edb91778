from __future__ import annotations

import json

import pytest

from underdash.contract.layout import Bits, ByteOrder, Select
from underdash.finding.found import Answer, Candidate, Where, bits_text, percent


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        (Bits(2), "byte 2"),
        (Bits(2, 1, 0), "byte 2 bit 0"),
        (Bits(2, 4, 3), "byte 2 bits 0 to 3"),
        (Bits(2, 4, 0, ByteOrder.LITTLE), "byte 2 bits 0 to 3"),
        (Bits(4, 16), "bytes 4 to 5, big-endian"),
        (Bits(4, 16, order=ByteOrder.LITTLE), "bytes 4 to 5, little-endian"),
        (Bits(1, 12, 3), "12 bits from byte 1 bit 3, big-endian"),
    ],
)
def test_places_are_told_in_words(bits: Bits, text: str) -> None:
    assert bits_text(bits) == text


@pytest.mark.parametrize(
    ("confidence", "text"),
    [(0.0, "below 1 %"), (0.5, "50 %"), (0.994, "99 %"), (0.9999, "above 99 %"), (1.0, "above 99 %")],
)
def test_nothing_is_told_as_certain_or_ruled_out(confidence: float, text: str) -> None:
    assert percent(confidence) == text


def test_an_answer_can_be_written_as_json() -> None:
    where = Where("comfort", 0x2C1, True, Bits(2, 1, 0), select=Select(Bits(0), (1, 2)))
    candidate = Candidate(where, 0.91234567, 3.5, ("5 of 5 presses",), {0: "released", 1: "menu"}, {"late_s": 0.3})
    answer = Answer("menu", ((candidate,),), ("press once more",))
    assert str(where) == "comfort 000002C1 byte 2 bit 0 while byte 0 is 1 or 2"
    assert answer.best is candidate
    assert json.loads(json.dumps(answer.plain())) == {
        "question": "menu",
        "ranks": [
            [
                {
                    "bus": "comfort", "id": "000002C1", "extended": True,
                    "byte": 2, "bit": 0, "length": 1, "order": "big", "start": 16, "coding": "unsigned",
                    "select": {"byte": 0, "bit": 7, "length": 8, "order": "big", "start": 7, "values": [1, 2]},
                    "confidence": 0.9123, "score": 3.5, "because": ["5 of 5 presses"],
                    "meaning": {"0": "released", "1": "menu"}, "figures": {"late_s": 0.3},
                }
            ]
        ],
        "remarks": ["press once more"],
    }  # fmt: skip


def test_of_several_equally_good_none_is_the_best() -> None:
    one = Candidate(Where("drive", 1, False, Bits(0)), 0.5, 1.0)
    assert Answer("menu", ((one, one),)).best is None
    assert Answer("menu").best is None


def test_frames_that_come_at_all_are_told_as_such() -> None:
    where = Where("comfort", 0x2C1, False, Bits(0, 16), comes=True)
    assert str(where) == "comfort 2C1 being sent at all"
    assert where.plain()["comes"] is True


def test_a_multiplexer_within_another_is_told() -> None:
    where = Where("comfort", 0x2C1, False, Bits(2), select=Select(Bits(1), (3,), Select(Bits(0, 2, 1), (1, 2))))
    assert str(where) == "comfort 2C1 byte 2 while byte 1 is 3 and byte 0 bits 0 to 1 is 1 or 2"
