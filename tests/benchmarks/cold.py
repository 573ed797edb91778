"""Start to first page with a cold cache, as after the power came on, beside a warm one.

What the daemon reads, the interpreter, its library and the packages, is put out of the page cache before each start
(posix_fadvise(2), which takes no rights). What another process has mapped stays, so with other Pythons at work it is
colder than warm, and warmer than after the power came on. A card is slower than this machine's disk.
Run: python tests/benchmarks/cold.py [runs]
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from statistics import median

from underdash.wiring.measuring.budgets import this_machine
from underdash.wiring.measuring.starting import BEFORE_FIRST_PAGE, CONFIG, first_page, timed

AFTER_IT = f"{BEFORE_FIRST_PAGE}, underdash.cli.running"


def forget(folders: list[Path]) -> float:
    """Put the files of folders out of the page cache; returns how many megabytes they are."""
    size = 0
    for path in (one for folder in folders for one in folder.rglob("*")):
        if path.is_file() and not path.is_symlink():
            file = os.open(path, os.O_RDONLY)
            size += os.fstat(file).st_size
            os.posix_fadvise(file, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(file)
    return size / 1e6


def main(runs: int = 3) -> int:
    """Print both."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        timed([sys.executable, "-c", AFTER_IT])
        (folder / "underdash.toml").write_text(CONFIG)
        first_page(folder, 0.0)
        os.sync()  # what is not on the disk yet cannot be forgotten
        read = [
            Path(place) for place in dict.fromkeys([*sys.path[1:], str(folder / "compiled")]) if Path(place).is_dir()
        ]
        warm, cold = [], []
        for _ in range(runs):
            warm.append(first_page(folder, 0.0)[0])
            size = forget(read)
            cold.append(first_page(folder, 0.0)[0])
    print(f"start to first page, median of {runs} runs; {size:.0f} MB forgotten before each cold one")
    print(f"  warm {median(warm) * 1e3:7.0f} ms")
    print(f"  cold {median(cold) * 1e3:7.0f} ms  {median(cold) / median(warm):6.1f} x warm")
    if busy := this_machine().busy:
        print(f"  {busy}")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 3))
