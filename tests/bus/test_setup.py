from __future__ import annotations

from dataclasses import replace

import pytest

from underdash.bus.controller import Controller
from underdash.bus.proof import FRAMES, Proof
from underdash.bus.setup import amiss, oscillator

ACTIVE = Controller("can0", 7, "can", up=True, bitrate=500_000)
LISTENS = replace(ACTIVE, listen_only=True)
ONE_SHOT = replace(ACTIVE, one_shot=True)


def said(setup: Controller, *, bitrate: int | None = 500_000, asked_only: bool = False, proven: bool = False) -> str:
    proof = Proof(asked_only)
    proof.opened(setup, 0.0)
    proof.good(FRAMES if proven else 0, 0)
    return amiss("drive", setup, bitrate, proof, 5.0)


@pytest.mark.parametrize(
    ("setup", "asked_only", "proven"),
    [
        (LISTENS, False, False),
        (LISTENS, True, False),
        (ACTIVE, False, True),
        (ONE_SHOT, True, False),
        (replace(ACTIVE, kind="vcan", bitrate=None), False, False),
    ],
    ids=["listens", "listens, gateway", "active and proven", "asks once", "no wire"],
)
def test_what_is_in_order_is_not_mentioned(setup: Controller, asked_only: bool, proven: bool) -> None:
    assert said(setup, asked_only=asked_only, proven=proven) == ""


def test_taking_part_before_proof_is_told_with_the_commands_that_end_it() -> None:
    text = said(ACTIVE)
    assert "can0 takes part in the bus before its bit rate is proven" in text
    assert "ip link set can0 type can listen-only on" in text


def test_an_error_on_a_proven_bus_is_no_cause_for_alarm() -> None:
    proof = Proof()
    proof.opened(ACTIVE, 0.0)
    proof.good(FRAMES, 0)
    proof.bad(4.0)
    assert amiss("drive", ACTIVE, 500_000, proof, 5.0) == ""


def test_another_rate_than_the_described_one_is_told() -> None:
    text = said(replace(LISTENS, bitrate=250_000), proven=True)
    assert "can0 runs at 250000 bit/s, the car's description says 500000" in text
    assert said(replace(LISTENS, bitrate=250_000), bitrate=None) == ""


def test_an_adapter_that_cannot_ask_once_is_told() -> None:
    assert "it has no one-shot mode" in said(replace(ACTIVE, may_one_shot=False), asked_only=True)
    assert "type can one-shot on" in said(replace(ACTIVE, may_one_shot=True), asked_only=True)


def test_a_request_without_an_answer_is_told() -> None:
    proof = Proof(asked_only=True)
    proof.opened(ONE_SHOT, 0.0)
    proof.sent(1.0)
    assert "was not answered" in amiss("port", ONE_SHOT, 500_000, proof, 5.0)


SPI = replace(LISTENS, place="spi0.0", clock_hz=8_000_000)


def test_where_only_errors_are_heard_at_the_described_rate_the_oscillator_is_suspected() -> None:
    assert oscillator(SPI, 500_000) == (
        "can0 is at the described 500000 bit/s, Linux counts with a clock of 8 MHz: perhaps its oscillator is another "
        "one than config.txt says; compare the figure on it with oscillator= in its dtoverlay line"
    )
    assert "clock" not in oscillator(replace(SPI, clock_hz=None), 500_000)


@pytest.mark.parametrize(
    ("setup", "bitrate"),
    [(None, 500_000), (LISTENS, 500_000), (replace(SPI, place="1-1.2:1.0"), 500_000), (SPI, 125_000), (SPI, None)],
    ids=["not known", "an older kernel", "on USB", "another rate", "no described rate"],
)
def test_nothing_else_speaks_for_the_oscillator(setup: Controller | None, bitrate: int | None) -> None:
    assert oscillator(setup, bitrate) == ""
