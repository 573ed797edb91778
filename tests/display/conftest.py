from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.display.elements import Picture
from underdash.display.recorder import record

ReadingMaker = Callable[..., Reading]
PictureMaker = Callable[..., Picture]


@pytest.fixture
def scale() -> Scale:
    """Boost in bar with zones."""
    return Scale(-0.8, 1.6, 0.0, (Zone(1.2, 1.4, Role.CAUTION), Zone(1.4, 1.6, Role.WARNING)))


@pytest.fixture
def reading() -> ReadingMaker:
    """Makes readings in bar unless told otherwise."""

    def make(
        shown: float | None = 0.72,
        *,
        unit: str = "bar",
        digits: int = 2,
        age: Age = Age.FRESH,
        quality: Quality = Quality.GOOD,
    ) -> Reading:
        there = None if age is Age.GONE else shown
        return Reading("x", there, there, unit, digits, age, 0.1, quality, "made up")

    return make


@pytest.fixture
def boost_picture(reading: ReadingMaker, scale: Scale) -> PictureMaker:
    """Makes pictures of a boost page, recorded as the renderer records them."""

    def make(
        shown: float | None = 0.72,
        *,
        peak: float | None = 1.1,
        remark: str = "",
        now: float = 100.0,
        hold: float = 0.0,
        size: tuple[int, int] = (240, 240),
        age: Age = Age.FRESH,
        quality: Quality = Quality.GOOD,
    ) -> Picture:
        value = reading(shown, age=age, quality=quality)

        def draw(canvas: Canvas, snapshot: Snapshot) -> None:
            canvas.title("boost")
            canvas.sweep(value, scale, peak=peak)
            canvas.figure(value, signed=True)
            points = tuple((now - t / 4, (t % 40) / 40) for t in range(int(now * 4)))
            canvas.strip(points, scale, seconds=30.0)
            if remark:
                canvas.remark(remark)

        return record(Page("boost", "Boost", draw, ()), Snapshot(now, {}, hold=hold), size)

    return make


@pytest.fixture
def empty_folder(tmp_path: Path) -> Path:
    """A folder without fonts."""
    return tmp_path
