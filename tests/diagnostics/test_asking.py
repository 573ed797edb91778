from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.bus.refusals import Reason, Refusal
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import Answer, ControlUnit, Part, PartKind, PollRequest, Protocol, SingleFrameFormat
from underdash.contract.signals import Age
from underdash.diagnostics import obd
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.batches import Request
from underdash.diagnostics.requests import compile_polls
from underdash.diagnostics.standing import How
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
# made up: two units on one pair of ids, and a maker's format
CHARGE = ControlUnit("charge", "drive", 0x0F00, 0x0F01, extended=True, address=0x5C)
EXHAUST = replace(CHARGE, name="exhaust", address=0x67)
SLOW = ControlUnit("slow", "drive", 0x7E3, 0x7EB, answer_within_s=2.5)
PARTS = (Part(PartKind.COUNT, value=0x90), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2))
FORM = SingleFrameFormat("made_up", 0xA3, (*PARTS, Part(PartKind.MODE, value=1)), (*PARTS, Part(PartKind.DATA)))
NO_ECHO = SingleFrameFormat(
    "no_echo", 0xA1, (Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER)), (Part(PartKind.COMMAND), Part(PartKind.DATA))
)
CAR = CarDescription(
    "tarn", "Halden Tarn", (BusDescription("drive", 500_000),), (ENGINE, CHARGE, EXHAUST, SLOW), formats=(FORM, NO_ECHO)
)
SHARED_KEY = 0x8000_0F01


def asked(unit: str, protocol: str, identifier: int, signal: str, **changes: object) -> PollRequest:
    one = Field(signal, Bits(0, 16), scale=0.05)
    return replace(PollRequest(unit, protocol, identifier, (one,), 0.1), **changes)  # type: ignore[arg-type]


@dataclass
class Car:
    """A car without a bus: what is sent is a list, what is heard is typed in."""

    requests: list[PollRequest]
    protocols: tuple[Protocol, ...] = ()
    store: Store = field(default_factory=lambda: Store(CATALOGUE))
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        compiled = compile_polls(CAR, self.requests, self.protocols, self.store)
        assert compiled.problems == []
        self.polls = compiled.polls
        self.asking = Asking(self.polls, told=lambda poll, sentence: self.told.append(sentence))

    def want(self, *signals: str, now: float = 0.0) -> None:
        self.asking.demand({signal: Want(WantKind.PAGE, 0.1) for signal in signals}, now)

    def send(self, now: float) -> list[Request]:
        due = self.asking.due(now)
        for poll in due:
            self.asking.sent(poll, now)
        return due

    def hear(self, text: str, now: float, key: int = 0x7E8) -> None:
        self.asking.handle("drive", key, bytes.fromhex(text), now)

    def value(self, signal: str, now: float) -> object:
        return self.store.read(signal, now).value


def obd_car() -> Car:
    return Car(obd.polls("engine", [0x0C, 0x0D], 0.1))


def test_a_value_that_is_wanted_is_asked_for_and_read() -> None:
    car = obd_car()
    car.want("engine.speed")
    (poll,) = car.send(1.0)
    assert str(poll.frame) == "7E0#02010C0000000000"
    car.hear("04410C1AF8000000", 1.02)
    assert car.value("engine.speed", 1.1) == 1726.0
    reading = car.store.read("engine.speed", 1.1)
    assert (reading.source, reading.age) == ("poll engine 01 0C", Age.FRESH)
    assert car.asking.counts.answered == 1
    assert car.asking.why("engine.speed", 1.12) == ["engine 01 0C: answered 0.10 s ago"]


def test_what_another_tester_asked_for_is_read_without_sending() -> None:
    car = obd_car()
    car.hear("06410C1AF80D2AAA", 1.0)
    assert (car.value("engine.speed", 1.0), car.value("vehicle.speed", 1.0)) == (1726.0, 42.0)
    assert car.asking.due(1.0) == []
    assert (car.asking.counts.overheard, car.asking.counts.sent) == (2, 0)
    assert "nobody wants it; last heard 0.50 s ago" in car.asking.why("engine.speed", 1.5)[0]


