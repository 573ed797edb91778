"""After how many days an accessory empties half of a parked car's battery. Arithmetic, not a measurement of your board.

Currents are for the bare board with nothing plugged in, at its 5.1 V input (Raspberry Pi documentation, power
supplies: figures measured in 2016 and 2019); a panel and adapters come on top. Those of the Pi 5: halted 1.4 W, the
mean of published measurements with its boot settings as delivered, idle 0.6 A (from memory). For the Pi Zero 2 W the
same page has what the bare board draws when active, taken as idle here; halted it is taken for a Pi 3B, whose
processor it has (from memory), so that its days are rather too few than too many.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from .states import ASLEEP_S, PowerOptions, Supply

VOLTAGE = "low_voltage_battery.voltage"
BOARD_V = 5.1
HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True)
class Board:
    """What a board draws at its 5 V input, in amperes: idle, and halted without its supply being cut."""

    name: str
    idle_a: float
    halted_a: float


BOARDS = {
    "zero": Board("Pi Zero", 0.10, 0.055),
    "zero2": Board("Pi Zero 2 W", 0.35, 0.10),
    "3b": Board("Pi 3B", 0.30, 0.10),
    "4b": Board("Pi 4B", 0.60, 0.023),
    "5": Board("Pi 5", 0.60, 0.27),
}


@dataclass(frozen=True, slots=True)
class Battery:
    """A car's battery and the converter behind it.

    Args:
        capacity_ah: nominal capacity in Ah.
        volts: at rest, well charged.
        efficiency: of the converter to 5 V, 0..1.
        spare: share of the capacity that may be used up.
    """

    capacity_ah: float = 60.0
    volts: float = 12.4
    efficiency: float = 0.85
    spare: float = 0.5

    def amperes(self, board_a: float) -> float:
        """Return what a current at the board costs at the battery, in A."""
        return board_a * BOARD_V / (self.volts * self.efficiency)

    def days(self, board_a: float, used_ah: float = 0.0) -> float:
        """Return the days until the spare charge is gone at a steady current, `used_ah` of it being gone already."""
        if board_a <= 0:
            return inf
        return max(0.0, self.capacity_ah * self.spare - used_ah) / self.amperes(board_a) / HOURS_A_DAY


def days_parked(
    supply: Supply, board: Board, options: PowerOptions | None = None, battery: Battery | None = None
) -> float:
    """Return after how many days of parking half of the battery is gone.

    Args:
        supply: kind of supply.
        board: what it draws.
        options: the times of the power table.
        battery: the car's battery; 60 Ah by default.

    Returns:
        Days, `inf` where the supply is cut in the end.
    """
    options, battery = options or PowerOptions(), battery or Battery()
    if supply in (Supply.SWITCHED, Supply.HELD):
        return inf
    asleep_s = ASLEEP_S[supply] if options.asleep_s is None else options.asleep_s
    up_h = (options.off_s + options.linger_s + asleep_s) / 3600
    up_days = battery.days(board.idle_a)
    if up_h >= up_days * HOURS_A_DAY:
        return up_days
    used_ah = battery.amperes(board.idle_a) * up_h
    return up_h / HOURS_A_DAY + battery.days(board.halted_a, used_ah)


def halted_sentence(supply: Supply, board: Board) -> str:
    """Say on what it rests that a halted board draws so little, "" where its supply is cut or nothing can be set.

    Pi 4 and 5: POWER_OFF_ON_HALT in their boot settings (Raspberry Pi documentation, EEPROM bootloader).
    """
    if supply in (Supply.SWITCHED, Supply.HELD) or board.name not in ("Pi 4B", "Pi 5"):
        return ""
    return f"a halted {board.name} goes on drawing current unless its boot settings switch it off (POWER_OFF_ON_HALT)"


HALTED_STEP = (
    "`sudo rpi-eeprom-config --edit`: POWER_OFF_ON_HALT=1, on a Pi 4 with WAKE_ON_GPIO=0, and then only what cuts its "
    "supply or pulls its reset wakes it; measure what the parked car really loses"
)


def drain_sentence(supply: Supply, board: Board, options: PowerOptions | None = None) -> str:
    """Return what parking costs with this supply, as a sentence for `check`."""
    days = days_parked(supply, board, options)
    if days == inf:
        return f"power: with supply {supply} a parked car loses nothing to this accessory once it has ended."
    return (
        f"power: with supply {supply} and these times a {board.name} empties half of a 60 Ah battery in "
        f"{days:.0f} days of parking (by arithmetic for the bare board; a panel and adapters come on top)."
    )


FULL_V, EMPTY_V = 12.4, 11.6
"""A flooded lead-acid battery at rest, three quarters full and empty (a table that goes round among battery users)."""


def cutoff_sentence(cutoff_v: float) -> str:
    """Say what is odd about the voltage below which the battery counts as low, "" if nothing is."""
    if cutoff_v > FULL_V:
        return (
            f"at rest a battery that is three quarters full has {FULL_V} V, which is low by {cutoff_v:g} V: the "
            "machine goes off soon after each journey"
        )
    if cutoff_v < EMPTY_V:
        return f"at rest a lead-acid battery is empty at {EMPTY_V} V, so {cutoff_v:g} V is too late to save a start"
    return ""
