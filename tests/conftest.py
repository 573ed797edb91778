from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint
from itertools import count
from pathlib import Path

import pytest

HEADER = """
from dataclasses import dataclass
from underdash import *

@hookimpl
def plugin():
    return PluginInfo("a tiny plug-in", settings=globals().get("Settings"))
"""

TinyPlugin = Callable[..., EntryPoint]


@pytest.fixture
def tiny_plugin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TinyPlugin]:
    """Writes a module and returns an entry point that names it; `header=""` leaves out the imports and `plugin()`."""
    numbers = count()
    monkeypatch.syspath_prepend(str(tmp_path))
    made = []

    def make(source: str = "", name: str = "tiny", header: str = HEADER) -> EntryPoint:
        module = f"tiny_plugin_{next(numbers)}"
        made.append(module)
        (tmp_path / f"{module}.py").write_text(header + source)
        importlib.invalidate_caches()
        return EntryPoint(name, module, "underdash")

    yield make
    for module in made:
        sys.modules.pop(module, None)


class Machine:
    """A folder that stands for the root of a machine."""

    def __init__(self, root: Path) -> None:
        self.root = root
        for folder in ("dev", "proc", "sys/class/net", "etc"):
            (root / folder).mkdir(parents=True)

    def file(self, path: str, text: str = "", *, mode: int = 0o644) -> Path:
        """Write a file, its folders too."""
        made = self.root / path
        made.parent.mkdir(parents=True, exist_ok=True)
        made.write_text(text)
        made.chmod(mode)
        return made

    def can(self, name: str, place: str, *, driver: str = "mcp251x", frames: int = 0, errors: int = 0) -> None:
        """Add a CAN interface at a place such as spi0.0, or 1-1.2:1.0 for a USB adapter."""
        device = self.root / "sys/devices/platform/soc" / place
        (device / "net").mkdir(parents=True)
        drivers = self.root / "sys/bus/drivers" / driver
        drivers.mkdir(parents=True, exist_ok=True)
        (device / "driver").symlink_to(drivers)
        interface = f"sys/class/net/{name}"
        self.file(f"{interface}/type", "280\n")
        (self.root / interface / "device").symlink_to(device)
        self.file(f"{interface}/statistics/rx_packets", f"{frames}\n")
        self.file(f"{interface}/statistics/rx_errors", f"{errors}\n")

    def board(self, name: str = "Raspberry Pi 4 Model B Rev 1.2") -> None:
        """Say which board it is."""
        self.file("proc/device-tree/model", f"{name}\0")

    def boot(self, text: str) -> None:
        """Write config.txt."""
        self.file("boot/firmware/config.txt", text)


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A machine with nothing on it."""
    return Machine(tmp_path / "machine")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table that the tests of `faults/` filled in, wherever they ran."""
    rows = [
        row
        for report in terminalreporter.stats.get("passed", ())
        for name, table in report.user_properties
        if name == "faults"
        for row in table
    ]
    if rows:
        terminalreporter.section("fault -> seen -> said")
    for fault, seen, said in rows:
        terminalreporter.write_line(f"{fault} -> {seen} -> {said[:110]}")
