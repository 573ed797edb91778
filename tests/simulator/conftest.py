"""A small car by hand and a drive by the model alone, for the simulator's tests."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import pytest

from underdash.contract.cars import BusDescription, CarDescription, ExpectedFrame
from underdash.contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Counter, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.contract.signals import Value
from underdash.simulator.driver import Driver, Script, length_s
from underdash.simulator.hybrid_car import HybridDesign
from underdash.simulator.models import ModelMaker
from underdash.simulator.scripts import LORIS_DRIVE, TARN_DRIVE
from underdash.simulator.turbo_car import TurboDesign

POSITIONS = ((0, "LOCK"), (1, "OFF"), (2, "ACC"), (3, "ON"), (4, "START"))
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
