"""How many values a second asking brings, against a loop that sends one request, waits, and sends the next.

The loop is arithmetic; beside it, in the same run, stands the client of udsoncan over can-isotp, called in a loop. Time
is simulated, frames and flow control included, so the figures say what the scheduler decides and nothing about a
machine; only the last column is processor time. The ceiling is arithmetic: one request after the other without a pause.
Run: python tests/benchmarks/polling.py
"""

from __future__ import annotations

import argparse
import heapq
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import isotp
from udsoncan import DidCodec
from udsoncan.client import Client
from udsoncan.connections import BaseConnection

from underdash.bus.load import worst_bits
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.contract.signals import Signal
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.options import Options
from underdash.diagnostics.pci import consecutive, first, single
from underdash.diagnostics.polls import CompiledPoll
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.requests import compile_polls
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

LATENCY_S = 0.008
IDENTIFIERS = 12
FRAME_S = worst_bits(8, extended=False) / 500_000
PARTS = (Part(PartKind.COUNT), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2))
FORM = SingleFrameFormat("one_frame", 0xA3, PARTS, (*PARTS, Part(PartKind.DATA)))
SERVICES = {"service_01": 0x01, "identifier_22": 0x22, "identifier_21": 0x21}

Answers = Callable[[str, int], bool]
"""(unit, identifier) -> whether it is answered."""


@dataclass(frozen=True)
class Row:
    """Values a second of ours and of the loop, and processor time of ours in microseconds a request."""

    what: str
    ours: float
    loop: float
    cost_us: float


def polls(units: int, protocol: str, periods: dict[int, float] | None = None) -> list[CompiledPoll]:
    """Twelve identifiers, spread evenly over so many control units."""
    asked = tuple(ControlUnit(f"unit_{n}", "drive", 0x7E0 + n, 0x7E8 + n) for n in range(units))
    signals = {f"s.{n}": Signal(f"s.{n}", "", "made up") for n in range(IDENTIFIERS)}
    requests = [
        PollRequest(
            asked[n % units].name, protocol, 0xE1 + n, (Field(f"s.{n}", Bits(0)),), (periods or {}).get(n, 0.001)
        )
        for n in range(IDENTIFIERS)
    ]
    car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), asked, formats=(FORM,))
    return compile_polls(car, requests, (), Store(signals), signals).polls


@dataclass
class Unit:
    """A control unit: it takes a request in any number of frames and answers in as many as it takes."""

    protocol: str
    answers: Callable[[int], bool]
    assembler: Reassembly = field(default_factory=Reassembly)
    rest: list[bytes] = field(default_factory=list)

    def hear(self, data: bytes, now: float) -> tuple[float, list[bytes]]:
        """Return what it sends, and after which time."""
        if self.protocol == FORM.name:
            return LATENCY_S, [bytes((4, 0xE3)) + data[2:4] + b"\x7b\0\0\0"]
        if data[0] >> 4 == 3:
            rest, self.rest = self.rest, []
            return 0.0, rest
        heard = self.assembler.receive(data, now)
        if heard.reply is not None:
            return 0.0, [heard.reply]
        return (LATENCY_S, self.reply(heard.payload)) if heard.payload is not None else (0.0, [])

    def reply(self, asked: bytes) -> list[bytes]:
        """Answer a whole request."""
        width = 2 if self.protocol == "identifier_22" else 1
        body = b""
        for at in range(1, len(asked), width):
            if self.answers(int.from_bytes(asked[at : at + width])):
                body += asked[at : at + width] + b"\x7b"
        if not body:
            return []
        message = bytes((asked[0] + 0x40,)) + body
        if len(message) <= 7:
            return [single(message)]
        rest = message[6:]
        self.rest = [consecutive(n, rest[at : at + 7]) for n, at in enumerate(range(0, len(rest), 7), 1)]
        return [first(message)]


