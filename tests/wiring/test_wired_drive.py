"""The whole daemon of an old car without a frame on its bus: key, lights and push button are wires."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf
from pathlib import Path

import pytest

from underdash.config.reading import parse_config
from underdash.contract.errors import UnderdashError
from underdash.contract.signals import PowerState, Quality
from underdash.contract.sources import Input
from underdash.pace import PacedLoop, paced_loop
from underdash.signals.store import Rank
from underdash.testing import FakeLine
from underdash.wiring.building import Built, build
from underdash.wiring.chain import Cause
from underdash.wiring.reloading import Reloading
from underdash.wiring.status import as_table

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures", "page_turn"]
[[plugin.page_turn.bindings]]
button = "panel"
gesture = "press"
do = ["next"]
[bus.drive]
interface = "virtual"
channel = "wired"
[input.key]
kind = "gpio"
signal = "vehicle.ignition"
line = "GPIO17"
pull = "down"
[input.lights]
kind = "gpio"
signal = "dashboard.night"
line = "GPIO27"
pull = "down"
[input.push]
kind = "gpio"
signal = "button.panel"
line = "GPIO22"
pull = "down"
[power]
supply = "held"
off_s = 1.0
goodbye_s = 1.0
linger_s = 5.0
[panel.main]
driver = "picture"
deck = ["boost", "temperatures", "status"]
"""


class Old:
    """The daemon and its wires."""

    def __init__(self, loop: PacedLoop, folder: Path) -> None:
        self.loop = loop
        self.lines = {name: FakeLine() for name in ("GPIO17", "GPIO27", "GPIO22")}
        self.power: list[PowerState] = []
        config = parse_config(TEXT + f'[panel.main.settings]\nfile = "{folder / "panel.png"}"\n')
        self.built: Built = build(config, loop)
        self.built.daemon.inputs._open_line = self.opened

    def opened(self, item: Input) -> FakeLine:
        line = self.lines.get(item.place)
        if line is None:
            raise UnderdashError(f"line {item.place}: no chip has it")
        return line

    def move(self, name: str, on: bool) -> None:
        self.lines[name].move(on, self.loop.time())

    def pass_time(self, seconds: float) -> None:
        self.loop.call_later(seconds, self.loop.stop)
        self.loop.run_forever()

    @property
    def page(self) -> str:
        return self.built.daemon.screens[0].deck.current.name


@pytest.fixture
def old(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Old]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    loop = paced_loop(inf)
    made = Old(loop, tmp_path)
    made.built.daemon.start()
    yield made
    made.built.daemon.stop()
    made.built.release()
    loop.close()
    for line in made.lines.values():
        line.close()


def test_the_key_s_wire_wakes_it_and_lets_it_go(old: Old) -> None:
    daemon = old.built.daemon
    old.move("GPIO17", True)
    old.pass_time(60.0)
    assert daemon.power.state is PowerState.AWAKE
    old.move("GPIO17", False)
    old.pass_time(3.0)
    assert [daemon.power.state] == [PowerState.LINGERING]
    old.move("GPIO17", True)
    old.pass_time(1.0)
    assert [daemon.power.state] == [PowerState.AWAKE]


def test_the_lights_wire_makes_night(old: Old) -> None:
    old.move("GPIO27", True)
    old.pass_time(1.0)
    assert old.built.daemon.snapshot(old.loop.time()).night
    old.move("GPIO27", False)
    old.pass_time(1.0)
    assert not old.built.daemon.snapshot(old.loop.time()).night


def test_a_push_button_turns_the_page(old: Old) -> None:
    old.pass_time(1.0)
    assert old.page == "boost"
    old.move("GPIO22", True)
    old.pass_time(0.1)
    old.move("GPIO22", False)
    old.pass_time(1.0)
    assert old.page == "temperatures"


def test_a_bus_that_is_lost_ends_no_press_on_a_wire(old: Old) -> None:
    old.pass_time(1.0)
    old.move("GPIO22", True)
    old.pass_time(0.05)
    old.built.daemon.fingers.lost(old.loop.time())
    old.move("GPIO22", False)
    old.pass_time(1.0)
    assert old.page == "temperatures"


def test_a_line_that_goes_is_named_by_status_and_why(old: Old) -> None:
    old.pass_time(1.0)
    lights = old.lines["GPIO27"]
    lights.gone = True
    old.pass_time(2.0)
    daemon = old.built.daemon
    inputs = {one["name"]: one for one in as_table(daemon.status(), old.built.assembly)["inputs"]}
    assert inputs["lights"]["sentence"].startswith("input lights: line GPIO27 has gone: No such device")
    assert inputs["key"]["ails"] == ""
    chain = daemon.telling.why("button.panel", old.loop.time())
    assert chain.fault.cause is Cause.FINE
    chains = daemon.telling.why("dashboard.night", old.loop.time())
    assert Cause.INPUT_ABSENT in {chains.fault.cause} or any("input lights" in other for other in chains.others)


def test_the_status_page_names_a_wire_that_is_not_there_where_nothing_worse_is(old: Old) -> None:
    daemon = old.built.daemon
    del old.lines["GPIO27"]
    old.built.daemon.inputs._close("lights")
    daemon.screens[0].deck.show("status")
    daemon.telling._gatherer.decks = lambda: ()  # no page misses anything
    old.pass_time(8.0)
    assert daemon.telling.page.news.sentence == "input lights: line GPIO27: no chip has it"


def test_a_wire_that_says_off_while_the_engine_turns_is_doubted_aloud(
    old: Old, capsys: pytest.CaptureFixture[str]
) -> None:
    daemon = old.built.daemon
    speed = next(slot for slot in daemon.assembly.store.slots("engine.speed") if slot.rank is Rank.BROADCAST)

    def turn() -> None:
        speed.put(900.0, Quality.GOOD, old.loop.time())
        old.loop.call_later(0.1, turn)

    turn()
    old.pass_time(12.0)
    status = daemon.status()
    (doubt,) = status.doubts
    assert doubt.startswith(
        "input key on GPIO17 says OFF while the engine turns at 900 rpm: perhaps it is the wrong way"
    )
    assert status.faults[-1] == doubt
    assert as_table(status, daemon.assembly)["ignition"]["doubts"] == [doubt]
    assert capsys.readouterr().out.count("ignition_doubted") == 1


def test_wires_and_a_press_on_one_go_on_when_the_description_is_read_anew(old: Old) -> None:
    daemon = old.built.daemon
    old.move("GPIO17", True)
    old.move("GPIO27", True)
    old.pass_time(5.0)
    old.move("GPIO22", True)
    old.pass_time(0.05)
    Reloading(old.built, old.loop).reload()
    seen = daemon.snapshot(old.loop.time())
    assert (seen.reading("vehicle.ignition").value, seen.night) == ("ON", True)
    assert daemon.key.state.position.value == "on"
    assert [line.closed for line in old.lines.values()] == [False] * 3
    old.move("GPIO22", False)
    old.pass_time(1.0)
    assert old.page == "temperatures"
    old.move("GPIO27", False)
    old.pass_time(1.0)
    assert not daemon.snapshot(old.loop.time()).night
