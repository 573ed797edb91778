from __future__ import annotations

import numpy as np
import pytest

from underdash.broadcast.checks import crc8_table
from underdash.contract.layout import Bits
from underdash.finding.heard import Bytes
from underdash.finding.layout.checksums import checksum_of
from underdash.finding.layout.linear import follows_linearly
from underdash.finding.layout.protection import protection_of

from ..frames import columns

COUNT = range(8, 12)
ONE, LISTED = (
    [0x5C] * 16,
    [0x5C, 0x11, 0xE0, 0x37, 0x92, 0xAB, 0x04, 0x6D, 0xF8, 0x21, 0xC3, 0x7E, 0x99, 0x50, 0xB6, 0x0F],
)


def rows(identifiers: list[int], polynomial: int = 0x2F) -> Bytes:
    """A number that walks, a counter, and a CRC over them and an identifier behind them that is not in the frame."""
    chance = np.random.default_rng(3)
    table, out = crc8_table(polynomial), []
    value = 900
    for row in range(200):
        value += int(chance.integers(-9, 10))
        body = (*value.to_bytes(2), row % 16)
        remainder = 0xFF
        for byte in (*body, identifiers[row % 16]):
            remainder = table[remainder ^ byte]
        out.append((body[0], body[2], body[1], remainder ^ 0xFF))
    return np.array(out, dtype=np.uint8)


@pytest.mark.parametrize("polynomial", [0x2F, 0x83])
def test_a_crc_over_something_that_is_not_in_the_frame_is_an_exclusive_or_of_what_is(polynomial: int) -> None:
    assert follows_linearly(rows(ONE, polynomial), 3)


def test_where_that_changes_with_the_counter_the_counter_has_to_be_known() -> None:
    assert not follows_linearly(rows(LISTED), 3)
    assert follows_linearly(rows(LISTED), 3, COUNT)


def test_neither_noise_nor_a_sum_nor_a_value_told_twice_is_one() -> None:
    data = rows(ONE)
    noise, added, twice, moved = data.copy(), data.copy(), data.copy(), data.copy()
    noise[:, 3] = np.random.default_rng(5).integers(0, 256, len(data))
    added[:, 3] = data[:, :3].sum(axis=1)
    twice[:, 3] = data[:, 2]
    moved[:, 3] = data[:, 2] << 1 | data[:, 0] & 1
    for one in (noise, added, twice, moved):
        assert not follows_linearly(one, 3, COUNT)
        assert not follows_linearly(one, 2, COUNT)


def test_too_few_payloads_prove_nothing() -> None:
    assert not follows_linearly(rows(ONE)[:20], 3)
    assert not follows_linearly(rows(ONE)[:1], 3)


@pytest.mark.parametrize("identifiers", [ONE, LISTED])
def test_such_a_byte_is_a_checksum_by_a_rule_that_is_not_known(identifiers: list[int]) -> None:
    one = columns(*rows(identifiers).T.tolist())
    assert checksum_of(one) is None
    assert protection_of(one).unexplained == Bits(3, 8)


def test_what_goes_into_a_crc_is_not_taken_for_it() -> None:
    """From the CRC and the rest a noisy byte follows as well, but it does not change with every count."""
    chance = np.random.default_rng(3)
    table, out = crc8_table(0x2F), []
    value = 900
    for row in range(400):
        value += int(chance.integers(-90, 91)) if row % 8 else 0
        remainder = 0xFF
        for byte in (row % 16, *value.to_bytes(2), 0x5C):
            remainder = table[remainder ^ byte]
        out.append((remainder, row % 16, *value.to_bytes(2)))
    assert protection_of(columns(*np.array(out).T.tolist())).unexplained == Bits(0, 8)
