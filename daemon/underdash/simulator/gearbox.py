"""An automatic gearbox with a torque converter, the oil that carries its heat away, and the final drive behind it."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from .engine import clamp


@dataclass(frozen=True, slots=True)
class GearboxDesign:
    """Ratios from first to last, final drive, wheel radius, and the heat its oil holds."""

    ratios: tuple[float, ...] = (4.15, 2.37, 1.56, 1.16, 0.86, 0.69)
    final: float = 3.6
    wheel_m: float = 0.32
    oil_kj_per_k: float = 17.0


class Gearbox:
    """Gear, coupling and oil temperature.

    Args:
        design: which gearbox.
        soaked_degc: temperature after a night outside.
    """

    def __init__(self, design: GearboxDesign, soaked_degc: float) -> None:
        self.design = design
        self.gear = 0
        self.oil_degc = soaked_degc
        self.clutch_degc = soaked_degc
        self.axle_degc = soaked_degc
        self._since_shift_s = 10.0

    def rpm_in(self, gear: int, speed_kmh: float) -> float:
        """Return the speed of the gearbox's input shaft in a gear."""
        turns = speed_kmh / 3.6 / (2.0 * pi * self.design.wheel_m) * 60.0
        return turns * self.design.ratios[gear - 1] * self.design.final

    def choose(self, speed_kmh: float, pedal: float, driving: bool, dt_s: float) -> None:
        """Pick a gear: low revs when the pedal is light, high ones when it is pressed, no hunting in between."""
        self._since_shift_s += dt_s
        if not driving:
            self.gear = 0
            return
        if self.gear == 0:
            self.gear = 1
        if self._since_shift_s < 1.4:
            return
        wanted = 1450.0 + 3300.0 * clamp(pedal) ** 1.6
        if self.gear < len(self.design.ratios) and self.rpm_in(self.gear + 1, speed_kmh) > wanted:
            self._shift(1)
        elif self.gear > 1 and (
            self.rpm_in(self.gear, speed_kmh) < 0.72 * wanted and self.rpm_in(self.gear - 1, speed_kmh) < 5600.0
        ):
            self._shift(-1)

    def _shift(self, step: int) -> None:
        self.gear += step
        self._since_shift_s = 0.0

    def coupled_rpm(self, speed_kmh: float, pedal: float, idle_rpm: float) -> float:
        """Return the speed the drivetrain asks of the engine; the converter slips when it is slow."""
        if self.gear == 0:
            return 0.0
        shaft = self.rpm_in(self.gear, speed_kmh)
        stall = idle_rpm + 1500.0 * pedal
        return max(shaft * (1.0 + 0.05 * pedal), stall)

    def force_n(self, torque_nm: float) -> float:
        """Return the force at the wheels for a torque at the crankshaft."""
        if self.gear == 0:
            return 0.0
        return torque_nm * self.design.ratios[self.gear - 1] * self.design.final * 0.93 / self.design.wheel_m

    def warm(
        self, dt_s: float, *, power_kw: float, slip: float, speed_kmh: float, coolant_degc: float, ambient_degc: float
    ) -> None:
        """Heat the oil by what the gears and the converter lose; a cooler in the coolant takes it away.

        Args:
            dt_s: for how long.
            power_kw: what goes through, without sign.
            slip: 0..1, share of it lost in the converter.
            speed_kmh, coolant_degc, ambient_degc: as their names say.
        """
        lost_kw = power_kw * (0.07 + slip)
        cooled_kw = 0.09 * (self.oil_degc - coolant_degc) + 0.02 * (1.0 + speed_kmh / 60.0) * (
            self.oil_degc - ambient_degc
        )
        self.oil_degc += (lost_kw - cooled_kw) / self.design.oil_kj_per_k * dt_s
        # the clutch in the converter takes the slip and is cooled by the oil; the final drive has the wind alone
        self.clutch_degc += (power_kw * (0.01 + slip) - 0.25 * (self.clutch_degc - self.oil_degc)) / 4.0 * dt_s
        wind = 0.01 * (1.0 + speed_kmh / 40.0)
        self.axle_degc += (0.025 * power_kw - wind * (self.axle_degc - ambient_degc)) / 9.0 * dt_s
