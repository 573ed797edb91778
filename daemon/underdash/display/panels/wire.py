"""SPI with a line that tells commands from data, as panels' controllers take it, over the kernel's spidev.

Four wires and a data/command line (MIPI DBI type C, option 3): mode 0, most significant bit first; the line is low for
a command's byte and high for its parameters and for pixels. A `Wire` is also what luma.core calls a serial interface,
so luma's devices run on it without a GPIO library of their own.
"""

from __future__ import annotations

import errno
import re
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Protocol

from ...contract.errors import UnderdashError
from ...contract.plugin import Limits
from ...service.lines import OutputLine, output
from .dcs import WAITS

DEVICES = Path("/dev")
RESET_LOW_S, RESET_REST_S = 0.02, 0.15
"""Controllers want at least 10 us, and 120 ms of rest if they were awake."""


@dataclass(frozen=True, kw_only=True)
class SpiSettings:
    """How a panel is wired; drivers add their own settings by inheriting.

    Args:
        spi: controller and chip select, such as "spi0.0" for /dev/spidev0.0.
        speed_hz: of the clock.
        dc: label of the line that tells commands from data, such as "GPIO24", or "/dev/gpiochip0:24".
        reset: label of the line that resets the panel; "" where it is not wired.
        chunk_bytes: most bytes in one transfer; the SPI controller belongs to the panel for so long.
    """

    spi: str = "spi0.0"
    speed_hz: Annotated[int, Limits(low=500_000, high=125_000_000, unit="Hz")] = 32_000_000
    dc: str = "GPIO24"
    reset: str = "GPIO23"
    chunk_bytes: Annotated[int, Limits(low=64, high=4096, unit="bytes")] = 4096

    def __post_init__(self) -> None:
        if not re.fullmatch(r"spi\d{1,2}\.\d", self.spi):
            raise ValueError('`spi` as controller and chip select, such as "spi0.0"')
        if not self.dc:
            raise ValueError('`dc` as the label of a line, such as "GPIO24"')

    @property
    def numbers(self) -> tuple[int, int]:
        """Controller and chip select."""
        bus, _, device = self.spi.removeprefix("spi").partition(".")
        return int(bus), int(device)


class Spi(Protocol):
    """What is needed of a spidev."""

    def writebytes2(self, values: memoryview, /) -> None:
        """Send bytes; raises OSError."""

    def close(self) -> None:
        """Give it back."""


class Wire:
    """Commands and data to a controller. Every call may raise an OSError.

    Args:
        spi: the device, opened.
        dc: active for data.
        reset: active while the controller is reset; None where it is not wired.
        chunk_bytes: most bytes in one transfer.
        waits: seconds to pause after a command.
        sleep: how to pause.
    """

    def __init__(
        self,
        spi: Spi,
        dc: OutputLine,
        reset: OutputLine | None = None,
        *,
        chunk_bytes: int = 4096,
        waits: Mapping[int, float] = WAITS,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._spi = spi
        self._dc = dc
        self._reset = reset
        self._chunk = chunk_bytes
        self._waits = waits
        self._sleep = sleep
        self._is_data: bool | None = None
        self._closed = False

    def reset(self) -> None:
        """Reset the controller, if that is wired, and wait until it listens."""
        if self._reset is not None:
            self._reset.set(True)
            self._sleep(RESET_LOW_S)
            self._reset.set(False)
            self._sleep(RESET_REST_S)

    def command(self, *codes: int) -> None:
        """Send bytes as commands, and pause where the first one asks for it."""
        self._send(bytes(codes), data=False)
        wait_s = self._waits.get(codes[0], 0.0)
        if wait_s:
            self._sleep(wait_s)

    def data(self, values: bytes | bytearray | memoryview | Iterable[int]) -> None:
        """Send bytes as parameters or pixels."""
        self._send(values if isinstance(values, bytes | bytearray | memoryview) else bytes(values), data=True)

    def register(self, code: int, *parameters: int) -> None:
        """Send a command with its parameters."""
        self.command(code)
        if parameters:
            self._send(bytes(parameters), data=True)

    def cleanup(self) -> None:
        """Give device and lines back; more than once does no harm."""
        if not self._closed:
            self._closed = True
            self._spi.close()
            self._dc.close()
            if self._reset is not None:
                self._reset.close()

    def _send(self, values: bytes | bytearray | memoryview, *, data: bool) -> None:
        if self._closed:
            raise OSError(errno.EBADF, "the wire is closed")
        if self._is_data is not data:
            self._dc.set(data)
            self._is_data = data
        view = memoryview(values)
        for start in range(0, len(view), self._chunk):
            self._spi.writebytes2(view[start : start + self._chunk])


def open_wire(
    settings: SpiSettings,
    *,
    waits: Mapping[int, float] = WAITS,
    devices: Path = DEVICES,
    line: Callable[..., OutputLine] = output,
) -> Wire:
    """Open device and lines.

    Args:
        settings: which, and how fast.
        waits: seconds to pause after a command.
        devices: folder of the devices.
        line: how to take a line.

    Raises:
        UnderdashError: something is not there or may not be used; the message says what to do.
    """
    spi = _opened(settings, devices)
    taken: list[OutputLine] = []
    try:
        taken.append(line(settings.dc))
        if settings.reset:
            taken.append(line(settings.reset, inverted=True))
    except BaseException:
        spi.close()
        for one in taken:
            one.close()
        raise
    return Wire(spi, taken[0], taken[1] if settings.reset else None, chunk_bytes=settings.chunk_bytes, waits=waits)


def _opened(settings: SpiSettings, devices: Path) -> Spi:
    try:
        import spidev
    except ImportError as exc:
        raise UnderdashError("panels on SPI need the package spidev; install underdash[pi]") from exc
    path = devices / f"spidev{settings.spi.removeprefix('spi')}"
    try:
        device: Spi = spidev.SpiDev()
        device.open_path(str(path))  # type: ignore[attr-defined]
        device.mode = 0  # type: ignore[attr-defined]
        device.max_speed_hz = settings.speed_hz  # type: ignore[attr-defined]
    except OSError as exc:
        raise UnderdashError(_why_not(settings, path, exc)) from exc
    return device


def _why_not(settings: SpiSettings, path: Path, exc: OSError) -> str:
    bus, device = settings.numbers
    if exc.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        overlay = "dtparam=spi=on" if bus == 0 else f"dtoverlay=spi{bus}-{device + 1}cs"
        there = ", ".join(sorted(one.name.replace("spidev", "spi") for one in path.parent.glob("spidev*")))
        return (
            f"there is no {path}; write {overlay} into /boot/firmware/config.txt and restart the board, or name "
            f"another `spi`: {f'there is {there}' if there else 'none is there now'}"
        )
    if exc.errno in (errno.EACCES, errno.EPERM):
        return (
            f"this user may not open {path}; SPI devices belong to the group spi: `sudo usermod -aG spi USER`, then "
            "log in again or restart the service"
        )
    return f"{path} cannot be used at {settings.speed_hz} Hz ({exc.strerror or exc}); is another driver bound to it?"