def test_an_answer_that_comes_too_late_is_counted_and_still_read() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    assert car.send(1.25) != []
    assert car.asking.counts.missed == 1
    car.hear("04410C1AF8000000", 1.26)
    assert car.asking.counts.answered == 1

    car.want("engine.speed", "vehicle.speed", now=2.0)
    first, second = car.send(2.0)[0], car.send(2.25)[0]
    assert [len(request.polls) for request in (first, second)] == [2, 1], "after silence one at a time"
    late, open_ = ("03410D2A", "04410C1AF8") if second.name.endswith("0C") else ("04410C1AF8", "03410D2A")
    car.hear(late, 2.26)
    assert car.asking.counts.late == 1
    assert car.asking.scheduler.open_on(second.lane) is second
    car.hear(open_, 2.27)
    assert car.asking.counts.answered == 2
    assert car.value("vehicle.speed", 2.3) == 42.0


def test_two_units_on_one_pair_of_ids_are_told_apart_by_their_address() -> None:
    car = Car(
        [
            asked("charge", "made_up", 0x1A04, "engine.charge_pressure"),
            asked("exhaust", "made_up", 0x1A04, "exhaust.pressure"),
        ]
    )
    car.want("engine.charge_pressure", "exhaust.pressure")
    first = car.send(1.0)
    second = car.send(1.001)
    assert {poll.unit.name for poll in (*first, *second)} == {"charge", "exhaust"}, "both are open at once"
    car.hear("9667E31A0407D000", 1.01, SHARED_KEY)
    assert car.value("exhaust.pressure", 1.02) == 100.0
    assert car.value("engine.charge_pressure", 1.02) is None
    car.hear("965CE31A0409C400", 1.02, SHARED_KEY)
    assert car.value("engine.charge_pressure", 1.02) == 125.0
    assert car.asking.counts.answered == 2


def test_two_protocols_of_one_unit_share_its_turn() -> None:
    car = Car(
        [
            asked("charge", "made_up", 0x1A04, "engine.charge_pressure"),
            asked("charge", "identifier_22", 0x1234, "fuel.rate"),
        ]
    )
    car.want("engine.charge_pressure", "fuel.rate")
    (first,) = car.send(1.0)
    assert car.send(1.01) == []
    car.hear("965CE31A0409C400", 1.02, SHARED_KEY)
    (second,) = car.send(1.03)
    assert {first.speech.name, second.speech.name} == {"made_up", "identifier_22"}
    car.hear("5C0562123401F400", 1.04, SHARED_KEY)
    assert car.value("fuel.rate", 1.05) == 25.0


def test_an_unsupported_request_is_parked_with_the_reason_and_told_once() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    car.hear("037F0112", 1.01)
    for tenth in range(11, 100):
        assert car.send(tenth / 10) == []
    reason = (
        "engine 01 0C: engine says it does not have this kind of request (subFunctionNotSupported, code 12); it is not "
        "asked again this journey"
    )
    assert car.asking.why("engine.speed", 9.9) == [reason]
    assert car.told == [reason]
    (status,) = [one for one in car.asking.status(9.9) if one.parked]
    assert (status.name, status.signals, status.wanted) == ("engine 01 0C", ("engine.speed",), False)
    car.asking.new_journey(10.0)
    assert len(car.send(10.0)) == 1


def test_a_negative_response_counts_for_what_is_open_and_only_for_its_service() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.hear("037F0112", 0.5)  # another tester's
    assert car.asking.counts.unrelated == 1
    car.send(1.0)
    car.hear("037F2231", 1.01)  # another service
    assert car.asking.counts.unrelated == 2
    assert car.asking.counts.negative == 0
    car.hear("04410C1AF8", 1.02)
    assert car.asking.counts.answered == 1


