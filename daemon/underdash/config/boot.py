"""What a Raspberry Pi's firmware was told in config.txt: device-tree parameters, overlays, and the pins they take.

The form of the file and each overlay's parameters: Raspberry Pi documentation, config.txt, and
/boot/firmware/overlays/README on the board. Pure: the text is handed in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

FILES = "boot/firmware/config.txt", "boot/config.txt"
"""Where it lies, seen from the root: since Debian 12, and before."""

_MODELS = {
    r"pi0\w*": "Raspberry Pi Zero",
    r"pi(\d)\+?": "Raspberry Pi {}",
    r"pi(\d)00": "Raspberry Pi {}00",
    r"cm(\d)\w*": "Compute Module {}",
}
_PLACE = re.compile(r"spi(\d)-(\d)")


@dataclass(frozen=True, slots=True)
class Overlay:
    """One ``dtoverlay=`` line, with the ``dtparam=`` lines that follow it."""

    name: str
    params: Mapping[str, str] = field(default_factory=dict)

    def number(self, param: str, default: int) -> int:
        """Return a parameter as a number; the default where it is not given or is none."""
        text = self.params.get(param, "")
        return int(text) if text.isdecimal() else default


@dataclass(frozen=True, slots=True)
class Boot:
    """What counts on one board.

    Attributes:
        path: of the file.
        params: of ``dtparam=`` lines; "" for one without a value.
        overlays: in their order.
    """

    path: str = FILES[0]
    params: Mapping[str, str] = field(default_factory=dict)
    overlays: tuple[Overlay, ...] = ()

    def on(self, *params: str) -> bool:
        """Return whether one of these parameters is switched on; without a value it is."""
        return any(self.params.get(param, "off") in ("", "on", "yes", "1", "true") for param in params)


def parse(text: str, model: str = "", path: str = FILES[0]) -> Boot:
    """Read a config.txt. Lines for other models are left out; a filter that cannot be judged here is taken to fit.

    Args:
        text: of the file.
        model: as /proc/device-tree/model says it, such as "Raspberry Pi 4 Model B Rev 1.2"; "" fits every filter.
        path: of the file.
    """
    params: dict[str, str] = {}
    overlays: list[Overlay] = []
    applies, current = True, None
    for line in (raw.partition("#")[0].strip() for raw in text.splitlines()):
        if line.startswith("[") and line.endswith("]"):
            applies = _fits(line[1:-1].strip().lower(), model)
        key, _, value = (part.strip() for part in line.partition("="))
        if not applies or key not in ("dtparam", "dtoverlay"):
            continue
        parts = [part.strip() for part in value.split(",")]
        if key == "dtoverlay":
            current = dict(_pair(part) for part in parts[1:] if part) if parts[0] else None
            if current is not None:
                overlays.append(Overlay(parts[0], current))
            continue
        given = dict(_pair(part) for part in parts if part)
        params |= given
        if current is not None:
            current |= given
    return Boot(path, params, tuple(overlays))


def _pair(text: str) -> tuple[str, str]:
    name, _, value = text.partition("=")
    return name.strip(), value.strip()


def _fits(section: str, model: str) -> bool:
    if section in ("all", "none"):
        return section == "all"
    for pattern, words in _MODELS.items():
        match = re.fullmatch(pattern, section)
        if match and model:
            return re.search(rf"{words.format(*match.groups())}(?!\d)", model) is not None
    return True


@dataclass(frozen=True, slots=True)
class CanOverlay:
    """An overlay for a CAN controller on SPI.

    Attributes:
        overlay: see `Overlay`.
        place: controller and chip select, such as "spi0.0"; "" where its line does not say.
        oscillator_hz: what it says of the oscillator on the board.
        clock_hz: what Linux makes of that as the controller's clock.
    """

    overlay: Overlay
    place: str
    oscillator_hz: int
    clock_hz: int


# name: (usual oscillator in Hz, by which the controller divides it (mcp251x.c of Linux, from memory), its place)
_CAN = {
    "mcp2515": (16_000_000, 2, ""),
    "mcp2515-can0": (16_000_000, 2, "spi0.0"),
    "mcp2515-can1": (16_000_000, 2, "spi0.1"),
    "mcp251xfd": (40_000_000, 1, ""),
}


def can_overlays(boot: Boot) -> Iterator[CanOverlay]:
    """Say which CAN controllers on SPI the firmware was told of."""
    for overlay in boot.overlays:
        if overlay.name in _CAN:
            usual, divided, place = _CAN[overlay.name]
            named = next((match for param in overlay.params if (match := _PLACE.fullmatch(param))), None)
            oscillator = overlay.number("oscillator", usual)
            at = place or (f"spi{named[1]}.{named[2]}" if named else "")
            yield CanOverlay(overlay, at, oscillator, oscillator // divided)


# overlay: (its pins that cannot be moved, and the parameter of each other one with the usual pin)
_SPI1 = (19, 20, 21)
_PINS: dict[str, tuple[tuple[int, ...], dict[str, int]]] = {
    "mcp2515": ((), {"interrupt": 25}),
    "mcp2515-can0": ((), {"interrupt": 25}),
    "mcp2515-can1": ((), {"interrupt": 25}),
    "mcp251xfd": ((), {"interrupt": 25}),
    "spi1-1cs": (_SPI1, {"cs0_pin": 18}),
    "spi1-2cs": (_SPI1, {"cs0_pin": 18, "cs1_pin": 17}),
    "spi1-3cs": (_SPI1, {"cs0_pin": 18, "cs1_pin": 17, "cs2_pin": 16}),
    "pwm": ((), {"pin": 18}),
    "pwm-2chan": ((), {"pin": 18, "pin2": 19}),
    "gpio-fan": ((), {"gpiopin": 12}),
    "pwm-gpio-fan": ((), {"fan_gpio": 18}),
    "gpio-poweroff": ((), {"gpiopin": 26}),
    "gpio-shutdown": ((), {"gpio_pin": 3}),
    "w1-gpio": ((), {"gpiopin": 4}),
    "w1-gpio-pullup": ((), {"gpiopin": 4, "extpullup": 5}),
}


def pins(boot: Boot) -> Iterator[tuple[int, str]]:
    """Yield each pin that the firmware gives away, with what has it, as the line stands in the file."""
    if boot.on("spi"):
        for number in (7, 8, 9, 10, 11):
            yield number, "dtparam=spi=on"
    if boot.on("i2c_arm", "i2c"):
        for number in (2, 3):
            yield number, "dtparam=i2c_arm=on"
    for overlay in boot.overlays:
        fixed, movable = _PINS.get(overlay.name, ((), {}))
        for number in fixed:
            yield number, f"dtoverlay={overlay.name}"
        for param, usual in movable.items():
            yield overlay.number(param, usual), f"dtoverlay={overlay.name} ({param})"


def pin_of(line: str) -> int | None:
    """Return the pin of a line such as "GPIO24" or "/dev/gpiochip0:24"; None where its name does not tell."""
    match = re.fullmatch(r"(?:GPIO|/dev/gpiochip\d+:)(\d+)", line)
    return int(match[1]) if match else None
