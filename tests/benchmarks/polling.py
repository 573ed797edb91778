"""How many values a second asking brings, against a loop that sends one request, waits, and sends the next.

Time is simulated, so the figures say what the scheduler decides and nothing about a machine; only the last one is
processor time. Run: python tests/benchmarks/polling.py
"""

from __future__ import annotations

import argparse
import heapq
import time
from collections.abc import Callable
from dataclasses import dataclass

from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Signal
from underdash.diagnostics.asking import Asking
from underdash.diagnostics.options import Options
from underdash.diagnostics.polls import CompiledPoll
from underdash.diagnostics.requests import compile_polls
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

LATENCY_S = 0.008
IDENTIFIERS = 12

Answers = Callable[[CompiledPoll], bool]


@dataclass(frozen=True)
class Row:
    """Values a second of both ways, and processor time of ours in microseconds a request."""

    what: str
    ours: float
    loop: float
    cost_us: float


def polls(units: int) -> list[CompiledPoll]:
    """Twelve identifiers, spread evenly over so many control units."""
    asked = tuple(ControlUnit(f"unit_{n}", "drive", 0x7E0 + n, 0x7E8 + n) for n in range(units))
    signals = {f"s.{n}": Signal(f"s.{n}", "", "made up") for n in range(IDENTIFIERS)}
    requests = [
        PollRequest(asked[n % units].name, "identifier_22", n, (Field(f"s.{n}", Bits(0)),), 0.001)
        for n in range(IDENTIFIERS)
    ]
    car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), asked)
    return compile_polls(car, requests, (), Store(signals), signals).polls


def reply(poll: CompiledPoll) -> bytes:
    """The frame with which a unit answers."""
    return bytes((0x04, 0x62)) + poll.identifier.to_bytes(2) + b"\x7b\0\0\0"


def scheduled(made: list[CompiledPoll], options: Options, answers: Answers, seconds: float) -> tuple[float, float]:
    """Ask through the scheduler; returns values a second and microseconds a request."""
    asking = Asking(made, options)
    asking.demand({f"s.{n}": Want(WantKind.PAGE, 0.001) for n in range(IDENTIFIERS)}, 0.0)
    coming: list[tuple[float, int, CompiledPoll]] = []
    now, started = 0.0, time.process_time()
    while now < seconds:
        while coming and coming[0][0] <= now:
            _, _, poll = heapq.heappop(coming)
            asking.handle(poll.bus, poll.response_key, reply(poll), now)
        for poll in asking.due(now):
            asking.sent(poll, now)
            if answers(poll):
                heapq.heappush(coming, (now + LATENCY_S, asking.counts.sent, poll))
        times = [seconds, *(entry[0] for entry in coming[:1])]
        due = asking.deadline(now)
        now = min(times if due is None else [*times, due])
    cost_s = time.process_time() - started
    return asking.counts.answered / seconds, 1e6 * cost_s / max(asking.counts.sent, 1)


def sequential(made: list[CompiledPoll], answers: Answers, seconds: float) -> float:
    """Ask one after another, each until it answers or its time is over; returns values a second."""
    now, heard = 0.0, 0
    while now < seconds:
        for poll in made:
            now += LATENCY_S if answers(poll) else poll.unit.answer_within_s
            heard += answers(poll)
    return heard / now


def measure(seconds: float = 60.0) -> list[Row]:
    """Return all figures."""
    lifted, capped = Options(requests_per_s=None), Options()
    everybody: Answers = lambda poll: True  # noqa: E731
    but_one: Answers = lambda poll: poll.identifier != 0  # noqa: E731
    but_a_unit: Answers = lambda poll: poll.unit.name != "unit_0"  # noqa: E731
    cases = (
        ("1 unit, caps lifted", 1, lifted, everybody),
        ("1 unit, default caps", 1, capped, everybody),
        ("3 units, caps lifted", 3, lifted, everybody),
        ("3 units, default caps", 3, capped, everybody),
        ("1 unit, one identifier ignored, caps lifted", 1, lifted, but_one),
        ("3 units, one of them silent, caps lifted", 3, lifted, but_a_unit),
    )
    rows = []
    for what, units, options, answers in cases:
        made = polls(units)
        ours, cost_us = scheduled(made, options, answers, seconds)
        rows.append(Row(what, ours, sequential(made, answers, seconds), cost_us))
    return rows


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="simulated time of each case")
    rows = measure(parser.parse_args().seconds)
    print(f"{IDENTIFIERS} identifiers, a unit answers in {LATENCY_S * 1000:.0f} ms, one frame a request")
    print(f"{'':46}{'asking':>10}{'loop':>10}{'ratio':>8}{'us/request':>12}")
    for row in rows:
        print(f"{row.what:46}{row.ours:8.1f}/s{row.loop:8.1f}/s{row.ours / row.loop:8.2f}{row.cost_us:12.1f}")


if __name__ == "__main__":
    main()