def test_a_negative_response_to_another_tester_is_not_taken_for_ours() -> None:
    car = Car([*obd.polls("engine", [0x0C], 0.1), asked("engine", "identifier_22", 0x1234, "fuel.rate")])
    car.want("fuel.rate")
    (poll,) = car.send(1.0)
    car.hear("037F0112", 1.01)
    assert car.asking.scheduler.open_on(poll.lane) is poll
    car.hear("037F2231", 1.02)
    assert car.asking.scheduler.parked(poll.polls[0])
    assert (car.asking.counts.unrelated, car.asking.counts.negative) == (1, 1)


def test_a_refusal_that_comes_too_late_parks_nothing_else() -> None:
    car = Car([asked("engine", "identifier_21", 0x12 + n, one) for n, one in enumerate(("fuel.rate", "fuel.level"))])
    car.want("fuel.rate", "fuel.level")
    ((first,), (second,)) = car.send(1.0), car.send(1.25)
    assert first is not second
    car.hear("037F2131", 1.27)
    assert not car.asking.scheduler.parked(second.polls[0])
    assert "does not know this identifier" in car.asking.status(1.3)[1].sentence
    car.want("fuel.level")
    assert car.send(2.3) == [second]
    car.hear("037F2131", 2.31)
    assert car.asking.scheduler.parked(second.polls[0])


def test_an_answer_without_echo_that_comes_too_late_is_not_taken_for_the_next_ones() -> None:
    car = Car([asked("charge", "no_echo", 0x10 + n, one) for n, one in enumerate(("fuel.rate", "fuel.level"))])
    car.want("fuel.rate", "fuel.level")
    (first,) = car.send(1.0)
    assert car.send(1.25) == []
    car.hear("E1FF10", 1.4, SHARED_KEY)
    assert [car.send(at) for at in (1.41, 2.24)] == [[], []]
    assert (car.value("fuel.rate", 1.5), car.value("fuel.level", 1.5)) == (None, None)
    (second,) = car.send(2.25)
    assert second is not first
    car.hear("E10064", 2.26, SHARED_KEY)
    assert car.value("fuel.level", 2.27) == 5.0


def test_pending_keeps_the_request_open_and_says_so() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    car.hear("037F0178", 1.1)
    assert car.send(3.0) == []
    assert (
        "still working on the answer (requestCorrectlyReceivedResponsePending, code 78)"
        in car.asking.why("engine.speed", 3.0)[0]
    )
    car.hear("04410C1AF8", 5.0)
    assert (car.asking.counts.pending, car.asking.counts.answered, car.asking.counts.missed) == (1, 1, 0)


def test_pending_that_never_comes_to_an_end_is_told_as_such_also_while_it_is_tried_again() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    for second in range(1, 31):
        car.hear("037F0178", second + 0.1)
        car.asking.due(second + 0.9)
    car.asking.due(31.0)
    (sentence,) = car.asking.why("engine.speed", 31.0)
    assert "engine said that it is still working on the answer, and never came to an end within 30 s" in sentence
    assert "take this request out of the description" in sentence
    again = next(now for now in range(31, 60) if car.send(float(now)))
    car.hear("037F0178", again + 0.1)
    assert "never came to an end" in car.asking.why("engine.speed", again + 1.0)[0]
    car.hear("04410C1AF8", again + 2.0)
    assert car.asking.why("engine.speed", again + 2.0) == ["engine 01 0C: answered 0.00 s ago"]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("0F410C1AF8000000", "a single frame that says 15 bytes and holds 7"),
        ("00410C1AF8000000", "a single frame that says 0 bytes and holds 7"),
        ("1003410C1AF80000", "a first frame for 3 bytes, which fit a single frame"),
        ("21410C1AF8000000", "frame number 1 of a message that did not begin"),
    ],
)
def test_something_unreadable_where_an_answer_was_due_is_told_instead_of_silence(text: str, why: str) -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    car.hear(text, 1.01)
    for now in (1.1, 1.3):
        car.asking.due(now)
        (sentence,) = car.asking.why("engine.speed", now)
        assert f"engine sent something that cannot be read: {why}" in sentence
    assert car.asking.counts.missed == 1
    assert car.asking.status(1.3)[0].told.how is How.UNREADABLE


