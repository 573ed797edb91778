"""Pairs told by time alone are refused unless everything about their times is as a tester's."""

from __future__ import annotations

import numpy as np

from underdash.finding.heard import Stream
from underdash.finding.requests.one_frame_turns import in_turn, may_ask

FRAMES = 300
RNG = np.random.default_rng(5)
UNEVEN = np.cumsum(RNG.uniform(0.08, 0.13, FRAMES))
BEAT = 0.1 * np.arange(FRAMES)


def stream(can_id: int, at: np.ndarray) -> Stream:
    data = np.zeros((len(at), 8), dtype=np.uint8)
    data[:, 3] = np.arange(len(at)) % 5
    return Stream("drive", can_id, False, at, np.full(len(at), 8, dtype=np.uint8), data)


def latency(low: float, high: float) -> np.ndarray:
    return np.random.default_rng(6).uniform(low, high, FRAMES)


def test_each_request_followed_by_an_answer_of_its_own_is_a_pair() -> None:
    to = stream(0x6A1, UNEVEN)
    found = in_turn(to, stream(0x6B2, UNEVEN + latency(0.004, 0.02)))
    assert may_ask(to)
    assert found is not None
    assert found.by_time
    assert len(found.asked) == FRAMES


def test_a_beat_asks_nobody_even_with_a_pause() -> None:
    assert not may_ask(stream(0x6A1, BEAT))
    assert not may_ask(stream(0x6A1, np.concatenate([BEAT, 400.0 + BEAT])))


def test_frames_right_behind_each_other_or_equally_late_are_of_one_control_unit() -> None:
    to = stream(0x6A1, UNEVEN)
    assert in_turn(to, stream(0x6B2, UNEVEN + latency(0.0002, 0.004))) is None
    assert in_turn(to, stream(0x6B2, UNEVEN + 0.01)) is None


def test_frames_with_a_time_of_their_own_are_no_answers() -> None:
    to = stream(0x6A1, UNEVEN)
    assert in_turn(to, stream(0x6B2, BEAT)) is None
    assert in_turn(to, stream(0x6B2, UNEVEN + latency(0.004, 0.079))) is None


def test_more_or_fewer_answers_than_requests_are_none() -> None:
    to = stream(0x6A1, UNEVEN)
    answers = UNEVEN + latency(0.004, 0.02)
    assert in_turn(to, stream(0x6B2, answers[::2])) is None
    assert in_turn(to, stream(0x6B2, np.sort(np.concatenate([answers, answers + 0.01])))) is None
