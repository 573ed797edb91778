from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.broadcast.bits import LayoutError
from underdash.broadcast.checks import checksum, checksum_check, checksum_writer, counter_check, crc8_table
from underdash.broadcast.counts import Counts
from underdash.contract.layout import Bits, Checksum, Counter

RELAXED = settings(deadline=None)

CHECK_INPUT = b"123456789"


def bit_by_bit(data: bytes, polynomial: int, initial: int, final: int) -> int:
    """CRC-8 as polynomial division over the message's bits, with no table and no bytes."""
    bits = [int(bit) for byte in data for bit in f"{byte:08b}"] + [0] * 8
    for index in range(8):
        bits[index] ^= initial >> (7 - index) & 1
    divisor = [1] + [polynomial >> (7 - index) & 1 for index in range(8)]
    for start in range(len(bits) - 8):
        if bits[start]:
            for offset, bit in enumerate(divisor):
                bits[start + offset] ^= bit
    return int("".join(map(str, bits[-8:])), 2) ^ final


def over_all(data: bytes, **options: Any) -> int:
    """The checksum of `data` in a frame that carries it in front of its checksum byte."""
    return checksum(Checksum("crc8", len(data), **options))(data + b"\0")


def test_crc8_of_sae_j1850_gives_its_check_value() -> None:
    # SAE J1850: polynomial 1D, initial FF, final FF; "123456789" gives 4B (the trade's check value,
    # from memory; the package crccheck gives the same)
    assert over_all(CHECK_INPUT) == 0x4B


def test_crc8_with_other_numbers_gives_their_check_values() -> None:
    # from memory, as above: polynomial 2F (AUTOSAR's CRC8H2F) gives DF; polynomial 07 from 00 (SMBus) gives F4
    assert over_all(CHECK_INPUT, polynomial=0x2F) == 0xDF
    assert over_all(CHECK_INPUT, polynomial=0x07, initial=0, final=0) == 0xF4


@RELAXED
@given(st.binary(min_size=1, max_size=20), *[st.integers(0, 255)] * 3)
def test_crc8_equals_the_division_bit_by_bit(data: bytes, polynomial: int, initial: int, final: int) -> None:
    assert over_all(data, polynomial=polynomial, initial=initial, final=final) == bit_by_bit(
        data, polynomial, initial, final
    )


def mirrored(byte: int) -> int:
    return int(f"{byte:08b}"[::-1], 2)


def test_reflected_crc8_gives_its_check_values() -> None:
    # from memory: polynomial 31 from 00 (of one-wire thermometers) gives A1; polynomial 07 from FF (ROHC) gives D0
    assert over_all(CHECK_INPUT, polynomial=0x31, initial=0, final=0, reflected=True) == 0xA1
    assert over_all(CHECK_INPUT, polynomial=0x07, initial=0xFF, final=0, reflected=True) == 0xD0


@RELAXED
@given(st.binary(min_size=1, max_size=20), *[st.integers(0, 255)] * 3)
def test_reflected_crc8_is_the_division_of_mirrored_bytes(
    data: bytes, polynomial: int, initial: int, final: int
) -> None:
    turned = mirrored(bit_by_bit(bytes(map(mirrored, data)), polynomial, initial, 0)) ^ final
    assert over_all(data, polynomial=polynomial, initial=initial, final=final, reflected=True) == turned


def test_the_table_is_the_remainder_of_each_byte() -> None:
    assert list(crc8_table(0x1D)) == [bit_by_bit(bytes([byte]), 0x1D, 0, 0) for byte in range(256)]


def test_sum_and_xor_add_and_xor_their_constant() -> None:
    data = bytes.fromhex("08FFFB0000001800")
    assert checksum(Checksum("sum8", 7, final=0x6A))(data) == (0x08 + 0xFF + 0xFB + 0x18 + 0x6A) % 256
    assert checksum(Checksum("xor8", 7, final=0x6A))(data) == 0x08 ^ 0xFF ^ 0xFB ^ 0x18 ^ 0x6A
    assert checksum(Checksum("sum8", 7))(data) == (0x08 + 0xFF + 0xFB + 0x18) % 256


