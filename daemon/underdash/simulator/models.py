"""Whole cars: what the parts do to each other, and the truth by signal name."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, sin
from random import Random
from typing import Protocol

from ..contract.signals import Value
from .battery import LowVoltageBattery
from .driver import Controls
from .engine import Engine, EngineDesign, EngineInputs, Turning, clamp
from .gearbox import Gearbox, GearboxDesign
from .hybrid import CHARGE_LIMIT_KW, MOTOR_LIMIT_KW, PowerSplit, TractionBattery
from .world import World

GRAVITY = 9.81
AIR_KG_M3 = 1.2
START_AFTER_S = 0.9


class Model(Protocol):
    """What a simulated car needs of its model: where it is, one step, and the truth."""

    speed_kmh: float
    world: World

    def step(self, controls: Controls, dt_s: float) -> None:
        """Move on by `dt_s` seconds."""

    def values(self) -> dict[str, Value]:
        """Return the true values in stored units, by signal name."""


class ModelMaker(Protocol):
    """Makes a model from a seed's random numbers; a design is one."""

    def model(self, rng: Random) -> Model:
        """Return a fresh model, cold after a night outside."""


@dataclass(frozen=True, slots=True)
class Body:
    """Mass, drag area (cw times front) and rolling resistance; a caravan adds to all."""

    mass_kg: float
    drag_m2: float
    rolling: float = 0.012

    def resistance_n(self, speed_m_s: float, grade: float) -> float:
        """Return the force against the car's motion; `grade` is rise over way."""
        air = 0.5 * AIR_KG_M3 * self.drag_m2 * speed_m_s**2
        return air + self.mass_kg * GRAVITY * (self.rolling + grade)

    def roll(self, speed_kmh: float, force_n: float, brake: float, climb_m_s: float, dt_s: float) -> float:
        """Return the speed in km/h after a step with a force at the wheels and a brake 0..1."""
        v = speed_kmh / 3.6
        grade = clamp(climb_m_s / v, -0.12, 0.12) if v > 3.0 else 0.0
        if v < 0.1 and force_n <= self.mass_kg * GRAVITY * self.rolling:
            return 0.0
        net = force_n - self.resistance_n(v, grade) - brake * self.mass_kg * 7.0
        return max(0.0, v + net / self.mass_kg * dt_s) * 3.6


def _common(world: World, controls: Controls, speed_kmh: float) -> dict[str, Value]:
    lit = controls.lights
    # in a bend to the left (positive) the wheels on the right have the longer way; a winding road, by altitude
    bend = 0.012 * sin(world.altitude_m / 9.0) if speed_kmh > 5.0 else 0.0
    return {
        "vehicle.ignition": controls.ignition,
        "vehicle.speed": speed_kmh,
        "vehicle.wheel_speed_front_left": speed_kmh * (1.0 - bend),
        "vehicle.wheel_speed_front_right": speed_kmh * (1.0 + bend),
        "vehicle.wheel_speed_rear_left": speed_kmh * (1.0 - 0.9 * bend),
        "vehicle.wheel_speed_rear_right": speed_kmh * (1.0 + 0.9 * bend),
        "vehicle.steering_angle": 9000.0 * bend,
        "vehicle.accelerator": controls.pedal * 100.0,
        "vehicle.brake": controls.brake > 0.0,
        "lights.parking": lit,
        "lights.low_beam": lit,
        "dashboard.night": lit,
        "dashboard.brightness": controls.knob,
        "ambient.pressure": world.pressure_kpa,
        "ambient.temperature": world.temperature_degc,
        "ambient.altitude": world.altitude_m,
        "ambient.light": world.daylight * 100.0,
        **{f"button.{name}": True for name in controls.pressed},
    }


def _engine_values(engine: Engine, world: World, running: bool) -> dict[str, Value]:
    return {
        "engine.speed": engine.speed_rpm,
        "engine.running": running,
        "engine.torque": engine.torque_nm,
        "engine.load": engine.load_percent,
        "engine.throttle": engine.throttle_percent,
        "engine.manifold_pressure": engine.manifold_kpa,
        "engine.boost_pressure": engine.manifold_kpa - world.pressure_kpa,
        "engine.coolant_temperature": engine.coolant_degc,
        "engine.oil_temperature": engine.oil_degc,
        "engine.oil_pressure": engine.oil_gauge_kpa,
        "engine.intake_temperature": engine.intake_degc,
        "engine.ignition_timing": engine.timing_deg,
        "engine.knock_retard": engine.knock_retard_deg,
        "engine.lambda": engine.mixture,
        "engine.fuel_trim_short": engine.trim_percent,
        "exhaust.temperature": engine.exhaust_degc,
        "fuel.pressure": 380.0 if running else 350.0,
        "fuel.ethanol": 8.0,
    }


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
            **_common(self.world, self._controls, self.speed_kmh),
            **_engine_values(self.engine, self.world, self._inputs.turning is Turning.RUNNING),
            "engine.run_time": self._run_s,
            "engine.charge_pressure": self.engine.charge_kpa,
            "engine.charge_temperature": self.engine.charge_degc,
            "fuel.level": self._fuel_percent,
            "gearbox.gear": float(gear),
            "gearbox.selector": "D" if gear else "P",
            "gearbox.oil_temperature": self.gearbox.oil_degc,
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