def test_a_makers_frame_that_is_cut_short_is_told_instead_of_silence() -> None:
    car = Car([asked("charge", "made_up", 0x1A04, "engine.charge_pressure")])
    car.want("engine.charge_pressure")
    car.send(1.0)
    car.hear("975CE31A04", 1.01, SHARED_KEY)
    (sentence,) = car.asking.why("engine.charge_pressure", 1.1)
    assert "charge sent something that cannot be read: a frame that says 8 bytes and holds 5" in sentence


def test_an_unreadable_end_of_an_answer_to_another_tester_is_no_word_about_ours() -> None:
    car = obd_car()
    car.hear("1014621234414243", 0.9)
    car.want("engine.speed")
    car.send(1.0)
    car.hear("2344454647484950", 1.02)
    assert car.asking.dropped == {"sequence": 1}
    assert "cannot be read" not in car.asking.why("engine.speed", 1.1)[0]


def test_an_answer_in_several_frames_gets_its_flow_control_and_is_read() -> None:
    car = Car([asked("engine", "identifier_22", 0x1234, "fuel.rate")])
    wishes: list[Wish] = []
    car.asking.reply = lambda wish, now: wishes.append(wish)
    car.want("fuel.rate")
    car.send(1.0)
    car.hear("100C62123401F443", 1.01)
    assert [(str(wish.frame), wish.unit) for wish in wishes] == [("7E0#3000000000000000", "engine")]
    assert car.value("fuel.rate", 1.015) is None
    car.hear("2144454647484950", 1.02)
    assert car.value("fuel.rate", 1.1) == 25.0
    assert (car.asking.counts.answered, car.asking.counts.missed, car.asking.dropped) == (1, 0, {})


def test_an_answer_to_another_tester_in_several_frames_is_read_and_gets_no_flow_control_of_ours() -> None:
    car = Car([asked("engine", "identifier_22", 0x1234, "fuel.rate")])
    wishes: list[Wish] = []
    car.asking.reply = lambda wish, now: wishes.append(wish)
    car.hear("100C62123401F443", 1.01)
    car.hear("2144454647484950", 1.02)
    assert car.value("fuel.rate", 1.1) == 25.0
    assert (wishes, car.asking.counts.overheard) == ([], 1)


def test_an_answer_that_breaks_off_is_named_and_asked_for_again() -> None:
    car = Car([asked("engine", "identifier_22", 0x1234, "fuel.rate")])
    car.want("fuel.rate")
    car.send(1.0)
    car.hear("1014621234414243", 1.01)
    car.hear("2344454647484950", 1.02)
    assert car.asking.dropped == {"sequence": 1}
    assert "the answer of engine broke off: frame number 3 where 1 was next" in car.asking.why("fuel.rate", 1.1)[0]
    assert car.send(1.4) != []


def test_a_frame_that_never_comes_ends_the_waiting() -> None:
    car = Car([asked("engine", "identifier_22", 0x1234, "fuel.rate")])
    car.want("fuel.rate")
    car.send(1.0)
    car.hear("1014621234414243", 1.01)
    assert car.send(2.0) == []
    car.send(2.02)
    assert car.asking.dropped == {"no next frame": 1}
    assert car.send(2.5) != []


def test_a_makers_answer_too_long_for_one_frame_is_named_too() -> None:
    car = Car([asked("charge", "made_up", 0x1A04, "engine.charge_pressure")])
    car.want("engine.charge_pressure")
    car.send(1.0)
    car.hear("9A5CE31A04010203", 1.01, SHARED_KEY)
    assert (
        "an answer of 6 bytes, where one frame of this format holds 3"
        in car.asking.why("engine.charge_pressure", 1.1)[0]
    )


def test_an_answer_with_too_few_bytes_is_counted_and_told() -> None:
    car = obd_car()
    car.want("engine.speed")
    car.send(1.0)
    car.hear("03410C1A00000000", 1.01)
    assert car.asking.counts.short == 1
    assert car.value("engine.speed", 1.02) is None
    assert "its answer has 1 bytes, its fields need 2" in car.asking.why("engine.speed", 1.02)[0]


