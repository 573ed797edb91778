from __future__ import annotations

from collections.abc import Iterator
from math import inf

import pytest

from underdash.contract.signals import Quality, Signal
from underdash.pace import PacedLoop, paced_loop
from underdash.signals.store import Slot, Store
from underdash.wiring.hurrying import Hurry

SPEED = Signal("a.speed", "rpm", "made up", low=0.0, high=9000.0)


@pytest.fixture
def loop() -> Iterator[PacedLoop]:
    made = paced_loop(inf)
    yield made
    made.close()


class Bench:
    """A value, and when it was shown in hurry."""

    def __init__(self, loop: PacedLoop) -> None:
        self.loop = loop
        self.store = Store({SPEED.name: SPEED})
        self.slot: Slot = self.store.slot(SPEED.name, "made up", 0)
        self.begun = loop.time()
        self.called: list[float] = []
        self.hurry = Hurry(loop, self.store, lambda: self.called.append(self.now), gap_s=0.02)

    @property
    def now(self) -> float:
        return round(self.loop.time() - self.begun, 4)

    def change(self, *at: float) -> None:
        for one in at:
            self.loop.call_at(self.begun + one, self.slot.put, 1000.0, Quality.GOOD, self.begun + one)

    def run(self, seconds: float = 1.0) -> None:
        self.loop.call_at(self.begun + seconds, self.loop.stop)
        self.loop.run_forever()


def test_a_value_on_show_is_shown_at_once(loop: PacedLoop) -> None:
    bench = Bench(loop)
    bench.hurry.follow({SPEED.name})
    bench.change(0.1, 0.5)
    bench.run()
    assert bench.called == [0.1, 0.5]


def test_values_that_come_quickly_are_shown_together(loop: PacedLoop) -> None:
    bench = Bench(loop)
    bench.hurry.follow({SPEED.name})
    bench.change(0.1, 0.101, 0.105, 0.119, 0.121)
    bench.run()
    assert bench.called == [0.1, 0.12, 0.14]


def test_what_was_shown_meanwhile_is_not_shown_again(loop: PacedLoop) -> None:
    bench = Bench(loop)
    bench.hurry.follow({SPEED.name})
    bench.change(0.1, 0.101)
    loop.call_at(bench.begun + 0.11, bench.hurry.looked)
    bench.run()
    assert bench.called == [0.1]


def test_only_what_is_on_show_is_hurried(loop: PacedLoop) -> None:
    bench = Bench(loop)
    bench.change(0.1, 0.3, 0.5)
    loop.call_at(bench.begun + 0.2, bench.hurry.follow, {SPEED.name})
    loop.call_at(bench.begun + 0.4, bench.hurry.follow, set())
    bench.run()
    assert bench.called == [0.3]


def test_nothing_is_called_after_the_end(loop: PacedLoop) -> None:
    bench = Bench(loop)
    bench.hurry.follow({SPEED.name})
    bench.change(0.1, 0.101, 0.2)
    loop.call_at(bench.begun + 0.11, bench.hurry.stop)
    bench.run()
    assert bench.called == [0.1]
