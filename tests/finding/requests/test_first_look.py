from __future__ import annotations

import numpy as np
import pytest

from underdash.finding.heard import Stream
from underdash.finding.requests.first_look import FirstLook

FRAMES = 2000
LOOK_BACK = 4


def stream(can_id: int, at: np.ndarray, data: np.ndarray) -> Stream:
    return Stream("drive", can_id, False, at, np.full(len(at), data.shape[1], dtype=np.uint8), data.astype(np.uint8))


def requests(rng: np.random.Generator) -> Stream:
    """Ten values in turn at random, in byte 2."""
    data = np.full((FRAMES, 8), 0x33)
    data[:, 2] = rng.integers(0, 10, FRAMES) + 0x40
    return stream(0x100, 0.1 * np.arange(FRAMES), data)


def answers(
    to: Stream, rng: np.random.Generator, *, late_s: float = 0.02, wrong: float = 0.0, no: float = 0.0
) -> Stream:
    data = rng.integers(0, 0x40, (FRAMES, 8))
    data[:, 4] = np.where(rng.random(FRAMES) < wrong, 0x70, to.data[:, 2])
    data[rng.random(FRAMES) < no, 1] = 0x7F
    return stream(0x200, to.at + late_s, data)


def near(to: Stream, *others: Stream) -> list[bool]:
    return [bool(one) for one in FirstLook([to, *others], (300, 1500), LOOK_BACK).repeating(to, [2])[1:]]


@pytest.mark.parametrize("wrong", [0.0, 0.1])
def test_an_id_that_repeats_nearly_every_time_is_looked_at_further(wrong: float) -> None:
    for seed in range(20):
        rng = np.random.default_rng(seed)
        to = requests(rng)
        assert near(to, answers(to, rng, wrong=wrong)) == [True]


def test_an_id_that_repeats_now_and_then_is_not() -> None:
    rng = np.random.default_rng(1)
    to = requests(rng)
    assert near(to, answers(to, rng, wrong=0.6), answers(to, rng, wrong=1.0)) == [False, False]


def test_it_may_repeat_one_of_the_last_few_requests() -> None:
    rng = np.random.default_rng(1)
    to = requests(rng)
    assert near(to, answers(to, rng, late_s=0.32), answers(to, rng, late_s=2.0)) == [True, False]


def test_refusals_say_nothing_against_it() -> None:
    rng = np.random.default_rng(1)
    to = requests(rng)
    refusing = answers(to, rng, no=0.5)
    refusing.data[refusing.data[:, 1] == 0x7F, 4] = 0
    assert near(to, refusing) == [True]


def test_where_hardly_anything_but_refusals_is_seen_it_is_looked_at_further() -> None:
    rng = np.random.default_rng(1)
    to = requests(rng)
    assert near(to, answers(to, rng, no=0.97)) == [True]


def test_a_byte_that_is_not_asked_for_does_not_count() -> None:
    rng = np.random.default_rng(1)
    to = requests(rng)
    same = stream(0x200, to.at + 0.02, to.data)
    assert FirstLook([to, same], (300,), LOOK_BACK).repeating(to, []).tolist() == [False, False]
