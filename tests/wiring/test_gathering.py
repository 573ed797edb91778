"""Why there is no value, asked of the real daemon on the simulated car: the facts are gathered where they arise."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from underdash.bus.frames import Frame
from underdash.bus.port import QuietEvents
from underdash.bus.table import Table
from underdash.contract.buttons import GoQuiet
from underdash.simulator.driver import Phase
from underdash.simulator.units import Fault
from underdash.wiring.chain import Cause, Chain, Kind, State
from underdash.wiring.gathering import Rises

Make = Callable[..., Any]

ON = (Phase("unlocked", 0.5, "LOCK", lights=False, knob=1.0, daylight=1.0), Phase("on", 60, "ON"))
BOOST = "engine.boost_pressure"
COOLANT = "engine.coolant_temperature"
MANIFOLD = "engine.manifold_pressure"


class Asker:
    """Asks a daemon on a drive why."""

    def __init__(self, journey: Any) -> None:
        self.journey = journey
        self.chains: dict[str, Chain] = {}

    def at(self, seconds: float, signal: str, name: str = "") -> None:
        telling, loop = self.journey.demo.daemon.telling, self.journey.loop

        def ask() -> None:
            self.chains[name or signal] = telling.why(signal, loop.time())

        self.journey.at(seconds, ask)


def test_a_value_that_is_asked_for_is_fine_and_its_chain_goes_down_to_the_bus(drive: Make) -> None:
    asker = Asker(drive(ON))
    asker.at(9, COOLANT)
    asker.at(9, BOOST)
    asker.at(9, "engine.speed")
    asker.at(9, "engine.coolant_temperatur", "unknown")
    asker.at(9, "traction_battery.charge", "nobody")
    asker.journey.run(10)
    coolant = asker.chains[COOLANT]
    assert coolant.fault.cause is Cause.FINE
    assert [link.kind for link in coolant.links] == [Kind.PAGE, Kind.POLL, Kind.BUS]
    assert all(link.state is State.OK for link in coolant.links)
    assert coolant.value.endswith("°C")
    assert asker.chains[BOOST].fault.cause is Cause.FINE
    assert asker.chains["engine.speed"].links[-2].kind is Kind.FRAME
    assert asker.chains["unknown"].sentence == f"no such signal: did you mean {COOLANT}?"
    assert asker.chains["nobody"].fault.cause is Cause.NO_SOURCE


def test_quiet_and_a_key_that_is_off_are_told_as_such(drive: Make) -> None:
    journey = drive((*ON[:1], Phase("on", 9, "ON"), Phase("off", 8, "OFF")))
    asker = Asker(journey)
    journey.at(5, lambda: journey.demo.daemon.perform(GoQuiet(True)))
    asker.at(7.5, MANIFOLD, "quiet")
    journey.at(8, lambda: journey.demo.daemon.perform(GoQuiet(False)))
    asker.at(13, MANIFOLD, "off")
    journey.run(14)
    assert asker.chains["quiet"].fault.cause is Cause.QUIET
    assert asker.chains["off"].fault.cause is Cause.IGNITION_OFF


def test_a_bus_that_is_unplugged_is_the_cause_of_all_that_it_carried(drive: Make) -> None:
    journey = drive(ON)
    asker = Asker(journey)
    journey.at(6, journey.buses["drive"].unplug)
    asker.at(9, COOLANT)
    asker.at(9, BOOST)
    journey.run(10)
    for chain in asker.chains.values():
        assert chain.fault.cause is Cause.BUS_ABSENT
        assert chain.broken is not None
        assert (chain.broken.kind, chain.broken.name) == (Kind.BUS, "drive")
    assert asker.chains[BOOST].links[1].kind is Kind.DERIVED


def test_sending_that_is_off_is_told_with_the_key_to_write(drive: Make) -> None:
    journey = drive(ON, edit=lambda text: text.replace("transmit = true", "transmit = false"))
    asker = Asker(journey)
    asker.at(6, COOLANT)
    journey.run(7)
    assert asker.chains[COOLANT].sentence == "sending is off on drive: set transmit = true"


def test_a_command_that_nobody_permitted_is_told_as_such(drive: Make) -> None:
    journey = drive(ON, edit=lambda text: text.replace('charge_air = ["B4"]', "").replace('exhaust = ["B4"]', ""))
    asker = Asker(journey)
    asker.at(9, "engine.charge_temperature")
    journey.run(10)
    chain = asker.chains["engine.charge_temperature"]
    assert chain.fault.cause is Cause.MAKER_PERMISSION
    assert "under [reads] in your configuration" in chain.fault.text


def test_another_tester_is_told_as_such(drive: Make) -> None:
    journey = drive(ON)
    asker = Asker(journey)
    journey.at(3, lambda: journey.demo.daemon.screens[0].show("temperatures"))
    other = journey.buses["drive"].port()
    journey.at(0.0, lambda: other.open(journey.loop, Table(), QuietEvents()))
    for second in range(6, 18):
        journey.at(second, lambda: other.send(Frame(0x18DA10F1, bytes.fromhex("02010C0000000000"), True)))
    asker.at(17.5, COOLANT)
    journey.run(18)
    assert asker.chains[COOLANT].fault.cause is Cause.OTHER_TESTER


def test_a_limit_that_is_too_low_for_what_is_wanted_is_told_as_such(drive: Make) -> None:
    journey = drive(ON, edit=lambda text: text + "\n[limits]\nrequests_per_s = 1\n")
    asker = Asker(journey)
    for second in range(10, 30):
        asker.at(second + 0.5, MANIFOLD, f"{second}")
    journey.run(31)
    causes = {chain.fault.cause for chain in asker.chains.values()}
    assert Cause.CAPPED in causes
    assert causes <= {Cause.CAPPED, Cause.FINE}


@pytest.mark.parametrize(
    ("fault", "causes"),
    [
        (Fault.SILENT, {Cause.UNIT_SILENT}),
        (Fault.BUSY, {Cause.BUSY}),
        (Fault.CONDITIONS, {Cause.CONDITIONS}),
        (Fault.ENDLESS, {Cause.PENDING, Cause.UNIT_SILENT}),  # silent is what it counts as once it said so too long
    ],
)
def test_a_unit_that_fails_is_told_by_what_it_does(drive: Make, fault: Fault, causes: set[Cause]) -> None:
    journey = drive(ON)
    asker = Asker(journey)
    journey.at(0.1, lambda: journey.demo.simulated.fail("engine", fault))
    asker.at(14.55, COOLANT)
    journey.run(15)
    assert asker.chains[COOLANT].fault.cause in causes, asker.chains[COOLANT]


def test_the_status_page_is_shown_by_its_name_and_says_what_why_says(drive: Make) -> None:
    journey = drive(ON)
    daemon = journey.demo.daemon
    shown: list[str] = []
    said: list[Any] = []
    journey.at(3, lambda: daemon.screens[0].show("status"))
    journey.at(8, lambda: said.append(daemon.telling.page.news))
    journey.at(8.1, journey.buses["drive"].unplug)
    journey.at(11, lambda: said.append(daemon.telling.page.news))
    journey.at(11, lambda: shown.append(daemon.screens[0].deck.current.name))
    journey.at(11.1, lambda: daemon.screens[0].turn(1))
    journey.at(11.2, lambda: shown.append(daemon.screens[0].deck.current.name))
    asker = Asker(journey)
    asker.at(11, COOLANT)
    journey.run(12)
    assert shown == ["status", "boost"]
    assert [label for label, _, _ in said[0].lines] == ["buses", "key", "requests", "values"]
    assert said[0].lines[1][1] == "on"
    assert said[0].lines[2][1].endswith("/s")
    assert said[1].sentence == asker.chains[COOLANT].sentence == "bus drive is absent: plug its adapter in"
    assert daemon.screens[0].faults == []


def test_a_count_is_recent_only_for_a_while_after_it_rose() -> None:
    rises = Rises()
    rises.look([("a", 0), ("b", 3)], 10.0)
    rises.look([("a", 1), ("b", 3)], 20.0)
    assert rises.ago("a", 22.0) == 2.0
    assert rises.ago("b", 22.0) == 12.0
    assert rises.ago("c", 22.0) == float("inf")
