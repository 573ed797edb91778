"""The catalogue: what a quantity is called, its unit, its meaning, the range it can have, its name in COVESA VSS.

A name is dotted snake_case: part of the car, then quantity. Temperatures are degC, pressures kPa absolute unless the
meaning says otherwise. VSS paths are those of version 6.0; quantities it has not (boost, ignition timing, lambda,
wheel buttons, dimming of the instruments ...) have none. `button.<name>` is a family: any such name is a switch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import inf

from ..contract.errors import GivenError, UnderdashError
from ..contract.signals import Kind, Signal
from .searching import hint

BUTTON = "button."
IGNITION_POSITIONS = ("LOCK", "OFF", "ACC", "ON", "START")

_ENGINE = "Vehicle.Powertrain.CombustionEngine"


def _number(
    name: str, unit: str, low: float, high: float, meaning: str, *, vss: str | None = None, gone: float | None = None
) -> Signal:
    return Signal(name, unit, meaning, low=low, high=high, vss=vss, gone_after_s=gone)


def _switch(name: str, meaning: str, vss: str | None = None) -> Signal:
    return Signal(name, "", meaning, Kind.SWITCH, vss=vss)


def _text(name: str, meaning: str, gone: float | None = None) -> Signal:
    return Signal(name, "", meaning, Kind.TEXT, gone_after_s=gone)


def _degc(name: str, high: float, meaning: str, vss: str | None = None) -> Signal:
    return _number(name, "degC", -60.0, high, meaning, vss=vss)


def _share(name: str, meaning: str, vss: str | None = None, low: float = 0.0, high: float = 100.0) -> Signal:
    return _number(name, "%", low, high, meaning, vss=vss)


_VEHICLE = (
    Signal(
        "vehicle.ignition", "", "position of the ignition switch", Kind.CHOICE, choices=IGNITION_POSITIONS,
        vss="Vehicle.LowVoltageSystemState",
    ),
    _number("vehicle.speed", "km/h", 0.0, 420.0, "speed over ground as the car tells it", vss="Vehicle.Speed"),
    _number("vehicle.wheel_speed_front_left", "km/h", 0.0, 450.0, "speed of the front left wheel"),
    _number("vehicle.wheel_speed_front_right", "km/h", 0.0, 450.0, "speed of the front right wheel"),
    _number("vehicle.wheel_speed_rear_left", "km/h", 0.0, 450.0, "speed of the rear left wheel"),
    _number("vehicle.wheel_speed_rear_right", "km/h", 0.0, 450.0, "speed of the rear right wheel"),
    _number("vehicle.distance", "km", 0.0, 4.3e6, "distance driven since the car was built"),
    _number(
        "vehicle.steering_angle", "deg", -1200.0, 1200.0, "steering wheel, left is positive",
        vss="Vehicle.Chassis.SteeringWheel.Angle",
    ),
    _share("vehicle.accelerator", "accelerator pedal", "Vehicle.Chassis.Accelerator.PedalPosition"),
    _switch("vehicle.brake", "brake pedal pressed"),
    _switch("vehicle.clutch", "clutch pedal pressed"),
    _switch("vehicle.cruise", "cruise control is holding the speed"),
    _switch("vehicle.reverse", "reverse gear engaged"),
    _switch("vehicle.trailer", "a trailer is plugged in"),
    _text("vehicle.identification", "vehicle identification number", inf),
    _switch("lights.parking", "parking lights on", "Vehicle.Body.Lights.Parking.IsOn"),
    _switch("lights.low_beam", "low beam on", "Vehicle.Body.Lights.Beam.Low.IsOn"),
)  # fmt: skip

_AIR = (
    _number("engine.manifold_pressure", "kPa", 0.0, 700.0, "after the throttle, absolute", vss=f"{_ENGINE}.MAP"),
    _number("engine.charge_pressure", "kPa", 30.0, 700.0, "before the throttle, absolute; never shows vacuum"),
    _number("engine.charge_pressure_target", "kPa", 0.0, 700.0, "charge pressure the engine aims at, absolute"),
    _number("engine.boost_pressure", "kPa", -110.0, 600.0, "manifold or charge pressure minus ambient"),
    _number("engine.compressor_inlet_pressure", "kPa", 10.0, 300.0, "before the compressor, absolute"),
    _number("engine.turbo_speed", "rpm", 0.0, 400_000.0, "speed of the turbocharger's shaft"),
    _share("engine.wastegate", "drive of the wastegate or the vanes"),
    _number("engine.air_flow", "g/s", 0.0, 2048.0, "air mass flow", vss=f"{_ENGINE}.MAF"),
    _degc("engine.intake_temperature", 215.0, "intake air, where the maker put its sensor"),
    _degc("engine.charge_temperature", 250.0, "charge air after its cooler"),
    _share("engine.throttle", "throttle position", f"{_ENGINE}.TPS"),
    _share("engine.throttle_target", "throttle position the engine aims at"),
)

_ENGINE_PARTS = (
    _number("engine.speed", "rpm", 0.0, 16_384.0, "engine speed", vss=f"{_ENGINE}.Speed"),
    _switch("engine.running", "the engine runs", f"{_ENGINE}.IsRunning"),
    _number("engine.torque", "Nm", -2000.0, 4000.0, "torque at the crankshaft", vss=f"{_ENGINE}.Torque"),
    _number("engine.torque_reference", "Nm", 0.0, 65_535.0, "torque that the shares of torque refer to", gone=inf),
    _share("engine.torque_share", "torque as a share of the reference", low=-125.0, high=130.0),
    _share("engine.torque_demand", "torque asked for, as a share of the reference", low=-125.0, high=130.0),
    _share("engine.torque_friction", "torque lost in the engine, as a share of the reference", low=-125.0, high=130.0),
    _share("engine.load", "calculated load"),
    _share("engine.load_absolute", "air per stroke against one filling at 1 atm", high=1000.0),
    _degc("engine.coolant_temperature", 215.0, "coolant", f"{_ENGINE}.EngineCoolant.Temperature"),
    _degc("engine.coolant_temperature_radiator", 215.0, "coolant at the radiator's outlet"),
    _degc("engine.oil_temperature", 250.0, "engine oil", f"{_ENGINE}.EngineOil.Temperature"),
    _number("engine.oil_pressure", "kPa", 0.0, 2000.0, "engine oil, above ambient", vss=f"{_ENGINE}.EOP"),
    _share("engine.oil_level", "engine oil between its marks"),
    _number("engine.ignition_timing", "deg", -64.0, 64.0, "ignition before top dead centre, cylinder 1"),
    _number("engine.injection_timing", "deg", -210.0, 302.0, "injection before top dead centre"),
    _number("engine.knock_retard", "deg", 0.0, 60.0, "ignition taken back because of knocking, the worst cylinder"),
    *(
        _number(f"engine.knock_retard_{n}", "deg", 0.0, 60.0, f"ignition taken back because of knocking, cylinder {n}")
        for n in range(1, 9)
    ),
    _number("engine.lambda", "lambda", 0.0, 16.0, "air against what the fuel needs, measured, bank 1"),
    _number("engine.lambda_2", "lambda", 0.0, 16.0, "air against what the fuel needs, measured, bank 2"),
    _number("engine.lambda_target", "lambda", 0.0, 16.0, "air against what the fuel needs, aimed at"),
    _share("engine.fuel_trim_short", "short-term fuel correction, bank 1", low=-100.0),
    _share("engine.fuel_trim_long", "long-term fuel correction, bank 1", low=-100.0),
    _share("engine.fuel_trim_short_2", "short-term fuel correction, bank 2", low=-100.0),
    _share("engine.fuel_trim_long_2", "long-term fuel correction, bank 2", low=-100.0),
    _number("engine.run_time", "s", 0.0, 65_535.0, "since the engine was started"),
    _switch("engine.fault_lamp", "the fault lamp is asked for"),
    _number("engine.faults", "", 0.0, 127.0, "stored fault codes"),
    _number("fuel.pressure", "kPa", 0.0, 1500.0, "fuel before the injection pump, above ambient"),
    _number("fuel.rail_pressure", "kPa", 0.0, 655_350.0, "fuel in the rail, above ambient"),
    _degc("fuel.temperature", 150.0, "fuel"),
    _share("fuel.ethanol", "ethanol in the fuel"),
    _share("fuel.level", "fuel in the tank", "Vehicle.Powertrain.FuelSystem.RelativeLevel"),
    _number("fuel.rate", "L/h", 0.0, 3300.0, "fuel burnt"),
    _degc("exhaust.temperature", 1300.0, "exhaust gas, bank 1"),
    _degc("exhaust.temperature_2", 1300.0, "exhaust gas, bank 2"),
    _degc("exhaust.catalyst_temperature", 1300.0, "catalyst"),
    _number("exhaust.pressure", "kPa", 0.0, 1000.0, "exhaust gas before the turbine, absolute"),
    _number("exhaust.filter_pressure", "kPa", -20.0, 200.0, "pressure lost across the particle filter"),
    _share("exhaust.filter_load", "soot in the particle filter", high=250.0),
)

_DRIVELINE = (
    _degc("gearbox.oil_temperature", 250.0, "gearbox oil"),
    _degc("gearbox.clutch_temperature", 600.0, "clutch"),
    _number("gearbox.oil_pressure", "kPa", 0.0, 8000.0, "gearbox oil, above ambient"),
    _number(
        "gearbox.gear", "", -2.0, 12.0, "gear engaged; 0 is neutral, below it reverse",
        vss="Vehicle.Powertrain.Transmission.CurrentGear",
    ),
    _text("gearbox.selector", "position of the selector lever"),
    _number("gearbox.input_speed", "rpm", 0.0, 20_000.0, "gearbox input shaft"),
    _degc("transfer.oil_temperature", 250.0, "oil of the transfer case or the all-wheel clutch"),
    _degc("axle.oil_temperature", 250.0, "oil of the final drive"),
    _degc("brakes.temperature", 1000.0, "the hottest brake"),
    _switch("powertrain.ready", "a hybrid or electric car will move when asked to"),
    _degc("powertrain.motor_temperature", 250.0, "electric drive motor"),
    _degc("powertrain.inverter_temperature", 200.0, "power electronics of the drive motor"),
    _number("powertrain.motor_speed", "rpm", -30_000.0, 30_000.0, "electric drive motor"),
    _number("powertrain.motor_torque", "Nm", -2000.0, 2000.0, "electric drive motor"),
)  # fmt: skip

_BATTERIES = (
    _number("low_voltage_battery.voltage", "V", 0.0, 40.0, "battery that starts the car",
            vss="Vehicle.LowVoltageBattery.CurrentVoltage"),
    _number("low_voltage_battery.current", "A", -2000.0, 2000.0, "positive while it is charged",
            vss="Vehicle.LowVoltageBattery.CurrentCurrent"),
    _share("low_voltage_battery.charge", "charge of the battery that starts the car"),
    _degc("low_voltage_battery.temperature", 100.0, "battery that starts the car"),
    _share("traction_battery.charge", "charge of the traction battery"),
    _share("traction_battery.health", "capacity of the traction battery against a new one", high=120.0),
    _number("traction_battery.voltage", "V", 0.0, 1200.0, "traction battery"),
    _number("traction_battery.current", "A", -2000.0, 2000.0, "traction battery, positive while it is charged"),
    _degc("traction_battery.temperature", 120.0, "traction battery, mean"),
    _degc("traction_battery.temperature_highest", 120.0, "the hottest sensor of the traction battery"),
    _degc("traction_battery.temperature_lowest", 120.0, "the coldest sensor of the traction battery"),
    _degc("traction_battery.inlet_temperature", 120.0, "air or coolant that enters the traction battery"),
    _share("traction_battery.fan", "drive of the traction battery's fan or pump"),
    _number("traction_battery.cell_voltage_highest", "V", 0.0, 5.0, "highest voltage of a cell or block"),
    _number("traction_battery.cell_voltage_lowest", "V", 0.0, 5.0, "lowest voltage of a cell or block"),
    _number("traction_battery.cell_voltage_spread", "mV", 0.0, 5000.0, "highest minus lowest cell voltage"),
    _switch("traction_battery.charging", "the traction battery is charged from outside"),
    _switch("traction_battery.plugged", "a charging plug is in"),
)  # fmt: skip

_SURROUNDINGS = (
    _number("ambient.pressure", "kPa", 40.0, 115.0, "air pressure outside, absolute"),
    _number("ambient.temperature", "degC", -60.0, 85.0, "air outside", vss="Vehicle.Exterior.AirTemperature"),
    _number("ambient.altitude", "m", -500.0, 9000.0, "height above sea level"),
    _share("ambient.light", "light outside", "Vehicle.Exterior.LightIntensity"),
    _share("cabin.light", "light in the cabin", "Vehicle.Cabin.Light.PerceivedAmbientLight"),
    _degc("cabin.temperature", 100.0, "air in the cabin"),
    _number("dashboard.brightness", "ratio", 0.0, 1.0, "how bright the instruments are set, 0 darkest"),
    _switch("dashboard.night", "the instruments are lit for the dark"),
    _degc("board.temperature", 125.0, "processor of the board this runs on"),
    _switch("board.undervoltage", "the board's own supply is too low"),
    _switch("board.throttled", "the board slows itself down"),
)


class Catalogue(Mapping[str, Signal]):
    """Signals by name. Any ``button.<name>`` is in it, though iterating gives only what was listed.

    Args:
        signals: the entries.

    Raises:
        UnderdashError: two entries have one name.
    """

    def __init__(self, signals: Iterable[Signal]) -> None:
        self._signals: dict[str, Signal] = {}
        for entry in signals:
            if entry.name in self._signals:
                raise UnderdashError(f"signal {entry.name!r} is declared twice; give one of them another name")
            self._signals[entry.name] = entry

    def __getitem__(self, name: str) -> Signal:
        found = self._signals.get(name)
        if found is not None:
            return found
        word = name.removeprefix(BUTTON)
        if word == name or not (word.isidentifier() and word.islower()):
            raise KeyError(name)
        return _switch(name, f"button {word.replace('_', ' ')} is pressed")

    def __iter__(self) -> Iterator[str]:
        return iter(self._signals)

    def __len__(self) -> int:
        return len(self._signals)

    def signal(self, name: str) -> Signal:
        """Return a signal's entry.

        Raises:
            GivenError: nobody declared it; the message gives the nearest spelling.
        """
        if name in self:
            return self[name]
        raise GivenError(f"signal {name!r} is not known; {hint(name, self)}")

    def with_signals(self, signals: Iterable[Signal]) -> Catalogue:
        """Return a catalogue with more entries; raises as the class does."""
        return Catalogue((*self._signals.values(), *signals))


CATALOGUE = Catalogue((*_VEHICLE, *_AIR, *_ENGINE_PARTS, *_DRIVELINE, *_BATTERIES, *_SURROUNDINGS))


def signal(name: str) -> Signal:
    """Return the catalogue's entry of a name; raises `GivenError` with the nearest spelling."""
    return CATALOGUE.signal(name)