@pytest.mark.parametrize("text", ["", "00", "FF", "0462F19041", "03415C78", "02410C00", "04411F1AF8", "0941"])
def test_frames_that_are_nobodys_answer_change_nothing(text: str) -> None:
    car = obd_car()
    car.want("engine.speed")
    (poll,) = car.send(1.0)
    car.hear(text, 1.01)
    if text != "02410C00":
        assert car.asking.scheduler.open_on(poll.lane) is poll
    assert car.value("engine.speed", 1.02) is None


@settings(deadline=None)
@given(st.lists(st.binary(max_size=8), max_size=20))
def test_no_frame_breaks_it(frames: list[bytes]) -> None:
    car = Car([*obd.polls("engine", [0x0C]), asked("charge", "made_up", 1, "engine.charge_pressure")])
    car.want("engine.speed", "engine.charge_pressure")
    for number, data in enumerate(frames):
        car.send(number / 100)
        car.asking.handle("drive", 0x7E8, data, number / 100)
        car.asking.handle("drive", SHARED_KEY, data, number / 100)


def test_a_reply_without_echo_belongs_to_what_is_open() -> None:
    car = Car([asked("engine", "no_echo", 0x21, "fuel.rate")])
    car.hear("E101F4", 0.5)
    assert car.value("fuel.rate", 0.5) is None
    assert car.asking.counts.unrelated == 1
    car.want("fuel.rate")
    car.send(1.0)
    car.hear("E101F4", 1.01)
    assert car.value("fuel.rate", 1.02) == 25.0


class UnspeakableError(Exception):
    def __str__(self) -> str:
        raise ValueError("not even that")


def raises(exc: BaseException) -> Answer:
    raise exc


@pytest.mark.parametrize(
    ("decode", "says"),
    [
        (lambda: raises(ValueError("plug-in")), "raised ValueError: plug-in"),
        (lambda: raises(SystemExit("away")), "raised SystemExit: away"),
        (lambda: raises(UnspeakableError()), "raised UnspeakableError"),
        (lambda: "5", "gave str, it has to give an Answer or None"),
        (lambda: (Answer(1, b"\x05"),), "gave tuple, it has to give an Answer or None"),
        (lambda: Answer(1, "5"), "gave an Answer whose data is '5' (str), it has to be bytes"),  # type: ignore[arg-type]
        (lambda: Answer(1, None), "gave an Answer whose data is None"),  # type: ignore[arg-type]
        (lambda: Answer([1], b"\x05"), "gave an Answer whose identifier is [1]"),  # type: ignore[arg-type]
        (lambda: Answer(1, refused="31"), "gave an Answer whose refused is '31'"),  # type: ignore[arg-type]
    ],
)
def test_a_plug_ins_protocol_that_fails_costs_its_own_value_and_is_named(decode: Callable[[], Any], says: str) -> None:
    odd = Protocol("odd", lambda unit, identifier: bytes((1, 0x21, identifier)), lambda *_: decode(), (2,), 1)
    car = Car([asked("engine", "odd", 1, "fuel.rate"), *obd.polls("engine", [0x0C])], (odd,))
    car.hear("04410C1AF8", 1.0)
    assert car.value("engine.speed", 1.0) == 1726.0
    car.want("fuel.rate", now=2.0)
    car.send(2.0)
    car.hear("04415C1AF8", 2.1)
    assert car.asking.dropped == {"mistake in a protocol": 1}
    (why,) = car.asking.why("fuel.rate", 2.2)
    assert f"decode of protocol 'odd' {says}" in why
    assert car.asking.status(2.2)[0].told.how is How.MISTAKEN


def test_a_silent_unit_is_told_with_when_it_is_asked_again() -> None:
    car = obd_car()
    car.want("engine.speed")
    now = 0.0
    while car.asking.counts.missed < 4:
        car.send(now)
        before, now = now, car.asking.deadline(now) or now
    (told,) = car.asking.why("engine.speed", before)
    assert "engine left 4 requests in a row unanswered; asked again in" in told
    assert len(car.told) == 1
    assert "engine left 3 requests in a row unanswered" in car.told[0]


