from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.finding.heard import Stream
from underdash.finding.layout.rhythm import rhythm
from underdash.finding.reading import heard_from


def sent(times: Sequence[float], payloads: Sequence[bytes]) -> Stream:
    frames = [("drive", Frame(0x100, data, at=at)) for at, data in zip(times, payloads, strict=True)]
    (one,) = heard_from(frames).streams
    return one


EVERY_100_MS = [0.1 * n + 0.001 * (n % 3) for n in range(60)]


def test_a_period_is_told_with_its_jitter() -> None:
    made = rhythm(sent(EVERY_100_MS, [bytes([n]) for n in range(60)]))
    assert made.manner == "periodic"
    assert made.period_s == pytest.approx(0.1, rel=0.02)
    assert made.jitter_s is not None
    assert 0.0 < made.jitter_s < 0.004
    assert str(made).startswith("every 10")


def test_a_lost_frame_and_a_sleeping_sender_leave_the_period_alone() -> None:
    times = [at for n, at in enumerate(EVERY_100_MS) if n not in (7, 20, 21)]
    later = times + [at + 500.0 for at in times]
    made = rhythm(sent(later, [b"\x00"] * len(later)))
    assert made.manner == "periodic"
    assert made.period_s == pytest.approx(0.1, rel=0.02)


def test_frames_that_come_only_with_news_are_sent_on_change() -> None:
    gaps = [0.02 * 1.5 ** (n * 7 % 13) for n in range(40)]
    made = rhythm(sent(np.cumsum(gaps).tolist(), [bytes([n % 2]) for n in range(40)]))
    assert (made.manner, made.period_s, str(made)) == ("on change", None, "on change")


def test_frames_at_a_period_and_at_once_on_change_are_mixed() -> None:
    extra = [0.1 * n + 0.037 for n in range(3, 60, 5)]
    times = sorted(EVERY_100_MS + extra)
    state, payloads = 0, []
    for at in times:
        state += at in extra
        payloads.append(bytes([state]))
    made = rhythm(sent(times, payloads))
    assert made.manner == "mixed"
    assert made.period_s == pytest.approx(0.1, rel=0.03)
    assert str(made).endswith("and at once on change")


def test_a_counter_is_no_news() -> None:
    gaps = [0.02 * 1.5 ** (n * 7 % 13) for n in range(40)]
    one = sent(np.cumsum(gaps).tolist(), [bytes([n % 16]) for n in range(40)])
    own = np.array([True] * 4 + [False] * 4)
    assert rhythm(one, own).manner == "irregular"


def test_lengths_are_counted_and_few_frames_have_no_rhythm() -> None:
    made = rhythm(sent([0.0, 0.1, 0.2], [b"\x01", b"\x01\x02", b"\x03"]))
    assert (made.manner, made.lengths, made.period_s) == ("seldom", ((1, 2), (2, 1)), None)


def test_frames_all_with_one_stamp_have_no_period() -> None:
    made = rhythm(sent([5.0] * 20, [b"\x00"] * 20))
    assert (made.manner, made.period_s) == ("irregular", None)
