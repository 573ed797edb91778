"""The world around the car: altitude, air and daylight."""

from __future__ import annotations

SEA_LEVEL_KPA = 101.325
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
EXPONENT = 5.2559


def pressure_at(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere in kPa (ISO 2533, troposphere, geopotential metres)."""
    return float(SEA_LEVEL_KPA * (1.0 - LAPSE_K_PER_M * altitude_m / SEA_LEVEL_K) ** EXPONENT)


class World:
    """Where the car is.

    Args:
        sea_level_degc: air temperature at sea level; it falls by the standard 6.5 K a kilometre.
        altitude_m: where the drive starts.
    """

    __slots__ = ("altitude_m", "daylight", "pressure_kpa", "sea_level_degc", "temperature_degc")

    def __init__(self, sea_level_degc: float = 9.0, altitude_m: float = 0.0) -> None:
        self.sea_level_degc = sea_level_degc
        self.altitude_m = altitude_m
        self.daylight = 1.0
        self.pressure_kpa = 0.0
        self.temperature_degc = 0.0
        self.step(0.0, 1.0, 0.0)

    def step(self, climb_m_s: float, daylight: float, dt_s: float) -> None:
        """Move up or down and let the light (0..1) follow what the hour says."""
        self.altitude_m += climb_m_s * dt_s
        self.daylight += (daylight - self.daylight) * dt_s / (20.0 + dt_s)
        self.pressure_kpa = pressure_at(self.altitude_m)
        self.temperature_degc = self.sea_level_degc - LAPSE_K_PER_M * self.altitude_m
