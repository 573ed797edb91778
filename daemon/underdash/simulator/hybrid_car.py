"""A small hybrid: motor and engine share the work, the traction battery lives between 40 and 80 %."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp
from random import Random

from ..contract.signals import Value
from .battery import LowVoltageBattery
from .driver import Controls
from .engine import Engine, EngineDesign, EngineInputs, Turning, clamp
from .hybrid import CELLS, CHARGE_LIMIT_KW, MOTOR_LIMIT_KW, PowerSplit, TractionBattery
from .models import Body, common_values, engine_values
from .world import World

IDENTIFICATION = "UNDERDASHLORIS001"
"""As long as a vehicle identification number, and no maker's."""


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
        traction, mean = self.traction, self.traction.voltage_v / CELLS
        return {
            **common_values(self.world, self._controls, self.speed_kmh),
            **engine_values(self.engine, self.world, self.split.engine_on),
            "vehicle.identification": IDENTIFICATION,
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
