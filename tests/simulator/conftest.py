"""A small car by hand and a drive by the model alone, for the simulator's tests."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

import pytest

from underdash.contract.cars import BusDescription, CarDescription, ExpectedFrame
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.contract.signals import Value
from underdash.simulator.driver import Driver, Script, length_s
from underdash.simulator.hybrid_car import HybridDesign
from underdash.simulator.manners import DEFAULT, Manners
from underdash.simulator.models import ModelMaker
from underdash.simulator.scripts import LORIS_DRIVE, TARN_DRIVE
from underdash.simulator.turbo_car import TurboDesign
from underdash.simulator.units import Replies, SimulatedUnit

POSITIONS = ((0, "LOCK"), (1, "OFF"), (2, "ACC"), (3, "ON"), (4, "START"))
TRUE: dict[str, Value] = {
    "engine.coolant_temperature": 83.0,
    "engine.speed": 1726.0,
    "engine.oil_temperature": 80.0,
    "engine.charge_pressure": 220.0,
    "engine.manifold_pressure": 218.5,
    "exhaust.temperature": 612.3,
    "vehicle.speed": 80.0,
    "vehicle.identification": "UNDERDASHTARN0001",
    "gearbox.oil_pressure": 460.0,
    "gearbox.oil_temperature": 91.0,
    "gearbox.input_speed": 2150.0,
    "traction_battery.voltage": 201.6,
    "traction_battery.fan": 35.0,
}


class Unit:
    """A simulated control unit of a description, asked in hex; each question comes 10 s after the last one."""

    def __init__(self, description: CarDescription, name: str, seed: int = 4, manners: Manners = DEFAULT) -> None:
        declared = next(each for each in description.units if each.name == name)
        self.simulated = SimulatedUnit(declared, description.polls, description.formats, Random(seed), manners)
        self._now = 0.0

    def ask(self, request: str, now: float | None = None, *, functional: bool = False) -> Replies:
        self._now = self._now + 10.0 if now is None else now
        return self.simulated.answer(bytes.fromhex(request), TRUE, self._now, functional=functional)

    def said(self, request: str, now: float | None = None, *, functional: bool = False) -> list[str]:
        return [data.hex(" ") for _, data in self.ask(request, now, functional=functional)]

    def told(self, message: str) -> bytes | None:
        """Ask with a message of any length and put the answer together by hand; None where it stays incomplete."""
        sent = bytes.fromhex(message)
        self._now += 10.0
        now, room = self._now, self.simulated._transport.room
        prefix = b"" if self.simulated.unit.address is None else bytes((self.simulated.unit.address,))
        if len(sent) <= room:
            replies = self.simulated.answer(prefix + bytes((len(sent),)) + sent, TRUE, now)
        else:
            head, rest = sent[: room - 1], sent[room - 1 :]
            [(_, flow)] = self.simulated.answer(prefix + bytes((0x10, len(sent))) + head, TRUE, now)
            assert flow[len(prefix)] == 0x30
            for number in range(1, 1 + -(-len(rest) // room)):
                now += 0.01
                part = rest[(number - 1) * room : number * room]
                replies = self.simulated.answer(prefix + bytes((0x20 | number & 15,)) + part, TRUE, now)
        whole, length = b"", 0
        while replies:
            for after_s, data in replies:
                body, at = data[len(prefix) :], now + after_s
                if body[0] >> 4 == 0:
                    return body[1 : 1 + body[0]]
                if body[0] >> 4 == 1:
                    length, whole = (body[0] & 15) << 8 | body[1], body[2:]
                else:
                    whole += body[1:]
            now = at
            if len(whole) >= length:
                return whole[:length]
            replies = self.simulated.answer(prefix + bytes((0x30, 0, 0)), TRUE, now)
        return None


@pytest.fixture
def unit() -> type[Unit]:
    """Makes a `Unit`: `unit(description, name, seed=4, manners=DEFAULT)`."""
    return Unit


ODD = SingleFrameFormat(
    "odd",
    0xA2,
    (Part(PartKind.COUNT, value=0x40), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2),
     Part(PartKind.MODE, value=1)),
    (Part(PartKind.COUNT, value=0x40), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2),
     Part(PartKind.DATA)),
)  # fmt: skip


def _broadcasts() -> tuple[BroadcastListener, ...]:
    return (
        BroadcastListener(
            "drive", 0x101, (Field("engine.speed", Bits(0, 16), scale=0.25),), period_s=0.02,
            counter=Counter(Bits(6, 4, 0, ByteOrder.LITTLE)), checksum=Checksum("crc8", 7),
        ),
        BroadcastListener("drive", 0x102, (Field("vehicle.speed", Bits(2, 16), scale=0.01),), period_s=0.05),
        BroadcastListener(
            "comfort", 0x201, (Field("vehicle.ignition", Bits(0, 3, 2), values=POSITIONS),), period_s=0.1,
        ),
        BroadcastListener("comfort", 0x202, (Field("button.menu", Bits(0, 1, 0)),), on_change=True),
    )  # fmt: skip


@pytest.fixture
def description() -> CarDescription:
    polls = (
        PollRequest("engine", "service_01", 0x05, (Field("engine.coolant_temperature", Bits(0), offset=-40.0),)),
        PollRequest("engine", "service_01", 0x0C, ()),
        PollRequest("engine", "service_01", 0x5C, ()),
        PollRequest("engine", "identifier_22", 0x21C7, (Field("engine.charge_pressure", Bits(0, 16), scale=0.05),)),
        PollRequest("turbo", "odd", 0x1A04, (Field("engine.manifold_pressure", Bits(0, 16), scale=0.05),)),
        PollRequest("exhaust", "odd", 0x2B11, (Field("exhaust.temperature", Bits(0, 16), scale=0.1),)),
    )
    return CarDescription(
        "small",
        "Small car",
        (BusDescription("drive", 500_000), BusDescription("comfort", 125_000)),
        units=(
            ControlUnit("engine", "drive", 0x7E0, 0x7E8),
            ControlUnit("turbo", "drive", 0x6A1, 0x6A2, address=0x5C),
            ControlUnit("exhaust", "drive", 0x6A1, 0x6A2, address=0x67),
        ),
        formats=(ODD,),
        broadcasts=_broadcasts(),
        polls=polls,
        buttons=(("menu", "comfort"), ("up", "comfort")),
        fingerprint=(
            ExpectedFrame("comfort", 0x201, False, 4, 0.1),
            ExpectedFrame("drive", 0x333, False, 6, 0.05),
        ),
    )


@pytest.fixture
def talkative(description: CarDescription) -> CarDescription:
    """The small car with longer answers: a gearbox by ISO 14229-1, a battery by ISO 14230-3, an address on ISO-TP."""

    def temperatures(signal: str, count: int) -> tuple[Field, ...]:
        return (Field(signal, Bits(0, 16), scale=0.1), Field("gearbox.oil_temperature", Bits(count - 1)))

    polls = (
        PollRequest("engine", "service_01", 0x70, ()),
        PollRequest("gearbox", "identifier_22", 0x1001, temperatures("gearbox.oil_pressure", 20)),
        PollRequest("gearbox", "identifier_22", 0x1002, (Field("gearbox.oil_temperature", Bits(0)),)),
        PollRequest("gearbox", "identifier_22", 0x1003, (Field("gearbox.input_speed", Bits(0, 16)),)),
        PollRequest("gearbox", "service_01", 0x0D, ()),
        PollRequest("battery", "identifier_21", 0x01, temperatures("traction_battery.voltage", 12)),
        PollRequest("battery", "identifier_21", 0x02, (Field("traction_battery.fan", Bits(0)),)),
        PollRequest("battery", "identifier_1A", 0x87, (Field("vehicle.identification", Bits(0, 136), Coding.TEXT),)),
        PollRequest("climate", "identifier_22", 0x0A0B, temperatures("gearbox.oil_pressure", 9)),
    )
    units = (
        ControlUnit("gearbox", "drive", 0x7E1, 0x7E9, padding=0xAA),
        ControlUnit("battery", "drive", 0x7E2, 0x7EA, padding=None),
        ControlUnit("climate", "drive", 0x6F1, 0x640, address=0x78),
    )
    return replace(description, polls=(*description.polls, *polls), units=(*description.units, *units))


@dataclass(frozen=True)
class Drive:
    """What happened, four times a second: (script's seconds, phase, true values)."""

    samples: list[tuple[float, str, dict[str, Value]]]

    def numbers(self, signal: str, phase: str | None = None) -> list[float]:
        return [float(values[signal]) for _, what, values in self.samples if phase in {None, what}]


def _drive(maker: ModelMaker, script: Script) -> Drive:
    rng = Random(3)
    model, driver = maker.model(rng), Driver(script, rng)
    samples = []
    for step in range(int(length_s(script) * 20)):
        controls = driver.step(step / 20, model.speed_kmh, model.world.altitude_m, 0.05)
        model.step(controls, 0.05)
        if step % 5 == 0:
            samples.append((step / 20, driver.phase.what, model.values()))
    return Drive(samples)


@pytest.fixture(scope="session")
def tarn_drive() -> Drive:
    return _drive(TurboDesign(), TARN_DRIVE)


@pytest.fixture(scope="session")
def loris_drive() -> Drive:
    return _drive(HybridDesign(), LORIS_DRIVE)
