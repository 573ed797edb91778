"""Stand-ins for what hangs on a board: lines of gpio-sim, and the SPI, backlight and PWM of `kernel/bench.c`."""

from __future__ import annotations

import struct
import subprocess
from pathlib import Path

DEBUG, CONFIGFS = Path("/sys/kernel/debug"), Path("/sys/kernel/config")
BENCH = DEBUG / "bench"
LIGHT = Path("/sys/class/backlight/bench/brightness")
PWM = Path("/sys/class/pwm/pwmchip0")
KEY, BACKLIGHT, RESET, DC, HOLD = 17, 18, 23, 24, 26
HEADER = struct.Struct("<QII")

Transfer = tuple[int, bool, bytes]
"""Nanoseconds, whether it is data, bytes."""


def set_up() -> Path:
    """Make all of it; return the folder of the lines' levels."""
    subprocess.run(["modprobe", "gpio-sim"], check=True)  # brings configfs along
    for place, kind in ((DEBUG, "debugfs"), (CONFIGFS, "configfs")):
        if not place.is_mount():
            subprocess.run(["mount", "-t", kind, "none", str(place)], check=True)
    chip = CONFIGFS / "gpio-sim" / "board"
    bank = chip / "bank"
    bank.mkdir(parents=True)
    (bank / "num_lines").write_text("28")
    for offset in (KEY, BACKLIGHT, RESET, DC, HOLD):
        (bank / f"line{offset}").mkdir()
        (bank / f"line{offset}" / "name").write_text(f"GPIO{offset}")
    (chip / "live").write_text("1")
    name = (bank / "chip_name").read_text().strip()
    known = (DEBUG / "gpio").read_text().splitlines()
    base = next(int(line.split("GPIOs ")[1].split("-")[0]) for line in known if line.startswith(f"{name}:"))
    subprocess.run(["modprobe", "bench", f"dc={base + DC}"], check=True)
    return Path("/sys/devices/platform") / (chip / "dev_name").read_text().strip() / name


def level(lines: Path, offset: int) -> int:
    """Return a line's level as the chip has it."""
    return int((lines / f"sim_gpio{offset}" / "value").read_text())


def pull(lines: Path, offset: int, up: bool) -> None:
    """Move a line as the world outside would."""
    (lines / f"sim_gpio{offset}" / "pull").write_text("pull-up" if up else "pull-down")


def holders() -> dict[str, str]:
    """Return by label who holds each line that is held, and how."""
    held = {}
    for line in (DEBUG / "gpio").read_text().splitlines():
        label, bar, rest = line.partition("(")[2].partition("|")
        if bar:
            held[label.strip()] = " ".join(rest.replace(")", "").split())
    return held


def transfers() -> list[Transfer]:
    """Return what went over SPI."""
    kept, at, found = (BENCH / "transfers").read_bytes(), 0, []
    while at < len(kept):
        at_ns, length, data = HEADER.unpack_from(kept, at)
        at += HEADER.size
        found.append((at_ns, bool(data), kept[at : at + length]))
        at += length
    return found


def forget() -> None:
    """Begin with nothing on SPI."""
    (BENCH / "forget").write_text("1")
