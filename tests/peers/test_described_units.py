"""Control units as a file describes them, asked for long answers; the unit is can-isotp, in every way of addressing."""

from __future__ import annotations

import logging
from collections import deque
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from underdash.bus.bus_facts import BusFacts
from underdash.bus.fingerprint import Fit, FitVerdict
from underdash.bus.frames import Frame
from underdash.bus.guard import FlowControl, Guard
from underdash.config.cars import read_car
from underdash.diagnostics import pci
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.requests import compile_polls
from underdash.power.ignition import IgnitionState, Position
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

isotp = pytest.importorskip("isotp", reason="can-isotp is not installed")

MODE = isotp.AddressingMode
STEP_S = 0.000_1
ADDRESSES = {"source_address": 0x22, "target_address": 0xF1}
EXTENDED = 'request = "6F1"\nresponse = "622"\naddress = "22"\nreply_address = "F1"'
FORMATS: dict[str, tuple[str, dict[str, Any]]] = {
    "normal, 11 bit": (
        'request = "6E0"\nresponse = "6E8"',
        {"addressing_mode": MODE.Normal_11bits, "rxid": 0x6E0, "txid": 0x6E8},
    ),
    "normal, 29 bit": (
        'request = "1BC00012"\nresponse = "1BC00013"',
        {"addressing_mode": MODE.Normal_29bits, "rxid": 0x1BC00012, "txid": 0x1BC00013},
    ),
    "normal fixed": (
        'addressing = "normal fixed"\ntarget = "22"',
        {"addressing_mode": MODE.NormalFixed_29bits} | ADDRESSES,
    ),
    "extended, 11 bit": (
        EXTENDED,
        {"addressing_mode": MODE.Extended_11bits, "rxid": 0x6F1, "txid": 0x622} | ADDRESSES,
    ),
    "extended, 29 bit": (
        EXTENDED.replace("6F1", "18000012").replace("622", "18000013"),
        {"addressing_mode": MODE.Extended_29bits, "rxid": 0x18000012, "txid": 0x18000013} | ADDRESSES,
    ),
    "mixed, 11 bit": (
        'request = "6E0"\nresponse = "6E8"\naddress = "5C"',
        {"addressing_mode": MODE.Mixed_11bits, "rxid": 0x6E0, "txid": 0x6E8, "address_extension": 0x5C},
    ),
    "mixed, 29 bit": (
        'addressing = "mixed"\ntarget = "22"\naddress = "5C"',
        {"addressing_mode": MODE.Mixed_29bits, "address_extension": 0x5C} | ADDRESSES,
    ),
}
CAR = """\
format = 1
name = "car"
title = "A car"
counting = "from 0"
[bus.drive]
bitrate = 500_000
[unit.gearbox]
bus = "drive"
{unit}
[[poll]]
unit = "gearbox"
protocol = "identifier_22"
identifier = "21D0"
fields = [{{ signal = "gearbox.oil_temperature", byte = 60 }}]
"""
ANSWER = bytes.fromhex("6221D0") + bytes(range(61))


class Exchange:
    """Our whole asking side behind the guard, face to face with a unit whose transport is the peer's."""

    def __init__(self, folder: Path, unit: str, address: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = 0.0
        clock = SimpleNamespace(
            perf_counter=lambda: self.now, perf_counter_ns=lambda: round(self.now * 1e9), sleep=lambda _seconds: None
        )
        monkeypatch.setattr("isotp.tools.time", clock)
        monkeypatch.setattr("isotp.protocol.time", clock)
        logging.getLogger("isotp").setLevel(logging.CRITICAL)
        file = folder / "car.toml"
        file.write_text(CAR.format(unit=unit))
        car = read_car(file, signals=CATALOGUE)
        (self.unit,) = car.units
        self.store = Store(CATALOGUE)
        compiled = compile_polls(car, car.polls, (), self.store)
        assert compiled.problems == []
        self.asking = Asking(compiled.polls)
        self.asking.reply = self._reply
        self.guard = Guard(compiled.templates)
        self.guard.set_bus("drive", BusFacts(proven=True, transmit=True, bitrate=500_000))
        self.guard.ignition = IgnitionState(Position.ON, True, "on", until=1e9)
        self.guard.ignition_seen = True
        self.guard.fingerprint = FitVerdict(Fit.FITS, "the car")
        self.inbox: deque[Any] = deque()
        self.outbox: list[Any] = []
        self.flow: list[bytes] = []
        self.came: list[float] = []
        self.peer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self.inbox.popleft() if self.inbox else None,
            txfn=self.outbox.append,
            address=isotp.Address(**address),
            params={"tx_padding": 0xAA},
        )

    def _reply(self, wish: Wish, now: float) -> None:
        assert self.guard.expect_flow_control(FlowControl(wish.bus, wish.frame, wish.unit, wish.until), now) is None
        self.flow.append(wish.frame.data)
        self._send(wish.frame)

    def _send(self, frame: Frame) -> None:
        assert self.guard.verdict("drive", frame, self.now) is None
        self.guard.sent("drive", frame, self.now)
        assert self.guard.heard("drive", frame.key, frame.data, self.now)
        self.inbox.append(isotp.CanMessage(arbitration_id=frame.id, data=frame.data, extended_id=frame.extended))

    def run(self) -> object:
        """Ask once; returns the value that arrived."""
        self.asking.demand({"gearbox.oil_temperature": Want(WantKind.PAGE, 10.0)}, 0.0)
        for request in self.asking.due(self.now):
            self._send(request.frame)
            self.asking.sent(request, self.now)
        while self.now < 5.0 and not self.asking.counts.answered:
            self.peer.process(rx_timeout=0.0)
            if self.peer.available():
                assert bytes(self.peer.recv()) == bytes.fromhex("2221D0")
                self.peer.send(ANSWER)
            said, self.outbox[:] = list(self.outbox), []
            for message in said:
                assert message.arbitration_id == self.unit.response_id
                self.came.append(self.now)
                frame = Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)
                self.asking.handle("drive", frame.key, frame.data, self.now)
            self.now += STEP_S
        return self.store.read("gearbox.oil_temperature", self.now).value


@pytest.mark.parametrize("name", FORMATS)
def test_a_long_answer_arrives_in_every_way_of_addressing(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    exchange = Exchange(tmp_path, *FORMATS[name], monkeypatch)

    assert exchange.run() == 60.0
    assert len(exchange.flow) == 1


@pytest.mark.parametrize("name", ["normal, 11 bit", "extended, 11 bit", "mixed, 29 bit"])
@pytest.mark.parametrize(("block_size", "st_min_ms"), [(1, 0), (3, 5), (0, 20), (4, 0.3)])
def test_the_unit_keeps_to_the_block_size_and_the_time_of_its_description(
    name: str, block_size: int, st_min_ms: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit, address = FORMATS[name]
    terms = f"{unit}\nblock_size = {block_size}\nst_min_ms = {st_min_ms}"
    exchange = Exchange(tmp_path, terms, address, monkeypatch)

    assert exchange.run() == 60.0
    later = len(exchange.came) - 1
    assert len(exchange.flow) == 1 + (0 if block_size == 0 else (later - 1) // block_size)
    gaps = [after - before for before, after in pairwise(exchange.came[1:])]
    assert min(gaps) >= st_min_ms / 1e3 - 1e-9
    prefix = exchange.unit.address
    wanted = pci.flow_control(pci.FlowStatus.CONTINUE, block_size, exchange.unit.st_min, prefix)
    assert {data[: len(wanted)] for data in exchange.flow} == {wanted}
