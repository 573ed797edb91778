"""A turbo petrol car with an automatic gearbox, with or without a caravan: what its parts do to each other."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from ..contract.signals import Value
from .battery import LowVoltageBattery
from .driver import Controls
from .engine import Engine, EngineDesign, EngineInputs, Turning, clamp
from .gearbox import Gearbox, GearboxDesign
from .models import Body, common_values, engine_values
from .world import World

IDENTIFICATION = "UNDERDASHTARN0001"
"""As long as a vehicle identification number, and no maker's."""
START_AFTER_S = 0.9
"""How long the starter turns before the engine fires."""


class TurboCar:
    """A turbo petrol car with an automatic gearbox.

    Args:
        design: which one.
        rng: its random numbers.
    """

    def __init__(self, design: TurboDesign, rng: Random) -> None:
        self.world = World(design.sea_level_degc)
        soaked = self.world.temperature_degc
        self.body = design.caravan if design.towing else design.body
        self.engine = Engine(design.engine, rng, soaked, self.world.pressure_kpa)
        self.gearbox = Gearbox(design.gearbox, soaked)
        self.battery = LowVoltageBattery(rng)
        self.speed_kmh = 0.0
        self._design = design
        self._inputs = EngineInputs()
        self._starter_s = 0.0
        self._controls = Controls()
        self._distance_km = 48_211.0
        self._fuel_percent = 71.0
        self._run_s = 0.0

    def step(self, controls: Controls, dt_s: float) -> None:
        """Move on by `dt_s` seconds."""
        self._controls = controls
        world, engine, gearbox, inputs = self.world, self.engine, self.gearbox, self._inputs
        world.step(controls.climb_m_s, controls.daylight, dt_s)
        inputs.turning = self._turning(controls, dt_s)
        running = inputs.turning is Turning.RUNNING
        self._run_s = self._run_s + dt_s if running else 0.0
        gearbox.choose(self.speed_kmh, controls.pedal, controls.driving, dt_s)
        shaft = gearbox.rpm_in(gearbox.gear, self.speed_kmh) if gearbox.gear else 0.0
        inputs.pedal = controls.pedal if running else 0.0
        inputs.coupled_rpm = gearbox.coupled_rpm(self.speed_kmh, controls.pedal, engine.idle_rpm)
        inputs.speed_kmh = self.speed_kmh
        inputs.ambient_kpa, inputs.ambient_degc = world.pressure_kpa, world.temperature_degc
        engine.step(inputs, dt_s)
        slip = clamp(1.0 - shaft / engine.speed_rpm) if engine.speed_rpm > 300.0 and gearbox.gear else 0.0
        force = gearbox.force_n(engine.torque_nm * (1.0 + 0.8 * slip))
        self.speed_kmh = self.body.roll(self.speed_kmh, force, controls.brake, controls.climb_m_s, dt_s)
        self._distance_km += self.speed_kmh / 3600.0 * dt_s
        self._fuel_percent -= max(engine.power_kw, 0.0) * 1.4e-5 * dt_s  # about 0.3 L/kWh out of 60 L
        power_kw = abs(engine.power_kw) if self.speed_kmh > 1.0 else 0.0
        gearbox.warm(
            dt_s,
            power_kw=power_kw,
            slip=slip,
            speed_kmh=self.speed_kmh,
            coolant_degc=engine.coolant_degc,
            ambient_degc=world.temperature_degc,
        )
        self.battery.step(controls.ignition, inputs.turning, controls.lights, world.temperature_degc, dt_s)

    def _turning(self, controls: Controls, dt_s: float) -> Turning:
        before = self._inputs.turning
        if controls.ignition == "START" and before is not Turning.RUNNING:
            self._starter_s += dt_s
            return Turning.RUNNING if self._starter_s > START_AFTER_S else Turning.CRANKING
        self._starter_s = 0.0
        stays = controls.ignition in {"ON", "START"} and not controls.engine_stop
        return Turning.RUNNING if before is Turning.RUNNING and stays else Turning.STOPPED

    def values(self) -> dict[str, Value]:
        """Return the true values in stored units, by signal name."""
        gear = self.gearbox.gear
        return {
            **common_values(self.world, self._controls, self.speed_kmh),
            **engine_values(self.engine, self.world, self._inputs.turning is Turning.RUNNING),
            "engine.run_time": self._run_s,
            "engine.charge_pressure": self.engine.charge_kpa,
            "engine.charge_temperature": self.engine.charge_degc,
            "fuel.level": self._fuel_percent,
            "gearbox.gear": float(gear),
            "gearbox.selector": "D" if gear else "P",
            "gearbox.oil_temperature": self.gearbox.oil_degc,
            "gearbox.clutch_temperature": self.gearbox.clutch_degc,
            "gearbox.oil_pressure": 420.0 + 0.35 * self.engine.torque_nm if self.engine.speed_rpm > 300.0 else 0.0,
            "gearbox.input_speed": self.gearbox.rpm_in(gear, self.speed_kmh) if gear else 0.0,
            "axle.oil_temperature": self.gearbox.axle_degc,
            "vehicle.identification": IDENTIFICATION,
            "vehicle.distance": self._distance_km,
            "vehicle.trailer": self._design.towing,
            "low_voltage_battery.voltage": self.battery.voltage_v,
        }


@dataclass(frozen=True, slots=True)
class TurboDesign:
    """A turbo petrol car; see `TurboCar`."""

    engine: EngineDesign = field(default_factory=EngineDesign)
    gearbox: GearboxDesign = field(default_factory=GearboxDesign)
    body: Body = field(default_factory=lambda: Body(1620.0, 0.68))
    caravan: Body = field(default_factory=lambda: Body(2870.0, 1.75))
    towing: bool = True
    sea_level_degc: float = 14.0

    def model(self, rng: Random) -> TurboCar:
        """Return a fresh car, cold after a night outside."""
        return TurboCar(self, rng)