def test_why_tells_of_every_state_a_request_can_be_in() -> None:
    car = obd_car()

    def why(now: float) -> str:
        return car.asking.why("engine.speed", now)[0].removeprefix("engine 01 0C: ")

    assert why(0.0) == "not asked, nobody wants it"
    car.want("engine.speed")
    assert why(0.0) == "waits for its turn"
    (poll,) = car.asking.due(0.0)
    car.asking.refused(poll, Refusal(Reason.QUIET, "drive: somebody asked for quiet"), 0.0)
    assert why(0.1) == "not sent: drive: somebody asked for quiet"
    assert car.asking.counts.held == 1
    car.send(1.0)
    assert why(1.05) == "asked 0.05 s ago, no answer yet"
    car.asking.due(1.25)
    assert why(1.3).startswith("engine left 1 of these requests unanswered")
    car.send(1.4)
    car.hear("037F0121", 1.45)
    assert why(1.5) == "engine says it is busy (busyRepeatRequest, code 21); asked again in 0.2 s"
    assert car.asking.why("nobody.provides", 1.5) == []


def test_what_was_asked_once_is_forgotten_with_the_journey() -> None:
    car = Car([asked("engine", "identifier_22", 0x1234, "engine.torque_reference", once=True)])
    car.want("engine.torque_reference")
    car.send(1.0)
    car.hear("05621234232800", 1.01)
    assert car.value("engine.torque_reference", 5000.0) == pytest.approx(450.0)
    assert "asked once a journey, answered" in car.asking.why("engine.torque_reference", 5000.0)[0]
    car.asking.new_journey(5000.0)
    assert car.value("engine.torque_reference", 5000.0) is None
    assert len(car.send(5000.0)) == 1


def test_it_names_the_frames_it_has_to_hear() -> None:
    car = Car([*obd.polls("engine", [0x0C, 0x0D]), asked("charge", "made_up", 1, "engine.charge_pressure")])
    handlers = {key: handler for bus, key, handler in car.asking.handlers() if bus == "drive"}
    assert set(handlers) == {0x7E8, SHARED_KEY}
    handlers[0x7E8](bytes.fromhex("04410C1AF8"), 1.0)
    assert car.value("engine.speed", 1.0) == 1726.0


def test_what_the_guard_never_lets_out_is_told_once() -> None:
    car = obd_car()
    car.want("engine.speed")
    (poll,) = car.asking.due(0.0)
    car.asking.refused(poll, Refusal(Reason.SERVICE, "drive: it writes"), 0.0)
    assert car.told == ["engine 01 0C: never sent: drive: it writes; it is not asked again this journey"]
    assert car.asking.due(60.0) == []


LONG = ("engine.speed", "vehicle.speed", "engine.load", "engine.throttle")
"""So many that a request for all of them takes two frames."""


def test_the_end_of_an_answer_that_broke_off_does_not_end_the_wait_for_the_next_one() -> None:
    signals = ("engine.speed", "vehicle.speed", "engine.load", "engine.throttle")
    car = Car([asked("engine", "identifier_22", 0x21C7 + n, one) for n, one in enumerate(signals)])
    car.want(*signals)
    (long,) = car.send(1.0)
    assert len(long.frames) == 2
    car.hear("10 14 62 21C7 4142 21".replace(" ", ""), 1.05)  # an answer begins without leave to ask on
    car.hear("320000", 1.99)
    (fewer,) = car.send(2.0)
    assert len(fewer.frames) == 1
    assert car.send(2.06) == [], "a second after that first frame the next request is still waited for"
    assert car.asking.scheduler.open_on(fewer.lane) is fewer
    assert car.asking.dropped == {"overflow": 1, "no next frame": 1}


