"""The watchdog is fed while everything goes on, and not a moment longer; the status line says how it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import inf
from typing import Any

import pytest

from underdash.pace import PacedLoop, paced_loop
from underdash.wiring.heartbeat import Heartbeat, progress, sentence
from underdash.wiring.status import Status


@pytest.fixture(scope="module")
def status(drive: Callable[..., Any]) -> Status:
    journey = drive()
    taken: list[Status] = []
    journey.at(8.0, lambda: taken.append(journey.demo.daemon.status()))
    journey.run(9.0)
    return taken[0]


@pytest.fixture
def loop() -> Iterator[PacedLoop]:
    made = paced_loop(inf)
    yield made
    made.close()


class Beating:
    """A heartbeat over parts whose counts are moved by hand, and what the service manager heard, by time."""

    def __init__(self, loop: PacedLoop, status: Status, watchdog_s: float | None = 8.0) -> None:
        self.counts = {"the loop": 0, "panel main": 0}
        self.moving = set(self.counts)
        self.status = status
        self.told: list[tuple[float, tuple[str, ...]]] = []
        self._began = loop.time()
        self._loop = loop
        Heartbeat(loop, self._look, lambda: self.status, self._tell, watchdog_s).start()

    def _look(self, now: float) -> tuple[dict[str, int], set[str]]:
        for part in self.moving:
            self.counts[part] += 1
        return dict(self.counts), set()

    def _tell(self, *words: str) -> None:
        self.told.append((round(self._loop.time() - self._began, 1), words))

    def run(self, seconds: float, then: Callable[[], None] = lambda: None) -> list[tuple[float, tuple[str, ...]]]:
        begun = len(self.told)
        self._loop.call_later(seconds, self._loop.stop)
        self._loop.run_forever()
        then()
        return self.told[begun:]

    def fed(self, seconds: float) -> list[float]:
        return [at for at, words in self.run(seconds) if "WATCHDOG=1" in words]


def test_it_is_fed_four_times_in_its_time_while_all_parts_move(loop: PacedLoop, status: Status) -> None:
    beating = Beating(loop, status)
    assert beating.told[0] == (0.0, (f"STATUS={sentence(status)}", "WATCHDOG=1"))
    assert beating.fed(8.5) == [2.0, 4.0, 6.0, 8.0]


@pytest.mark.parametrize("still", ["the loop", "panel main"])
def test_one_part_that_stands_still_is_named_and_ends_the_feeding(loop: PacedLoop, status: Status, still: str) -> None:
    beating = Beating(loop, status)
    beating.run(3.0)
    beating.moving.discard(still)
    told = beating.run(6.0)
    assert told == [(4.0, (f"STATUS={sentence(status, (still,))}",))]
    beating.moving.add(still)
    assert beating.fed(2.0) == [10.0]


def test_a_loop_that_hangs_feeds_nothing_by_itself(loop: PacedLoop, status: Status) -> None:
    beating = Beating(loop, status)
    beating.run(3.0)
    assert beating.told[-1][0] == 2.0  # and nobody but this loop calls `beat`


def test_unwatched_only_a_change_is_told(loop: PacedLoop, status: Status) -> None:
    beating = Beating(loop, status, watchdog_s=None)
    assert beating.run(12.0) == []
    beating.status = replace(status, quiet=True)
    assert beating.run(5.0) == [(15.0, (f"STATUS={sentence(beating.status)}",))]


def test_the_status_line_is_one_readable_line(status: Status) -> None:
    assert sentence(status) == ("awake, ignition on; buses: drive sending, comfort listening; pages: boost on main")
    bad = replace(status, quiet=True, faults=("panel main hangs", "page oil was taken off"), buses=(), pages=())
    assert sentence(bad, ("sending",)) == (
        "awake, ignition on; buses: none; pages: none; quiet; fault: page oil was taken off and 1 more; "
        "standing still: sending"
    )


def test_a_daemon_counts_its_rounds_and_what_it_sends(drive: Callable[..., Any]) -> None:
    journey = drive()
    seen: list[tuple[dict[str, int], set[str]]] = []
    daemon = journey.demo.daemon
    for second in (2.0, 6.0):
        journey.at(second, lambda: seen.append(progress(daemon, journey.loop.time())))
    journey.run(7.0)
    (early, idle), (late, _) = seen
    assert set(early) == {"the loop", "sending", "panel main"}
    assert late["the loop"] > early["the loop"] + 50
    assert late["sending"] > early["sending"]
    assert idle == {"sending"}


def test_a_round_that_fails_is_none_and_sending_that_failed_is_not_idle(
    drive: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    journey = drive()
    daemon = journey.demo.daemon
    seen: list[tuple[dict[str, int], set[str]]] = []

    def break_it() -> None:
        def fail(*_: object) -> None:
            raise RuntimeError("ours")

        seen.append(progress(daemon, journey.loop.time()))
        monkeypatch.setattr(daemon.assembly.asking, "due", fail)
        monkeypatch.setattr(daemon.acting, "look", fail)

    journey.loop.set_exception_handler(lambda *_: None)
    journey.at(4.0, break_it)
    journey.at(6.5, lambda: seen.append(progress(daemon, journey.loop.time())))
    journey.run(7.0)
    (before, _), (after, idle) = seen
    assert after["the loop"] == before["the loop"]
    assert after["sending"] == before["sending"]
    assert idle == set()
