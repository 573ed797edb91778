"""The machine itself: its supply and heat become signals and sentences, and what holds a power-off is told."""

from __future__ import annotations

import asyncio

import pytest

from underdash.power.holds import Hold
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store
from underdash.wiring.host import COOL_C, DIP_SHOWN_S, HOT_C, Host, Seen, board_slots, findings, look


class Machine:
    def __init__(self) -> None:
        self.store = Store(CATALOGUE)
        self.host = Host(board_slots(self.store))

    def read(self, name: str, now: float) -> object:
        return self.store.read(name, now).value


def test_what_the_board_says_becomes_signals() -> None:
    machine = Machine()
    machine.host.take(Seen(undervoltage=False, temperature=51.5), 10.0)
    assert machine.read("board.undervoltage", 10.0) is False
    assert machine.read("board.temperature", 10.0) == 51.5
    assert machine.host.notes == ()
    assert machine.host.faults == ()


def test_a_board_that_says_nothing_leaves_them_without_a_value() -> None:
    machine = Machine()
    machine.host.take(Seen(), 10.0)
    assert machine.read("board.undervoltage", 10.0) is None
    assert machine.read("board.temperature", 10.0) is None


def test_a_dip_of_the_supply_is_shown_long_enough_to_be_seen() -> None:
    machine = Machine()
    machine.host.take(Seen(undervoltage=True), 10.0)
    for now, shown in ((12.0, True), (10.0 + DIP_SHOWN_S, True), (10.1 + DIP_SHOWN_S, False)):
        machine.host.take(Seen(undervoltage=False), now)
        assert (machine.host.notes == ("board supply too low",)) is shown, now
        assert any("stronger converter" in fault for fault in machine.host.faults) is shown


@pytest.mark.parametrize(
    ("degrees", "hot"),
    [([HOT_C - 0.1], False), ([HOT_C], True), ([HOT_C, COOL_C], True), ([HOT_C, COOL_C - 0.1], False)],
)
def test_a_hot_board_is_told_until_it_has_cooled_down(degrees: list[float], hot: bool) -> None:
    machine = Machine()
    for degc in degrees:
        machine.host.take(Seen(temperature=degc), 1.0)
    assert (machine.host.notes == ("board too hot",)) is hot


def test_check_tells_what_the_board_says_now() -> None:
    assert list(findings(Seen(undervoltage=False, temperature=60.0))) == []
    low, hot = findings(Seen(undervoltage=True, temperature=83.4))
    assert str(low).startswith("warning: the board's own supply is below 4.63 V -> use a stronger converter")
    assert str(hot).startswith(
        "warning: the processor is above 80 degC and slows down, it is at 83 -> give the board air"
    )


def test_what_is_seen_in_the_thread_arrives_on_the_loop() -> None:
    loop = asyncio.new_event_loop()
    store = Store(CATALOGUE)
    seen = Seen(temperature=44.0, holds=frozenset({Hold.UPDATING}))
    host = Host(board_slots(store), loop, lambda: seen)
    watched = store.slots("board.temperature")[0]
    watched.watch = lambda slot: loop.stop()
    host.start()
    loop.call_later(20.0, loop.stop)
    loop.run_forever()
    host.stop()
    assert store.read("board.temperature", loop.time()).value == 44.0
    assert host.holds == {Hold.UPDATING}
    loop.close()


def test_nobodys_machine_is_not_looked_at() -> None:
    def never() -> Seen:
        raise AssertionError

    host = Host(None, None, never)
    host.start()
    host.stop()
    assert host.holds == frozenset()


def test_this_machine_can_be_looked_at() -> None:
    from underdash.service.board import Board

    seen = look(Board())
    assert seen.undervoltage in (None, False, True)
    assert seen.temperature is None or -40.0 < seen.temperature < 130.0