class HybridCar:
    """A small hybrid: motor and engine share the work, the battery lives between 40 and 80 %.

    Args:
        design: which one.
        rng: its random numbers.
    """

    def __init__(self, design: HybridDesign, rng: Random) -> None:
        self.world = World(design.sea_level_degc)
        soaked = self.world.temperature_degc
        self.body = design.body
        self.engine = Engine(design.engine, rng, soaked, self.world.pressure_kpa)
        self.traction = TractionBattery(soaked)
        self.split = PowerSplit()
        self.battery = LowVoltageBattery(rng)
        self.speed_kmh = 0.0
        self.ready = False
        self._cabin_degc = soaked
        self._inputs = EngineInputs()
        self._controls = Controls()

    def step(self, controls: Controls, dt_s: float) -> None:
        """Move on by `dt_s` seconds."""
        self._controls = controls
        world = self.world
        world.step(controls.climb_m_s, controls.daylight, dt_s)
        on = controls.ignition in {"ON", "START"}
        self.ready = on and (self.ready or controls.ignition == "START")
        self._cabin_degc += ((21.0 if self.ready else world.temperature_degc) - self._cabin_degc) * dt_s / 400.0
        asked_kw = self._asked_kw(controls) if self.ready else 0.0
        if self.ready and not controls.engine_stop:
            self.split.step(asked_kw, self.speed_kmh, self.traction.charge_percent, self.engine.coolant_degc, dt_s)
        else:
            self.split.stop()
        self._turn_engine(asked_kw, dt_s)
        self._share(asked_kw, dt_s)
        speed = max(self.speed_kmh / 3.6, 2.5)
        force = asked_kw * 1000.0 / speed if asked_kw > 0.0 or self.speed_kmh > 6.0 else 0.0
        # the brake is electric as far as the battery takes it; `asked_kw` holds that part
        friction = clamp(controls.brake - 0.12) if self.speed_kmh > 6.0 else controls.brake
        self.speed_kmh = self.body.roll(self.speed_kmh, force, friction, controls.climb_m_s, dt_s)
        charger = Turning.RUNNING if self.ready else Turning.STOPPED  # a converter charges the 12 V battery
        self.battery.step(controls.ignition, charger, controls.lights, world.temperature_degc, dt_s)

    def _asked_kw(self, controls: Controls) -> float:
        if controls.brake > 0.0 or (controls.pedal == 0.0 and self.speed_kmh > 6.0):
            return -min(CHARGE_LIMIT_KW, (0.12 * clamp(controls.brake / 0.12) + 0.02) * self.speed_kmh * 1.6)
        return 62.0 * controls.pedal * (1.0 - exp(-(self.speed_kmh + 6.0) / 18.0))

    def _turn_engine(self, asked_kw: float, dt_s: float) -> None:
        inputs, world = self._inputs, self.world
        wanted_kw = self.split.engine_kw(max(asked_kw, 0.0), self.traction.charge_percent)
        inputs.turning = Turning.RUNNING if self.split.engine_on else Turning.STOPPED
        inputs.coupled_rpm = 1150.0 + 58.0 * wanted_kw if self.split.engine_on else 0.0
        full_kw = max(self.engine.speed_rpm, 900.0) * 0.0105
        inputs.pedal = clamp(wanted_kw / full_kw) ** 1.4 if self.split.engine_on else 0.0
        inputs.speed_kmh = self.speed_kmh
        inputs.ambient_kpa, inputs.ambient_degc = world.pressure_kpa, world.temperature_degc
        self.engine.step(inputs, dt_s)

    def _share(self, asked_kw: float, dt_s: float) -> None:
        surplus_kw = max(self.engine.power_kw, 0.0) * 0.9 - asked_kw - (0.35 if self.ready else 0.0)
        power_kw = clamp(surplus_kw, -MOTOR_LIMIT_KW, CHARGE_LIMIT_KW) if self.ready else 0.0
        self.traction.step(power_kw, self._cabin_degc, dt_s)

    def values(self) -> dict[str, Value]:
        """Return the true values in stored units, by signal name."""
        traction, mean = self.traction, self.traction.voltage_v / 168.0
        return {
            **_common(self.world, self._controls, self.speed_kmh),
            **_engine_values(self.engine, self.world, self.split.engine_on),
            "powertrain.ready": self.ready,
            "gearbox.selector": "D" if self._controls.driving else "P",
            "cabin.temperature": self._cabin_degc,
            "low_voltage_battery.voltage": self.battery.voltage_v,
            "traction_battery.charge": traction.charge_percent,
            "traction_battery.current": traction.current_a,
            "traction_battery.voltage": traction.voltage_v,
            "traction_battery.temperature": traction.temperature_degc,
            "traction_battery.temperature_highest": traction.temperature_degc + 1.5,
            "traction_battery.temperature_lowest": traction.temperature_degc - 1.0,
            "traction_battery.inlet_temperature": self._cabin_degc,
            "traction_battery.fan": traction.fan_percent,
            "traction_battery.cell_voltage_highest": mean + 0.012,
            "traction_battery.cell_voltage_lowest": mean - 0.015,
            "traction_battery.charging": False,
            "traction_battery.plugged": False,
        }


@dataclass(frozen=True, slots=True)
class HybridDesign:
    """A small hybrid; see `HybridCar`."""

    engine: EngineDesign = field(
        default_factory=lambda: EngineDesign(
            idle_rpm=1150.0, cold_idle_rpm=200.0, boost_limit_kpa=0.0, torque_nm_per_kpa=1.5, coolant_kj_per_k=45.0
        )
    )
    body: Body = field(default_factory=lambda: Body(1280.0, 0.6))
    sea_level_degc: float = 14.0

    def model(self, rng: Random) -> HybridCar:
        """Return a fresh car, cold after a night outside."""
        return HybridCar(self, rng)
