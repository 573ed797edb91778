"""A petrol engine, with or without a turbocharger: pressures, heat, timing. Plausible, not exact.

Every state follows its target with a first-order lag, so nothing overshoots a limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import exp, pi, sin
from random import Random

RPM_TO_RAD_S = pi / 30.0
KELVIN = 273.15
AIR_EXPONENT = 0.2857  # (kappa - 1) / kappa of dry air
COMPRESSOR_EFFICIENCY = 0.68
OVERRUN_KPA = 22.0


class Turning(Enum):
    """What turns the crankshaft."""

    STOPPED = 0
    CRANKING = 1
    RUNNING = 2


@dataclass(frozen=True, slots=True)
class EngineDesign:
    """What sets one engine apart from another.

    Args:
        idle_rpm: warm idle; cold it is up to `cold_idle_rpm` faster.
        boost_limit_kpa: most the charger may add to the ambient pressure; 0 for an engine without one.
        pressure_ratio: most it may multiply it by, which is what counts on a mountain.
        spool_rpm: engine speeds at which the charger begins to deliver and at which it delivers all.
        torque_nm_per_kpa: torque for each kPa in the manifold above what it takes to turn.
        thermostat_degc: where the thermostat begins to open; it is fully open 10 K above.
        coolant_kj_per_k: heat that warms coolant and metal by one kelvin.
    """

    idle_rpm: float = 760.0
    cold_idle_rpm: float = 420.0
    boost_limit_kpa: float = 126.0
    pressure_ratio: float = 2.3
    spool_rpm: tuple[float, float] = (1300.0, 2500.0)
    torque_nm_per_kpa: float = 1.42
    thermostat_degc: float = 87.0
    coolant_kj_per_k: float = 55.0


@dataclass(slots=True)
class EngineInputs:
    """What driver, gearbox and world do to the engine during one step."""

    turning: Turning = Turning.STOPPED
    pedal: float = 0.0
    coupled_rpm: float = 0.0
    speed_kmh: float = 0.0
    ambient_kpa: float = 101.325
    ambient_degc: float = 15.0


def clamp(value: float, low: float = 0.0, high: float = 1.0) -> float:
    """Return `value`, or the bound it is beyond."""
    return low if value < low else high if value > high else value


class Engine:
    """State of the engine; units are in the names, pressures are absolute unless they say gauge.

    Args:
        design: which engine.
        rng: for what is never quite steady.
        soaked_degc: temperature of everything after a night outside.
        ambient_kpa: air pressure before the first step.
    """

    def __init__(self, design: EngineDesign, rng: Random, soaked_degc: float, ambient_kpa: float) -> None:
        self.design = design
        self._rng = rng
        self._flare_rpm = 0.0
        self._time_s = 0.0
        self._air_degc = soaked_degc
        self.speed_rpm = 0.0
        self.manifold_kpa = self.charge_kpa = ambient_kpa
        self.ambient_kpa = ambient_kpa
        self.coolant_degc = self.oil_degc = soaked_degc
        self.intake_degc = self.charge_degc = self.exhaust_degc = soaked_degc
        self.timing_deg = self.knock_retard_deg = 0.0
        self.mixture = 1.0
        self.trim_percent = 0.0
        self.oil_gauge_kpa = 0.0
        self.throttle_percent = 14.0
        self.torque_nm = 0.0

    @property
    def power_kw(self) -> float:
        """Power at the crankshaft; negative on the overrun."""
        return self.torque_nm * self.speed_rpm * RPM_TO_RAD_S / 1000.0

    @property
    def idle_rpm(self) -> float:
        """Idle speed at the present coolant temperature."""
        return self.design.idle_rpm + self.design.cold_idle_rpm * clamp((60.0 - self.coolant_degc) / 60.0)

    @property
    def load_percent(self) -> float:
        """Air in the manifold as a share of what the ambient air would give without a charger."""
        return 0.0 if self.speed_rpm < 400.0 else clamp(self.manifold_kpa / self.ambient_kpa) * 100.0

    def step(self, inputs: EngineInputs, dt_s: float) -> None:
        """Move on by `dt_s`."""
        self._time_s += dt_s
        self.ambient_kpa = inputs.ambient_kpa
        self._turn(inputs, dt_s)
        self._breathe(inputs, dt_s)
        self._burn(inputs, dt_s)
        self._warm(inputs, dt_s)
        self._air(inputs, dt_s)

    def _turn(self, inputs: EngineInputs, dt_s: float) -> None:
        if inputs.turning is Turning.STOPPED:
            target, lag_s = 0.0, 0.35
            if self.speed_rpm < 20.0:
                self.speed_rpm = 0.0
        elif inputs.turning is Turning.CRANKING:
            # compression strokes are felt while the starter turns
            target, lag_s = 215.0 + 30.0 * sin(2.0 * pi * 5.0 * self._time_s), 0.08
            self._flare_rpm = 520.0
        else:
            self._flare_rpm *= exp(-dt_s / 1.1)
            target = max(self.idle_rpm + self._flare_rpm, inputs.coupled_rpm) + self._rng.gauss(0.0, 5.0)
            lag_s = 0.15
        self.speed_rpm += (target - self.speed_rpm) * dt_s / (lag_s + dt_s)

    def _breathe(self, inputs: EngineInputs, dt_s: float) -> None:
        ambient, pedal, design = inputs.ambient_kpa, inputs.pedal, self.design
        if inputs.turning is not Turning.RUNNING:
            dip = 25.0 if inputs.turning is Turning.CRANKING else 0.0
            self.manifold_kpa += (ambient - dip - self.manifold_kpa) * dt_s / (0.3 + dt_s)
            self.charge_kpa += (ambient - self.charge_kpa) * dt_s / (0.3 + dt_s)
            return
        low, high = design.spool_rpm
        spool = clamp((self.speed_rpm - low) / (high - low))
        limit = min(ambient + design.boost_limit_kpa, ambient * design.pressure_ratio)
        share = clamp((pedal - 0.3) / 0.55) * spool if design.boost_limit_kpa else 0.0
        target = ambient + (limit - ambient) * share
        # a charger has to run up before it delivers, and the faster the engine the sooner; letting go is quick
        lag_s = 1.3 - 0.75 * spool if target > self.charge_kpa else 0.3
        self.charge_kpa += (target - self.charge_kpa) * dt_s / (lag_s + dt_s)
        closed = OVERRUN_KPA if pedal < 0.01 and self.speed_rpm > 1.5 * self.idle_rpm else 34.0
        open_kpa = self.charge_kpa - 2.0 - 0.0004 * self.speed_rpm
        target = closed + (open_kpa - closed) * clamp(pedal) ** 0.6 + self._rng.gauss(0.0, 0.25)
        self.manifold_kpa += (target - self.manifold_kpa) * dt_s / (0.09 + dt_s)
        self.throttle_percent += (13.0 + 74.0 * pedal - self.throttle_percent) * dt_s / (0.06 + dt_s)

    def _burn(self, inputs: EngineInputs, dt_s: float) -> None:
        if inputs.turning is not Turning.RUNNING:
            self.torque_nm = self.timing_deg = self.knock_retard_deg = 0.0
            self.mixture, self.trim_percent = 1.0, 0.0
            self.oil_gauge_kpa *= exp(-dt_s / 0.5)
            return
        rpm, manifold = self.speed_rpm, self.manifold_kpa
        filling = 1.0 - ((rpm - 3200.0) / 7000.0) ** 2
        self.torque_nm = self.design.torque_nm_per_kpa * (manifold - 30.0) * filling
        hot = clamp((self.charge_degc - 42.0) * 0.12, 0.0, 5.0) if manifold > 150.0 else 0.0
        self.knock_retard_deg += (hot - self.knock_retard_deg) * dt_s / (0.8 + dt_s)
        wanted = 34.0 - 0.165 * max(manifold - 40.0, 0.0) + 0.0025 * (rpm - 2000.0)
        if rpm < 1.3 * self.idle_rpm and inputs.pedal < 0.02:
            wanted = 9.0 + self._rng.gauss(0.0, 0.8)  # idle is kept steady by timing
        self.timing_deg = clamp(wanted - self.knock_retard_deg, -8.0, 44.0)
        rich = 0.12 * clamp((manifold - 150.0) / 50.0)
        overrun = manifold < OVERRUN_KPA + 4.0
        self.mixture = 1.8 if overrun else 1.0 - rich + 0.012 * sin(2.0 * pi * 0.8 * self._time_s)
        self.trim_percent = 2.5 * sin(2.0 * pi * 0.11 * self._time_s) + self._rng.gauss(0.0, 0.3)
        pressure = clamp(110.0 + 0.085 * rpm - 1.4 * (self.oil_degc - 80.0), 90.0, 560.0)
        self.oil_gauge_kpa += (pressure - self.oil_gauge_kpa) * dt_s / (0.4 + dt_s)

    def _warm(self, inputs: EngineInputs, dt_s: float) -> None:
        running = inputs.turning is Turning.RUNNING
        fuel_kw = max(self.power_kw, 0.0) / 0.34 + 0.006 * self.speed_rpm if running else 0.0
        over_ambient = self.coolant_degc - inputs.ambient_degc
        valve = clamp((self.coolant_degc - self.design.thermostat_degc) / 10.0)
        radiator = valve * (0.35 + 0.012 * inputs.speed_kmh)
        heat_kw = 0.27 * fuel_kw - (0.02 + radiator) * over_ambient
        self.coolant_degc += heat_kw / self.design.coolant_kj_per_k * dt_s
        oil = self.coolant_degc + (5.0 + 0.25 * max(self.power_kw, 0.0) if running else 0.0)
        self.oil_degc += (oil - self.oil_degc) * dt_s / 170.0
        hot = 330.0 + 3.1 * max(self.power_kw, 0.0) + 1.1 * max(self.manifold_kpa - 60.0, 0.0)
        exhaust = min(hot, 960.0) if running else inputs.ambient_degc
        self.exhaust_degc += (exhaust - self.exhaust_degc) * dt_s / (7.0 if running else 90.0)

    def _air(self, inputs: EngineInputs, dt_s: float) -> None:
        # under the bonnet of a standing car the air takes on the engine's heat
        soak = 0.28 * max(self.coolant_degc - inputs.ambient_degc, 0.0) * exp(-inputs.speed_kmh / 22.0)
        self.intake_degc += (inputs.ambient_degc + 3.0 + soak - self.intake_degc) * dt_s / 25.0
        ratio = max(self.charge_kpa / inputs.ambient_kpa, 1.0)
        rise = (self.intake_degc + KELVIN) * (ratio**AIR_EXPONENT - 1.0) / COMPRESSOR_EFFICIENCY
        cooler = 0.62 + 0.2 * clamp(inputs.speed_kmh / 80.0)
        behind = self.intake_degc + rise - cooler * (self.intake_degc + rise - inputs.ambient_degc - 2.0)
        self.charge_degc += (behind - self.charge_degc) * dt_s / 4.0
