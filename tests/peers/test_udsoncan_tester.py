"""The tester is udsoncan over can-isotp on a virtual bus; the control unit is one of our simulated ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random
from typing import Any

import pytest
import udsoncan
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from udsoncan.client import Client
from udsoncan.connections import BaseConnection
from udsoncan.exceptions import NegativeResponseException, TimeoutException
from udsoncan.Request import Request
from udsoncan.ResponseCode import ResponseCode

from underdash.contract.layout import Bits, ByteOrder, Coding, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Value
from underdash.diagnostics.negative import meaning
from underdash.diagnostics.pci import padded
from underdash.simulator.faults import Fault
from underdash.simulator.manners import Manners
from underdash.simulator.units import SimulatedUnit

# all numbers made up
TRUE: dict[str, Value] = {
    "gearbox.oil_temperature": 91.0,
    "gearbox.input_speed": 2150.0,
    "engine.ignition_timing": -7.5,
    "engine.charge_pressure": 220.0,
    "vehicle.identification": "UNDERDASHTARN0001",
}
POLLS = (
    PollRequest("gearbox", "identifier_22", 0x21C7, (Field("gearbox.oil_temperature", Bits(0), offset=-50.0),)),
    PollRequest("gearbox", "identifier_22", 0x21C8, (Field("gearbox.input_speed", Bits(0, 16), scale=0.25),)),
    PollRequest(
        "gearbox", "identifier_22", 0x21C9, (Field("engine.ignition_timing", Bits(0), Coding.SIGNED, scale=0.5),)
    ),
    PollRequest(
        "gearbox",
        "identifier_22",
        0x21CA,
        (Field("engine.charge_pressure", Bits(0, 16, 0, ByteOrder.LITTLE), scale=0.05),),
    ),
    PollRequest(
        "gearbox", "identifier_22", 0xF190, (Field("vehicle.identification", Bits(0, 17 * 8), Coding.TEXT),)
    ),
)  # fmt: skip
PROMPT = Manners(pending_share=0.0)


class Number(udsoncan.DidCodec):
    """A number as the other side would declare it, without any of our code."""

    def __init__(self, size: int, scale: float, offset: float = 0.0, signed: bool = False, order: str = "big") -> None:
        super().__init__()
        self.size, self.scale, self.offset, self.signed, self.order = size, scale, offset, signed, order

    def decode(self, data: bytes) -> float:
        return int.from_bytes(data, self.order, signed=self.signed) * self.scale + self.offset  # type: ignore[arg-type]

    def __len__(self) -> int:
        return self.size


CODECS: dict[int | str, Any] = {
    0x21C7: Number(1, 1.0, -50.0),
    0x21C8: Number(2, 0.25),
    0x21C9: Number(1, 0.5, signed=True),
    0x21CA: Number(2, 0.05, order="little"),
    0xF190: udsoncan.AsciiCodec(17),
    0x3333: Number(1, 1.0),
}
SIGNALS = {poll.identifier: poll.fields[0].signal for poll in POLLS}


class Connection(BaseConnection):
    """Udsoncan's way to can-isotp; waiting steps the bus."""

    def __init__(self, wire: Any) -> None:
        super().__init__("virtual")
        self.wire = wire

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:
        self.wire.peer.send(payload)

    def specific_wait_frame(self, timeout: float | None = None) -> bytes:
        until = self.wire.clock.now + (timeout or 0.0)
        while self.wire.clock.now <= until:
            self.wire.step()
            if self.wire.peer.available():
                return bytes(self.wire.peer.recv())
        raise TimeoutException(f"nothing within {timeout} s")  # type: ignore[no-untyped-call]

    def empty_rxqueue(self) -> None:
        while self.wire.peer.available():
            self.wire.peer.recv()

    def open(self) -> Connection:
        return self

    def close(self) -> None:
        """Nothing to close; the bus is the fixture's."""

    def is_open(self) -> bool:
        return True


class Bench:
    """A simulated gearbox at our end and udsoncan's client at the other."""

    def __init__(self, wire: Callable[..., Any], manners: Manners, extended: bool = False) -> None:
        ids = (0x18DA1DF1, 0x18DAF11D) if extended else (0x7E1, 0x7E9)
        self.wire = wire(ids[1], ids[0], extended)
        self.unit = SimulatedUnit(
            ControlUnit("gearbox", "drive", *ids, extended=extended), POLLS, (), Random(5), manners
        )
        self.pending = 0
        self.wire.hear = lambda data, now: [
            (after_s, padded(answer, 0x00)) for after_s, answer in self.unit.answer(data, TRUE, now)
        ]
        self.client = Client(
            Connection(self.wire),
            config={
                "data_identifiers": CODECS, "request_timeout": 20.0, "p2_timeout": 0.25, "p2_star_timeout": 5.0,
                "nrc78_callback": self._count,
            },
        )  # fmt: skip

    def _count(self) -> None:
        self.pending += 1

    def read(self, *identifiers: int) -> dict[int, Any]:
        response = self.client.read_data_by_identifier(list(identifiers))
        values: dict[int, Any] = response.service_data.values
        return values

    def refused(self, *identifiers: int) -> int:
        with pytest.raises(NegativeResponseException) as told:
            self.read(*identifiers)
        code = told.value.response.code
        assert code is not None
        return code


