"""Lives of the real daemon that end badly in somebody else's plug-in, and what the next one makes of it."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic

import pytest

from underdash.service.ledger import BOOT_ID

PLUGIN = """
import ctypes
from pathlib import Path
from underdash import Derived, Page, PluginInfo, Signal, hookimpl

HERE = Path(__file__).parent

def hang():
    ctypes.PyDLL(None).usleep(60_000_000)  # keeps the interpreter's lock

@hookimpl
def plugin():
    return PluginInfo("hangs in C when it is told to")

@hookimpl
def signals():
    return [Signal("hangs.now", "", "nothing")]

KEPT = []

def leak_in_c():
    libc = ctypes.CDLL(None)
    libc.malloc.restype = ctypes.c_void_p
    ctypes.memset(libc.malloc(4 << 20), 1, 4 << 20)

def step(state, inputs, dt_s):
    if (HERE / "in-step").exists():
        hang()
    if (HERE / "leaks").exists():
        KEPT.append(b"x" * (4 << 20))
    if (HERE / "leaks-in-c").exists():
        leak_in_c()
    return None, None

@hookimpl
def derived_signals():
    return [Derived("hangs.now", ("engine.speed",), step, period_s=0.1)]

def draw(canvas, snapshot):
    canvas.title("hangs")
    if (HERE / "in-page").exists():
        hang()

@hookimpl
def display_pages():
    return [Page("hangs", "Hangs", draw, (), uses=("hangs.now",))]
"""
CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "hangs"]
[bus.drive]
interface = "virtual"
channel = "nobody"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["hangs", "boost"]
settings = { file = "panel.png" }
"""
LONG_S = 60.0
SMALL_MACHINE = """
import sys
from underdash.service import growth
growth.machine_mb = lambda: 512.0
from underdash.cli import entry
sys.argv[0] = "underdash"
entry()
"""


