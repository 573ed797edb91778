from __future__ import annotations

import numpy as np
import pytest

from underdash.contract.layout import Bits
from underdash.finding.heard import Stream
from underdash.finding.pressed.answering import density, fit, ways
from underdash.finding.small import Small

SPAN_S = 60.0


def field(at: list[float], raw: list[int], width: float = 0.02) -> Small:
    stream = Stream("drive", 1, False, np.array(at), np.full(len(at), 1, np.uint8), np.zeros((len(at), 1), np.uint8))
    return Small(stream, Bits(0, 4, 3), np.array(at), np.full(len(at), width), np.array(raw), 0)


def ratio(at: list[float], marks: list[float], width: float = 0.02) -> float:
    one = field(at, [n % 2 for n in range(len(at) + 1)], width)
    densities = density(np.array(marks)[:, None] - one.at, one.width[None, :])
    return fit(densities, next(ways(one, both=True)), SPAN_S).log_ratio


@pytest.mark.parametrize("width", [0.0, 0.02, 0.5, 3.0])
def test_the_density_of_lateness_is_one(width: float) -> None:
    late = np.linspace(-4, 2, 60_001)
    assert float(density(late, np.full_like(late, width)).sum() * 1e-4) == pytest.approx(1.0, abs=1e-3)


def test_people_are_late_and_hardly_ever_early() -> None:
    late = np.array([-0.2, 0.0, 0.3, 0.5, 0.7, 1.0])
    before, now, soon, usual, seldom, never = density(late, np.zeros(6)).tolist()
    assert before == never == 0.0
    assert now == pytest.approx(soon, rel=0.1) == pytest.approx(usual, rel=0.1)
    assert 0.0 < seldom < usual / 2


def test_a_mark_before_the_frame_fits_a_change_that_was_sent_late() -> None:
    assert density(np.array([-0.4]), np.array([1.0]))[0] > 0.1


def test_each_unmarked_change_and_each_unanswered_mark_counts_against_a_field() -> None:
    marks = [10.2, 20.3, 30.1]
    exact = ratio([10.0, 20.0, 30.0], marks)
    assert exact > ratio([10.0, 20.0, 30.0, 40.0], marks) > ratio([10.0, 20.0, 30.0, 40.0, 50.0], marks)
    assert exact > ratio([10.0, 20.0], marks) > 0.0 > ratio([40.0, 50.0], marks)


def test_a_change_answers_one_mark_only() -> None:
    one = field([10.0], [0, 1])
    found = fit(density(np.array([10.1, 10.3])[:, None] - one.at, one.width[None, :]), next(ways(one)), SPAN_S)
    assert found.answers.tolist() == [0, -1]


def test_ways_that_come_to_the_same_changes_are_one_and_shares_add_up() -> None:
    button = field([10.0, 10.3, 20.0, 20.3], [0, 2, 0, 2, 0])
    found = {tuple(way.changes.tolist()): way.share for way in ways(button)}
    assert found == pytest.approx({(0, 1, 2, 3): 0.4, (0, 2): 0.45, (1, 3): 0.15})
    assert [way.changes.tolist() for way in ways(button, both=True)] == [[0, 1, 2, 3]]


def test_one_value_of_several_is_a_way() -> None:
    several = field([10.0, 11.0, 20.0, 22.0], [0, 1, 0, 2, 0])
    assert [2] in [way.changes.tolist() for way in ways(several)]
