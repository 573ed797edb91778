from __future__ import annotations

import numpy as np

from underdash.finding.heard import Heard
from underdash.finding.like.reference import Reference, trusted, turns, within


def test_turns_are_counted_above_a_part_of_the_range() -> None:
    assert turns(np.array([0.0, 1.0, 2.0, 10.0])) == 0
    assert turns(np.array([0.0, 10.0, 9.5, 10.0, 0.0, 10.0])) == 2
    assert turns(np.empty(0)) == 0


def test_what_lies_within_the_trace_is_kept_in_order_and_once() -> None:
    reference = Reference("a", np.array([3.0, 1.0, 2.0, 2.0, 9.0, 2.5]), np.array([3.0, 1.0, 2.0, 4.0, 9.0, np.nan]))
    kept = within(reference, Heard((), begin=0.0, end=5.0))
    assert kept.at.tolist() == [1.0, 2.0, 3.0]
    assert kept.value.tolist() == [1.0, 4.0, 3.0]


def test_lonely_values_and_one_that_means_off_are_left_out_of_many() -> None:
    value = 12.0 + np.sin(np.arange(100) / 9.0)
    value[[20, 97, 98, 99]] = 30.0, 0.0, 0.0, 0.0
    kept = trusted(Reference("volts", np.arange(100.0), value))
    assert len(kept) == 96
    few = Reference("typed", np.arange(10.0), np.array([1.0, 50.0, 2.0, 49.0, 1.0, 80.0, 2.0, 1.0, 60.0, 2.0]))
    assert len(trusted(few)) == 10
