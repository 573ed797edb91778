"""The serial line itself, by pyserial, and what its failures mean."""

from __future__ import annotations

import errno
import os
import termios
from pathlib import Path
from typing import Protocol

from underdash import UnderdashError

from .settings import Settings

BY_ID = Path("/dev/serial/by-id")
WRITE_S = 2.0
MOST_READ = 4096


class Line(Protocol):
    """Two streams of bytes. Each call raises an OSError once the line is gone."""

    def write(self, data: bytes) -> None:
        """Give bytes to the line."""

    def read(self, wait_s: float) -> bytes:
        """Return what arrived, after at most `wait_s` seconds if that is nothing yet."""

    def close(self) -> None:
        """Give the line back."""


class SerialLine:
    """A serial port that is ours alone.

    Args:
        settings: which one, and how fast.

    Raises:
        UnderdashError: it cannot be opened; the message says why and what to do.
    """

    def __init__(self, settings: Settings) -> None:
        import serial

        try:
            self._port = serial.Serial(settings.port, settings.baud, write_timeout=WRITE_S, exclusive=True)
            self._port.reset_input_buffer()
        except (OSError, ValueError, termios.error) as exc:
            raise UnderdashError(_why_not(settings, exc)) from exc

    def write(self, data: bytes) -> None:
        """Give bytes to the line."""
        try:
            self._port.write(data)
        except termios.error as exc:
            raise OSError(*exc.args) from exc

    def read(self, wait_s: float) -> bytes:
        """Return what arrived, after at most `wait_s` seconds if that is nothing yet."""
        try:
            if self._port.timeout != wait_s:
                self._port.timeout = wait_s
            first: bytes = self._port.read(1)
            return first + self._port.read(min(self._port.in_waiting, MOST_READ)) if first else b""
        except (termios.error, TypeError) as exc:  # pyserial trips over a port that is closed meanwhile
            raise OSError(errno.EIO, f"the line is gone ({exc})") from exc

    def close(self) -> None:
        """Give the line back."""
        try:
            self._port.close()
        except (OSError, termios.error):
            return  # it is gone


def amiss(settings: Settings) -> str:
    """Return why a port could not be opened, as far as that can be seen from outside; "" if it looks well."""
    port = Path(settings.port)
    if not port.exists():
        return _why_not(settings, OSError(errno.ENOENT, "it is not there"))
    if not port.is_char_device():
        return _why_not(settings, OSError(errno.ENOTTY, "it is a file"))
    if not os.access(port, os.R_OK | os.W_OK):
        return _why_not(settings, OSError(errno.EACCES, "it may not be opened"))
    return ""


def _why_not(settings: Settings, exc: Exception) -> str:
    port = settings.port
    number = getattr(exc, "errno", None)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return f"there is no serial port {port}; plug the controller in, or name another `port`: {_there()}"
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"this user may not open {port}; serial ports belong to the group dialout: "
            "`sudo usermod -aG dialout USER`, then log in again or restart the service"
        )
    if number in (errno.EBUSY, errno.EAGAIN):
        return f"another program has {port} open; close it, such as a terminal or a modem manager"
    if isinstance(exc, ValueError | OverflowError):
        return f"{port} does not run at {settings.baud} baud ({exc}); take another `baud` on both sides"
    return f"{port} cannot be opened ({exc}); `port` has to be a serial port: {_there()}"


def _there(folder: Path = BY_ID) -> str:
    """Return which ports there are, in words."""
    names = sorted(str(path) for path in folder.glob("*"))
    return "there is " + ", ".join(names) if names else f"nothing is in {folder} now"
