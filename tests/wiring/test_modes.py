from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from math import inf

import pytest

from underdash.bus.controller import Controller
from underdash.bus.health import BusState
from underdash.bus.link import BusStatus, Link
from underdash.bus.memory import MemoryBus
from underdash.switching.client import NoHelperError
from underdash.switching.orders import Mode, Order, SwitchError
from underdash.wiring import modes
from underdash.wiring.modes import AGAIN_S, DOUBT_S, LOOK_FOR_HELPER_S, STUCK_S, Modes, current, wanted

LISTENS = Controller("can0", 7, "can", up=True, bitrate=500_000, listen_only=True)
ACTIVE = replace(LISTENS, listen_only=False)
ONE_SHOT = replace(ACTIVE, one_shot=True)


def status(
    setup: Controller | None = LISTENS, *, proven: bool = False, state: BusState = BusState.LISTENING
) -> BusStatus:
    return BusStatus("drive", state, 0, 0, 0, 0, 0, 0.0, None, proven, None, False, "drive is heard", controller=setup)


def want(
    state: BusStatus, *, transmit: bool = True, asked_only: bool = False, on: bool = True, doubt_s: float = inf
) -> Mode:
    return wanted(state, transmit=transmit, asked_only=asked_only, ignition_on=on, doubt_s=doubt_s)


def test_an_interface_takes_part_once_its_rate_is_proven_and_requests_are_allowed() -> None:
    assert want(status()) is Mode.LISTEN
    assert want(status(proven=True)) is Mode.ACTIVE
    assert want(status(proven=True), transmit=False) is Mode.LISTEN
    assert want(replace(status(proven=True), ended=True)) is Mode.LISTEN


def test_a_rate_in_doubt_changes_nothing_for_a_while() -> None:
    assert want(status(ACTIVE), doubt_s=DOUBT_S) is Mode.ACTIVE
    assert want(status(ACTIVE), doubt_s=DOUBT_S + 1) is Mode.LISTEN


def test_a_silent_bus_is_asked_once_and_only_with_the_ignition_on() -> None:
    able, unable = replace(LISTENS, may_one_shot=True), replace(LISTENS, may_one_shot=False)
    assert want(status(able), asked_only=True) is Mode.ONE_SHOT
    assert want(status(able), asked_only=True, on=False) is Mode.LISTEN
    assert want(status(unable), asked_only=True) is Mode.LISTEN


def test_how_an_interface_takes_part() -> None:
    setups = (LISTENS, ACTIVE, ONE_SHOT, replace(LISTENS, kind="vcan"), None)
    assert [current(status(one)) for one in setups] == [Mode.LISTEN, Mode.ACTIVE, Mode.ONE_SHOT, None, None]


class Orders:
    """A helper that does what a test says; orders are carried out when the test lets them."""

    def __init__(self) -> None:
        self.given: list[Order] = []
        self.failure: SwitchError | None = None
        self.waiting: list[Callable[[], None]] = []

    def __call__(self, order: Order) -> str:
        self.given.append(order)
        if self.failure is not None:
            raise self.failure
        return "can0"


class Scene:
    """Interfaces and a helper; the loop only runs to hand over what a thread would."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self.orders = Orders()
        self.loop = loop
        link = Link("drive", MemoryBus().port)
        self.modes = Modes(
            {"drive": link}, ["drive"], [], loop, order=self.orders, in_thread=self.orders.waiting.append
        )

    def look(self, state: BusStatus, now: float) -> list[Mode | None]:
        """Look, let what was ordered happen, and return all modes ordered so far."""
        self.modes.look([state], ignition_on=True, now=now)
        for work in self.orders.waiting:
            work()
        self.orders.waiting.clear()
        self.loop.run_until_complete(asyncio.sleep(0))
        return [order.mode for order in self.orders.given]


@pytest.fixture
def scene() -> Iterator[Scene]:
    loop = asyncio.new_event_loop()
    yield Scene(loop)
    loop.close()


def test_the_helper_is_asked_as_soon_as_the_rate_is_proven(scene: Scene) -> None:
    assert scene.look(status(), 1.0) == []
    assert scene.look(status(proven=True), 2.0) == [Mode.ACTIVE]
    assert scene.look(status(ACTIVE, proven=True), 2.2) == [Mode.ACTIVE]


def test_an_active_interface_nobody_has_proven_is_made_to_listen_at_once(scene: Scene) -> None:
    assert scene.look(status(ACTIVE), 1.0) == [Mode.LISTEN]


def test_one_order_at_a_time(scene: Scene) -> None:
    scene.modes.look([status(proven=True)], ignition_on=True, now=1.0)
    scene.modes.look([status(proven=True)], ignition_on=True, now=1.2)
    assert len(scene.orders.waiting) == 1


def test_a_refused_order_is_given_again_after_a_while(scene: Scene) -> None:
    scene.orders.failure = SwitchError("no rate configured")
    assert len(scene.look(status(proven=True), 1.0)) == 1
    assert len(scene.look(status(proven=True), AGAIN_S)) == 1
    assert len(scene.look(status(proven=True), 1.0 + AGAIN_S)) == 2


def test_without_a_helper_it_is_looked_for_now_and_then(scene: Scene) -> None:
    scene.orders.failure = NoHelperError("none")
    at = scene.loop.time()
    scene.look(status(proven=True), at)
    assert len(scene.look(status(proven=True), at + LOOK_FOR_HELPER_S - 1.0)) == 1
    assert len(scene.look(status(proven=True), at + LOOK_FOR_HELPER_S + 10.0)) == 2


def test_the_queue_of_a_blocked_bus_is_emptied_and_not_again_and_again(scene: Scene) -> None:
    stuck = status(ACTIVE, proven=True, state=BusState.BLOCKED)
    assert scene.look(stuck, 1.0) == []
    assert scene.look(stuck, 1.0 + STUCK_S) == [None]
    assert scene.look(stuck, 2.0 + 2 * STUCK_S) == [None]
    assert scene.look(stuck, 2.0 + 2 * STUCK_S + AGAIN_S) == [None]
    assert scene.look(stuck, 2.0 + 3 * STUCK_S + AGAIN_S) == [None, None]


def test_a_virtual_interface_is_left_alone(scene: Scene) -> None:
    assert scene.look(status(None, proven=True), 1.0) == []


def test_at_the_end_only_those_listen_again_that_took_part_because_of_us(scene: Scene) -> None:
    scene.modes.close()
    assert scene.orders.given == []
    scene.look(status(proven=True), 1.0)
    scene.modes.close()
    assert scene.orders.given[-1] == Order("drive", Mode.LISTEN)


def test_a_helper_that_hangs_does_not_hold_the_end_up(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    scene.look(status(proven=True), 1.0)
    monkeypatch.setattr(modes, "CLOSE_S", 0.01)
    answers = threading.Event()
    asked = threading.Event()

    def hang(order: Order) -> str:
        asked.set()
        answers.wait(20)
        return "can0"

    scene.modes._order = hang
    scene.modes.close()
    assert asked.wait(20)
    assert not answers.is_set(), "it came back although nobody answered"
    answers.set()