def check(values: dict[int, Any], *identifiers: int) -> None:
    """The tester read exactly these, each as it is in truth."""
    assert set(values) == set(identifiers)
    for identifier in identifiers:
        true = TRUE[SIGNALS[identifier]]
        assert values[identifier] == (pytest.approx(true) if isinstance(true, float) else true), hex(identifier)


@pytest.mark.parametrize("extended", [False, True])
@pytest.mark.parametrize("identifier", SIGNALS)
def test_the_tester_reads_each_identifier_as_it_is(wire: Any, identifier: int, extended: bool) -> None:
    bench = Bench(wire, PROMPT, extended)
    check(bench.read(identifier), identifier)
    assert bench.wire.errors == []


@pytest.mark.parametrize("block_size", [0, 1, 3])
def test_the_tester_reads_all_with_one_request_in_several_frames(wire: Any, block_size: int) -> None:
    bench = Bench(wire, replace(PROMPT, block_size=block_size, st_min=2))
    check(bench.read(*SIGNALS), *SIGNALS)
    asked = [data for _, can_id, data in bench.wire.frames if can_id == 0x7E1]
    assert asked[0][:3] == bytes((0x10, 11, 0x22))
    assert bench.wire.errors == []


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from(sorted(SIGNALS)), min_size=1, max_size=5, unique=True))
def test_any_identifiers_in_any_order(wire: Any, identifiers: list[int]) -> None:
    check(Bench(wire, PROMPT).read(*identifiers), *identifiers)


def test_an_identifier_the_unit_lacks_is_out_of_range_for_both(wire: Any) -> None:
    bench = Bench(wire, PROMPT)
    code = bench.refused(0x3333)
    assert code == ResponseCode.RequestOutOfRange
    assert meaning(code).text == "it does not know this identifier"


def test_more_identifiers_than_the_unit_takes_are_the_wrong_length_for_both(wire: Any) -> None:
    bench = Bench(wire, replace(PROMPT, identifiers_at_once=2))
    code = bench.refused(0x21C7, 0x21C8, 0x21C9)
    assert code == ResponseCode.IncorrectMessageLengthOrInvalidFormat
    check(bench.read(0x21C7, 0x21C8), 0x21C7, 0x21C8)


@pytest.mark.parametrize(
    ("fault", "name"),
    [
        (Fault.BUSY, "BusyRepeatRequest"),
        (Fault.CONDITIONS, "ConditionsNotCorrect"),
        (Fault.REFUSING, "GeneralReject"),
    ],
)
def test_a_unit_that_refuses_says_so_in_words_the_tester_has(wire: Any, fault: Fault, name: str) -> None:
    bench = Bench(wire, PROMPT)
    bench.unit.fault = fault
    assert bench.refused(0x21C7) == getattr(ResponseCode, name)
    bench.unit.fault = Fault.NONE
    check(bench.read(0x21C7), 0x21C7)


def test_a_pending_answer_is_waited_for_and_read(wire: Any) -> None:
    bench = Bench(wire, PROMPT)
    bench.unit.fault = Fault.PENDING
    check(bench.read(*SIGNALS), *SIGNALS)
    assert bench.pending == 3
    assert bench.wire.clock.now > 5.0


def test_now_and_then_an_answer_is_pending_by_itself(wire: Any) -> None:
    bench = Bench(wire, Manners(pending_share=1.0))
    check(bench.read(0x21C7), 0x21C7)
    assert bench.pending == 1


def test_a_silent_unit_times_out_for_the_tester(wire: Any) -> None:
    bench = Bench(wire, PROMPT)
    bench.unit.fault = Fault.SILENT
    with pytest.raises(TimeoutException):
        bench.read(0x21C7)


@pytest.mark.parametrize("request_", [b"\x3e\x00", b"\x10\x03", b"\x2e\x21\xc7\x00", b"\x11\x01"])
def test_any_service_that_does_more_than_read_is_not_there(wire: Any, request_: bytes) -> None:
    bench = Bench(wire, PROMPT)
    request = Request.from_payload(request_)
    with pytest.raises(NegativeResponseException) as told:
        bench.client.send_request(request)
    assert told.value.response.code == ResponseCode.ServiceNotSupported
