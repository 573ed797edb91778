"""Faults of the supply, the disk and the serial line, with the real things where a test can have them."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import tty
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from underdash.bus.health import BusState
from underdash.bus.link import Link
from underdash.bus.opening import BusConfig, opener
from underdash.pace import PacedLoop, paced_loop
from underdash.simulator.driver import Phase
from underdash.wiring.leaving import Leaving

Table = list[tuple[str, str, str]]
LONG_S = 60.0


def test_a_key_that_comes_back_while_halting_makes_it_a_restart(drive: Any, table: Table) -> None:
    script = (
        Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 30, "ON"),
        Phase("off", 40, "OFF"), Phase("on again", 10, "ON"),
    )  # fmt: skip
    journey = drive(script, edit=lambda text: text.replace('"switched"', '"held"'))
    daemon, calls = journey.demo.daemon, []
    daemon._leaving = Leaving(lambda: None, lambda reboot: calls.append((round(journey.demo.seconds), reboot)))
    journey.run()
    assert [reboot for _, reboot in calls] == [False, True]
    assert calls[1][0] == pytest.approx(71, abs=1)
    assert not journey.requests(35.0)
    table.append(("key back during power-off", "restart instead, nothing sent", f"(second, restart): {calls}"))


KEEP = """
import sys
from pathlib import Path
from underdash.contract.cars import CarDescription
from underdash.power.ignition import Seen
from underdash.wiring.kept import Kept
path = Path(sys.argv[1])
car = CarDescription("small", "Small", ())
kept = Kept(path)
assert kept.keep(car, {"a": Seen(True, False)}, quiet=True)
PREPARE
print(kept.keep(car, {name: Seen(True, True) for name in "abcdefgh"}, quiet=False))
again = Kept(path)
print(again.quiet, again.seen(car) == {"a": Seen(True, False)}, sorted(one.name for one in path.parent.iterdir()))
"""
FULL = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (256, 256))"
READ_ONLY = "import subprocess; subprocess.run(['mount', '-o', 'remount,ro', sys.argv[2]], check=True)"


def kept_by(prepare: str, arguments: list[str], before: list[str] | None = None) -> subprocess.CompletedProcess[str]:
    """Keep something, prepare, keep something else, and say what is there then."""
    command = [*(before or []), sys.executable, "-c", KEEP.replace("PREPARE", prepare), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def test_a_full_disk_leaves_the_state_that_was_kept_before(tmp_path: Path, table: Table) -> None:
    done = kept_by(FULL, [str(tmp_path / "state.json")])
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("False\nTrue True ['state.json']\n")
    assert "state_not_kept" in done.stdout + done.stderr
    table.append(("disk full while keeping state", "the state before is whole", "state_not_kept: File too large"))


def test_a_root_that_became_read_only_leaves_the_state_that_was_kept_before(tmp_path: Path, table: Table) -> None:
    own = ["unshare", "--map-root-user", "--mount"]
    mount = ["sh", "-c", 'mount -t tmpfs none "$0" && exec "$@"', str(tmp_path)]
    if subprocess.run([*own, *mount, "true"], capture_output=True, check=False).returncode:
        pytest.skip("no mount of its own is allowed here")
    done = kept_by(READ_ONLY, [str(tmp_path / "state.json"), str(tmp_path)], [*own, *mount])
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("False\nTrue True ['state.json']\n")
    assert "Read-only file system" in done.stdout + done.stderr
    table.append(("read-only root", "the state before is whole", "state_not_kept: Read-only file system"))


RECORDS = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost"]
[bus.drive]
interface = "virtual"
channel = "nobody"
[power]
supply = "switched"
[recording]
traces = true
folder = "kept/recordings"
[panel.main]
driver = "picture"
deck = ["boost"]
"""


def test_a_daemon_that_starts_where_nothing_can_be_written_shows_its_pages(tmp_path: Path, table: Table) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    own = [
        "unshare",
        "--map-root-user",
        "--mount",
        "sh",
        "-c",
        'mount -t tmpfs -o ro none "$0" && exec "$@"',
        str(kept),
    ]
    if subprocess.run([*own, "true"], capture_output=True, check=False).returncode:
        pytest.skip("no mount of its own is allowed here")
    (tmp_path / "underdash.toml").write_text(RECORDS)
    environment = {**os.environ, "STATE_DIRECTORY": str(kept), "RUNTIME_DIRECTORY": str(tmp_path / "run")}
    command = [*own, sys.executable, "-m", "underdash", "run", "--config", str(tmp_path / "underdash.toml")]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment) as daemon:
        assert daemon.stderr is not None
        said = ""
        while "event=started" not in said and (line := daemon.stderr.readline()):
            said += line
        daemon.terminate()
        said += daemon.stderr.read()
    assert daemon.returncode == 0, said
    assert "nothing is recorded until the next start: recording.folder" in said
    assert "state_not_kept" in said
    table.append(("start with a read-only root", "runs, records and keeps nothing", "problem, state_not_kept"))


class SerialLine:
    """A serial adapter at the end of a pseudo terminal, under a name that stays."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self.plug()

    def plug(self) -> None:
        self._end, other = pty.openpty()
        tty.setraw(other)
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(other))
        self._other = other  # kept open, or what is written before somebody reads is lost

    def say(self, text: str) -> None:
        os.write(self._end, text.encode())

    def cut(self) -> None:
        os.close(self._end)
        os.close(self._other)
        self.name.unlink()


def until(loop: PacedLoop, holds: Callable[[], bool], tick: Callable[[], None]) -> None:
    """Run the loop until something holds."""
    end = monotonic() + LONG_S
    while not holds():
        assert monotonic() < end, "it never came"
        tick()
        loop.call_later(0.01, loop.stop)
        loop.run_forever()


def test_a_serial_line_cut_in_the_middle_of_a_frame_comes_back(tmp_path: Path, table: Table) -> None:
    loop = paced_loop()
    line = SerialLine(tmp_path / "ttyUSB0")
    link = Link("drive", opener(BusConfig("drive", "slcan", str(line.name), bitrate=500_000)), bitrate=500_000)
    heard: list[bytes] = []
    link.table.add(0x123, lambda data, at: heard.append(data))
    link.start(loop, loop.time())

    def tick() -> None:
        link.tick(loop.time())

    until(loop, lambda: link.state is not BusState.ABSENT, tick)
    line.say("t12320102\r")
    until(loop, lambda: heard == [b"\x01\x02"], tick)
    line.say("t123401")
    line.cut()
    until(loop, lambda: link.state is BusState.ABSENT, tick)
    said = link.status(loop.time()).sentence
    line.plug()
    until(loop, lambda: link.state is not BusState.ABSENT, tick)
    line.say("020304\rt12321112\r")
    until(loop, lambda: len(heard) > 1, tick)
    link.close()
    loop.close()
    line.cut()
    assert heard == [b"\x01\x02", b"\x11\x12"], "no frame is made of two halves"
    assert re.search("drive is not open", said)
    table.append(("serial line cut in mid-frame and back", "heard again, no frame of two halves", said))
