from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

from underdash.bus.frames import Frame
from underdash.bus.replay import Replay, play
from underdash.bus.table import Table

if TYPE_CHECKING:
    from .conftest import Taken

DRIVE = [("can0", Frame(1, bytes((number,)), at=100.0 + number)) for number in range(5)]


def tables(taken: Taken) -> dict[str, Table]:
    table = Table()
    table.add(1, taken)
    return {"drive": table}


def test_frames_come_when_they_are_due_with_the_time_they_were_due(taken: Taken) -> None:
    replay = Replay(DRIVE, tables(taken), roles={"can0": "drive"}, start=10.0)
    assert replay.due() == 10.0
    assert replay.advance(9.9) == 0
    assert replay.advance(12.5) == 3
    assert taken.times == [10.0, 11.0, 12.0]
    assert replay.due() == 13.0
    assert not replay.finished
    assert replay.rest() == 2
    assert (replay.finished, replay.due(), replay.frames, replay.wanted) == (True, None, 5, 5)


def test_twice_the_speed_takes_half_the_time(taken: Taken) -> None:
    replay = Replay(DRIVE, tables(taken), roles={"can0": "drive"}, speed=2.0)
    replay.rest()
    assert taken.times == [0.0, 0.5, 1.0, 1.5, 2.0]
    with pytest.raises(ValueError, match="speed"):
        Replay(DRIVE, {}, speed=0.0)


def test_frames_of_other_buses_and_kinds_are_counted_and_dropped(taken: Taken) -> None:
    frames = [
        ("comfort", Frame(1, b"a")),
        ("drive", Frame(1, b"", remote=True)),
        ("drive", Frame(1, b"", error=True)),
        ("drive", Frame(1, b"", fd=True)),
        ("drive", Frame(2, b"b")),
        ("drive", Frame(1, b"c")),
    ]
    replay = Replay(frames, tables(taken))
    replay.rest()
    assert (replay.frames, replay.foreign, replay.wanted) == (6, 4, 1)
    assert taken.data == [b"c"]


def test_an_empty_trace_is_finished_at_once() -> None:
    assert Replay([], {}).finished


def test_a_loop_plays_to_the_end_by_its_own_clock(taken: Taken) -> None:
    async def run() -> None:
        loop = asyncio.get_running_loop()
        replay = Replay(DRIVE, tables(taken), roles={"can0": "drive"}, start=loop.time(), speed=1000.0)
        await asyncio.wait_for(play(replay), 10)

    asyncio.run(run())
    assert [data[0] for data in taken.data] == [0, 1, 2, 3, 4]
