from __future__ import annotations

import numpy as np

from underdash.finding.requests.one_frame_checks import checksum_of

BEFORE = np.array([[0x93, 0xA9, identifier] for identifier in (0x24, 0x4F, 0x92, 0x51)], dtype=np.int64)


def with_last(last: np.ndarray) -> np.ndarray:
    return np.column_stack([BEFORE, last & 0xFF]).astype(np.uint8)


def test_sums_and_exclusive_ors_are_told_with_their_bytes() -> None:
    total = BEFORE.sum(axis=1)
    assert checksum_of(with_last(total), [3]) == "byte 3 of its requests is a checksum (sum of bytes 0 to 2)"
    assert (
        checksum_of(with_last(0x55 - total), [3])
        == "byte 3 of its requests is a checksum (negative sum of bytes 0 to 2)"
    )
    both = np.bitwise_xor.reduce(BEFORE, axis=1)
    assert checksum_of(with_last(both), [3]) == "byte 3 of its requests is a checksum (exclusive or of bytes 0 to 2)"


def test_a_byte_that_follows_nothing_is_none() -> None:
    assert checksum_of(with_last(np.array([1, 2, 3, 9])), [3]) is None


def test_of_two_different_values_any_byte_could_be_computed() -> None:
    assert checksum_of(with_last(BEFORE.sum(axis=1))[:2], [3]) is None


def test_where_nothing_else_moves_there_is_nothing_to_compute_from() -> None:
    still = np.column_stack([np.full(4, 0x93), np.arange(4)]).astype(np.uint8)
    assert checksum_of(still, [1]) is None
