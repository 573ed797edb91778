"""The light behind a panel: a PWM channel, a backlight of the kernel, or a line that switches it.

The kernel's ABI is in its documentation (Documentation/ABI/testing/sysfs-class-pwm, sysfs-class-backlight). A light
is dark from the moment it is opened until it is set, and dark again once it is closed.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, Protocol

from ..contract.errors import UnderdashError
from ..contract.plugin import Limits

if TYPE_CHECKING:
    from ..service.lines import OutputLine

PWM = Path("/sys/class/pwm")
BACKLIGHTS = Path("/sys/class/backlight")
BL_UNBLANK, BL_POWERDOWN = "0", "4"
NS = 1_000_000_000
LOOKS, LOOK_S = 150, 0.02
RIGHTS = "; give it to this user's group by a udev rule, such as systemd/install brings"


@dataclass(frozen=True, kw_only=True)
class BacklightConfig:
    """``[panel.<name>.backlight]``: what lights a panel.

    Args:
        kind: "pwm" (a PWM channel of the kernel), "kernel" (one of /sys/class/backlight), "line" (a GPIO line that
            switches it), "colours" (there is none that can be dimmed: colours are scaled instead).
        device: for pwm part of the chip's device path, for kernel its name; only needed where there are several.
        channel: of the PWM chip.
        frequency_hz: of the PWM.
        line: label of the line, such as "GPIO18", or "/dev/gpiochip0:18".
        inverted: low is bright.
    """

    kind: Literal["pwm", "kernel", "line", "colours"]
    device: str = ""
    channel: Annotated[int, Limits(low=0, high=63)] = 0
    frequency_hz: Annotated[float, Limits(low=100.0, high=100_000.0, unit="Hz")] = 1000.0
    line: str = ""
    inverted: bool = False

    def __post_init__(self) -> None:
        if (self.kind == "line") != bool(self.line):
            raise ValueError('`line` where kind = "line", and only there')


class Light(Protocol):
    """A light that can be set."""

    def set(self, level: float) -> None:
        """Set it from 0 (dark) to 1, in linear light."""

    def close(self) -> None:
        """Go dark and give it back."""


class PwmLight:
    """A channel of a PWM chip, driven through sysfs.

    Args:
        chip: its folder, with ``export`` in it.
        channel: its number.
        frequency_hz: how often a second it is switched.
        inverted: low is bright.
        pause: waits some seconds.
    """

    def __init__(
        self,
        chip: Path,
        channel: int,
        frequency_hz: float,
        *,
        inverted: bool = False,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self._folder = chip / f"pwm{channel}"
        self._period_ns = round(NS / frequency_hz)
        self._inverted = inverted
        if not self._folder.exists():
            _write(chip / "export", str(channel))
            self._await_rights(pause)
        # the duty must never be longer than the period, whichever order they were left in
        with contextlib.suppress(UnderdashError):
            _write(self._folder / "duty_cycle", "0")
        _write(self._folder / "period", str(self._period_ns))
        self.set(0.0)
        _write(self._folder / "enable", "1")

    def _await_rights(self, pause: Callable[[float], None]) -> None:
        """Wait until udev has given a new channel to this user's group; if it never does, the next write says so."""
        files = [self._folder / name for name in ("period", "duty_cycle", "enable")]
        for _ in range(LOOKS):
            if all(os.access(file, os.W_OK) for file in files):
                return
            pause(LOOK_S)

    def set(self, level: float) -> None:
        """Set the duty cycle; raises UnderdashError where the kernel refuses."""
        share = 1.0 - level if self._inverted else level
        _write(self._folder / "duty_cycle", str(round(self._period_ns * min(max(share, 0.0), 1.0))))

    def close(self) -> None:
        """Go dark; the channel stays exported, since releasing it would leave its pin to chance."""
        self.set(0.0)


class KernelLight:
    """A backlight the kernel knows; `folder` holds its ``brightness``."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._most = int(_read(folder / "max_brightness"))
        self._power = folder / "bl_power"
        self.set(0.0)

    def set(self, level: float) -> None:
        """Set the brightness; any light at all is at least one step. Raises UnderdashError where it is refused."""
        steps = round(self._most * min(max(level, 0.0), 1.0))
        _write(self._folder / "brightness", str(max(steps, 1) if level > 0 else 0))
        if self._power.exists():
            _write(self._power, BL_UNBLANK if level > 0 else BL_POWERDOWN)

    def close(self) -> None:
        """Go dark."""
        self.set(0.0)


class LineLight:
    """A light that is on or off."""

    def __init__(self, line: OutputLine) -> None:
        self._line = line
        self.set(0.0)

    def set(self, level: float) -> None:
        """Switch it on for any light at all."""
        self._line.set(level > 0.0)

    def close(self) -> None:
        """Go dark and give the line back."""
        self._line.set(False)
        self._line.close()


def opened(
    config: BacklightConfig,
    *,
    pwm: Path | None = None,
    backlights: Path | None = None,
    line: Callable[..., OutputLine] | None = None,
) -> Light | None:
    """Return the light of a configuration, dark; None where colours are scaled instead.

    Raises:
        UnderdashError: it is not there, there are several, or it may not be used.
    """
    if config.kind == "pwm":
        chip = _one("PWM chip", pwm or PWM, "pwmchip*", config.device, by_path=True)
        return PwmLight(chip, config.channel, config.frequency_hz, inverted=config.inverted)
    if config.kind == "kernel":
        return KernelLight(_one("backlight", backlights or BACKLIGHTS, "*", config.device, by_path=False))
    if config.kind == "line":
        from ..service.lines import output

        return LineLight((line or output)(config.line, inverted=config.inverted))
    return None


def trouble(config: BacklightConfig) -> str:
    """Say what is missing for a light, without touching it; "" if nothing is."""
    try:
        if config.kind == "pwm":
            place = _one("PWM chip", PWM, "pwmchip*", config.device, by_path=True) / "export"
        elif config.kind == "kernel":
            place = _one("backlight", BACKLIGHTS, "*", config.device, by_path=False) / "brightness"
        else:
            return ""
    except UnderdashError as exc:
        return str(exc)
    return "" if os.access(place, os.W_OK) else f"backlight: {place} may not be written{RIGHTS}"


def _one(what: str, folder: Path, pattern: str, device: str, *, by_path: bool) -> Path:
    """Return the only one, or the one that was named; chips are known by where they are, since numbers change."""
    there = {place: str((place / "device").resolve()) if by_path else place.name for place in folder.glob(pattern)}
    fits = [place for place, name in there.items() if device in name] if by_path else []
    fits = fits or [place for place in there if not device or place.name == device]
    if len(fits) == 1:
        return fits[0]
    names = ", ".join(sorted(f"{place.name} ({name})" if by_path else name for place, name in there.items())) or "none"
    which = f"{what} {device!r}" if device else f"a {what}"
    hint = "name one with `device`" if there else "is its overlay in config.txt, and was the board restarted?"
    raise UnderdashError(
        f"backlight: {which} is {'not there' if not fits else 'not the only one'}; there are: {names}; {hint}"
    )


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text)
    except PermissionError as exc:
        raise UnderdashError(f"backlight: {path} may not be written{RIGHTS}") from exc
    except OSError as exc:
        raise UnderdashError(f"backlight: {path} refuses {text}: {exc.strerror or exc}") from exc


def _read(path: Path) -> str:
    try:
        return path.read_text().strip()
    except OSError as exc:
        raise UnderdashError(f"backlight: {path} cannot be read: {exc.strerror or exc}") from exc
