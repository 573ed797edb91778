"""GPIO lines through the kernel's character device (libgpiod 2); the old sysfs way and its numbers are not used.

A line is named by its label, such as "GPIO24", which stays when a kernel numbers its chips anew, or as
``/dev/gpiochip0:24``.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from ..contract.errors import UnderdashError

if TYPE_CHECKING:
    import gpiod

    from ..contract.sources import Pull

CONSUMER = "underdash"
CHIPS = Path("/dev")


class OutputLine(Protocol):
    """A line that is driven."""

    def set(self, on: bool) -> None:
        """Drive it active or inactive."""

    def close(self) -> None:
        """Give it back."""


class InputLine(Protocol):
    """A line that is read; on is its active level."""

    def fileno(self) -> int:
        """Return the descriptor that is readable while changes wait."""

    def changes(self) -> list[tuple[bool, float]]:
        """Return the changes since the last call, (on, monotonic s), oldest first; raises OSError once it is gone."""

    def on(self) -> bool:
        """Read the level; raises OSError once it is gone."""

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


class _Input:
    def __init__(self, request: gpiod.LineRequest, offset: int) -> None:
        self._request = request
        self._offset = offset

    def fileno(self) -> int:
        return self._request.fd

    def changes(self) -> list[tuple[bool, float]]:
        import gpiod

        rising, found = gpiod.EdgeEvent.Type.RISING_EDGE, []
        while self._request.wait_edge_events(0.0):
            # the kernel stamps events by CLOCK_MONOTONIC unless told otherwise, and takes "active low" into account
            events = self._request.read_edge_events()
            found += [(event.event_type is rising, event.timestamp_ns / 1e9) for event in events]
        return found

    def on(self) -> bool:
        from gpiod.line import Value

        return self._request.get_value(self._offset) is Value.ACTIVE

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
    return _Output(_taken(name, chip, offset, settings), offset)


def input_line(name: str, *, pull: Pull | None = None, inverted: bool = False, debounce_s: float = 0.0) -> InputLine:
    """Take a line and read it.

    Args:
        name: see the module.
        pull: what holds it while nothing drives it; None leaves that as it is.
        inverted: active is low.
        debounce_s: the kernel takes a level for new once it held this long.

    Raises:
        UnderdashError: it is not there or in use, or its chip cannot do that.
    """
    gpiod = _library()
    from gpiod.line import Bias, Direction, Edge

    from ..contract.sources import Pull

    chip, offset = find(name)
    biases = {Pull.OFF: Bias.DISABLED, Pull.UP: Bias.PULL_UP, Pull.DOWN: Bias.PULL_DOWN}
    settings = gpiod.LineSettings(
        direction=Direction.INPUT,
        edge_detection=Edge.BOTH,
        bias=biases.get(pull or Pull.AS_IS, Bias.AS_IS),
        active_low=inverted,
        debounce_period=timedelta(seconds=debounce_s),
    )
    return _Input(_taken(name, chip, offset, settings), offset)


def holder(name: str) -> str:
    """Return who holds a line, "" if nobody; raises as `find` does."""
    gpiod = _library()
    chip, offset = find(name)
    try:
        with gpiod.Chip(chip) as opened:
            info = opened.get_line_info(offset)
            return (info.consumer or "somebody") if info.used else ""
    except (OSError, ValueError) as exc:
        raise _refused(name, exc) from exc


def _taken(name: str, chip: str, offset: int, settings: gpiod.LineSettings) -> gpiod.LineRequest:
    try:
        request: gpiod.LineRequest = _library().request_lines(chip, consumer=CONSUMER, config={offset: settings})
        return request
    except (OSError, ValueError) as exc:
        raise _refused(name, exc) from exc


def _refused(name: str, exc: OSError | ValueError) -> UnderdashError:
    why = (exc.strerror if isinstance(exc, OSError) else None) or exc
    return UnderdashError(f"line {name} cannot be taken: {why}; is it used by an overlay or another program?")


def _library() -> Any:
    try:
        import gpiod
    except ImportError as exc:
        raise UnderdashError("GPIO lines need the package gpiod; install underdash[pi]") from exc
    return gpiod
