"""Inputs of a running daemon: lines that move, sensors that come and go."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from structlog.testing import capture_logs

from underdash.contract.errors import UnderdashError
from underdash.contract.signals import Age
from underdash.contract.sources import Input, InputKind
from underdash.inputs.compiling import Named, Wire, compile_inputs
from underdash.inputs.station import Ails, Inputs
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Slot, Store
from underdash.testing import FakeClock, FakeLine

if TYPE_CHECKING:
    from .conftest import Sensor

NIGHT = Named("lights", Input("dashboard.night", InputKind.GPIO, "GPIO27"))
BUTTON = Named("push", Input("button.panel", InputKind.GPIO, "GPIO22"))
OUTSIDE = Named("outside", Input("ambient.temperature", InputKind.ONE_WIRE, period_s=5.0))
OIL = Named(
    "oil",
    Input(
        "engine.oil_temperature",
        InputKind.IIO,
        "ads1015",
        "in_voltage0",
        pull_up=(3.3, 1000.0),
        points=((40.0, 150.0), (9400.0, -20.0)),
    ),
)


class StillLoop(asyncio.SelectorEventLoop):
    """A real loop whose time moves when told to."""

    def __init__(self) -> None:
        self.clock = FakeClock(100.0)
        super().__init__()

    def time(self) -> float:
        return self.clock.now


@dataclass
class Bench:
    """Inputs with lines that are moved by hand."""

    root: Path
    loop: StillLoop = field(default_factory=StillLoop)
    store: Store = field(default_factory=lambda: Store(CATALOGUE))
    lines: dict[str, FakeLine] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    inputs: Inputs = field(init=False)

    def wire(self, *named: Named) -> Inputs:
        made = compile_inputs(named, self.store, CATALOGUE)
        assert made.problems == []
        self.inputs = Inputs(made.wires, self.loop, lost=self.noticed, open_line=self.opened, root=self.root)
        return self.inputs

    def noticed(self, wire: Wire) -> None:
        self.lost.append(wire.name)

    def opened(self, item: Input) -> FakeLine:
        if item.place not in self.lines:
            raise UnderdashError(f"line {item.place}: no chip has it")
        return self.lines[item.place]

    def turn(self, seconds: float = 0.0) -> None:
        """Let time pass and the loop do what is due."""
        self.loop.clock.advance(seconds)
        self.loop.run_until_complete(asyncio.sleep(0))
        self.loop.run_until_complete(asyncio.sleep(0))

    def read(self) -> None:
        """Read what is due, as the thread would."""
        self.inputs.reader.step()
        self.turn()

    def value(self, signal: str) -> object:
        return self.store.read(signal, self.loop.time()).value


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.inputs.stop()
    made.loop.close()
    for line in made.lines.values():
        line.close()


def test_a_line_is_read_when_it_is_taken(bench: Bench) -> None:
    bench.lines["GPIO27"] = FakeLine(on=True)
    bench.wire(NIGHT).start()
    assert bench.value("dashboard.night") is True


def test_an_edge_wakes_the_loop_and_has_the_kernels_time(bench: Bench) -> None:
    line = bench.lines["GPIO22"] = FakeLine()
    bench.wire(BUTTON).start()
    heard: list[tuple[object, float]] = []
    bench.store.watch("button.panel", lambda slot: heard.append((slot.value, slot.at)))
    bench.loop.clock.advance(0.2)
    line.move(True, 100.1)
    line.move(False, 100.15)
    bench.turn()
    assert heard == [(True, 100.1), (False, 100.15), (False, 100.2)]


def test_an_edge_by_another_clock_counts_as_of_now(bench: Bench) -> None:
    line = bench.lines["GPIO22"] = FakeLine()
    bench.wire(BUTTON).start()
    line.move(True, 5_000_000.0)
    bench.turn()
    assert bench.store.read("button.panel", 100.0).seconds_old == 0.0


def test_an_edge_that_was_lost_heals_within_half_a_second(bench: Bench) -> None:
    line = bench.lines["GPIO27"] = FakeLine(on=True)
    bench.wire(NIGHT).start()
    line.move_unseen(False)
    bench.turn(0.4)
    assert bench.value("dashboard.night") is True
    bench.turn(0.1)
    assert bench.value("dashboard.night") is False


def test_a_line_that_stays_as_it_is_never_gets_old(bench: Bench) -> None:
    bench.lines["GPIO27"] = FakeLine(on=True)
    bench.wire(NIGHT).start()
    for _ in range(20):
        bench.turn(0.5)
    assert bench.store.read("dashboard.night", bench.loop.time()).age is Age.FRESH


def test_a_line_that_is_not_there_is_told_once_and_taken_when_it_is(bench: Bench) -> None:
    with capture_logs() as logs:
        bench.wire(NIGHT).start()
        for _ in range(30):
            bench.turn(0.5)
        assert [(one["event"], one["input"]) for one in logs] == [("input_trouble", "lights")]
        assert bench.inputs.status(bench.loop.time())[0].sentence == "input lights: line GPIO27: no chip has it"
        bench.lines["GPIO27"] = FakeLine(on=True)
        for _ in range(10):
            bench.turn(0.5)
    assert [one["event"] for one in logs] == ["input_trouble", "input_is_back"]
    assert bench.value("dashboard.night") is True


def test_a_line_that_goes_away_has_no_value_and_ends_a_press(bench: Bench) -> None:
    line = bench.lines["GPIO22"] = FakeLine(on=True)
    bench.wire(BUTTON).start()
    line.gone = True
    bench.turn(0.5)
    assert bench.value("button.panel") is None
    assert bench.lost == ["push"]
    assert bench.inputs.trouble("input push").ails is Ails.ABSENT


def test_a_sensor_is_read_at_its_period(bench: Bench, one_wire: Sensor) -> None:
    folder = one_wire(temperature=-7250)
    bench.wire(OUTSIDE)
    assert bench.inputs.reader.step() == 5.0
    bench.turn()
    assert bench.value("ambient.temperature") == -7.25
    (folder / "temperature").write_text("1000")
    bench.loop.clock.advance(4.9)
    bench.read()
    assert bench.value("ambient.temperature") == -7.25
    bench.loop.clock.advance(0.2)
    bench.read()
    assert bench.value("ambient.temperature") == 1.0


def test_a_sensor_that_goes_away_gets_old_is_told_once_and_met_again(bench: Bench, one_wire: Sensor) -> None:
    folder = one_wire(temperature=-7250)
    bench.wire(OUTSIDE)
    bench.read()
    shutil.rmtree(folder)
    with capture_logs() as logs:
        for _ in range(12):
            bench.loop.clock.advance(5.0)
            bench.read()
        assert bench.value("ambient.temperature") is None
        assert "is dtoverlay=w1-gpio in config.txt" in bench.inputs.trouble("input outside").text
        one_wire(temperature=4000)
        bench.loop.clock.advance(5.0)
        bench.read()
    assert bench.value("ambient.temperature") == 4.0
    assert [one["event"] for one in logs] == ["input_trouble", "input_is_back"]


def test_a_broken_sender_is_no_value_at_once(bench: Bench, iio: Sensor) -> None:
    folder = iio(in_voltage0_raw=500, in_voltage0_scale=1.0)
    bench.wire(OIL)
    bench.read()
    assert isinstance(bench.value("engine.oil_temperature"), float)
    (folder / "in_voltage0_raw").write_text("3290")
    bench.loop.clock.advance(1.0)
    bench.read()
    assert bench.value("engine.oil_temperature") is None
    trouble = bench.inputs.trouble("input oil")
    assert (trouble.ails, "outside its points (40 to 9400 ohm)" in trouble.text) == (Ails.BEYOND, True)


def test_an_implausible_value_is_named(bench: Bench, iio: Sensor) -> None:
    iio(in_voltage0_raw=3000, in_voltage0_scale=1.0)
    volts = Input("low_voltage_battery.voltage", InputKind.IIO, "ads1015", "in_voltage0", divider=(1e6, 1e4))
    bench.wire(Named("battery", volts))
    bench.read()
    assert bench.value("low_voltage_battery.voltage") is None
    assert bench.inputs.trouble("input battery").text == "it gives 303, plausible is 0 to 40 V; correct its scale"


def test_a_device_that_does_not_answer_is_named(bench: Bench, one_wire: Sensor) -> None:
    one_wire()
    bench.lines["GPIO27"] = FakeLine()
    bench.wire(NIGHT, OUTSIDE)
    bench.inputs._look()
    bench.inputs.reader.busy = "outside", bench.loop.time()
    bench.turn(5.5)
    assert bench.inputs.trouble("input outside").ails is Ails.HANGS
    bench.inputs.reader.busy = None


def test_the_thread_brings_values_to_the_loop(bench: Bench, one_wire: Sensor) -> None:
    one_wire(temperature=30000)
    inputs = bench.wire(OUTSIDE)
    came = asyncio.Event()
    arrived: list[Slot] = []

    def heard(slot: Slot) -> None:
        arrived.append(slot)
        came.set()

    bench.store.watch("ambient.temperature", heard)
    inputs.start()
    bench.loop.run_until_complete(came.wait())
    assert arrived[0].value == 30.0


def anew(bench: Bench, *named: Named) -> list[Wire]:
    """Give the inputs slots in another store, as a description does that is read anew."""
    bench.store = Store(CATALOGUE)
    made = compile_inputs(named, bench.store, CATALOGUE)
    bench.inputs.exchange(made.wires)
    return made.wires


def test_wires_that_are_the_same_stay_open_and_go_elsewhere(bench: Bench, one_wire: Sensor) -> None:
    line = bench.lines["GPIO27"] = FakeLine(on=True)
    one_wire(temperature=21500)
    bench.wire(NIGHT, OUTSIDE).start()
    thread = bench.inputs.reader._thread
    anew(bench, NIGHT, OUTSIDE)
    assert bench.value("dashboard.night") is True, "the level is known at once"
    assert not line.closed
    assert bench.inputs.reader._thread is thread
    line.move(False, 100.0)
    bench.turn()
    assert bench.value("dashboard.night") is False
    bench.inputs.take("outside", 21.5, 100.0)
    assert bench.value("ambient.temperature") == 21.5


def test_a_wire_that_went_is_given_back_and_one_that_came_is_taken(bench: Bench, one_wire: Sensor) -> None:
    one_wire(temperature=21500)
    night, push = FakeLine(), FakeLine(on=True)
    bench.lines |= {"GPIO27": night, "GPIO22": push}
    bench.wire(NIGHT, OUTSIDE).start()
    anew(bench, BUTTON)
    assert (night.closed, push.closed) == (True, False)
    assert bench.value("button.panel") is True
    bench.inputs.take("outside", 21.5, 100.0)  # it was being read
    assert bench.value("ambient.temperature") is None
    assert [one.name for one in bench.inputs.status(100.0)] == ["push"]
    assert bench.inputs.reader.step() == inf


def test_an_input_that_is_another_one_now_is_opened_anew(bench: Bench) -> None:
    first, second = FakeLine(), FakeLine(on=True)
    bench.lines |= {"GPIO27": first, "GPIO5": second}
    bench.wire(NIGHT).start()
    anew(bench, Named("lights", Input("dashboard.night", InputKind.GPIO, "GPIO5")))
    assert (first.closed, second.closed, bench.value("dashboard.night")) == (True, False, True)


def test_what_is_the_matter_is_known_on(bench: Bench) -> None:
    bench.wire(NIGHT).start()
    before = bench.inputs.status(100.0)[0].trouble
    with capture_logs() as logs:
        anew(bench, NIGHT)
    assert bench.inputs.status(100.0)[0].trouble == before
    assert (before.ails, logs) == (Ails.ABSENT, [])
