"""The parameters of service 01 as data.

Formulas are those of SAE J1979 / ISO 15031-5. The paid text was not read; each row says where its formula comes from:
`SEEN` in open decoders of the standard and tables made from it, `MEMORY` nowhere but from memory. Names are own words.
Quantities that the catalogue does not have are called ``obd2.<name>``, for the plug-in that brings them.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.layout import Bits, Field
from ..contract.signals import Kind, Signal

SEEN = "decoded alike by an independent open decoder"
MEMORY = "from memory"

PERCENT = 100.0 / 255.0
LAMBDA = 2.0 / 65536.0
OWN = "obd2."


@dataclass(frozen=True, slots=True)
class Quantity:
    """One value of a parameter: where it is, its unit, and what it is."""

    field: Field
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of service 01.

    Args:
        pid: its number.
        size: data bytes of its answer.
        name: what it is, in own words.
        quantities: its values; none where it carries nothing a gauge can show.
        source: where the formula comes from.
        once: it cannot change while driving.
    """

    pid: int
    size: int
    name: str
    quantities: tuple[Quantity, ...] = ()
    source: str = SEEN
    once: bool = False

    @property
    def fields(self) -> tuple[Field, ...]:
        """The declarations a request for this parameter carries."""
        return tuple(quantity.field for quantity in self.quantities)


FULL_SCALE_LAMBDA = OWN + "full_scale_lambda"
FULL_SCALE_OXYGEN_VOLTAGE = OWN + "full_scale_oxygen_voltage"
FULL_SCALE_OXYGEN_CURRENT = OWN + "full_scale_oxygen_current"
FULL_SCALE_PRESSURE = OWN + "full_scale_manifold_pressure"
FULL_SCALE_AIR_FLOW = OWN + "full_scale_air_flow"


def _value(
    signal: str,
    unit: str,
    meaning: str,
    at: int = 0,
    size: int = 1,
    *,
    scale: float = 1.0,
    offset: float = 0.0,
    if_bit: int | None = None,
    saturates_at: int | None = None,
    full_scale: str | None = None,
) -> Quantity:
    """Describe a value of whole bytes; `if_bit` is the bit of byte 0 that says it is there."""
    present = None if if_bit is None else Bits(0, 1, if_bit)
    return Quantity(
        Field(
            signal, Bits(at, 8 * size), scale=scale, offset=offset, present_if=present, saturates_at=saturates_at,
            full_scale_from=full_scale,
        ),
        unit,
        meaning,
    )  # fmt: skip


def _one(
    pid: int, size: int, signal: str, unit: str, meaning: str, *, scale: float = 1.0, offset: float = 0.0
) -> Parameter:
    """Describe a parameter whose whole answer is one number."""
    return Parameter(pid, size, meaning, (_value(signal, unit, meaning, 0, size, scale=scale, offset=offset),))


def _mask(pid: int) -> Parameter:
    return Parameter(pid, 4, f"which of {pid + 1:02X} to {pid + 0x20:02X} the unit has", once=True)


def _oxygen(pid: int, sensor: int, current: bool) -> Parameter:
    """Describe a wide-band sensor: lambda, and its voltage or current. Sensor 1 is bank 1 before the catalyst."""
    signal = "engine.lambda" if sensor == 1 else f"{OWN}lambda_{sensor}"
    ratio = _value(signal, "lambda", f"lambda at sensor {sensor}", 0, 2, scale=LAMBDA, full_scale=FULL_SCALE_LAMBDA)
    if current:
        # the standard counts in mA; the -128 is from memory, one open decoder leaves it out
        second = _value(
            f"{OWN}oxygen_current_{sensor}", "A", f"current of oxygen sensor {sensor}", 2, 2,
            scale=1e-3 / 256.0, offset=-0.128,
        )  # fmt: skip
    else:
        second = _value(
            f"{OWN}oxygen_voltage_{sensor}", "V", f"voltage of oxygen sensor {sensor}", 2, 2,
            scale=8.0 / 65536.0, full_scale=FULL_SCALE_OXYGEN_VOLTAGE,
        )  # fmt: skip
    return Parameter(pid, 4, f"oxygen sensor {sensor}", (ratio, second), MEMORY if current else SEEN)


