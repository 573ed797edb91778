from __future__ import annotations

from math import inf

import pytest

from underdash.bus.frames import Frame
from underdash.bus.replay import Replay

DRIVE = [("can0", Frame(1, bytes((number,)), at=100.0 + number)) for number in range(5)]


def times(frames: list[Frame]) -> list[float]:
    return [frame.at for frame in frames]


def test_frames_come_when_they_are_due_with_the_time_they_were_due() -> None:
    replay = Replay(DRIVE, "can0", start=10.0)
    assert replay.due() == 10.0
    assert replay.advance(9.9) == []
    assert times(replay.advance(12.5)) == [10.0, 11.0, 12.0]
    assert replay.due() == 13.0
    assert not replay.finished
    assert [frame.data for frame in replay.advance(inf)] == [b"\x03", b"\x04"]
    assert (replay.finished, replay.due(), replay.frames) == (True, None, 5)


def test_twice_the_speed_takes_half_the_time() -> None:
    assert times(Replay(DRIVE, "can0", speed=2.0).advance(inf)) == [0.0, 0.5, 1.0, 1.5, 2.0]
    with pytest.raises(ValueError, match="speed"):
        Replay(DRIVE, "can0", speed=0.0)


def test_buses_of_one_trace_keep_their_distance() -> None:
    frames = [
        ("comfort", Frame(1, b"a", at=5.0)),
        ("drive", Frame(2, b"b", at=7.0)),
        ("comfort", Frame(1, b"c", at=8.0)),
    ]
    assert times(Replay(frames, "drive", start=1.0).advance(inf)) == [3.0]
    assert times(Replay(frames, "comfort", start=1.0).advance(inf)) == [1.0, 4.0]


def test_no_more_than_wanted_come_at_once() -> None:
    replay = Replay(DRIVE, "can0")
    assert times(replay.advance(inf, 2)) == [0.0, 1.0]
    assert times(replay.advance(inf, 9)) == [2.0, 3.0, 4.0]


def test_an_empty_trace_is_finished_at_once() -> None:
    assert Replay([], "drive").finished
