"""The control unit is can-isotp with udsoncan's encoding on a virtual bus; who asks is ours."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from udsoncan import DidCodec
from udsoncan.Request import Request
from udsoncan.Response import Response
from udsoncan.ResponseCode import ResponseCode as Code
from udsoncan.services.ReadDataByIdentifier import ReadDataByIdentifier

from underdash.bus.frames import Frame
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Coding, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.contract.signals import Kind, Signal, Value
from underdash.diagnostics import negative
from underdash.diagnostics.asking import Asking
from underdash.diagnostics.negative import Remedy, meaning
from underdash.diagnostics.options import Options
from underdash.diagnostics.requests import compile_polls
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
LATENCY_S = 0.008
NUMBERS = {0x1000 + n: f"made.up_{n}" for n in range(12)}
LONG = 0xF1A0
LONG_TEXT = "HALDEN TARN, A LONG TEXT IN MANY FRAMES, MADE UP FOR A TEST ALONE " * 3
VALUES: dict[int, float] = {identifier: identifier * 0.5 - 40.0 for identifier in NUMBERS}


class Codec(DidCodec):
    """How udsoncan spells the numbers: two bytes, half a unit each, from -40."""

    def encode(self, value: float) -> bytes:
        return round((value + 40.0) * 2.0).to_bytes(2)

    def __len__(self) -> int:
        return 2


class Unit:
    """The control unit, and our asking at the other end of its bus.

    Attributes:
        asked: the identifiers of each request.
        script: called with the identifiers; returns codes to say first, each with the seconds after the request, and
            whether an answer follows.
    """

    def __init__(self, wire: Callable[..., Any], options: Options, most: int | None, **params: Any) -> None:
        self.wire = wire(ENGINE.request_id, ENGINE.response_id, **params)
        self.most = most
        self.asked: list[list[int]] = []
        self.script: Callable[[list[int]], tuple[list[tuple[float, int]], bool]] = lambda asked: ([], True)
        self._later: list[tuple[float, bytes]] = []
        signals = {name: Signal(name, "", "made up") for name in NUMBERS.values()}
        signals["made.up_text"] = Signal("made.up_text", "", "made up", Kind.TEXT)
        polls = [
            PollRequest("engine", "identifier_22", number, (Field(name, Bits(0, 16), scale=0.5, offset=-40.0),), 0.05)
            for number, name in NUMBERS.items()
        ]
        text = Field("made.up_text", Bits(0, 8 * len(LONG_TEXT)), Coding.TEXT)
        polls.append(PollRequest("engine", "identifier_22", LONG, (text,), 0.05))
        car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), (ENGINE,))
        self.store = Store(signals)
        compiled = compile_polls(car, polls, (), self.store, signals)
        assert compiled.problems == []
        self.asking = Asking(compiled.polls, options)
        self.asking.reply = lambda wish, now: self.wire.say(wish.frame.data)
        self.wire.hear = self._hear
        self.wire.turn = self._turn

    def _hear(self, data: bytes, now: float) -> list[tuple[float, bytes]]:
        self.asking.handle("drive", ENGINE.response_id, data, now)
        return []

    def _turn(self, now: float) -> None:
        for _, frame in self.asking.parts(now):
            self.wire.say(frame.data)
            self.asking.part_sent(frame, now)
        for request in self.asking.due(now):
            self.wire.say(request.frame.data)
            self.asking.sent(request, now)
        if self.wire.peer.available():
            self._asked(Request.from_payload(bytes(self.wire.peer.recv())), now)
        while self._later and self._later[0][0] <= now:
            self.wire.peer.send(self._later.pop(0)[1])

    def _asked(self, request: Any, now: float) -> None:
        service = request.service
        assert service is ReadDataByIdentifier
        asked = [int.from_bytes(request.data[at : at + 2]) for at in range(0, len(request.data), 2)]
        self.asked.append(asked)
        if self.most is not None and len(asked) > self.most:
            codes, answers = [(LATENCY_S, Code.IncorrectMessageLengthOrInvalidFormat)], False
        else:
            codes, answers = self.script(asked)
        said = [(now + after_s, Response(service, code).get_payload()) for after_s, code in codes]
        if answers:
            body = b"".join(number.to_bytes(2) + self._spell(number) for number in asked)
            response = Response(service, Code.PositiveResponse, data=body)
            said.append((max([now, *(at for at, _ in said)]) + LATENCY_S, response.get_payload()))
        self._later = said

    def _spell(self, identifier: int) -> bytes:
        return LONG_TEXT.encode() if identifier == LONG else Codec().encode(VALUES[identifier])

    def want(self, *signals: str, period_s: float = 0.05) -> None:
        self.asking.demand({signal: Want(WantKind.PAGE, period_s) for signal in signals}, self.wire.clock.now)

    def run(self, seconds: float) -> None:
        until = self.wire.clock.now + seconds
        while self.wire.clock.now < until:
            self.wire.step()

    def value(self, identifier: int) -> Value | None:
        name = "made.up_text" if identifier == LONG else NUMBERS[identifier]
        return self.store.read(name, self.wire.clock.now).value

    def right(self) -> bool:
        return all(self.value(identifier) == VALUES[identifier] for identifier in NUMBERS)


@pytest.fixture
def unit(wire: Callable[..., Any]) -> Callable[..., Unit]:
    """Makes a `Unit`: `unit(most identifiers it takes, most a request, **parameters of can-isotp)`."""

    def make(most: int | None = None, most_a_request: int = 12, **params: Any) -> Unit:
        return Unit(wire, Options(requests_per_s=None, most_a_request=most_a_request), most, **params)

    return make


def test_each_identifier_by_itself(unit: Callable[..., Unit]) -> None:
    one = unit(most_a_request=1)
    one.want(*NUMBERS.values(), period_s=0.2)
    one.run(0.5)
    assert one.right()
    assert {len(asked) for asked in one.asked} == {1}
    assert one.wire.errors == []


@pytest.mark.parametrize("params", [{}, {"blocksize": 1, "stmin": 5}, {"blocksize": 3, "stmin": 0xF3}])
def test_twelve_identifiers_in_one_request_of_several_frames(unit: Callable[..., Unit], params: dict[str, int]) -> None:
    one = unit(**params)
    one.want(*NUMBERS.values(), period_s=0.2)
    one.run(2.0)
    assert one.right()
    assert sorted(one.asked[-1]) == sorted(NUMBERS)
    counts = one.asking.counts
    assert (counts.missed, counts.dropped, counts.negative) == (0, 0, 0)
    assert one.wire.errors == []


def test_a_unit_that_takes_few_at_once_is_asked_for_as_many_as_it_takes(unit: Callable[..., Unit]) -> None:
    one = unit(most=3)
    one.want(*NUMBERS.values(), period_s=0.2)
    one.run(3.0)
    assert one.right()
    assert max(len(asked) for asked in one.asked[-8:]) == 3


def test_a_long_text_comes_in_many_frames(unit: Callable[..., Unit]) -> None:
    one = unit()
    one.want("made.up_text")
    one.run(1.0)
    assert one.value(LONG) == LONG_TEXT.rstrip()
    assert one.wire.errors == []


@pytest.mark.parametrize("times", [1, 3])
def test_pending_is_waited_for(unit: Callable[..., Unit], times: int) -> None:
    one = unit()
    pending = [(0.02 + 4.0 * n, Code.RequestCorrectlyReceived_ResponsePending) for n in range(times)]
    one.script = lambda asked: (pending if len(one.asked) == 1 else [], True)
    one.want(NUMBERS[0x1000])
    one.run(0.1 + 4.0 * (times - 1))
    assert one.value(0x1000) == VALUES[0x1000]
    counts = one.asking.counts
    assert (counts.pending, counts.missed) == (times, 0)
    assert one.asked[0] == [0x1000]


def test_a_busy_unit_is_asked_the_same_again(unit: Callable[..., Unit]) -> None:
    one = unit()
    one.script = lambda asked: ([(LATENCY_S, Code.BusyRepeatRequest)], False) if len(one.asked) < 3 else ([], True)
    one.want(NUMBERS[0x1000])
    one.run(1.5)
    assert one.asked[:3] == [[0x1000]] * 3
    assert one.value(0x1000) == VALUES[0x1000]


@pytest.mark.parametrize("code", [Code.RequestOutOfRange, Code.ServiceNotSupported, Code.SecurityAccessDenied])
def test_a_refusal_for_good_parks_that_identifier_and_no_other(unit: Callable[..., Unit], code: int) -> None:
    one = unit()
    one.script = lambda asked: ([(LATENCY_S, code)], False) if 0x1001 in asked else ([], True)
    one.want(NUMBERS[0x1000], NUMBERS[0x1001])
    one.run(2.0)
    assert one.value(0x1000) == VALUES[0x1000]
    assert [status.name for status in one.asking.status(one.wire.clock.now) if status.parked] == ["engine 22 1001"]
    assert f"code {code:02X}" in one.asking.why(NUMBERS[0x1001], one.wire.clock.now)[0]


# --- negative responses: our table against the other's --------------------------------------------------------------

CODES = {name: code for name, code in vars(Code).items() if isinstance(code, int) and not name.startswith("_")}
WORDS = {
    0x10: ("general", "no, without a reason"),
    0x11: ("servicenotsupported", "does not have this service"),
    0x12: ("subfunction", "this kind of request"),
    0x13: ("length", "length"),
    0x14: ("toolong", "too long"),
    0x21: ("busy", "busy"),
    0x22: ("conditions", "conditions"),
    0x24: ("sequence", "wrong order"),
    0x25: ("subnet", "behind it"),
    0x26: ("failure", "fault"),
    0x31: ("range", "does not know"),
    0x33: ("security", "locked"),
    0x34: ("authentication", "who asks"),
    0x78: ("pending", "still working"),
    0x7E: ("activesession", "default session"),
    0x7F: ("activesession", "default session"),
}


def test_the_words_cover_our_whole_table() -> None:
    assert set(WORDS) == set(negative._BY_CODE)


@pytest.mark.parametrize("code", WORDS)
def test_each_code_means_the_same_to_both(code: int) -> None:
    theirs, ours = WORDS[code]
    assert theirs in Code.get_name(code).lower()
    assert ours in meaning(code).text


@pytest.mark.parametrize("name", sorted(set(CODES) - {"PositiveResponse"}))
def test_no_code_of_the_other_table_is_taken_for_silence_or_for_waiting(name: str) -> None:
    code = CODES[name]
    found = meaning(code)
    assert found.text
    assert (found.remedy is Remedy.WAIT) == (name == "RequestCorrectlyReceived_ResponsePending")
    conditions = range(0x81, 0x95)
    assert ("a condition such as" in found.text) == (code in conditions)


def test_frames_on_the_bus_carry_the_units_padding(unit: Callable[..., Unit]) -> None:
    one = unit()
    one.want(NUMBERS[0x1000])
    one.run(0.05)
    assert Frame(0x7E0, one.wire.frames[0][2]).data == bytes.fromhex("0322100000000000")