@dataclass
class Bench:
    """A bus in simulated time: one frame at a time, each as long as it takes with the most stuffing."""

    made: list[CompiledPoll]
    options: Options
    answers: Answers
    kinds: dict[str, Want]

    def run(self, seconds: float) -> tuple[Asking, Counter[str], float]:
        """Return the asking, values by signal and processor time."""
        self.asking = asking = Asking(self.made, self.options)
        asking.reply = self.reply
        self.units = {
            poll.frame.key: Unit(poll.speech.name, lambda n, name=poll.unit.name: self.answers(name, n))  # type: ignore[misc]
            for poll in self.made
        }
        self.coming: list[tuple[float, int, str, int, bytes]] = []
        self.count, self.free_at = 0, 0.0
        values: Counter[str] = Counter()
        counted = {id(slot): 0 for poll in self.made for slot in poll.slots.values()}
        asking.demand(self.kinds, 0.0)
        now, cost_s = 0.0, 0.0
        while now < seconds:
            started = time.process_time()
            while self.coming and self.coming[0][0] <= now:
                _, _, where, key, data = heapq.heappop(self.coming)
                if where == "us":
                    asking.handle("drive", key, data, now)
                else:
                    cost_s += time.process_time() - started
                    self.answer(key, data, now)
                    started = time.process_time()
            for _, frame in asking.parts(now):
                asking.part_sent(frame, now)
                self.put(now, "unit", frame.key, frame.data)
            for request in asking.due(now):
                asking.sent(request, now)
                self.put(now, "unit", request.frame.key, request.frame.data)
            cost_s += time.process_time() - started
            times = [seconds, *(entry[0] for entry in self.coming[:1])]
            due = asking.deadline(now)
            now = min(times if due is None else [*times, max(due, now + 1e-6)])
        for poll in self.made:
            for signal, slot in poll.slots.items():
                values[signal] = slot.count - counted[id(slot)]
        return asking, values, cost_s

    def put(self, now: float, where: str, key: int, data: bytes) -> None:
        """Let a frame go as soon as the bus is free."""
        self.free_at = max(self.free_at, now) + FRAME_S if now >= self.free_at else self.free_at + FRAME_S
        self.count += 1
        heapq.heappush(self.coming, (max(self.free_at, now + FRAME_S), self.count, where, key, data))

    def answer(self, key: int, data: bytes, now: float) -> None:
        """Let a unit hear a frame; what it says later is on the bus then."""
        delay, frames = self.units[key].hear(data, now)
        for number, one in enumerate(frames):
            self.count += 1
            heapq.heappush(self.coming, (now + delay + (number + 1) * FRAME_S, self.count, "us", key + 8, one))

    def reply(self, wish: Wish, now: float) -> None:
        """Send flow control at once."""
        self.put(now, "unit", wish.frame.key, wish.frame.data)


def sequential(made: list[CompiledPoll], answers: Answers, seconds: float, per_s: float | None) -> float:
    """Ask one after another, each until it answers or its time is over; returns values a second."""
    now, heard = 0.0, 0
    while now < seconds:
        for poll in made:
            begun = now
            good = answers(poll.unit.name, poll.identifier)
            now += LATENCY_S + 2 * FRAME_S if good else poll.unit.answer_within_s
            now = now if per_s is None else max(now, begun + 1.0 / per_s)
            heard += good
    return heard / now


class Byte(DidCodec):
    """A value of one byte, as the client wants it declared."""

    def decode(self, did_payload: bytes) -> int:
        """Read it."""
        return did_payload[0]

    def __len__(self) -> int:
        return 1


class Wire(BaseConnection):
    """What udsoncan's client speaks through: can-isotp and a unit, on a bus in simulated time."""

    def __init__(self) -> None:
        super().__init__()
        self.now, self.unit_s = 0.0, 0.0
        self.unit = Unit("identifier_22", lambda identifier: True)
        self.coming: list[tuple[float, bytes]] = []
        self.heard: list[isotp.CanMessage] = []
        self.layer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self.heard.pop(0) if self.heard else None,
            txfn=self.put,
            address=isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0),
            params={"tx_padding": 0x00},
        )

    def put(self, message: isotp.CanMessage) -> None:
        """Let the unit hear a frame; its own processor time is none of the client's."""
        started = time.process_time()
        self.now += FRAME_S
        delay, frames = self.unit.hear(bytes(message.data or b""), self.now)
        self.coming += [(self.now + delay + (n + 1) * FRAME_S, one) for n, one in enumerate(frames)]
        self.unit_s += time.process_time() - started

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:
        """Begin a request."""
        self.layer.send(payload)

    def specific_wait_frame(self, timeout: float | None = None) -> bytes:
        """Let time pass until there is an answer."""
        while True:
            self.layer.process(rx_timeout=0.0)
            if self.layer.available():
                return bytes(self.layer.recv() or b"")
            if self.coming:
                self.now, data = self.coming[0][0], self.coming.pop(0)[1]
                self.heard.append(isotp.CanMessage(arbitration_id=0x7E8, data=data))

    def empty_rxqueue(self) -> None:
        """Nothing is left over."""

    def open(self) -> Wire:
        """It is open."""
        return self

    def close(self) -> None:
        """Nothing to close."""

    def is_open(self) -> bool:
        """It is open."""
        return True


