"""Asking by hand on the simulated car: what is asked, what is held back, and what happens to the polls meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any

import pytest

from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.refusals import Reason, Refusal
from underdash.bus.vetting import MakerEvidence
from underdash.contract.errors import GivenError, UnderdashError
from underdash.pace import PacedLoop, paced_loop
from underdash.simulator.driver import Phase
from underdash.simulator.faults import Fault
from underdash.wiring.by_hand import LINGER_S, PACE_S, ByHand
from underdash.wiring.demo import Demo
from underdash.wiring.reloading import Reloading
from underdash.wiring.sending import Sending
from underdash.wiring.wanted import standard_ids

OIL = {"what": "gearbox", "identifier": 0x21C7}
SCRIPT = (
    Phase("unlocked", 1, "LOCK"),
    Phase("standing", 60, "ON"),
    Phase("starter", 1, "START"),
    Phase("idle", 10),
    Phase("moving", 60, speed_kmh=30),
    Phase("off", 60, "OFF"),
)


class Standing:
    """A simulated car with its ignition on, and somebody who asks."""

    def __init__(self, loop: PacedLoop) -> None:
        self.loop = loop
        self.demo = Demo("tarn", loop, script=SCRIPT)
        self.by_hand = ByHand(self.demo.daemon, loop)
        self.sent: list[tuple[float, Frame]] = []
        self.demo.daemon.links["drive"].add_tap(self._tap)
        self.demo.station.start()
        self.demo.daemon.start()
        self.run(10.0)

    def _tap(self, frame: Frame) -> None:
        if frame.id in (0x18DA1DF1, 0x18DA10F1, 0x0B20C0A1):
            self.sent.append((self.loop.time(), frame))

    def run(self, seconds: float) -> None:
        self.loop.call_later(seconds, self.loop.stop)
        self.loop.run_forever()

    def ask(self, query: Mapping[str, Any], within_s: float = 4.0) -> Mapping[str, Any]:
        came: list[Mapping[str, Any]] = []
        self.by_hand.ask(query, came.append)
        until = self.loop.time() + within_s
        while not came and self.loop.time() < until:
            self.run(0.01)
        assert len(came) == 1
        return came[0]


@pytest.fixture
def standing() -> Iterator[Standing]:
    loop = paced_loop(float("inf"))
    one = Standing(loop)
    yield one
    one.by_hand.close()
    one.demo.daemon.stop()
    one.demo.station.stop()
    loop.close()


def test_a_unit_and_an_identifier_give_bytes_and_the_described_value(standing: Standing) -> None:
    came = standing.ask(OIL)
    assert (came["name"], came["kind"], came["data"]) == ("gearbox 22 21C7", "answered", "40")
    assert came["values"]["gearbox.oil_temperature"]["value"] == 14.0


@pytest.mark.parametrize("name", ["gearbox.oil_temperature", "gearbox 22 21C7"])
def test_a_signal_or_a_described_request_is_found_by_its_name(standing: Standing, name: str) -> None:
    assert standing.ask({"what": name})["name"] == "gearbox 22 21C7"


def test_what_nobody_described_is_asked_too_and_its_refusal_named(standing: Standing) -> None:
    came = standing.ask({"what": "gearbox", "identifier": 0x21C8})
    assert (came["kind"], came["code"]) == ("refused", "31")
    assert "does not know this identifier" in came["sentence"]


def test_a_makers_format_is_asked_as_the_description_has_it(standing: Standing) -> None:
    assert standing.ask({"what": "charge_air", "identifier": 0x1A04})["kind"] == "answered"


def test_a_makers_command_needs_its_evidence_here_as_well(standing: Standing) -> None:
    guard = standing.demo.daemon.sending.guard
    guard._evidence = MakerEvidence({}, standing.demo.built.assembly.car.exchanges)
    came = standing.ask({"what": "charge_air", "identifier": 0x1A77})
    assert came["kind"] == "left_out"
    assert "maker's own command" in came["sentence"]
    guard._evidence = MakerEvidence({"charge_air": [0xB4]}, ())
    came = standing.ask({"what": "charge_air", "identifier": 0x1A77})
    assert came["kind"] == "left_out"
    assert "no exchange" in came["sentence"]


WRONG: tuple[tuple[dict[str, Any], str], ...] = (
    ({}, "'what'"),
    ({"what": 3}, "'what'"),
    ({"what": "gearbx", "identifier": 1}, "Did you mean gearbox"),
    ({"what": "gearbox"}, "say which identifier"),
    ({"what": "nothing at all"}, "neither"),
    ({"what": "gearbox", "identifier": True}, "whole number"),
    ({"what": "gearbox", "identifier": 0x10000}, "outside 0 to FFFF"),
    ({"what": "gearbox", "identifier": 1, "protocol": "service_04"}, "none that is asked in by hand"),
    ({"what": "gearbox", "identifier": 1, "protocol": ["identifier_22"]}, "none that is asked in by hand"),
    ({"bus": "drive", "request": "7DF"}, "no id of ISO 15765-4"),
    ({"bus": "drive", "request": "18DB33F1"}, "no id of ISO 15765-4"),
    ({"bus": "drive", "request": "7E8"}, "no id of ISO 15765-4"),
    ({"bus": "drive", "request": "zz"}, "no hex number"),
    ({"bus": "drv", "request": "7E0"}, "Did you mean drive"),
)


def test_what_cannot_be_asked_is_said_and_nothing_is_sent(standing: Standing) -> None:
    before = standing.demo.daemon.sending.guard.passed
    for query, words in WRONG:
        with pytest.raises(GivenError, match=words):
            standing.by_hand.ask(query, lambda table: None)
    assert standing.demo.daemon.sending.guard.passed == before


def test_polls_pause_meanwhile_and_go_on_afterwards(standing: Standing) -> None:
    standing.ask(OIL)
    begun = len(standing.sent)
    standing.run(LINGER_S - 0.2)
    assert len(standing.sent) == begun
    standing.run(3.0)
    assert len(standing.sent) > begun + 10


def test_at_most_two_a_second_go_out_one_at_a_time(standing: Standing) -> None:
    standing.ask(OIL)
    before = len(standing.sent)
    for number in range(8):
        standing.ask({"what": "gearbox", "identifier": 0x2100 + number})
    times = [at for at, _ in standing.sent[before:]]
    assert len(times) == 8
    assert all(after - earlier >= PACE_S - 1e-6 for earlier, after in pairwise(times))


def test_a_second_person_has_to_wait(standing: Standing) -> None:
    standing.by_hand.ask(OIL, lambda table: None)
    with pytest.raises(UnderdashError, match="somebody else"):
        standing.by_hand.ask(OIL, lambda table: None)


def test_quiet_holds(standing: Standing) -> None:
    standing.demo.daemon.sending.guard.quiet = True
    came = standing.ask(OIL)
    assert came["kind"] == "held"
    assert "underdash quiet off" in came["sentence"]


def test_nothing_is_asked_while_the_car_moves_or_its_ignition_is_off(standing: Standing) -> None:
    standing.run(75.0)
    came = standing.ask(OIL)
    assert came["kind"] == "held"
    assert "km/h" in came["sentence"]
    standing.run(60.0)
    assert "ignition" in standing.ask(OIL)["sentence"]


def test_an_engine_that_runs_in_a_car_of_unknown_speed_is_not_asked(
    standing: Standing, monkeypatch: pytest.MonkeyPatch
) -> None:
    standing.run(57.0)
    for slot in standing.demo.daemon.assembly.store.slots("vehicle.speed"):
        monkeypatch.setattr(type(slot), "put", lambda self, value, quality, at: None)
        slot.clear()
    came = standing.ask(OIL)
    assert came["kind"] == "held"
    assert "nothing says that the car stands" in came["sentence"]


def test_a_car_of_unknown_speed_and_engine_is_asked_only_on_a_persons_word(
    standing: Standing, monkeypatch: pytest.MonkeyPatch
) -> None:
    daemon = standing.demo.daemon
    store = daemon.assembly.store
    for name in ("vehicle.speed", "engine.speed", "engine.running", "powertrain.ready"):
        store.drop(store.slots(name))
    came = standing.ask(OIL)
    assert came["kind"] == "held"
    assert "neither vehicle.speed nor the engine is known" in came["sentence"]
    assert "--attended" in came["sentence"]
    daemon.key.vouch(standing.loop.time())
    assert standing.ask(OIL)["kind"] == "answered"


def test_a_persons_word_does_not_count_against_what_is_heard(standing: Standing) -> None:
    key = standing.demo.daemon.key
    standing.run(130.0)
    with pytest.raises(UnderdashError, match="ignition off"):
        key.vouch(standing.loop.time())
    assert not key.ignition.vouched(standing.loop.time())


def test_a_request_to_all_that_is_still_open_is_not_overlapped(
    standing: Standing, monkeypatch: pytest.MonkeyPatch
) -> None:
    scheduler = standing.demo.daemon.assembly.asking.scheduler
    poll = next(one for one in standing.demo.built.assembly.compiled.polls if one.unit.name == "engine")
    asked = standing.loop.time()
    until = asked + 1.5
    monkeypatch.setattr(scheduler, "outstanding", lambda one, now: poll if now < until else None)
    assert standing.ask(OIL)["kind"] == "answered"
    # what is heard in the same instant was on its way before
    ((at, frame),) = (one for one in standing.sent if one[0] > asked)
    assert frame.id == 0x18DA1DF1
    assert at >= until
    until += 60.0
    came = standing.ask(OIL)
    assert came["kind"] == "held"
    assert poll.name in came["sentence"]


def test_what_ends_by_itself_is_told_from_what_a_person_has_to_end(standing: Standing) -> None:
    daemon = standing.demo.daemon
    guard = daemon.sending.guard
    guard.heard("drive", 0x18DA1DF1 | EXTENDED, bytes.fromhex("0322F19000000000"), standing.loop.time())
    came = standing.ask(OIL)
    assert "another tester" in came["sentence"]
    assert came["momentary"] is True
    guard.quiet = True
    assert standing.ask(OIL)["momentary"] is False
    guard.quiet = False
    standing.run(61.3 - standing.demo.seconds)
    came = standing.ask(OIL)
    assert "starter" in came["sentence"]
    assert came["momentary"] is True
    standing.run(4.0)
    assert standing.ask(OIL)["kind"] == "answered"
    standing.run(140.0 - standing.demo.seconds)
    came = standing.ask(OIL)
    assert "ignition" in came["sentence"]
    assert came["momentary"] is False


def test_a_bus_that_is_away_ends_it_at_once_and_is_no_moment_to_wait_for(standing: Standing) -> None:
    bus = standing.demo._buses["drive"]
    came: list[Mapping[str, Any]] = []
    standing.by_hand.ask(OIL, came.append)
    standing.run(0.001)  # it went out, and the answer never comes
    bus.unplug()
    standing.run(1.0)
    begun = standing.loop.time()
    came.append(standing.ask(OIL))
    assert standing.loop.time() - begun < 0.1 + PACE_S
    assert [(one["kind"], one["momentary"]) for one in came] == [("held", False)] * 2
    assert all("plug it in" in one["sentence"] for one in came)
    bus.plug()
    standing.run(8.0)
    assert standing.ask(OIL)["kind"] == "answered"


BLOCK = {"what": "gearbox", "identifier": 0x21D0}


@pytest.mark.parametrize(
    ("reason", "kind", "momentary"),
    [(Reason.LOOKS_LIKE, "broken", None), (Reason.OTHER_TESTER, "held", True), (Reason.QUIET, "held", False)],
)
def test_flow_control_that_is_not_let_out_is_named_as_the_cause(
    standing: Standing, monkeypatch: pytest.MonkeyPatch, reason: Reason, kind: str, momentary: bool | None
) -> None:
    guard = standing.demo.daemon.sending.guard
    monkeypatch.setattr(guard, "expect_flow_control", lambda leave, now: Refusal(reason, "gearbox: not this one"))
    came = standing.ask(BLOCK)
    assert (came["kind"], came.get("momentary")) == (kind, momentary)
    assert "the long answer of gearbox does not go on, its flow control was not sent: gearbox: n" in came["sentence"]


def test_flow_control_that_stops_going_out_halfway_is_named_too(
    standing: Standing, monkeypatch: pytest.MonkeyPatch
) -> None:
    refusal = Refusal(Reason.IGNITION_UNSEEN, "the key was turned")
    real = Sending._try

    def attempt(self: Sending, role: str, frame: Frame, now: float) -> Refusal | None:
        return refusal if frame.data[0] == 0x30 else real(self, role, frame, now)

    monkeypatch.setattr(Sending, "_try", attempt)
    came = standing.ask(BLOCK)
    assert (came["kind"], came["momentary"]) == ("held", False)
    assert "its flow control was not sent: the key was turned" in came["sentence"]


def test_a_unit_that_is_silent_is_told(standing: Standing) -> None:
    standing.demo.simulated.fail("gearbox", Fault.SILENT)
    came = standing.ask(OIL)
    assert came["kind"] == "silent"


def test_who_is_there_is_asked_by_service_01_only(standing: Standing) -> None:
    came = standing.ask({"bus": "drive", "request": "18DA10F1"})
    assert (came["unit"], came["kind"], came["protocol"]) == ("engine", "answered", "service_01")
    assert standing.ask({"bus": "drive", "request": "7E0"})["kind"] == "silent"
    assert len(standard_ids()) == 8 + 255


def test_a_plan_says_what_would_be_asked_and_sends_nothing(standing: Standing) -> None:
    before = len(standing.sent)
    plan = standing.by_hand.plan(OIL)
    assert (plan["protocol"], plan["digits"], plan["car"]) == ("identifier_22", 4, "tarn")
    assert plan["described"]["21C7"] == "gearbox.oil_temperature"
    assert len(standing.sent) == before


def test_an_answer_in_several_frames_is_put_together(standing: Standing) -> None:
    came = standing.ask({"what": "gearbox", "identifier": 0x21D0})
    assert (came["kind"], len(came["data"])) == ("answered", 40)
    assert len(came["values"]) == 4


def test_answers_are_heard_after_the_description_was_read_again(standing: Standing) -> None:
    before = standing.ask(OIL)
    standing.run(LINGER_S + 0.1)
    Reloading(standing.demo.built, standing.loop).reload()
    standing.run(1.0)  # whether the car stands has to be heard again
    after = standing.ask(OIL)
    assert (after["kind"], after["data"]) == ("answered", before["data"])
    assert standing.demo.daemon.sending.flow_held == standing.by_hand._flow_held
