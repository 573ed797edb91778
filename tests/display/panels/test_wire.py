from __future__ import annotations

import errno
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any, ClassVar

import pytest

from underdash.config.mistakes import ConfigError, Source
from underdash.config.structure import check_settings
from underdash.contract.errors import UnderdashError
from underdash.display.panels.wire import SpiSettings, Wire, open_wire

SETTINGS = SpiSettings(spi="spi0.1", speed_hz=8_000_000, dc="GPIO5", reset="GPIO6", chunk_bytes=64)


class Log:
    """Everything that happens on a wire, in order."""

    def __init__(self) -> None:
        self.said: list[object] = []

    def line(self, name: str, *, inverted: bool = False) -> Any:
        self.said.append(f"{name}{' inverted' * inverted} taken")
        return SimpleNamespace(
            set=lambda on: self.said.append(f"{name} {'on' if on else 'off'}"),
            close=lambda: self.said.append(f"{name} back"),
        )

    def spi(self) -> Any:
        return SimpleNamespace(
            writebytes2=lambda values: self.said.append(bytes(values)), close=lambda: self.said.append("spi back")
        )

    def wire(self, **kept: Any) -> Wire:
        made = Wire(self.spi(), self.line("dc"), self.line("reset"), sleep=self.said.append, **kept)
        self.said.clear()
        return made


def test_the_line_is_low_for_commands_and_high_for_what_belongs_to_them() -> None:
    log = Log()
    wire = log.wire()
    wire.register(0x2A, 0, 1, 2, 3)
    wire.command(0x2C)
    wire.data(b"ab")
    wire.data([1, 2])
    wire.command(0xB0, 0x04, 0x10)
    assert log.said == [
        *("dc off", b"\x2a", "dc on", b"\0\1\2\3", "dc off", b"\x2c", "dc on", b"ab", b"\1\2"),
        *("dc off", b"\xb0\x04\x10"),
    ]


def test_long_data_goes_out_in_chunks_of_which_none_is_lost() -> None:
    log = Log()
    log.wire(chunk_bytes=64).data(bytes(range(150)))
    assert log.said == ["dc on", bytes(range(64)), bytes(range(64, 128)), bytes(range(128, 150))]


def test_a_controller_gets_the_rest_that_it_needs_after_a_command() -> None:
    log = Log()
    wire = log.wire(waits={0x11: 0.12})
    wire.command(0x11)
    wire.command(0x29)
    assert log.said == ["dc off", b"\x11", 0.12, b"\x29"]


def test_reset_is_a_pulse_and_a_rest() -> None:
    log = Log()
    log.wire().reset()
    assert log.said == ["reset on", 0.02, "reset off", 0.15]


def test_nothing_is_sent_once_it_is_given_back() -> None:
    log = Log()
    wire = log.wire()
    wire.cleanup()
    wire.cleanup()
    assert log.said == ["spi back", "dc back", "reset back"]
    with pytest.raises(OSError, match="closed"):
        wire.command(0x29)


class FakeSpi:
    """A spidev whose device does what is asked for."""

    failing: OSError | None = None
    opened: ClassVar[list[FakeSpi]] = []

    def __init__(self) -> None:
        self.closed = False
        FakeSpi.opened.append(self)

    def open_path(self, path: str) -> None:
        self.path = path
        if self.failing is not None:
            raise self.failing

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def spidev(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def fails(number: int | None = None) -> None:
        failing = None if number is None else OSError(number, "as the kernel says")
        monkeypatch.setattr(FakeSpi, "failing", failing)

    monkeypatch.setattr(FakeSpi, "opened", [])
    monkeypatch.setitem(sys.modules, "spidev", SimpleNamespace(SpiDev=FakeSpi))
    return fails


@pytest.mark.usefixtures("spidev")
def test_device_and_lines_are_opened_as_the_settings_say() -> None:
    log = Log()
    open_wire(SETTINGS, line=log.line)
    (device,) = FakeSpi.opened
    assert device.path == "/dev/spidev0.1"
    assert (vars(device)["mode"], vars(device)["max_speed_hz"]) == (0, 8_000_000)
    assert log.said == ["GPIO5 taken", "GPIO6 inverted taken"]


@pytest.mark.usefixtures("spidev")
def test_a_panel_without_a_reset_line_is_not_reset() -> None:
    log = Log()
    wire = open_wire(SpiSettings(reset=""), line=log.line)
    wire.reset()
    assert log.said == ["GPIO24 taken"]


@pytest.mark.parametrize(
    ("number", "spi", "says"),
    [
        (errno.ENOENT, "spi0.1", "there is no .*spidev0.1; write dtparam=spi=on .*config.txt.*there is spi0.0, spi1.0"),
        (errno.ENOENT, "spi1.2", "dtoverlay=spi1-3cs"),
        (errno.EACCES, "spi0.1", "may not open .*spidev0.1; .*group spi: `sudo usermod -aG spi USER`"),
        (errno.EBUSY, "spi0.1", "spidev0.1 cannot be used at 32000000 Hz .as the kernel says"),
    ],
)
def test_what_is_wrong_with_the_device_is_a_sentence(
    spidev: Callable[..., None], tmp_path: Path, number: int, spi: str, says: str
) -> None:
    (tmp_path / "spidev0.0").touch()
    (tmp_path / "spidev1.0").touch()
    spidev(number)
    with pytest.raises(UnderdashError, match=says):
        open_wire(SpiSettings(spi=spi), devices=tmp_path, line=Log().line)


def test_a_board_without_the_library_is_told_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "spidev", None)
    with pytest.raises(UnderdashError, match=r"need the package spidev; install underdash\[pi\]"):
        open_wire(SETTINGS, line=Log().line)


@pytest.mark.usefixtures("spidev")
def test_what_was_taken_is_given_back_if_the_rest_is_not_there() -> None:
    log = Log()

    def line(name: str, *, inverted: bool = False) -> Any:
        if name == "GPIO6":
            raise UnderdashError("line GPIO6 cannot be taken")
        return log.line(name)

    with pytest.raises(UnderdashError, match="GPIO6"):
        open_wire(SETTINGS, line=line)
    assert log.said == ["GPIO5 taken", "GPIO5 back"]
    assert FakeSpi.opened[0].closed


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"spi": "/dev/spidev0.0"}, "spi0.0"),
        ({"spi": "spi0"}, "spi0.0"),
        ({"dc": ""}, "label of a line"),
        ({"speed_hz": 1000}, "500000"),
        ({"chunk_bytes": 5000}, "4096"),
        ({"speed": 8_000_000}, "speed_hz"),
    ],
)
def test_settings_that_cannot_be_are_refused(table: dict[str, object], says: str) -> None:
    with pytest.raises(ConfigError, match=says):
        check_settings(SpiSettings, table, Source("mine.toml"), ("panel", "main", "settings"))
