"""The 12 V battery: rest, cranking dip, charging."""

from __future__ import annotations

from random import Random

from .engine import Turning, clamp

REST_V = {"LOCK": 12.62, "OFF": 12.55, "ACC": 12.42, "ON": 12.18, "START": 12.18}


class LowVoltageBattery:
    """Terminal voltage as the car's control units measure it."""

    def __init__(self, rng: Random) -> None:
        self._rng = rng
        self._cranked_s = 0.0
        self.voltage_v = REST_V["LOCK"]

    def step(self, ignition: str, turning: Turning, lights: bool, ambient_degc: float, dt_s: float) -> None:
        """Move on by `dt_s`; `ignition` is the position of the key."""
        if turning is Turning.CRANKING:
            # the starter at rest is nearly a short circuit; once it turns the battery recovers
            target = 9.3 + 1.6 * clamp(self._cranked_s / 0.6) + self._rng.gauss(0.0, 0.08)
            self._cranked_s += dt_s
            lag_s = 0.03
        elif turning is Turning.RUNNING:
            self._cranked_s = 0.0
            target = 14.5 - 0.012 * (ambient_degc - 10.0) - (0.12 if lights else 0.0) + self._rng.gauss(0.0, 0.02)
            lag_s = 0.9
        else:
            self._cranked_s = 0.0
            target = REST_V[ignition] - (0.15 if lights else 0.0)
            lag_s = 2.5 if self.voltage_v > target else 0.3
        self.voltage_v += (target - self.voltage_v) * dt_s / (lag_s + dt_s)
