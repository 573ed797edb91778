from __future__ import annotations

import io
import threading
from collections.abc import Callable

import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import Trace, TraceWriter
from underdash.cli.find_ignition_led import Person, follow
from underdash.cli.marking import FIRST_WORD
from underdash.finding.ignition.lead import IgnitionLead, Step

STEPS = (Step("OFF", "ignition off", 1.0), Step("ACC", "accessories", 1.0), Step("ON", "ignition on", 1.0))


class Buses:
    """A clock that moves on by half a second a look, a frame at each until `until`, and a person who types."""

    def __init__(self, person: Person, types: dict[float, str], until: float) -> None:
        self.ended = threading.Event()
        self.now = 50.0
        self._person, self._types, self._until = person, types, until

    def take(self, wait_s: float) -> list[tuple[str, Frame]]:
        self.now += 0.5
        if self.now in self._types:
            self._person.typed.put((self.now, self._types[self.now]))
        return [("comfort", Frame(0x2A0, b"\1", at=self.now))] if self.now <= self._until else []


def test_a_person_is_led_and_the_marks_are_in_the_trace(capsys: pytest.CaptureFixture[str]) -> None:
    person, file = Person(), io.BytesIO()
    buses = Buses(person, {53.0: FIRST_WORD, 55.0: "-", 56.0: "door", 58.0: FIRST_WORD, 65.0: FIRST_WORD}, 60.0)
    with TraceWriter(file) as out:
        follow(IgnitionLead(50.0, STEPS), buses, out, person, lambda: buses.now)
    trace = Trace(io.BytesIO(file.getvalue()), "a")
    assert len(list(trace)) == 20
    assert trace.marks == [(53.0, "OFF"), (56.0, "door"), (58.0, "ON")]
    assert capsys.readouterr().err.splitlines()[2:] == [
        "now: OFF - ignition off", "marked: OFF", "now: ACC - accessories", "now: ON - ignition on", "marked: door",
        "marked: ON", "that is all; it records on until the buses sleep (Ctrl-C ends it sooner)",
        "nothing is asked for now", "the buses sleep",
    ]  # fmt: skip


@pytest.mark.parametrize("who", ["person", "buses"])
def test_it_ends_where_a_person_stops_it_or_the_buses_go_away(who: str) -> None:
    person = Person()
    buses = Buses(person, {}, 60.0)
    (person.stop if who == "person" else buses.ended).set()
    with TraceWriter(io.BytesIO()) as out:
        follow(IgnitionLead(50.0, STEPS), buses, out, person, lambda: buses.now)
        assert out.frames == 0


def test_silence_is_told_only_while_the_ignition_is_on(capsys: pytest.CaptureFixture[str]) -> None:
    person = Person()
    buses = Buses(person, {62.0: FIRST_WORD, 65.0: FIRST_WORD, 67.0: FIRST_WORD}, 51.0)
    with TraceWriter(io.BytesIO()) as out:
        follow(IgnitionLead(50.0, (*STEPS, Step("OFF", "ignition off"))), buses, out, person, _until(buses, person, 90))
    said = capsys.readouterr().err.splitlines()
    gone = [at for at, text in enumerate(said) if text.startswith("nothing is heard any more")]
    assert len(gone) == 1
    assert said.index("marked: ON") < gone[0]


def _until(buses: Buses, person: Person, last: float) -> Callable[[], float]:
    """A clock that stops it."""

    def clock() -> float:
        if buses.now >= last:
            person.stop.set()
        return buses.now

    return clock
