from __future__ import annotations

from collections.abc import Sequence

import pytest

from underdash.bus.frames import Frame
from underdash.finding.reading import heard_from
from underdash.finding.small import Small, small_fields, steady


def fields(payloads: Sequence[bytes], *, stamps: Sequence[float] | None = None, most: int = 5) -> dict[str, Small]:
    at = stamps or [0.1 * n for n in range(len(payloads))]
    heard = heard_from([("drive", Frame(1, data, at=stamp)) for data, stamp in zip(payloads, at, strict=True)])
    return {_name(one): one for one in small_fields(heard.streams[0], 0.0, most)}


def _name(one: Small) -> str:
    order = str(one.bits.order) if one.across else ""
    return "comes" if one.comes else f"{one.bits.byte}.{one.bits.bit}/{one.bits.length}{order}"


def test_bits_that_always_change_together_are_one_field() -> None:
    found = fields([b"\x00", b"\x30", b"\x30", b"\x00", b"\x00", b"\x00"])
    assert list(found) == ["0.5/2"]
    one = found["0.5/2"]
    assert one.raw.tolist() == [0, 3, 0]
    assert one.at.tolist() == pytest.approx([0.1, 0.3])
    assert one.width.tolist() == pytest.approx([0.1, 0.1])
    assert one.rest == 0
    assert one.active() == {4, 5}


def test_still_bits_between_make_no_field_of_their_own() -> None:
    assert list(fields([b"\x00", b"\x05", b"\x00"])) == ["0.0/1", "0.2/1"]


def test_a_field_of_several_values_is_there_beside_its_bits() -> None:
    found = fields([b"\x00", b"\x01", b"\x02", b"\x00", b"\x00"])
    assert set(found) == {"0.0/1", "0.1/1", "0.1/2"}
    assert found["0.1/2"].raw.tolist() == [0, 1, 2, 0]


def test_what_changes_often_is_none_and_parts_what_lies_on_both_sides() -> None:
    payloads = [bytes([n % 2 << 1 | (n > 9) | (n > 9) << 2]) for n in range(20)]
    assert set(fields(payloads, most=5)) == {"0.0/1", "0.2/1"}


def test_frames_that_lack_a_byte_tell_nothing_of_it() -> None:
    assert fields([b"\x01\xff", b"\x01", b"\x01\xff", b"\x01"]) == {}


def test_a_field_over_the_border_of_two_bytes_is_there_beside_its_bits() -> None:
    little = fields([(value << 6).to_bytes(2, "little") for value in (0, 5, 0, 6, 0, 3, 0)], most=6)
    assert set(little) == {"0.6/1", "0.7/1", "1.0/1", "0.7/2", "0.6/3little"}
    field = little["0.6/3little"]
    assert field.raw.tolist() == [0, 5, 0, 6, 0, 3, 0]
    assert field.active() == {6, 7, 8}
    big = fields([(value << 6).to_bytes(2, "big") for value in (0, 5, 0, 6, 0, 3, 0)], most=6)
    assert big["0.0/3big"].raw.tolist() == [0, 5, 0, 6, 0, 3, 0]
    assert big["0.0/3big"].active() == {0, 14, 15}
    assert not big["1.7/2"].across


def test_bits_on_both_sides_of_a_border_that_always_move_together_make_no_field() -> None:
    assert set(fields([b"\x00\x00", b"\x80\x01", b"\x00\x00"])) == {"0.7/1", "1.0/1"}


def test_what_is_busy_at_the_border_parts_what_lies_on_both_sides() -> None:
    payloads = [bytes([(n > 9) << 6 | n % 2 << 7, n > 12]) for n in range(20)]
    assert set(fields(payloads, most=5)) == {"0.6/1", "1.0/1"}


def test_an_id_sent_on_occasion_lay_at_rest_before() -> None:
    found = fields([b"\x01", b"\x00", b"\x01", b"\x00"], stamps=[5.0, 5.3, 9.0, 9.2])
    assert found["0.0/1"].raw.tolist() == [0, 1, 0, 1, 0]
    assert found["0.0/1"].at.tolist() == [5.0, 5.3, 9.0, 9.2]
    assert not found["0.0/1"].width.any()
    assert found["comes"].at.tolist() == [5.0, 9.0]
    assert found["comes"].active() == frozenset()


def test_an_id_sent_all_the_time_does_not_come() -> None:
    heard = heard_from([("drive", Frame(1, b"\x01", at=5 + 0.1 * n)) for n in range(50)])
    assert steady(heard.streams[0])
    assert list(small_fields(heard.streams[0], 0.0, 5)) == []


def test_frames_sent_while_something_is_held_come_on_occasion_however_many_they_are() -> None:
    stamps = [begin + 0.02 * n for begin in (5.0, 11.0, 18.0) for n in range(30)]
    assert fields([b"\x01"] * 90, stamps=stamps)["comes"].at.tolist() == [5.0, 11.0, 18.0]


def test_few_frames_are_not_sent_all_the_time() -> None:
    assert not steady(heard_from([("drive", Frame(1, b"", at=0.0)), ("drive", Frame(1, b"", at=1.0))]).streams[0])
