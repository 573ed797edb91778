from __future__ import annotations

from math import exp, log

import numpy as np
import pytest

from underdash.finding.like.chance import PLAIN, log_chance, log_expected


@pytest.mark.parametrize(("count", "left"), [(5, 0.1), (8, 0.2), (12, 0.3)])
def test_lines_through_unrelated_numbers_are_as_close_as_is_said(count: int, left: float) -> None:
    rng = np.random.default_rng(1)
    raw, value = rng.standard_normal((2, 200_000, count))
    raw -= raw.mean(axis=1, keepdims=True)
    value -= value.mean(axis=1, keepdims=True)
    r2 = (raw * value).sum(axis=1) ** 2 / ((raw**2).sum(axis=1) * (value**2).sum(axis=1))
    seen = float(np.mean(1.0 - r2 <= left))
    # the distribution's lower end is told, which is a little less than all of it
    assert seen * (1.0 - left) * 0.9 <= exp(log_chance(left, count - 2)) <= seen * 1.1


def test_two_numbers_more_than_a_line_needs_are_wanted_for_any_evidence() -> None:
    assert log_chance(1e-6, 0.0) == 0.0
    assert log_chance(0.01, 6.0) < log_chance(0.01, 3.0) < 0.0


def test_more_fields_bring_more_by_chance() -> None:
    assert log_expected(0.01, 6.0, 0.0, 2000) == pytest.approx(log_expected(0.01, 6.0, 0.0, 20) + log(100))


def test_plain_numbers_count_only_as_far_as_they_are_rare() -> None:
    without = log_expected(0.01, 6.0, 0.0, 100)
    # a maker's usual choice by itself is no evidence: wide errors always leave room for one
    assert log_expected(0.01, 6.0, 4.0, 100) == without
    assert log_expected(0.01, 6.0, 50.0, 100) == pytest.approx(without - PLAIN)
