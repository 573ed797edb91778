from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, Select
from underdash.finding.heard import Stream
from underdash.finding.layout.protection import protection_of
from underdash.finding.pressed.contents import fields_of, sums
from underdash.finding.pressed.moving import Moving
from underdash.finding.reading import heard_from
from underdash.finding.small import Small, small_fields

PAGES = tuple(bytes([page, *(page * 83 + n * 29 & 0xFF for n in range(7))]) for page in range(4))
SECOND = Select(Bits(0, 2, 1), (2,))


def stream(payload: Callable[[int], bytes], count: int = 400) -> Stream:
    """One id, ten frames a second."""
    return heard_from([("comfort", Frame(0x511, payload(n), at=0.1 * n)) for n in range(count)]).streams[0]


def held(n: int) -> bool:
    return n % 100 in range(50, 62)


def paged(n: int) -> bytes:
    """Four pages in turn: one bit of page 2 is held now and then, one of the last byte of them all turns over."""
    data = bytearray(PAGES[n % 4])
    data[5] ^= 4 * (n % 4 == 2 and held(n))
    data[7] = data[7] & 0xFE | (n > 130)
    return bytes(data)


def found(one: Stream, most: int = 30) -> list[Small]:
    return list(fields_of(one, 0.0, most, protection_of))


def test_a_bit_of_one_content_is_there_under_the_multiplexer_only() -> None:
    fields = found(stream(paged))
    (button,) = [one for one in fields if one.where.bits == Bits(5, 1, 2)]
    assert button.select == SECOND
    assert len(button.at) == 8
    assert {one.stream.id for one in fields} == {0x511}


def test_a_bit_of_all_contents_is_none_of_the_multiplexer() -> None:
    (plain,) = [one for one in found(stream(paged)) if one.where.bits == Bits(7, 1, 0)]
    assert plain.select is None
    assert len(plain.at) == 1


def test_contents_that_are_empty_but_for_the_bit_are_told_by_it() -> None:
    fields = found(stream(lambda n: bytes([n % 4, 0, 0, 0, 0, 4 * (n % 4 == 2 and held(n)), 0, 0])))
    assert [(one.where.bits, one.select and one.select.values) for one in fields] == [(Bits(5, 1, 2), (2,))]
    assert fields[0].raw.tolist() == [0, 1] * 4 + [0]


def test_a_counter_beside_a_bit_selects_nothing() -> None:
    one = stream(lambda n: bytes([n % 16, held(n)]))
    fields = found(one)
    assert [field.where for field in fields] == [field.where for field in small_fields(one, 0.0, 30)]
    assert all(field.select is None for field in fields)


def test_what_answers_in_most_contents_is_a_sum() -> None:
    """The counter looks like a selector, and what is made of it and of a bit by an unknown rule like contents."""

    def summed(n: int) -> bytes:
        count, bit = n % 4, held(n)
        return bytes([count, bit, *((count + 4 * bit + 1) * 0x9E37 & 0xFFFF).to_bytes(2)])

    under = [one for one in found(stream(summed)) if one.select is not None]
    assert {one.select.values for one in under if one.select} == {(0,), (1,), (2,), (3,)}
    assert sums(under) == {"comfort 511"}
    assert sums([one for one in under if one.select and one.select.values == (1,)]) == set()


def test_contents_in_turn_are_no_counters_of_what_is_in_them() -> None:
    one = stream(paged)
    (button,) = [field for field in found(one) if field.select is not None and field.where.bits == Bits(5, 1, 2)]
    assert not Moving().within(button)


@pytest.mark.parametrize("payload", [b"", b"\0"])
def test_frames_that_never_change_have_none(payload: bytes) -> None:
    assert found(stream(lambda _: payload)) == []


def test_no_field_is_there_twice() -> None:
    places = sorted(str(one.where) for one in found(stream(paged)))
    assert all(before != after for before, after in pairwise(places))
