"""GPIO lines through the kernel's character device (libgpiod 2); the old sysfs way and its numbers are not used.

A line is named by its label, such as "GPIO24", which stays when a kernel numbers its chips anew, or as
``/dev/gpiochip0:24``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from ..contract.errors import UnderdashError

if TYPE_CHECKING:
    import gpiod

CONSUMER = "underdash"
CHIPS = Path("/dev")


class OutputLine(Protocol):
    """A line that is driven."""

    def set(self, on: bool) -> None:
        """Drive it active or inactive."""

    def close(self) -> None:
        """Give it back."""


class _Output:
    def __init__(self, request: gpiod.LineRequest, offset: int) -> None:
        self._request = request
        self._offset = offset

    def set(self, on: bool) -> None:
        from gpiod.line import Value

        self._request.set_value(self._offset, Value.ACTIVE if on else Value.INACTIVE)

    def close(self) -> None:
        self._request.release()


def find(name: str, chips: Path = CHIPS) -> tuple[str, int]:
    """Return the chip and the offset of a line.

    Args:
        name: its label, or chip and offset with a colon between.
        chips: folder of the chips.

    Raises:
        UnderdashError: there is no such line, or chips cannot be read.
    """
    path, colon, number = name.rpartition(":")
    if colon and number.isdecimal():
        return path, int(number)
    gpiod = _library()
    refused = []
    for chip in sorted(chips.glob("gpiochip*")):
        try:
            with gpiod.Chip(str(chip)) as opened:
                return str(chip), int(opened.line_offset_from_id(name))
        except PermissionError:
            refused.append(chip.name)
        except OSError:
            continue
    if refused:
        raise UnderdashError(
            f"line {name}: {', '.join(refused)} may not be opened; add this user to group gpio and log in again"
        )
    raise UnderdashError(
        f"line {name}: no chip under {chips} has a line of this name; `gpioinfo` lists them, "
        'and "/dev/gpiochip0:24" names one by its number'
    )


def output(name: str, *, on: bool = False, inverted: bool = False) -> OutputLine:
    """Take a line and drive it.

    Args:
        name: see the module.
        on: what it is driven to at first.
        inverted: active is low.

    Raises:
        UnderdashError: it is not there or in use.
    """
    gpiod = _library()
    from gpiod.line import Direction, Value

    chip, offset = find(name)
    settings = gpiod.LineSettings(
        direction=Direction.OUTPUT, output_value=Value.ACTIVE if on else Value.INACTIVE, active_low=inverted
    )
    try:
        return _Output(gpiod.request_lines(chip, consumer=CONSUMER, config={offset: settings}), offset)
    except OSError as exc:
        raise UnderdashError(
            f"line {name} cannot be taken: {exc.strerror or exc}; is it used by an overlay or another program?"
        ) from exc


def _library() -> Any:
    try:
        import gpiod
    except ImportError as exc:
        raise UnderdashError("GPIO lines need the package gpiod; install underdash[pi]") from exc
    return gpiod