def client(seconds: float, at_once: int) -> tuple[float, float]:
    """Call udsoncan's client in a loop, so many identifiers a call; returns values a second, microseconds a call."""
    wire, numbers = Wire(), [0xE1 + n for n in range(IDENTIFIERS)]
    config: Any = {"data_identifiers": dict.fromkeys(numbers, Byte)}
    groups = [numbers[at : at + at_once] for at in range(0, IDENTIFIERS, at_once)]
    asking, values, calls = Client(wire, config=config), 0, 0
    started = time.process_time()
    while wire.now < seconds:
        for group in groups:
            response = asking.read_data_by_identifier(group)
            values += len(response.service_data.values)
            calls += 1
    return values / wire.now, 1e6 * (time.process_time() - started - wire.unit_s) / calls


def measure(seconds: float = 30.0) -> list[Row]:
    """Return all figures."""
    everybody: Answers = lambda unit, identifier: True  # noqa: E731
    but_one: Answers = lambda unit, identifier: identifier != 0xE1  # noqa: E731
    but_a_unit: Answers = lambda unit, identifier: unit != "unit_0"  # noqa: E731
    cases = [
        (f"{protocol}, {how}, {'default caps' if per_s else 'caps lifted'}", 1, protocol, most, per_s, everybody)
        for protocol in ("service_01", "identifier_22", "identifier_21", "one_frame")
        for how, most in (("single", 1), ("batched", 12))
        for per_s in (None, 40.0)
        if most == 1 or protocol in ("service_01", "identifier_22")
    ]
    cases += [
        ("3 units, identifier_22, single, caps lifted", 3, "identifier_22", 1, None, everybody),
        ("3 units, identifier_22, batched, caps lifted", 3, "identifier_22", 12, None, everybody),
        ("identifier_22, batched, one identifier ignored", 1, "identifier_22", 12, None, but_one),
        ("3 units, batched, one of them silent", 3, "identifier_22", 12, None, but_a_unit),
    ]
    wants = {f"s.{n}": Want(WantKind.PAGE, 0.001) for n in range(IDENTIFIERS)}
    rows = []
    for what, units, protocol, most, per_s, answers in cases:
        made = polls(units, protocol)
        bench = Bench(made, Options(requests_per_s=per_s, most_a_request=most), answers, wants)
        asking, values, cost_s = bench.run(seconds)
        ours, cost_us = sum(values.values()) / seconds, 1e6 * cost_s / max(asking.counts.sent, 1)
        rows.append(Row(what, ours, sequential(made, answers, seconds, per_s), cost_us))
    return rows


def competing(seconds: float = 60.0, share: float = 2 / 3) -> list[tuple[str, float, float]]:
    """Six demands that want more than there is: (who, wanted a second, achieved a second)."""
    kinds = [WantKind.PAGE, WantKind.PAGE, WantKind.ALERT, WantKind.RECORDER, WantKind.RECORDER, WantKind.HIDDEN]
    rate = 1.0 / (LATENCY_S + 2 * FRAME_S) / share / len(kinds)
    made = polls(1, "identifier_21", dict.fromkeys(range(IDENTIFIERS), 1.0 / rate))
    wants = {f"s.{n}": Want(kind, 1.0 / rate) for n, kind in enumerate(kinds)}
    bench = Bench(made, Options(requests_per_s=None), lambda unit, identifier: True, wants)
    _, values, _ = bench.run(seconds)
    return [(kind.name.lower(), rate, values[f"s.{n}"] / seconds) for n, kind in enumerate(kinds)]


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0, help="simulated time of each case")
    seconds = parser.parse_args().seconds
    rows = measure(seconds)
    ceiling = 1.0 / (LATENCY_S + 2 * FRAME_S)
    print(
        f"{IDENTIFIERS} identifiers, a unit answers in {LATENCY_S * 1000:.0f} ms, a frame takes {FRAME_S * 1e6:.0f} us"
    )
    print(f"ceiling of one request after the other by arithmetic: {ceiling:.1f}/s; the loop keeps to the same caps")
    print(f"{'':50}{'asking':>10}{'loop':>10}{'ratio':>8}{'us/request':>12}")
    for row in rows:
        print(f"{row.what:50}{row.ours:8.1f}/s{row.loop:8.1f}/s{row.ours / row.loop:8.2f}{row.cost_us:12.1f}")
    print("\nthe same unit asked by the client of udsoncan over can-isotp, in a loop, without caps")
    for at_once in (1, IDENTIFIERS):
        rate, cost_us = client(seconds, at_once)
        what = f"identifier_22, {at_once} in a call"
        print(f"{what:50}{'':10}{rate:8.1f}/s{'':8}{cost_us:12.1f}")
    print("\nsix demands of one unit, which has time for two thirds of what they want")
    for who, wanted, achieved in competing(seconds):
        print(f"{who:50}{achieved:8.1f}/s of {wanted:.1f}/s")


if __name__ == "__main__":
    main()
