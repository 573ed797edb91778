from __future__ import annotations

import random

import numpy as np
import pytest

from underdash.finding.layout.steps import MOST_STEPS, Steps, Within
from underdash.finding.numbering import Numbering

from ..frames import columns, stream

DICE = random.Random(1)
WORDS = [30000]
while len(WORDS) < 300:
    WORDS.append(min(65535, max(0, WORDS[-1] + DICE.randint(-900, 900))))


def steps(*rows: bytes, big: bool = False, within: Within | None = None) -> Steps:
    one = stream(*rows)
    return Steps(one, Numbering(one.width, big), np.zeros(8 * one.width, dtype=bool), {} if within is None else within)


def test_runs_from_one_bit_cost_the_same_whether_asked_for_at_once_or_fewer_of_them() -> None:
    rows = [word.to_bytes(2, "little") for word in WORDS]
    lengths = np.arange(1, 17)
    all_of_them = steps(*rows).told(0, lengths)
    assert steps(*rows).told(0, lengths[:9]) == all_of_them[:9]
    assert (all_of_them[0].kind, all_of_them[15].kind) == ("flag", "number")


def test_runs_within_a_byte_are_told_once_for_both_orders_and_alike() -> None:
    rows, within = [word.to_bytes(2, "big") for word in WORDS], Within()
    little = steps(*rows, within=within).told(0, np.arange(1, 9))
    known = {place: list(told) for place, told in within.items()}
    assert known.keys() == {0}
    shared, alone = (steps(*rows, big=True, within=one).told(8, np.arange(1, 9)) for one in (within, Within()))
    assert shared == alone
    assert [one.kind for one in shared] == [one.kind for one in little]
    assert within == known


def test_a_run_that_goes_on_beyond_its_byte_is_told_by_the_order() -> None:
    rows = [word.to_bytes(2, "big") for word in WORDS]
    within = Within()
    for big, low in ((False, 0), (True, 8)):
        steps(*rows, big=big, within=within).told(low, np.arange(1, 9))
    both = [steps(*rows, big=big, within=within).told(0, np.arange(1, 17)) for big in (False, True)]
    assert both[0][15].bits != pytest.approx(both[1][15].bits)


def test_of_many_frames_blocks_are_looked_at_and_all_at_which_something_rare_happened() -> None:
    count = 4 * MOST_STEPS
    one = columns([n % 7 for n in range(count)], [int(n > count - 200) for n in range(count)])
    made = Steps(one, Numbering(2, big=False), np.zeros(16, dtype=bool), Within())
    (rare,) = made.told(8, np.array([1]))
    assert rare.kind == "flag"
    assert 0.0 < rare.bits < made.told(0, np.array([1]))[0].bits