_FUEL_SYSTEM = (
    (1, "open loop, cold"), (2, "closed loop"), (4, "open loop, load"), (8, "open loop, fault"),
    (16, "closed loop, fault"),
)  # fmt: skip

_STATE = (
    Parameter(
        0x01, 4, "fault lamp and number of stored faults",
        (
            Quantity(Field("engine.fault_lamp", Bits(0, 1, 7), values=((0, False), (1, True))), "", "fault lamp"),
            Quantity(Field("engine.faults", Bits(0, 7, 6)), "", "number of stored faults"),
        ),
    ),
    Parameter(0x02, 2, "fault that stored the freeze frame", source=MEMORY),
    Parameter(
        0x03, 2, "state of the fuel systems",
        tuple(
            Quantity(Field(f"{OWN}fuel_system_{n}", Bits(n - 1), values=_FUEL_SYSTEM), "", f"state of fuel system {n}")
            for n in (1, 2)
        ),
        MEMORY,
    ),
)  # fmt: skip

_ENGINE = (
    _one(0x04, 1, "engine.load", "%", "calculated load", scale=PERCENT),
    _one(0x05, 1, "engine.coolant_temperature", "degC", "coolant temperature", offset=-40.0),
    _one(0x06, 1, "engine.fuel_trim_short", "%", "short-term fuel trim, bank 1", scale=100.0 / 128.0, offset=-100.0),
    _one(0x07, 1, "engine.fuel_trim_long", "%", "long-term fuel trim, bank 1", scale=100.0 / 128.0, offset=-100.0),
    _one(0x08, 1, "engine.fuel_trim_short_2", "%", "short-term fuel trim, bank 2", scale=100.0 / 128.0, offset=-100.0),
    _one(0x09, 1, "engine.fuel_trim_long_2", "%", "long-term fuel trim, bank 2", scale=100.0 / 128.0, offset=-100.0),
    _one(0x0A, 1, "fuel.pressure", "kPa", "fuel pressure above ambient", scale=3.0),
    Parameter(
        0x0B, 1, "intake manifold pressure, absolute",
        (
            _value(
                "engine.manifold_pressure", "kPa", "intake manifold pressure, absolute",
                saturates_at=255, full_scale=FULL_SCALE_PRESSURE,
            ),
        ),
    ),
    _one(0x0C, 2, "engine.speed", "rpm", "engine speed", scale=0.25),
    Parameter(0x0D, 1, "speed", (_value("vehicle.speed", "km/h", "speed", saturates_at=255),)),
    _one(0x0E, 1, "engine.ignition_timing", "deg", "ignition before dead centre, cylinder 1", scale=0.5, offset=-64.0),
    _one(0x0F, 1, "engine.intake_temperature", "degC", "intake air temperature", offset=-40.0),
    Parameter(
        0x10, 2, "air mass flow",
        (_value("engine.air_flow", "g/s", "air mass flow", 0, 2, scale=0.01, full_scale=FULL_SCALE_AIR_FLOW),),
    ),
    _one(0x11, 1, "engine.throttle", "%", "throttle position", scale=PERCENT),
    _one(0x1F, 2, "engine.run_time", "s", "time since the engine was started"),
    _one(0x43, 2, "engine.load_absolute", "%", "absolute load", scale=PERCENT),
    Parameter(
        0x44, 2, "lambda aimed at",
        (
            _value(
                "engine.lambda_target", "lambda", "lambda aimed at", 0, 2, scale=LAMBDA, full_scale=FULL_SCALE_LAMBDA
            ),
        ),
    ),
    _one(0x45, 1, OWN + "throttle_relative", "%", "throttle against its learned rest", scale=PERCENT),
    _one(0x47, 1, OWN + "throttle_b", "%", "throttle, sensor B", scale=PERCENT),
    _one(0x48, 1, OWN + "throttle_c", "%", "throttle, sensor C", scale=PERCENT),
    _one(0x49, 1, "vehicle.accelerator", "%", "accelerator pedal, sensor D", scale=PERCENT),
    _one(0x4A, 1, OWN + "pedal_e", "%", "accelerator pedal, sensor E", scale=PERCENT),
    _one(0x4B, 1, OWN + "pedal_f", "%", "accelerator pedal, sensor F", scale=PERCENT),
    _one(0x4C, 1, "engine.throttle_target", "%", "throttle position aimed at", scale=PERCENT),
    _one(0x5A, 1, OWN + "pedal_relative", "%", "accelerator pedal against its learned rest", scale=PERCENT),
    _one(0x5C, 1, "engine.oil_temperature", "degC", "engine oil temperature", offset=-40.0),
    _one(0x5D, 2, "engine.injection_timing", "deg", "injection before dead centre", scale=1.0 / 128.0, offset=-210.0),
    _one(0x61, 1, "engine.torque_demand", "%", "torque asked for", offset=-125.0),
    _one(0x62, 1, "engine.torque_share", "%", "torque given", offset=-125.0),
    _one(0x63, 2, "engine.torque_reference", "Nm", "torque the shares refer to"),
    Parameter(
        0x64, 5, "torque at five points",
        tuple(_value(f"{OWN}torque_point_{n}", "%", f"torque at point {n}", n - 1, offset=-125.0) for n in range(1, 6)),
    ),
    Parameter(
        0x8E, 1, "torque lost in the engine",
        (_value("engine.torque_friction", "%", "torque lost in the engine", offset=-125.0),), MEMORY,
    ),
)  # fmt: skip

