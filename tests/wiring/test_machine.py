from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.bus.controller import Controller
from underdash.config.checking import Level
from underdash.config.schema import BusConfig
from underdash.contract.cars import BusDescription
from underdash.wiring.machine import set_up

DRIVE = BusDescription("drive", 500_000)
LISTENS = Controller("can0", 7, "can", up=True, bitrate=500_000, listen_only=True, restart_ms=100)
ACTIVE = replace(LISTENS, listen_only=False)
ASKING = BusConfig(channel="can0", transmit=True, bitrate=500_000)
HEARING = BusConfig(channel="can0")


@pytest.mark.parametrize(
    ("bus", "described", "setup", "level", "said"),
    [
        (HEARING, DRIVE, replace(LISTENS, up=False), Level.ERROR, "can0 is switched off"),
        (HEARING, DRIVE, replace(LISTENS, bitrate=None), Level.ERROR, "can0 has no bit rate"),
        (HEARING, DRIVE, replace(LISTENS, bitrate=250_000), Level.ERROR, "can0 runs at 250000 bit/s"),
        (replace(ASKING, bitrate=125_000), DRIVE, ACTIVE, Level.ERROR, "bus.drive.bitrate is 125000"),
        (HEARING, DRIVE, ACTIVE, Level.WARNING, "takes part in the bus, though nothing is to be sent"),
        (replace(ASKING, bitrate=None), DRIVE, LISTENS, Level.NOTE, "requests do not get out"),
        (
            ASKING,
            replace(DRIVE, silent=True),
            replace(LISTENS, may_one_shot=False),
            Level.WARNING,
            "has no one-shot mode",
        ),
        (replace(ASKING, bitrate=None), DRIVE, ACTIVE, Level.NOTE, "before anything has shown that its rate is right"),
        (HEARING, DRIVE, replace(LISTENS, bitrate=None, clock_hz=2_000_000), Level.ERROR, "a clock of 2 MHz, too slow"),
        (HEARING, DRIVE, replace(LISTENS, bitrate=496_000, clock_hz=10_000_000), Level.ERROR, "the nearest to 500000"),
        (HEARING, DRIVE, replace(LISTENS, bitrate=250_000, clock_hz=8_000_000), Level.ERROR, "runs at 250000 bit/s"),
        (ASKING, DRIVE, replace(ACTIVE, restart_ms=0), Level.NOTE, "does not come back by itself"),
    ],
)
def test_what_is_wrong_with_an_interface_is_told(
    bus: BusConfig, described: BusDescription, setup: Controller, level: Level, said: str
) -> None:
    (finding,) = set_up(bus, described, setup)
    assert finding.level is level
    assert said in finding.sentence
    assert finding.next_step


@pytest.mark.parametrize(("bus", "setup"), [(HEARING, LISTENS), (ASKING, LISTENS), (ASKING, ACTIVE)])
def test_what_is_in_order_is_not_mentioned(bus: BusConfig, setup: Controller) -> None:
    assert not list(set_up(bus, DRIVE, setup))


@pytest.mark.parametrize(
    ("setup", "step"),
    [
        (LISTENS, "listening only: sudo ip link set can0 up type can bitrate 500000 listen-only on"),
        (
            replace(LISTENS, may_listen_only=False),
            "cannot listen only: once you are sure of the rate, sudo ip link set",
        ),
        (Controller("vcan0", 3, "vcan"), "switch it on: sudo ip link set vcan0 up"),
    ],
)
def test_an_interface_that_is_off_is_not_switched_on_as_one_that_takes_part(setup: Controller, step: str) -> None:
    (finding,) = set_up(HEARING, DRIVE, replace(setup, up=False))
    assert step in finding.next_step


def test_a_virtual_interface_only_has_to_be_up() -> None:
    assert not list(set_up(HEARING, DRIVE, Controller("vcan0", 3, "vcan", up=True)))
