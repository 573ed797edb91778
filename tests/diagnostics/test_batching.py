"""Asking for several at once, against units that take it, refuse it, keep silent about it or answer only a part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.bus.frames import Frame
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Signal
from underdash.diagnostics import obd, pci, vehicle
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.options import Options
from underdash.diagnostics.parameters import own_signals
from underdash.diagnostics.reassembly import Reassembly
from underdash.diagnostics.requests import compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8, answer_within_s=0.1)
Answer = Callable[[bytes], bytes | None]
"""request -> answer, None for silence."""


@dataclass
class Talk:
    """Asking and one unit, without a bus and without time between: what was asked is a list of messages."""

    requests: list[PollRequest]
    answer: Answer
    helpers: bool = False
    options: Options = field(default_factory=lambda: Options(requests_per_s=None))
    asked: list[bytes] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        signals = CATALOGUE.with_signals([*own_signals(), *(Signal(f"s.{n}", "", "made up") for n in range(12))])
        self.store = Store(signals)
        car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), (ENGINE,))
        made = compile_polls(car, self.requests, (), self.store, signals)
        assert made.problems == []
        told = self.told
        self.asking = Asking(
            made.polls, self.options, lambda _, sentence: told.append(sentence), made.helpers if self.helpers else ()
        )
        self.asking.reply = self._reply
        self.assembler = Reassembly()
        self.rest: list[bytes] = []
        self.now = 0.0
        self.asking.demand({s: Want(WantKind.PAGE, 0.1) for poll in made.polls for s in poll.signals}, 0.0)

    def run(self, until: float) -> None:
        while self.now < until:
            for request in self.asking.due(self.now):
                self.asking.sent(request, self.now)
                self._hear(request.frame)
                for _ in range(8):
                    for _, frame in self.asking.parts(self.now):
                        self.asking.part_sent(frame, self.now)
                        self._hear(frame)
            due = self.asking.deadline(self.now)
            self.now = until if due is None else min(max(due, self.now + 0.001), until)

    def _hear(self, frame: Frame) -> None:
        heard = self.assembler.receive(frame.data, self.now)
        if heard.reply is not None:
            self._say(pci.padded(heard.reply, 0xAA))
        if heard.payload is not None:
            self.asked.append(heard.payload)
            answer = self.answer(heard.payload)
            if answer is not None:
                self._speak(answer)

    def _speak(self, message: bytes) -> None:
        if len(message) <= 7:
            self._say(pci.padded(pci.single(message), 0xAA))
            return
        rest = message[6:]
        self.rest = [pci.consecutive(n, rest[at : at + 7]) for n, at in enumerate(range(0, len(rest), 7), 1)]
        self._say(pci.first(message))

    def _say(self, data: bytes) -> None:
        self.asking.handle("drive", 0x7E8, data, self.now)

    def _reply(self, wish: Wish, now: float) -> None:
        assert str(wish.frame) == "7E0#3000000000000000"
        rest, self.rest = self.rest, []
        for data in rest:
            self._say(pci.padded(data, 0xAA))

    def value(self, signal: str) -> object:
        return self.store.read(signal, self.now).value


WAYS = ["yes", "refuse", "silent", "part", "longer", "busy", "garbage"]


def twelve() -> list[PollRequest]:
    return [PollRequest("engine", "identifier_22", 0x1000 + n, (Field(f"s.{n}", Bits(0)),), 0.1) for n in range(12)]


def identifiers(request: bytes) -> list[int]:
    return [int.from_bytes(request[at : at + 2]) for at in range(1, len(request), 2)]


SIZED = [f"{0x1000 + n:X}" for n in range(12) if n != 5]


def said(numbers: list[int], extra: bytes = b"") -> bytes:
    return b"\x62" + b"".join(n.to_bytes(2) + bytes((n & 0xFF,)) + extra for n in numbers)


def willing(request: bytes) -> bytes:
    return said(identifiers(request))


def up_to(most: int, code: int | None) -> Answer:
    def answer(request: bytes) -> bytes | None:
        if len(identifiers(request)) <= most:
            return willing(request)
        return None if code is None else bytes((0x7F, 0x22, code))

    return answer


def everything_is_read(talk: Talk) -> bool:
    return all(talk.value(f"s.{n}") == float(n) for n in range(12))


def test_twelve_identifiers_that_are_due_together_are_one_request() -> None:
    talk = Talk(twelve(), willing)
    talk.run(1.0)
    assert everything_is_read(talk)
    assert {len(identifiers(request)) for request in talk.asked} == {12}
    assert 9 <= len(talk.asked) <= 15
    assert talk.asking.counts.answered == 12 * len(talk.asked)


@pytest.mark.parametrize("code", [0x13, 0x31, 0x12, 0x14, None])
@pytest.mark.parametrize("most", [1, 3, 6])
def test_what_a_unit_takes_is_found_and_kept(code: int | None, most: int) -> None:
    talk = Talk(twelve(), up_to(most, code))
    talk.run(8.0)
    assert everything_is_read(talk)
    assert not any(talk.asking.scheduler.parked(poll) for poll in talk.asking.polls)
    late = talk.asked[-8:]
    assert max(len(identifiers(request)) for request in late) <= most
    again = Talk(twelve(), up_to(most, code))
    again.asking.restore(talk.asking.learned())
    again.run(1.0)
    assert max(len(identifiers(request)) for request in again.asked) <= most


@pytest.mark.parametrize("code", [0x10, 0x21, 0x22, 0x99])
@pytest.mark.parametrize("most", [1, 3, 6])
def test_a_unit_that_gives_another_reason_for_refusing_so_many_is_asked_for_fewer_too(code: int, most: int) -> None:
    talk = Talk(twelve(), up_to(most, code))
    talk.run(8.0)
    assert everything_is_read(talk)
    assert max(len(identifiers(request)) for request in talk.asked[-8:]) <= most


def test_one_identifier_that_is_not_known_is_parked_and_the_others_stay_together() -> None:
    def answer(request: bytes) -> bytes:
        return b"\x7f\x22\x31" if 0x1005 in identifiers(request) else willing(request)

    talk = Talk(twelve(), answer)
    talk.run(3.0)
    assert [poll.identifier for poll in talk.asking.polls if talk.asking.scheduler.parked(poll)] == [0x1005]
    assert len(identifiers(talk.asked[-1])) == 11


@pytest.mark.parametrize("code", [0x10, 0x21, 0x22, 0x81, 0x99])
def test_one_identifier_that_is_refused_for_the_moment_costs_no_other_its_answer(code: int) -> None:
    def answer(request: bytes) -> bytes:
        ready = talk.now > 10.0 or 0x1005 not in identifiers(request)
        return willing(request) if ready else bytes((0x7F, 0x22, code))

    talk = Talk(twelve(), answer)
    talk.run(3.0)
    assert [n for n in range(12) if talk.value(f"s.{n}") != float(n)] == [5]
    assert talk.asking.learned() == {"engine identifier_22": {"sizes": dict.fromkeys(SIZED, 1)}}
    talk.run(20.0)
    assert everything_is_read(talk)
    assert 0x1005 in identifiers(max(talk.asked[-20:], key=len))


def test_a_unit_that_works_on_an_answer_to_several_is_waited_for() -> None:
    talk = Talk(twelve(), lambda request: b"\x7f\x22\x78")
    talk.run(4.0)
    assert len(talk.asked) == 1
    talk._speak(willing(talk.asked[0]))
    assert everything_is_read(talk)
    assert talk.asking.counts.answered == 12
    assert talk.asking.learned() == {}


@pytest.mark.parametrize(("code", "most_s"), [(0x10, 5.0), (0x21, 2.0), (0x22, 5.0), (0x99, 5.0)])
def test_a_unit_that_refuses_everything_for_the_moment_is_asked_less_and_less(code: int, most_s: float) -> None:
    at_s: list[float] = []

    def answer(request: bytes) -> bytes:
        at_s.append(talk.now)
        return willing(request) if talk.now > 30.0 else bytes((0x7F, 0x22, code))

    talk = Talk(twelve(), answer)
    talk.run(30.0)
    pauses = [after - before for before, after in pairwise(at_s)]
    assert len(at_s) <= 9 + 30.0 / most_s, "a few times at once, then less and less"
    assert pauses[-1] == pytest.approx(most_s)
    assert f"asked again in {at_s[-1] + most_s - talk.now:.1f} s" in talk.asking.why("s.0", talk.now)[0]
    talk.run(40.0)
    assert everything_is_read(talk)
    assert "most" not in talk.asking.learned()["engine identifier_22"]


@pytest.mark.parametrize("code", [0x10, 0x21, 0x22, 0x99])
def test_a_few_that_are_refused_for_the_moment_do_not_slow_down_the_others(code: int) -> None:
    def answer(request: bytes) -> bytes:
        return bytes((0x7F, 0x22, code)) if {0x1004, 0x1005} & {*identifiers(request)} else willing(request)

    talk = Talk(twelve(), answer)
    talk.run(3.0)
    assert [n for n in range(12) if talk.value(f"s.{n}") != float(n)] == [4, 5]
    before = talk.asking.counts.answered
    talk.run(13.0)
    assert talk.asking.counts.answered - before > 700, "ten values, ten times a second, now and then one by one"


def test_one_that_is_left_out_is_asked_by_itself() -> None:
    def answer(request: bytes) -> bytes:
        several = len(identifiers(request)) > 1
        return said([n for n in identifiers(request) if n != 0x1005 or not several])

    talk = Talk(twelve(), answer)
    talk.run(2.0)
    assert everything_is_read(talk)
    assert talk.asking.learned()["engine identifier_22"]["alone"] == [0x1005]


def test_data_longer_than_its_fields_are_measured_alone_and_asked_for_together_then() -> None:
    talk = Talk(twelve(), lambda request: said(identifiers(request), b"\xfe"))
    talk.run(3.0)
    assert everything_is_read(talk)
    assert len(identifiers(talk.asked[-1])) >= 6, "by then they need not all be due together"
    assert talk.asking.dropped.get("lengths", 0) <= 3


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from(WAYS), min_size=1, max_size=12))
def test_whatever_a_unit_does_the_lane_stays_usable(plan: list[str]) -> None:
    count = 0

    def answer(request: bytes) -> bytes | None:
        nonlocal count
        count += 1
        if count > 12:
            return willing(request)
        return {
            "yes": willing(request),
            "refuse": b"\x7f\x22\x13" if len(request) > 3 else b"\x7f\x22\x22",
            "silent": None,
            "part": said(identifiers(request)[:1]),
            "longer": said(identifiers(request), b"\1"),
            "busy": b"\x7f\x22\x21",
            "garbage": b"\x62\xff",
        }[plan[count % len(plan)]]

    talk = Talk(twelve(), answer)
    while talk.now < 400.0 and not (count > 12 and everything_is_read(talk)):
        talk.run(talk.now + 1.0)
    assert everything_is_read(talk)


def test_six_parameters_fit_a_request_and_a_long_answer_comes_in_several_frames() -> None:
    def answer(request: bytes) -> bytes:
        return b"\x41" + b"".join(bytes((pid,)) + bytes(obd.SIZES[pid]) for pid in request[1:])

    talk = Talk(obd.polls("engine", [0x05, 0x0C, 0x0D, 0x0F, 0x11, 0x70, 0x5C], 0.1), answer)
    talk.run(1.0)
    assert max(len(request) for request in talk.asked) == 7
    assert talk.value("engine.oil_temperature") == -40.0
    assert talk.asking.counts.missed == 0


def masked(pids: set[int], request: bytes) -> bytes:
    body = b""
    for pid in request[1:]:
        if pid % 0x20 == 0:
            have = sum(1 << 31 - (one - pid - 1) for one in pids if pid < one <= pid + 0x20)
            body += bytes((pid,)) + (have | any(one > pid + 0x20 for one in pids)).to_bytes(4)
        elif pid in pids:
            body += bytes((pid,)) + {0x4F: b"\0\0\0\x33", 0x0B: b"\xff"}.get(pid, bytes(obd.SIZES[pid]))
    return b"\x41" + body if body else b"\x7f\x01\x12"


def test_masks_are_walked_once_and_what_is_not_supported_is_said_so() -> None:
    talk = Talk(obd.polls("engine", [0x0C, 0x5C], 0.1), lambda request: masked({0x0C, 0x40}, request), helpers=True)
    talk.run(5.0)
    assert [request for request in talk.asked if request[1] % 0x20 == 0] == [b"\x01\x00", b"\x01\x20", b"\x01\x40"]
    assert talk.asking.why("engine.oil_temperature", talk.now) == [
        "engine 01 5C: the engine says it does not support 5C; it is not asked again this journey"
    ]
    assert not any(0x5C in request[1:] for request in talk.asked[3:])


def test_a_manifold_pressure_is_rescaled_by_what_the_unit_says_if_it_has_it() -> None:
    talk = Talk(obd.polls("engine", [0x0B], 0.1), lambda request: masked({0x0B, 0x4F}, request), helpers=True)
    talk.run(1.0)
    assert sum(0x4F in request[1:] for request in talk.asked) == 1
    assert talk.value("engine.manifold_pressure") == pytest.approx(510.0)
    without = Talk(obd.polls("engine", [0x0B], 0.1), lambda request: masked({0x0B}, request), helpers=True)
    without.run(1.0)
    assert not any(0x4F in request[1:] for request in without.asked)
    assert without.value("engine.manifold_pressure") == 255.0


def test_a_unit_without_masks_is_asked_for_its_values_all_the_same() -> None:
    talk = Talk(
        obd.polls("engine", [0x0C], 0.1),
        lambda request: None if request[1] == 0 else masked({0x0C}, request),
        helpers=True,
    )
    talk.run(3.0)
    assert talk.value("engine.speed") == 0.0
    assert sum(request[1] == 0 for request in talk.asked) == 2


def test_the_number_of_the_vehicle_is_read_once() -> None:
    number = b"HTX0000000000TARN"
    talk = Talk([vehicle.poll("engine")], lambda request: b"\x49\x02\x01" + number)
    talk.run(30.0)
    assert talk.asked == [b"\x09\x02"]
    assert talk.value("vehicle.identification") == number.decode()
