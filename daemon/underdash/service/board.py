"""What the board says of itself: whether its own supply dips, and how hot its processor is.

A Raspberry Pi's firmware reports its supply below about 4.63 V through Linux' hwmon device ``rpi_volt``, whose
``in0_lcrit_alarm`` its driver renews every two seconds (drivers/hwmon/raspberrypi-hwmon.c). The processor's temperature
is a thermal zone in 1/1000 degC (Linux, Documentation/driver-api/thermal/sysfs-api.rst).
"""

from __future__ import annotations

from pathlib import Path

SYS = Path("/sys")
PROCESSOR = ("cpu-thermal", "cpu_thermal", "bcm2835_thermal", "soc-thermal", "x86_pkg_temp")
"""Types of the zone that is the processor's; another one counts only where there is none of these (from memory)."""


class Board:
    """Reads both; each may be missing.

    Args:
        root: where sysfs is mounted.
    """

    def __init__(self, root: Path = SYS) -> None:
        self._root = root

    def undervoltage(self) -> bool | None:
        """Return whether the supply is too low or was in the last seconds; None where the board does not say."""
        for device in sorted(self._root.glob("class/hwmon/hwmon*")):
            if _text(device / "name") == "rpi_volt":
                alarm = _text(device / "in0_lcrit_alarm")
                return alarm == "1" if alarm in ("0", "1") else None
        return None

    def temperature(self) -> float | None:
        """Return the processor's temperature in degC; None where the board does not say."""
        zones = {_text(zone / "type"): zone for zone in sorted(self._root.glob("class/thermal/thermal_zone*"))}
        named = [zones[kind] for kind in PROCESSOR if kind in zones]
        for zone in named or list(zones.values())[:1]:
            try:
                return int(_text(zone / "temp")) / 1000.0
            except ValueError:
                continue
        return None


def _text(path: Path) -> str:
    try:
        return path.read_text().strip()
    except (OSError, ValueError):
        return ""
