"""Start to first page, what of it is imports, and resident memory; the baseline is an interpreter that does nothing.

Everything is compiled beforehand, into a folder of its own, as an installation does; else each start would compile.
Run: python tests/benchmarks/starting.py [runs]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

from underdash.wiring.measuring.starting import BEFORE_FIRST_PAGE, CONFIG, first_page, timed

AFTER_IT = f"{BEFORE_FIRST_PAGE}, underdash.cli.running"


def bare_mb() -> float:
    """Return the resident memory of an interpreter that does nothing."""
    script = "import sys; print(next(l.split()[1] for l in open('/proc/self/status') if l.startswith('VmRSS')))"
    return int(subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout) / 1024


def main(runs: int = 5) -> int:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        timed([sys.executable, "-c", AFTER_IT])
        (folder / "underdash.toml").write_text(CONFIG)
        first_page(folder)  # once for the caches
        bare = median(timed([sys.executable, "-c", "pass"]) for _ in range(runs))
        contract = median(timed([sys.executable, "-c", "import underdash"]) for _ in range(runs))
        imports = median(timed([sys.executable, "-c", BEFORE_FIRST_PAGE]) for _ in range(runs))
        everything = median(timed([sys.executable, "-c", AFTER_IT]) for _ in range(runs))
        pages = [first_page(folder) for _ in range(runs)]
    start = median(took for took, _ in pages)
    memory, bare_memory = median(mb for _, mb in pages), bare_mb()
    print(f"start, median of {runs} runs")
    for label, seconds in (
        ("python -c pass", bare),
        ("import underdash", contract),
        ("imports before the first page", imports),
        ("start to first page", start),
        ("imports of the whole daemon", everything),
    ):
        print(f"  {label:<32} {seconds * 1e3:7.0f} ms  {seconds / bare:6.1f} x bare")
    label = "resident, two buses, two pages"
    print(f"  {label:<32} {memory:7.1f} MB  {memory / bare_memory:6.1f} x bare ({bare_memory:.1f})")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5))