_FUEL_AND_CAR = (
    _one(0x21, 2, OWN + "distance_with_lamp", "km", "distance driven with the fault lamp on"),
    _one(0x22, 2, OWN + "rail_pressure_relative", "kPa", "rail pressure against the manifold", scale=0.079),
    _one(0x23, 2, "fuel.rail_pressure", "kPa", "rail pressure above ambient", scale=10.0),
    _one(0x2F, 1, "fuel.level", "%", "fuel level", scale=PERCENT),
    _one(0x31, 2, OWN + "distance_since_clear", "km", "distance since faults were cleared"),
    _one(0x33, 1, "ambient.pressure", "kPa", "air pressure outside, absolute"),
    _one(0x42, 2, "low_voltage_battery.voltage", "V", "voltage at the control unit", scale=0.001),
    _one(0x46, 1, "ambient.temperature", "degC", "air temperature outside", offset=-40.0),
    _one(0x4D, 2, OWN + "time_with_lamp", "min", "time run with the fault lamp on"),
    _one(0x4E, 2, OWN + "time_since_clear", "min", "time since faults were cleared"),
    _one(0x59, 2, OWN + "rail_pressure_absolute", "kPa", "rail pressure, absolute", scale=10.0),
    _one(0x5B, 1, "traction_battery.charge", "%", "charge of the traction battery", scale=PERCENT),
    _one(0x5E, 2, "fuel.rate", "L/h", "fuel burnt", scale=0.05),
)

_FULL_SCALES = (
    Parameter(
        0x4F, 4, "largest values of other parameters",
        (
            _value(FULL_SCALE_LAMBDA, "lambda", "largest lambda, 0 for the standard one", 0),
            _value(FULL_SCALE_OXYGEN_VOLTAGE, "V", "largest oxygen sensor voltage, 0 for the standard one", 1),
            _value(FULL_SCALE_OXYGEN_CURRENT, "A", "largest sensor current, 0 for the standard one", 2, scale=1e-3),
            _value(FULL_SCALE_PRESSURE, "kPa", "largest manifold pressure, 0 for the standard one", 3, scale=10.0),
        ),
        MEMORY, once=True,
    ),
    Parameter(
        0x50, 4, "largest air mass flow",
        (_value(FULL_SCALE_AIR_FLOW, "g/s", "largest air mass flow, 0 for the standard one", 0, scale=10.0),),
        MEMORY, once=True,
    ),
)  # fmt: skip

