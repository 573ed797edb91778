"""What searching a trace costs: seconds and memory a million frames, loading beside python-can's reader, in one run.

Each figure is taken in a process of its own, whose largest resident memory is told; seconds are processor time. The
trace is made up: 100 ids on two buses at 4000 frames a second, a third of their bytes moving.
Run: python tests/benchmarks/finding.py [--millions 10]
"""

from __future__ import annotations

import argparse
import gzip
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from underdash.finding.heard import Heard
from underdash.finding.reading import read_heard

LOADING_BUDGET_S = 2.0


def make(path: Path, frames: int) -> None:
    """Write a trace of this length."""
    chance = random.Random(1)
    ids = [(can_id, chance.choice((8, 8, 8, 4, 2))) for can_id in chance.sample(range(0x100, 0x7FF), 100)]
    with path.open("wb") as file:
        for first in range(0, frames, 50_000):
            lines = []
            for number in range(first, min(frames, first + 50_000)):
                can_id, length = ids[number * 7 % 100]
                still = length * 2 // 3
                data = (can_id * 0x9E3779B1 & (1 << 8 * still) - 1).to_bytes(still) + chance.randbytes(length - still)
                second, micros = divmod(number * 250, 1_000_000)
                lines.append(f"({second + 1000}.{micros:06d}) can{number & 1} {can_id:03X}#{data.hex().upper()}\n")
            file.write("".join(lines).encode())


def load(path: Path) -> int:
    return read_heard(path).frames


def library(path: Path) -> int:
    import can

    with can.LogReader(path) as reader:
        return sum(1 for _ in reader)


def ignition(path: Path) -> int:
    """Go by marks at the quarters of the trace, in which nothing goes with them; then by the order."""
    from underdash.finding.ignition.order import ignition_by_order
    from underdash.finding.ignition.search import ignition
    from underdash.finding.marks import Mark

    heard = HEARD[path]
    words = ("OFF", "ON", "running", "OFF")
    step = (heard.end - heard.begin) / 4
    marks = [Mark(heard.begin + step * place, word) for place, word in enumerate(words)]
    ignition(heard, {mark.word: [one for one in marks if one.word == mark.word] for mark in marks})
    ignition_by_order(heard)
    return heard.frames


def layout(path: Path) -> int:
    from underdash.finding.layout.search import layouts

    layouts(HEARD[path])
    return HEARD[path].frames


def pressed(path: Path) -> int:
    from underdash.finding.marks import Mark
    from underdash.finding.pressed.search import pressed

    heard = HEARD[path]
    step = (heard.end - heard.begin) / 6
    pressed(heard, {"menu": [Mark(heard.begin + step * place, "menu") for place in range(1, 6)]})
    return heard.frames


def requests(path: Path) -> int:
    """Look for a tester where there is none, which takes longest."""
    from underdash.finding.requests.search import find_requests

    find_requests(HEARD[path])
    return HEARD[path].frames


def like(path: Path) -> int:
    """Search for a byte that is in the trace, read 600 times."""
    import numpy as np

    from underdash.finding.like.reference import Reference
    from underdash.finding.like.search import like as search

    heard = HEARD[path]
    stream = next(one for one in heard if one.width == 8)
    rows = np.unique(np.linspace(0, len(stream) - 1, 600).astype(int))
    answer = search(heard, Reference("byte", stream.at[rows], stream.data[rows, 7].astype(float)))
    return len(answer.ranks)


def turned(path: Path) -> int:
    """Search four turns, in which nothing moves that is still elsewhere."""
    from underdash.finding.marks import Mark
    from underdash.finding.turned.search import turned as search
    from underdash.finding.turned.sweeps import sweeps_of

    heard = HEARD[path]
    step = (heard.end - heard.begin) / 10
    begins = [heard.begin + step * place for place in (2, 4, 6, 8)]
    search(heard, sweeps_of(Mark(begin, "knob", begin + min(4.0, step / 2)) for begin in begins))
    return heard.frames


HEARD: dict[Path, Heard] = {}
JOBS: dict[str, Callable[[Path], int]] = {
    "load": load,
    "library": library,
    "ignition": ignition,
    "layout": layout,
    "like": like,
    "pressed": pressed,
    "requests": requests,
    "turned": turned,
}


def measured(job: str, path: Path) -> tuple[float, float]:
    """Do a job in a process of its own; returns seconds and megabytes."""
    done = subprocess.run(
        [sys.executable, __file__, "--job", job, str(path)], check=True, capture_output=True, text=True
    )
    seconds, megabytes = done.stdout.split()
    return float(seconds), float(megabytes)


def do(job: str, path: Path) -> None:
    for one in (path.parent / "warm.log", path):  # what is imported first is no part of it
        if job not in ("load", "library"):
            HEARD[one] = read_heard(one)
    JOBS[job](path.parent / "warm.log")
    begin = time.process_time()
    JOBS[job](path)
    seconds = time.process_time() - begin
    print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def report(folder: Path, millions: int) -> None:
    make(folder / "warm.log", 100)
    print(f"{'':36} {'seconds':>9} {'MB':>7} {'a million':>10} {'python-can':>11} {'ratio':>6}")
    for count in sorted({1, millions}):
        plain = folder / f"{count}.log"
        make(plain, count * 1_000_000)
        with plain.open("rb") as source, gzip.open(f"{plain}.gz", "wb", 1) as target:
            shutil.copyfileobj(source, target)
        theirs = measured("library", plain)[0] / count if count == 1 else 0.0
        for path in (plain, Path(f"{plain}.gz")):
            seconds, megabytes = measured("load", path)
            each = seconds / count
            name = f"loading {count} million, {path.suffix}"
            beside = f"{theirs:9.2f} s {theirs / each:6.1f}" if theirs else ""
            over = "" if each <= LOADING_BUDGET_S else f"  over its budget of {LOADING_BUDGET_S:g} s"
            print(f"{name:36} {seconds:7.2f} s {megabytes:7.0f} {each:8.2f} s {beside}{over}")
        for question in sorted(JOBS.keys() - {"load", "library"}):
            seconds, megabytes = measured(question, plain)
            name = f"find {question}, {count} million, loaded"
            print(f"{name:36} {seconds:7.2f} s {megabytes:7.0f} {seconds / count:8.2f} s")
        plain.unlink()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--millions", type=int, default=1)
    parser.add_argument("--job", nargs=2)
    arguments = parser.parse_args()
    if arguments.job:
        do(arguments.job[0], Path(arguments.job[1]))
        return
    with tempfile.TemporaryDirectory() as folder:
        report(Path(folder), arguments.millions)


if __name__ == "__main__":
    main()
