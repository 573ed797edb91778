"""What the models of whole cars share: their interface, their body, and true values by signal name."""

from __future__ import annotations

from dataclasses import dataclass
from math import sin
from random import Random
from typing import Protocol

from ..contract.signals import Value
from .driver import Controls
from .engine import Engine, clamp
from .world import World

GRAVITY = 9.81
AIR_KG_M3 = 1.2


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


def common_values(world: World, controls: Controls, speed_kmh: float) -> dict[str, Value]:
    """Return what every car has: key, speed, lights, surroundings, and the buttons that are down."""
    lit = controls.lights
    # in a bend to the left (positive) the wheels on the right have the longer way; a winding road, by altitude;
    # and no two tyres are worn alike (the largest difference is 0.6 %)
    bend = 0.012 * sin(world.altitude_m / 9.0) if speed_kmh > 5.0 else 0.0
    return {
        "vehicle.ignition": controls.ignition,
        "vehicle.speed": speed_kmh,
        "vehicle.wheel_speed_front_left": speed_kmh * (1.0 - bend) * 1.003,
        "vehicle.wheel_speed_front_right": speed_kmh * (1.0 + bend) * 1.001,
        "vehicle.wheel_speed_rear_left": speed_kmh * (1.0 - 0.9 * bend) * 0.997,
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


def engine_values(engine: Engine, world: World, running: bool) -> dict[str, Value]:
    """Return what every petrol engine has."""
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
