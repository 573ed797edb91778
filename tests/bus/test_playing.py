from __future__ import annotations

from collections.abc import Iterator
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from underdash.bus.frames import Frame
from underdash.bus.health import BusState
from underdash.bus.link import Link
from underdash.bus.opening import BusConfig, opener
from underdash.bus.playing import check_trace
from underdash.bus.trace import line_of
from underdash.contract.errors import GivenError
from underdash.pace import PacedLoop, paced_loop

if TYPE_CHECKING:
    from .conftest import Taken


@pytest.fixture
def loop() -> Iterator[PacedLoop]:
    made = paced_loop(inf)
    yield made
    made.close()


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    """Four seconds of two buses, 100 frames a second on each."""
    path = tmp_path / "drive.log"
    with path.open("w") as file:
        for number in range(400):
            at = 1000.0 + number / 100
            file.write(line_of("comfort", Frame(2, b"\x00", at=at)))
            file.write(line_of("drive", Frame(1, bytes((number % 256,)), at=at + 0.001)))
    return path


def run(loop: PacedLoop, link: Link, seconds: float) -> None:
    def tick() -> None:
        link.tick(loop.time())
        loop.call_later(0.1, tick)

    if not link.status(loop.time()).frames:
        link.start(loop, loop.time())
        tick()
    loop.call_later(seconds, loop.stop)
    loop.run_forever()


def link_of(trace: Path, taken: Taken, speed: float = 1.0) -> Link:
    link = Link("drive", opener(BusConfig("drive", "trace", str(trace), speed=speed)))
    link.table.add(1, taken)
    return link


def test_a_drive_is_played_by_the_clock_and_its_end_is_told(loop: PacedLoop, trace: Path, taken: Taken) -> None:
    link = link_of(trace, taken)
    begun = loop.time()
    run(loop, link, 2.0)
    assert link.status(loop.time()).state is BusState.LISTENING
    assert 198 <= len(taken.data) <= 202
    assert taken.times[100] - begun == pytest.approx(1.0, abs=0.01)
    run(loop, link, 20.0)
    assert [data[0] for data in taken.data] == [number % 256 for number in range(400)]
    assert link.status(loop.time()).state is BusState.ABSENT
    assert "was played to its end; start underdash again" in link.status(loop.time()).sentence


def test_at_twice_the_speed_it_takes_half_the_time(loop: PacedLoop, trace: Path, taken: Taken) -> None:
    run(loop, link_of(trace, taken, speed=2.0), 2.1)
    assert len(taken.data) == 400


def test_nothing_is_sent_into_it(loop: PacedLoop, trace: Path, taken: Taken) -> None:
    link = link_of(trace, taken)
    run(loop, link, 1.0)
    assert link.status(loop.time()).silent is True
    assert not link.send(Frame(0x7DF, bytes(8)), loop.time())
    link.close()
    run(loop, link, 1.0)
    assert len(taken.data) <= 102


def test_whoever_records_gets_whole_frames(loop: PacedLoop, trace: Path, taken: Taken) -> None:
    link = link_of(trace, taken)
    heard: list[Frame] = []
    link.add_tap(heard.append)
    run(loop, link, 9.0)
    assert {frame.id for frame in heard} == {1}
    assert len(heard) == 400


def test_a_line_that_is_none_ends_it_with_its_number(loop: PacedLoop, trace: Path, taken: Taken) -> None:
    lines = trace.read_text().splitlines(keepends=True)
    trace.write_text("".join([*lines[:200], "rubbish\n", *lines[200:]]))
    link = link_of(trace, taken)
    run(loop, link, 9.0)
    assert 95 <= len(taken.data) <= 100
    assert "201" in link.status(loop.time()).sentence


def test_a_trace_without_the_bus_names_those_it_has(trace: Path, tmp_path: Path) -> None:
    check_trace(trace, "drive")
    with pytest.raises(GivenError, match=r"no frame of a bus 'dive' in it, there are comfort, drive; .*'drive'"):
        check_trace(trace, "dive")
    with pytest.raises(GivenError, match="check its name"):
        check_trace(tmp_path / "nosuch.log", "drive")
    trace.write_text("# nothing\n")
    with pytest.raises(GivenError, match="no frame in it"):
        check_trace(trace, "drive")