class Service:
    """Starts, ends and asks the daemon as a service manager and an owner would."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "underdash_hangs.py").write_text(PLUGIN)
        info = folder / "underdash_hangs-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text("Metadata-Version: 2.1\nName: underdash-hangs\nVersion: 1.0\n")
        (info / "entry_points.txt").write_text("[underdash]\nhangs = underdash_hangs\n")
        (folder / "underdash.toml").write_text(CONFIG)
        self.environment = {
            **os.environ,
            "PYTHONPATH": str(folder),
            "RUNTIME_DIRECTORY": str(folder / "run"),
            "STATE_DIRECTORY": str(folder / "state"),
            "WATCHDOG_USEC": "2000000",
        }
        self.environment.pop("NOTIFY_SOCKET", None)
        self.process: subprocess.Popen[bytes] | None = None

    def command(self, *words: str) -> list[str]:
        config = ("--config", str(self.folder / "underdash.toml")) if words[0] not in ("status", "log") else ()
        return [sys.executable, "-c", SMALL_MACHINE, *words, *config]

    def start(self) -> None:
        with (self.folder / "log").open("w") as log:
            self.process = subprocess.Popen(self.command("run"), env=self.environment, stderr=log, cwd=self.folder)
        self.until(lambda: "event=started" in self.log())

    def log(self) -> str:
        return (self.folder / "log").read_text()

    def until(self, holds: Callable[[], bool], seconds: float = LONG_S) -> None:
        end = monotonic() + seconds
        while not holds():
            assert monotonic() < end, self.log()
            threading.Event().wait(0.05)

    def hang(self, where: str, by: signal.Signals) -> None:
        """Have it hang, until that is written down, and end it."""
        assert self.process is not None
        (self.folder / where).touch()
        self.until(lambda: "in hang" in (self.folder / "run/hang.txt").read_text())
        (self.folder / where).unlink()
        self.end(by)

    def end(self, by: signal.Signals = signal.SIGTERM) -> int:
        assert self.process is not None
        self.process.send_signal(by)
        return self.process.wait(LONG_S)

    def ask(self, *words: str) -> str:
        command, end = self.command(*words), monotonic() + LONG_S
        while True:
            done = subprocess.run(command, env=self.environment, capture_output=True, text=True, check=False)
            assert "Traceback" not in done.stdout + done.stderr
            # a busy machine may let the daemon take longer to answer than a person is made to wait
            if "the daemon did not answer within" not in done.stderr or monotonic() > end:
                return done.stdout


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    made = Service(tmp_path)
    yield made
    if made.process is not None and made.process.poll() is None:
        made.process.kill()
        made.process.wait(LONG_S)


def test_a_page_that_hung_in_c_until_the_watchdog_came_is_off_in_the_next_life(
    service: Service, table: list[tuple[str, str, str]]
) -> None:
    service.start()
    service.hang("in-page", signal.SIGABRT)
    service.start()
    said = service.ask("status")
    assert "page 'hangs' of plug-in hangs is off: an earlier life stood still in hang() of plug-in hangs" in said
    assert "page boost on main" in said
    assert "an earlier life stood still" in service.ask("plugins")
    assert "warning: page 'hangs' of plug-in hangs is off" in service.ask("check")
    assert "page 'hangs' of plug-in hangs is off" in service.ask("why", "engine.boost_pressure")
    assert service.end() == 0
    assert not (service.folder / "run/ledger.json").exists()
    service.start()
    assert "is off" not in service.ask("status")
    table.append(("page hangs in C, ended by the watchdog", "restart without that page", "stood still in hang()"))


def test_three_lives_killed_in_a_plugins_code_end_in_safe_mode_and_a_restart_by_hand_leaves_it(
    service: Service, table: list[tuple[str, str, str]]
) -> None:
    for _ in range(3):
        service.start()
        assert "safe mode" not in service.ask("status")
        service.hang("in-step", signal.SIGKILL)
    service.start()
    said = service.ask("status")
    assert "refused  hangs: safe mode, an earlier life stood still in hang() of plug-in hangs; sudo systemctl" in said
    assert "fault    safe mode: underdash ended badly 3 times" in said
    assert "plug-ins tarn, boost" in said
    assert "safe mode: underdash ended badly" in service.ask("plugins")
    assert "warning: safe mode: underdash ended badly" in service.ask("check")
    assert service.end() == 0
    service.start()
    said = service.ask("status")
    assert "plug-ins tarn, boost, hangs" in said
    assert "safe mode" not in said
    table.append(("killed three times in a plug-in", "safe mode, bundled ones run", "named: hangs, in hang()"))


def test_safe_mode_without_the_plugin_that_brings_car_and_panel_stays_up_dark_and_says_so(
    service: Service, table: list[tuple[str, str, str]], tmp_path: Path
) -> None:
    text = CONFIG.replace('name = "tarn"', 'name = "strangers"')
    more = '[panel.left]\ndriver = "strangers_panel"\ndeck = ["boost"]\n'
    (tmp_path / "underdash.toml").write_text(text + more)
    (tmp_path / "run").mkdir()
    bad = [{"at": monotonic(), "how": "stood still", "plugin": "hangs", "frames": []}] * 3
    ledger = {"boot": BOOT_ID.read_text().strip(), "living": False, "bad": bad}
    (tmp_path / "run/ledger.json").write_text(json.dumps(ledger))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        service.environment["NOTIFY_SOCKET"] = str(tmp_path / "notify")
        service.start()
        said = service.ask("status")
        assert service.process is not None
        assert service.process.poll() is None
        manager.settimeout(LONG_S)
        told = ""
        while "STATUS=awake" not in told:
            told = manager.recv(4096).decode()
    assert said.startswith("no car: awake")
    assert "bus      drive" in said
    assert (
        "car      none is described in safe mode, so its buses are only listened to: who brings it is left out" in said
    )
    assert "fault    panel left stays dark: nobody brings its driver 'strangers_panel' in safe mode; sudo" in said
    assert "fault    safe mode: underdash ended badly 3 times" in said
    assert "page boost on main" in said
    assert "fault: safe mode: underdash ended badly 3 times" in told
    kept = tmp_path / "kept"
    kept.write_text(service.log())
    log = service.ask("log", "--file", str(kept))
    assert "It goes on without: car: none is described in safe mode" in log
    assert "It goes on without: panel left stays dark" in log
    assert service.end() == 0
    table.append(
        ("safe mode, the car's own plug-in left out", "up, listening only, nothing sent", "status, STATUS=, log")
    )


def test_a_plug_in_that_holds_more_and_more_is_suspended_before_the_daemon_has_to_end(
    service: Service, table: list[tuple[str, str, str]]
) -> None:
    service.start()
    (service.folder / "leaks").touch()
    service.until(lambda: "event=plugin_suspended" in service.log(), 4 * LONG_S)
    said = service.ask("status")
    assert "plug-in hangs suspended: it holds more and more memory: the daemon took" in said
    assert "event=memory_grows" in service.log()
    assert "page boost on main" in said
    assert service.end() == 0
    table.append(("plug-in holds more and more", "suspended, the daemon goes on", "it holds more and more memory"))


def test_a_daemon_whose_memory_grows_for_nobody_is_known_to_ends_itself_and_says_so(
    service: Service, table: list[tuple[str, str, str]]
) -> None:
    service.start()
    (service.folder / "leaks-in-c").touch()
    assert service.process is not None
    assert service.process.wait(4 * LONG_S) == 1
    assert 'event=ends_badly how="took too much memory (' in service.log()
    assert "the daemon took too much memory (" in service.log()
    assert "Traceback" not in service.log()
    (service.folder / "leaks-in-c").unlink()
    service.start()
    assert "took too much memory" in (service.folder / "run/ledger.json").read_text()
    assert service.end() == 0
    table.append(("plug-in leaks in C", "restart", "took too much memory; nobody is named"))
