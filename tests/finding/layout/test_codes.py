from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np
import pytest

from underdash.finding.heard import Flags
from underdash.finding.layout import codes
from underdash.finding.layout.codes import mixed, what


@dataclass
class Told:
    bits: float
    kind: str
    signed: bool


def told(values: list[int], length: int, active: int | None = None, *, noise: float = inf) -> Told:
    """The code of what a run of `length` bits took, of whose values only the changes count."""
    row = np.array(values, dtype=np.uint64)
    changed = row[1:] != row[:-1]
    run = np.zeros(int(changed.sum()), dtype=np.int64)
    before, after, bits = row[:-1][changed], row[1:][changed], np.array([active or length])
    made = what(before, after, run, length=np.array([length]), active=bits, noise=np.array([noise]))
    return Told(float(made.bits[0]), str(made.kind[0]), bool(made.signed[0]))


def when(changed: Flags, together: Flags) -> float:
    return float(codes.when(changed[None, :], together)[0])


def walk(count: int, step: int, middle: int, seed: int = 1) -> list[int]:
    dice, out = random.Random(seed), [middle]
    for _ in range(count):
        out.append(out[-1] + dice.randint(-step, step))
    return out


def test_two_ways_that_cost_the_same_cost_that_and_one_never_more_than_a_bit_too_much() -> None:
    assert mixed((10.0, 10.0)) == pytest.approx(10.0)
    assert mixed((10.0, inf)) == pytest.approx(11.0)
    assert mixed((inf, inf)) == inf


def test_when_something_changed_is_told_cheaply_where_something_below_changed_with_it() -> None:
    changed = np.zeros(1000, dtype=bool)
    changed[[100, 500]] = True
    alone = when(changed, np.zeros(1000, dtype=bool))
    assert alone > 15.0
    assert when(changed, changed) < 0.4 * alone


def test_runs_are_told_alike_one_by_one_and_all_together() -> None:
    row = np.array(walk(200, 30, 2000), dtype=np.uint64)
    lengths = np.array([2, 5, 8, 12])
    changes = [np.flatnonzero((row[1:] ^ row[:-1]) & np.uint64((1 << length) - 1)) for length in lengths.tolist()]
    changes[1] = changes[1][:0]
    run = np.repeat(np.arange(4), [len(one) for one in changes])
    at = np.concatenate(changes)
    made = what(row[:-1][at], row[1:][at], run, length=lengths, active=lengths, noise=np.full(4, inf))
    for one, (length, bits) in enumerate(zip(lengths.tolist(), made.bits.tolist(), strict=True)):
        alone = told([value & (1 << length) - 1 for value in row.tolist()], length).bits
        assert bits == pytest.approx(alone if len(changes[one]) else 0.0)


def test_few_values_are_a_choice_and_many_near_each_other_a_number() -> None:
    assert told([0, 5, 0, 9, 0, 5, 9, 0, 9] * 4, 4).kind == "choice"
    assert told(walk(300, 3, 120), 8).kind == "number"


def test_bits_that_never_change_within_a_choice_are_paid_for() -> None:
    assert told([0, 1, 0], 8, 2).bits > told([0, 1, 0], 2).bits


def test_a_number_in_its_right_order_is_told_more_shortly_than_its_bits_in_two_parts() -> None:
    speed = walk(1000, 4, 250)
    low, high = [value & 0xFF for value in speed], [value >> 8 for value in speed]
    together = told(speed, 10).bits
    changes = np.array([a != b for a, b in pairwise(high)])
    apart = told(low, 8).bits + told(high, 2).bits + when(changes, np.zeros(1000, dtype=bool))
    assert together < apart - 50.0


def test_a_number_that_passes_zero_is_signed_and_one_that_jumps_twice_is_not() -> None:
    around = walk(400, 3, 0)
    assert told([value & 0xFF for value in around], 8).signed
    assert not told([255] * 3 + walk(400, 3, 60) + [255], 8).signed


def test_a_number_that_starts_again_by_itself_is_told_as_one() -> None:
    turning = [7 * n & 0xFF for n in range(300)]
    scattered = [random.Random(n).randrange(256) for n in range(300)]
    assert told(turning, 8).bits < 0.3 * told(scattered, 8).bits


def test_a_number_that_is_out_of_use_is_told_shortly_without_the_flag_beside_it() -> None:
    torque = [0x7FF, 0x7FF, 0, 0, *walk(60, 3, 0x3D2), 0x7FF]
    valid = [1, 1, 1, 1, *[0] * 61, 1]
    beside = [flag << 11 | number for flag, number in zip(valid, torque, strict=True)]
    assert told(torque, 11).bits < told(beside, 12).bits - 8.0


def test_a_byte_that_takes_any_value_alike_is_noise_and_its_bits_are_no_flags() -> None:
    dice = random.Random(4)
    values = [dice.randrange(256) for _ in range(400)]
    made = told(values, 8, noise=6.0)
    assert (made.kind, made.signed) == ("noise", False)
    flags = 0.0
    for bit in range(8):
        flags += when(np.array([(a ^ b) >> bit & 1 == 1 for a, b in pairwise(values)]), np.zeros(399, dtype=bool))
    assert made.bits < flags


def test_what_steps_is_no_noise_nor_is_what_changed_a_few_times() -> None:
    dice = random.Random(4)
    values = [dice.randrange(256) for _ in range(400)]
    assert told(walk(400, 30, 120), 8, noise=6.0).kind == "number"
    assert told(values[:8], 8, noise=6.0).kind != "noise"


def test_a_number_that_comes_into_use_near_its_middle_is_told_more_shortly_than_one_that_comes_anywhere() -> None:
    hovering = walk(60, 3, 0)
    middle, anywhere = ([0] + [value + level for value in hovering] for level in (4096, 2731))
    assert told(middle, 13).bits < told(anywhere, 13).bits - 3.0