_WITH_PRESENCE_BITS = (
    Parameter(
        0x66, 5, "air mass flow of two sensors",
        (
            _value("engine.air_flow", "g/s", "air mass flow, sensor A", 1, 2, scale=1.0 / 32.0, if_bit=0),
            _value(OWN + "air_flow_b", "g/s", "air mass flow, sensor B", 3, 2, scale=1.0 / 32.0, if_bit=1),
        ),
    ),
    Parameter(
        0x67, 3, "coolant temperature of two sensors",
        (
            _value("engine.coolant_temperature", "degC", "coolant, sensor 1", 1, offset=-40.0, if_bit=0),
            _value(OWN + "coolant_temperature_2", "degC", "coolant, sensor 2", 2, offset=-40.0, if_bit=1),
        ),
    ),
    Parameter(
        0x68, 7, "intake air temperature of six sensors",
        tuple(
            _value(
                "engine.intake_temperature" if n == 0 else f"{OWN}intake_temperature_{n // 3 + 1}_{n % 3 + 1}", "degC",
                f"intake air, bank {n // 3 + 1} sensor {n % 3 + 1}", 1 + n, offset=-40.0, if_bit=n,
            )
            for n in range(6)
        ),
    ),
    Parameter(
        0x6F, 3, "pressure before the compressor, absolute",
        (
            _value("engine.compressor_inlet_pressure", "kPa", "before compressor A", 1, if_bit=0, saturates_at=255),
            _value(OWN + "compressor_inlet_pressure_b", "kPa", "before compressor B", 2, if_bit=1, saturates_at=255),
        ),
    ),
    Parameter(
        0x70, 10, "charge pressure of two chargers, absolute",
        (
            _value("engine.charge_pressure_target", "kPa", "aimed at, A", 1, 2, scale=1.0 / 32.0, if_bit=0),
            _value("engine.charge_pressure", "kPa", "measured, A", 3, 2, scale=1.0 / 32.0, if_bit=1),
            _value(OWN + "charge_pressure_target_b", "kPa", "aimed at, B", 5, 2, scale=1.0 / 32.0, if_bit=2),
            _value(OWN + "charge_pressure_b", "kPa", "measured, B", 7, 2, scale=1.0 / 32.0, if_bit=3),
        ),
        # that it is absolute, and the tenth byte (a state of the control), are from memory
        MEMORY,
    ),
)  # fmt: skip

_ALL = (
    *(_mask(pid) for pid in (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0)),
    *_STATE,
    *_ENGINE,
    *_FUEL_AND_CAR,
    *(_oxygen(0x23 + n, n, current=False) for n in range(1, 9)),
    *(_oxygen(0x33 + n, n, current=True) for n in range(1, 9)),
    *_FULL_SCALES,
    *_WITH_PRESENCE_BITS,
)
PARAMETERS = {parameter.pid: parameter for parameter in sorted(_ALL, key=lambda p: p.pid)}


def own_signals() -> list[Signal]:
    """Return declarations of the quantities that the catalogue does not have, each once."""
    found: dict[str, Signal] = {}
    for parameter in PARAMETERS.values():
        for quantity in parameter.quantities:
            name = quantity.field.signal
            if name.startswith(OWN):
                found.setdefault(name, _declare(quantity))
    return list(found.values())


def _declare(quantity: Quantity) -> Signal:
    field = quantity.field
    if field.values:
        choices = tuple(str(value) for _, value in field.values)
        return Signal(field.signal, quantity.unit, quantity.meaning, Kind.CHOICE, choices=choices)
    return Signal(field.signal, quantity.unit, quantity.meaning)
