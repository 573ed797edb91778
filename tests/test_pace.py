"""Loops that run faster than the world."""

from __future__ import annotations

import asyncio
import threading
import time
from math import inf

import pytest

from underdash.pace import paced_loop


def test_a_jumping_loop_passes_an_hour_without_waiting_and_in_order() -> None:
    seen: list[tuple[str, float]] = []
    loop = paced_loop(inf)
    start, world = loop.time(), time.monotonic()

    async def wait(name: str, seconds: float) -> None:
        await asyncio.sleep(seconds)
        seen.append((name, loop.time() - start))

    async def both() -> None:
        await asyncio.gather(wait("late", 3600.0), wait("early", 1.0))

    loop.run_until_complete(both())
    loop.close()
    assert [name for name, _ in seen] == ["early", "late"]
    assert seen[1][1] == pytest.approx(3600.0, abs=0.1)
    assert time.monotonic() - world < 60


def test_a_scaled_loop_runs_faster_than_the_world() -> None:
    loop = paced_loop(200.0)
    world, start = time.monotonic(), loop.time()
    loop.run_until_complete(asyncio.sleep(4.0))
    assert loop.time() - start >= 4.0
    assert time.monotonic() - world < 4.0
    loop.close()


@pytest.mark.parametrize("speed", [0, -1, float("nan")])
def test_a_speed_that_is_not_positive_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="larger than 0"):
        paced_loop(speed)


def test_time_stands_still_while_a_callback_runs_however_slow_it_is() -> None:
    loop = paced_loop(1000.0)
    times: list[float] = []

    def slow() -> None:
        begun = time.monotonic()
        times.append(loop.time())
        while time.monotonic() - begun < 0.02:
            pass
        times.append(loop.time())

    loop.call_later(1.0, slow)
    loop.call_later(2.0, loop.stop)
    start = loop.time()
    loop.run_forever()
    assert times[0] == times[1]
    assert loop.time() - start == pytest.approx(2.0, abs=0.1)
    loop.close()


def test_what_comes_from_a_thread_does_not_wait_for_the_next_timer() -> None:
    loop = paced_loop(2.0)
    seen: list[float] = []
    start = loop.time()

    def arrive() -> None:
        seen.append(loop.time() - start)
        loop.stop()

    loop.call_later(3600.0, loop.stop)
    thread = threading.Timer(0.05, lambda: loop.call_soon_threadsafe(arrive))
    thread.start()
    loop.run_forever()
    thread.join()
    loop.close()
    assert 0.05 < seen[0] < 60
