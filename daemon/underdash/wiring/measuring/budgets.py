"""The budgets of one machine: each figure beside what it may be, with a verdict."""

from __future__ import annotations

import asyncio
import os
import platform
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from statistics import mean, median

from ...contract.layout import Bits, BroadcastListener, Field
from . import decoding, drawing, receiving, starting

FRAMES_A_S = 4000.0
"""Of two buses at 500 kbit/s, each half full of frames of eight bytes (some 125 bits with stuffing)."""
IMAGES_A_S = 25.0
NOT_HERE = "Not measured here: requests and answers, a serial panel, sleep, and what the panel's own wire takes."


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure.

    Attributes:
        what: in words.
        value: what was measured.
        unit: of both.
        budget: the most it may be; None where it is only there to compare with.
    """

    what: str
    value: float
    unit: str
    budget: float | None = None

    @property
    def verdict(self) -> str:
        """Whether it is kept; "" where there is no budget."""
        if self.budget is None:
            return ""
        return "kept" if self.value <= self.budget else f"missed, {self.value / self.budget:.1f} times"


@dataclass(frozen=True, slots=True)
class Machine:
    """Which machine was measured."""

    model: str
    cores: int
    architecture: str
    kernel: str
    python: str
    load: float

    def __str__(self) -> str:
        cores = f"{self.cores} core{'s' if self.cores != 1 else ''}"
        return f"{self.model}, {cores} ({self.architecture}), Linux {self.kernel}, Python {self.python}"

    @property
    def busy(self) -> str:
        """A remark where others used it meanwhile, else ""."""
        text = f"{self.load:.1f} programs wanted a core already: the figures are worse than on a quiet machine."
        return text if self.load > self.cores / 2 else ""


def this_machine(root: Path = Path("/")) -> Machine:
    """Say which machine this is; `root` is its root."""
    model = "unknown machine"
    with suppress(OSError):
        lines = (root / "proc/cpuinfo").read_text(errors="replace").splitlines()
        model = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), model)
    with suppress(OSError):
        model = (root / "proc/device-tree/model").read_bytes().rstrip(b"\0").decode(errors="replace") or model
    cores = len(os.sched_getaffinity(0))
    return Machine(model, cores, platform.machine(), platform.release(), platform.python_version(), os.getloadavg()[0])


def measured(
    progress: Callable[[str], None],
    *,
    runs: int = 3,
    frames: int = 4_000,
    images: int = 150,
    settle_s: float = starting.SETTLE_S,
) -> list[Figure]:
    """Measure; some 10 s on a desktop machine.

    Args:
        progress: told what is measured next.
        runs: starts of the daemon, of which the middle counts.
        frames: received in a round.
        images: drawn.
        settle_s: how long the daemon runs before its memory counts.

    Raises:
        UnderdashError: the daemon does not start.
    """
    progress("start to first page")
    start = list(_start(runs, settle_s))
    progress("receiving and decoding")
    received = asyncio.run(_received(frames))
    decoded = Figure("decoding and storing one signal", _decoded(frames * 5), "us", decoding.LIMIT_US)
    progress("drawing")
    # the middle of three runs: the machine may be doing something else meanwhile
    times, sizes = sorted((drawing.ours(images) for _ in range(3)), key=lambda run: mean(run[0]))[1]
    drawn = Figure("drawing, converting and cutting an image", mean(times), "ms", drawing.BUDGET_MS)
    sent = Figure("bytes of it that go to the panel", mean(sizes) / 1e3, "kB", drawing.BUDGET_BYTES / 1e3)
    single_us = next(figure.value for figure in received if "singly" in figure.what)
    share = 100 * (single_us * 1e-6 * FRAMES_A_S + drawn.value * 1e-3 * IMAGES_A_S)
    busy = Figure("two buses half full and 25 images a second, reckoned", share, "% of a core", 12.0)
    return [*start, *received, decoded, drawn, sent, busy]


def _start(runs: int, settle_s: float) -> Iterator[Figure]:
    python = sys.executable
    with tempfile.TemporaryDirectory(prefix="underdash-") as name:
        folder = Path(name)
        (folder / "underdash.toml").write_text(starting.CONFIG)
        _, memory = starting.first_page(folder, settle_s)  # the first fills the caches too
        bare = median(starting.timed([python, "-c", "pass"]) for _ in range(runs))
        imports = median(starting.timed([python, "-c", starting.BEFORE_FIRST_PAGE]) for _ in range(runs))
        start = median(starting.first_page(folder, 0.0)[0] for _ in range(runs))
    yield Figure("a Python that does nothing", bare * 1e3, "ms")
    yield Figure("imports before the first page", imports * 1e3, "ms", 100.0)
    yield Figure("start to first page", start * 1e3, "ms", 350.0)
    yield Figure("resident memory, two buses, two pages", memory, "MB", 60.0)


async def _received(frames: int) -> list[Figure]:
    ways = (
        ("a frame that nobody wants, in bursts of 32", False, 32, 3.0),
        ("a frame that nobody wants, singly", False, 1, 20.0),
        ("a frame received, decoded and stored, in bursts", True, 32, 4.0),
    )
    found = []
    for what, decoded, burst, limit in ways:
        row = await receiving.measure(what, receiving.Ours, decoded, frames=frames, burst=burst, rounds=3, limit=limit)
        found.append(Figure(what, row.microseconds, "us", limit))
    return found


def _decoded(calls: int) -> float:
    listener = BroadcastListener("drive", 0x1A0, (Field(decoding.SIGNAL.name, Bits(2, 16), scale=0.01),))
    handle, _ = decoding.ours(listener)
    data = bytes.fromhex("0011271055667788")
    return decoding.microseconds(lambda: handle(data, 1.0), calls, 3)


def table(figures: Sequence[Figure]) -> Iterator[str]:
    """Yield the lines of the table, and how many budgets were kept."""
    yield f"{'what':54}{'here':>9} {'budget':>9} {'':<12} verdict"
    for one in figures:
        budget = "" if one.budget is None else f"{one.budget:g}"
        yield f"{one.what:54}{one.value:>9.1f} {budget:>9} {one.unit:<12} {one.verdict}".rstrip()
    judged = [one for one in figures if one.budget is not None]
    yield f"{sum(one.verdict == 'kept' for one in judged)} of {len(judged)} budgets kept"
