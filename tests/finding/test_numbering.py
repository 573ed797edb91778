from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.numbering import Numbering

from .frames import stream


@given(st.integers(1, 8), st.booleans(), st.data())
def test_a_run_declared_and_read_back_has_the_same_bits_in_the_same_order(
    width: int, big: bool, data: st.DataObject
) -> None:
    numbering = Numbering(width, big)
    low = data.draw(st.integers(0, 8 * width - 1))
    length = data.draw(st.integers(1, 8 * width - low))
    run = numbering.run(low, length)
    assert Numbering.run_of(numbering.bits(low, length), width) == run


@given(st.binary(min_size=1, max_size=8), st.booleans(), st.data())
def test_a_run_of_a_number_is_what_the_decoder_reads(payload: bytes, big: bool, data: st.DataObject) -> None:
    numbering = Numbering(len(payload), big)
    low = data.draw(st.integers(0, 8 * len(payload) - 1))
    length = data.draw(st.integers(1, min(63, 8 * len(payload) - low)))
    one = stream(payload)
    number = (int(numbering.numbers(one)[0]) >> low) & ((1 << length) - 1)
    assert number == int(one.raw(numbering.bits(low, length))[0])


def test_a_run_is_declared_the_way_a_person_would_write_it() -> None:
    assert Numbering(8, big=True).bits(48, 16) == Bits(0, 16)
    assert Numbering(8, big=False).bits(0, 16) == Bits(0, 16, order=ByteOrder.LITTLE)
    assert Numbering(8, big=False).bits(12, 4) == Bits(1, 4, 7)
    assert Numbering(8, big=False).bits(8, 4) == Bits(1, 4, 3)
    assert Numbering(8, big=False).bits(13, 11) == Bits(1, 11, 5, ByteOrder.LITTLE)


@pytest.mark.parametrize("big", [False, True])
def test_sorting_puts_the_least_significant_first(big: bool) -> None:
    assert Numbering(2, big).sort(np.arange(16)).tolist() == list(Numbering(2, big).run(0, 16))