def test_an_answer_of_ours_that_ends_one_to_another_tester_is_waited_for() -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7, "engine.speed")])
    replies: list[Wish] = []
    car.asking.reply = lambda wish, now: replies.append(wish)
    car.want("engine.speed")
    (poll,) = car.asking.due(1.0)
    car.hear("100B620001AABBCC", 1.0)  # the other one's
    car.asking.sent(poll, 1.0)
    car.hear("100B6221C7AABBCC", 1.02)
    assert car.asking.scheduler.open_on(poll.lane) is poll
    assert [str(wish.frame) for wish in replies] == ["7E0#3000000000000000"]
    car.hear("2101020304050607", 1.03)
    assert car.asking.counts.answered == 1


@pytest.mark.parametrize("before", ["", "100B620001AABBCC", "100B6221C7AABBCC"])
def test_an_answer_longer_than_we_take_is_declined_and_named(before: str) -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7, "engine.speed")])
    replies: list[Wish] = []
    car.asking.reply = lambda wish, now: replies.append(wish)
    car.want("engine.speed")
    (poll,) = car.send(1.0)
    if before:
        car.hear(before, 1.01)
    car.hear("10 00 00 00 13 88 62 21", 1.02)  # so long that only half of its identifier is in the first frame
    assert str(replies[-1].frame) == "7E0#3200000000000000"
    assert car.asking.scheduler.open_on(poll.lane) is None
    (why,) = car.asking.why("engine.speed", 1.03)
    assert "longer than the 4095" in why or before == "100B6221C7AABBCC"
    assert car.asking.dropped["too long"] == 1


def test_flow_control_that_nobody_waits_for_does_not_prolong_the_waiting() -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7 + n, one) for n, one in enumerate(LONG)])
    car.want(*LONG)
    (long,) = car.send(1.0)
    car.hear("300000", 1.01)
    ((_, part),) = car.asking.parts(1.01)
    car.asking.part_sent(part, 1.01)
    for n in range(200):
        car.hear("300000", 1.02 + n / 100)
        car.asking.due(1.02 + n / 100)
    assert car.asking.counts.missed == 1
    assert car.asking.scheduler.open_on(long.lane) is None


@pytest.mark.parametrize("after_s", [0.3, 0.95])
def test_a_unit_has_a_second_to_let_a_long_request_go_on(after_s: float) -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7 + n, one) for n, one in enumerate(LONG)])
    car.want(*LONG)
    (long,) = car.send(1.0)
    assert car.send(1.0 + after_s - 0.01) == []
    car.hear("300000", 1.0 + after_s)
    ((_, part),) = car.asking.parts(1.0 + after_s)
    assert part == long.frames[1]


@pytest.mark.parametrize(("unit", "key", "within_s"), [("slow", 0x7EB, 2.5), ("engine", 0x7E8, 0.25)])
def test_after_the_last_part_of_a_long_request_the_unit_has_its_own_time(unit: str, key: int, within_s: float) -> None:
    car = Car([asked(unit, "identifier_22", 0x21C7 + n, one) for n, one in enumerate(LONG)])
    car.want(*LONG)
    (long,) = car.send(1.0)
    car.hear("300000", 1.5, key)
    for now in (1.5, 1.6, 1.7):
        for _, part in car.asking.parts(now):
            car.asking.part_sent(part, now)
            last = now
    car.asking.due(last + within_s - 0.01)
    assert car.asking.scheduler.open_on(long.lane) is long
    car.asking.due(last + within_s)
    assert car.asking.scheduler.open_on(long.lane) is None


def test_without_flow_control_a_long_request_counts_as_unanswered_and_says_nothing_about_its_length() -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7 + n, one) for n, one in enumerate(LONG)])
    car.want(*LONG)
    car.send(1.0)
    car.asking.due(2.0)
    assert (car.asking.counts.missed, car.asking.dropped) == (1, {"no flow control": 1})
    assert car.asking.learned() == {}


def test_a_long_request_that_is_refused_halfway_is_not_sent_to_its_end() -> None:
    car = Car([asked("engine", "identifier_22", 0x21C7 + n, one) for n, one in enumerate(LONG)])
    car.want(*LONG)
    car.send(1.0)
    car.hear("300064", 1.01)
    car.hear("037F2221", 1.02)
    assert car.asking.parts(1.5) == []
