"""Start to first page, what of it is imports, and resident memory; the baseline is an interpreter that does nothing.

Beside the time by the clock stands the processor's, which says more on a machine that others use too.
Everything is compiled beforehand, into a folder of its own, as an installation does; else each start would compile.
Run: python tests/benchmarks/starting.py [runs]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from statistics import median

from underdash.wiring.measuring.starting import BEFORE_FIRST_PAGE, CONFIG, first_page, timed

AFTER_IT = f"{BEFORE_FIRST_PAGE}, underdash.cli.running"


def bare_mb() -> float:
    """Return the resident memory of an interpreter that does nothing."""
    script = "import sys; print(next(l.split()[1] for l in open('/proc/self/status') if l.startswith('VmRSS')))"
    return int(subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout) / 1024


def cost(code: str) -> tuple[float, float]:
    """Return the seconds a piece of code takes in an interpreter of its own: by the clock, and of the processor."""
    before = getrusage(RUSAGE_CHILDREN)
    took = timed([sys.executable, "-c", code])
    after = getrusage(RUSAGE_CHILDREN)
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(runs: int = 5) -> int:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        timed([sys.executable, "-c", AFTER_IT])
        (folder / "underdash.toml").write_text(CONFIG)
        first_page(folder)  # once for the caches
        codes = {
            "python -c pass": "pass",
            "import underdash": "import underdash",
            "imports before the first page": BEFORE_FIRST_PAGE,
            "imports of the whole daemon": AFTER_IT,
        }
        turns = [{label: cost(code) for label, code in codes.items()} for _ in range(runs)]
        pages = [first_page(folder) for _ in range(runs)]
    bare, start = median(turn["python -c pass"][0] for turn in turns), median(took for took, _ in pages)
    memory, bare_memory = median(mb for _, mb in pages), bare_mb()
    print(f"start, median of {runs} runs")
    for label in codes:
        seconds, busy = (median(turn[label][which] for turn in turns) for which in (0, 1))
        print(f"  {label:<32} {seconds * 1e3:7.0f} ms  {seconds / bare:6.1f} x bare  processor {busy * 1e3:4.0f} ms")
    print(f"  {'start to first page':<32} {start * 1e3:7.0f} ms  {start / bare:6.1f} x bare")
    label = "resident, two buses, two pages"
    print(f"  {label:<32} {memory:7.1f} MB  {memory / bare_memory:6.1f} x bare ({bare_memory:.1f})")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5))