def test_only_the_declared_bytes_are_covered_and_never_the_checksum_itself() -> None:
    data = bytes([1, 2, 4, 8, 16, 32])
    assert checksum(Checksum("sum8", 2))(data) == 59
    assert checksum(Checksum("sum8", 2, first=1, last=4))(data) == 2 + 8 + 16
    assert checksum(Checksum("sum8", 0, first=1, last=2))(data) == 6
    assert checksum(Checksum("sum8", 5, last=1))(data) == 3


def test_a_wrong_checksum_is_counted_and_dropped() -> None:
    counts = Counts()
    check = checksum_check(Checksum("xor8", 1), counts)
    assert check(b"\x5a\x5a")
    assert not check(b"\x5a\x5b")
    assert counts.checksum == 1


def test_a_repeated_count_is_dropped_and_a_jump_is_taken() -> None:
    counts = Counts()
    check = counter_check(Counter(Bits(0, 4, 3)), counts)
    taken = [check(bytes([count])) for count in (14, 15, 0, 0, 1, 5, 6)]
    assert taken == [True, True, True, False, True, True, True]
    assert (counts.repeated, counts.jumped) == (1, 1)


@pytest.mark.parametrize(
    "declared",
    [
        Checksum("crc16", 7),
        Checksum("crc8", 7, polynomial=0x11D),
        Checksum("crc8", 7, initial=-1),
        Checksum("sum8", 7, final=256),
        Checksum("sum8", -1),
        Checksum("sum8", 7, first=3, last=2),
        Checksum("sum4", 7, final=16),
        Checksum("sum4", 7, bit=3),
        Checksum("sum8", 7, bit=4),
        Checksum("xor4", 7, negative=True),
        Checksum("sum8", 7, reflected=True),
    ],
)
def test_a_checksum_that_cannot_be_is_refused(declared: Checksum) -> None:
    with pytest.raises(LayoutError):
        checksum(declared)


def test_a_negative_sum_brings_all_of_it_to_its_constant() -> None:
    data = bytes.fromhex("08FFFB0000001800")
    own = checksum(Checksum("sum8", 7, final=0x10, negative=True))(data)
    assert (sum(data) + own) % 256 == 0x10


@pytest.mark.parametrize(("bit", "kept"), [(0, 0xC0), (4, 0x03)])
def test_half_bytes_are_summed_and_xored_without_their_own(bit: int, kept: int) -> None:
    data = bytes([0x12, 0x5F, 0xC3])
    others = [1, 2, 5, 15, kept >> 4 | kept & 15]
    assert checksum(Checksum("sum4", 2, final=3, bit=bit))(data) == (sum(others) + 3) % 16
    assert checksum(Checksum("sum4", 2, final=3, bit=bit, negative=True))(data) == (3 - sum(others)) % 16
    assert checksum(Checksum("xor4", 2, final=3, bit=bit))(data) == 1 ^ 2 ^ 5 ^ 15 ^ others[-1] ^ 3
    assert checksum(Checksum("sum4", 2, bit=bit, last=1))(data) == (1 + 2 + 5 + 15) % 16


@pytest.mark.parametrize(
    "declared",
    [
        Checksum("sum4", 1, final=5, bit=4, negative=True),
        Checksum("xor4", 1, bit=0, last=1),
        Checksum("crc8", 1, 0x07, reflected=True),
        Checksum("sum8", 1, negative=True),
    ],
)
def test_what_is_written_is_right_and_leaves_the_other_bits(declared: Checksum) -> None:
    counts = Counts()
    check = checksum_check(declared, counts)
    for byte in range(256):
        data = bytearray([byte, 0x5A, 255 - byte])
        checksum_writer(declared)(data)
        assert check(bytes(data))
        mask = 0xF << declared.bit if declared.kind in ("sum4", "xor4") else 0xFF
        assert data[1] & ~mask == 0x5A & ~mask
        data[1] ^= 1 << declared.bit
        assert not check(bytes(data))
    assert counts.checksum == 256
