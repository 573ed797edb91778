"""Bytes that gather in a few ranges, and those that do not."""

from __future__ import annotations

import numpy as np

from underdash.finding.heard import Bytes
from underdash.finding.levels import levels_of

RANDOM = np.random.default_rng(1)
PRESSES = np.repeat([249, 18, 249, 57, 249, 101, 249, 18, 249, 57, 249, 101, 249], 30)


def column(levels: np.ndarray, by: int) -> Bytes:
    return (levels + RANDOM.integers(-by, by + 1, len(levels))).astype(np.uint8)


def test_a_ladder_with_noise_has_a_range_for_each_button() -> None:
    found = levels_of(column(PRESSES, 2))
    assert found is not None
    assert found.ranges == ((16, 20), (55, 59), (99, 103), (247, 251))
    assert {*found.usual[[16, 20]].tolist()} == {found.usual[18]}
    assert found.usual[200] == 200


def test_a_code_without_noise_has_none() -> None:
    assert levels_of(PRESSES.astype(np.uint8)) is None
    assert levels_of(np.repeat([0, 5, 0, 6, 0, 40, 0], 10).astype(np.uint8)) is None


def test_a_number_that_goes_through_all_has_none() -> None:
    assert levels_of(np.cumsum(RANDOM.integers(-1, 2, 3000)).astype(np.uint8)) is None


def test_a_flag_beside_a_small_number_has_none() -> None:
    assert levels_of(column(np.repeat([5, 133, 5, 133, 5], 30), 1)) is None


def test_a_code_beside_something_that_flickers_has_none() -> None:
    code = np.repeat([0x00, 0x20, 0x00, 0x40, 0x00, 0x60, 0x00], 30)
    assert levels_of((code + RANDOM.integers(0, 8, len(code))).astype(np.uint8)) is None


def test_a_byte_that_never_moves_has_none() -> None:
    assert levels_of(np.full(20, 7, np.uint8)) is None
    assert levels_of(np.full(1, 7, np.uint8)) is None
