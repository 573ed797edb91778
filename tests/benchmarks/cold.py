"""Start to first page and to READY with a cold cache, as after the power came on, beside a warm one.

What the daemon reads, the interpreter, its library and the packages, is put out of the page cache before each start
(posix_fadvise(2), which takes no rights). What another process has mapped stays, so with other Pythons at work it is
colder than warm, and warmer than after the power came on. A card is slower than this machine's disk.
Run: python tests/benchmarks/cold.py [runs]
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from underdash.wiring.measuring.budgets import this_machine
from underdash.wiring.measuring.starting import BEFORE_FIRST_PAGE, CONFIG, NOT_TOLD, timed

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


def busy_s(pid: int) -> float:
    """Return the processor's time that a process has taken (schedstat of each of its threads, proc(5))."""
    threads = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(one.read_text().split()[0]) for one in threads) / 1e9


def start(folder: Path) -> tuple[float, float, float]:
    """Start the daemon on buses that lead nowhere.

    Returns:
        Seconds until its panel has a picture, until it is READY (sd_notify(3)), and those of the processor by then.
    """
    picture, place = folder / "panel.png", folder / "notify"
    for left in (picture, place):
        left.unlink(missing_ok=True)
    environment = {name: text for name, text in os.environ.items() if name not in NOT_TOLD}
    environment |= {name: str(folder) for name in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME")}
    command = [sys.executable, "-m", "underdash", "run", "--config", str(folder / "underdash.toml")]
    page_s = 0.0
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as notify:
        notify.bind(str(place))
        notify.settimeout(0.001)
        begun = time.perf_counter()
        with subprocess.Popen(
            command, env=environment | {"NOTIFY_SOCKET": str(place)}, stderr=subprocess.DEVNULL
        ) as daemon:
            told = b""
            while b"READY=1" not in told:
                if daemon.poll() is not None:
                    sys.exit("the daemon ended; run it by hand to see why")
                try:
                    told = notify.recv(4096)
                except TimeoutError:
                    told = b""
                if not page_s and picture.exists():
                    page_s = time.perf_counter() - begun
            ready_s, busy = time.perf_counter() - begun, busy_s(daemon.pid)
            daemon.send_signal(signal.SIGTERM)
    return page_s, ready_s, busy


def main(runs: int = 3) -> int:
    """Print both."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        timed([sys.executable, "-c", AFTER_IT])
        (folder / "underdash.toml").write_text(CONFIG)
        start(folder)
        os.sync()  # what is not on the disk yet cannot be forgotten
        read = [
            Path(place) for place in dict.fromkeys([*sys.path[1:], str(folder / "compiled")]) if Path(place).is_dir()
        ]
        warm, cold = [], []
        for _ in range(runs):
            warm.append(start(folder))
            size = forget(read)
            cold.append(start(folder))
    print(f"start, median of {runs} runs; {size:.0f} MB forgotten before each cold one")
    for which, label in enumerate(("first page", "READY", "processor until READY")):
        in_warm, in_cold = (median(one[which] for one in kind) for kind in (warm, cold))
        print(
            f"  {label:<22} warm {in_warm * 1e3:6.0f} ms  cold {in_cold * 1e3:6.0f} ms  {in_cold / in_warm:.1f} x warm"
        )
    if busy := this_machine().busy:
        print(f"  {busy}")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 3))
