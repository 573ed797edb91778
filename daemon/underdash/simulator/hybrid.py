"""The electric half of a small hybrid: traction battery, motor, and when the engine joins in."""

from __future__ import annotations

from .engine import clamp

CAPACITY_AS = 6.5 * 3600.0
CELLS = 168
RESISTANCE_OHM = 0.42
MOTOR_LIMIT_KW = 22.0
CHARGE_LIMIT_KW = 16.0


class TractionBattery:
    """Charge, current (positive while charging), voltage and temperature.

    Args:
        soaked_degc: temperature after a night outside.
        charge_percent: charge to begin with.
    """

    __slots__ = ("charge_percent", "current_a", "fan_percent", "temperature_degc", "voltage_v")

    def __init__(self, soaked_degc: float, charge_percent: float = 58.0) -> None:
        self.temperature_degc = soaked_degc
        self.charge_percent = charge_percent
        self.current_a = 0.0
        self.fan_percent = 0.0
        self.voltage_v = self.rest_v

    @property
    def rest_v(self) -> float:
        """Voltage without current."""
        return CELLS * (1.16 + 0.0018 * self.charge_percent)

    def step(self, power_kw: float, cabin_degc: float, dt_s: float) -> None:
        """Take (positive) or give `power_kw` for `dt_s`; air from the cabin cools it."""
        self.current_a += (power_kw * 1000.0 / self.voltage_v - self.current_a) * dt_s / (0.1 + dt_s)
        self.voltage_v = self.rest_v + RESISTANCE_OHM * self.current_a
        self.charge_percent = clamp(self.charge_percent + 100.0 * self.current_a * dt_s / CAPACITY_AS, 0.0, 100.0)
        self.fan_percent = 100.0 * clamp((self.temperature_degc - 33.0) / 10.0)
        heat_kw = RESISTANCE_OHM * self.current_a**2 / 1000.0
        cooled_kw = (0.010 + 0.0004 * self.fan_percent) * (self.temperature_degc - cabin_degc)
        self.temperature_degc += (heat_kw - cooled_kw) / 14.0 * dt_s


class PowerSplit:
    """Decides whether the engine runs and how much it gives; the motor does the rest.

    The engine starts when much is asked for, when the car is fast, when the battery is low or the coolant cold, and
    stops again only well below those bounds and not before it has run for a while.
    """

    def __init__(self) -> None:
        self.engine_on = False
        self._since_s = 0.0

    def step(self, asked_kw: float, speed_kmh: float, charge_percent: float, coolant_degc: float, dt_s: float) -> None:
        """Decide for the next step."""
        self._since_s += dt_s
        if self._since_s < 6.0:
            return
        cold = coolant_degc < 34.0
        if not self.engine_on:
            wanted = asked_kw > 11.0 or speed_kmh > 62.0 or charge_percent < 42.0 or cold
        else:
            wanted = asked_kw > 6.0 or speed_kmh > 52.0 or charge_percent < 50.0 or coolant_degc < 42.0
        if wanted is not self.engine_on:
            self.engine_on = wanted
            self._since_s = 0.0

    def stop(self) -> None:
        """Switch off; the next start may come at once."""
        self.engine_on = False
        self._since_s = 6.0

    def engine_kw(self, asked_kw: float, charge_percent: float) -> float:
        """Return what the engine is to give: what is asked, and some more to bring the charge back to 60 %."""
        if not self.engine_on:
            return 0.0
        return clamp(asked_kw + 0.4 * (60.0 - charge_percent), 2.0, 70.0)
