"""From a configuration to a daemon."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import Any

import pytest

from underdash.bus.lock import BusLock
from underdash.bus.memory import MemoryBus
from underdash.bus.port import PortBusyError
from underdash.bus.refusals import Reason
from underdash.bus.runtime import runtime_directory
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.buttons import GoQuiet
from underdash.contract.errors import GivenError, UnderdashError
from underdash.contract.pages import PanelDriver
from underdash.display.panels.picture import PicturePanel
from underdash.display.panels.turned import TurnedPanel
from underdash.pace import PacedLoop, paced_loop
from underdash.wiring.building import Built, build, state_directory
from underdash.wiring.demo import Demo
from underdash.wiring.kept import Kept
from underdash.wiring.panels import panel_opener, panel_table

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures"]
[bus.drive]
interface = "virtual"
channel = "one"
transmit = true
[bus.comfort]
interface = "virtual"
channel = "two"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost", "temperatures"]
"""


@pytest.fixture
def loop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[PacedLoop]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    made = paced_loop(inf)
    yield made
    made.close()


def config(old: str = "", new: str = "") -> Config:
    assert old in TEXT
    return parse_config(TEXT.replace(old, new) if old else TEXT, "mine.toml")


def free(channel: str) -> bool:
    lock = BusLock(f"virtual-{channel}", runtime_directory())
    try:
        lock.acquire()
    except PortBusyError:
        return False
    lock.release()
    return True


def test_what_is_configured_is_there_and_nothing_has_begun(loop: PacedLoop) -> None:
    built = build(config(), loop)
    assert list(built.daemon.links) == ["drive", "comfort"]
    assert built.daemon.links["drive"].table is built.assembly.tables["drive"]
    assert built.daemon.screens == []
    assert (free("one"), free("two")) == (False, False)
    built.release()
    assert (free("one"), free("two")) == (True, True)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'deck = ["boost"',
            'deck = ["bost"',
            "mine.toml: panel.main.deck: there is no page 'bost'.* Did you mean 'boost'",
        ),
        ('driver = "picture"', 'driver = "pictur"', r"mine.toml: panel.main.driver: .*did you mean 'picture'\?"),
        ("[bus.comfort]", "[bus.confort]", "mine.toml: bus.confort: .* did you mean comfort"),
        ("[bus.comfort]", "[bus.zzz]", r"has no such bus\. Its buses are"),
        ('supply = "switched"', "", "mine.toml: power.supply is missing"),
        ('supply = "switched"', 'supply = "permanent"', "Write accept_drain = true"),
        ('channel = "two"', 'channel = "one"', "buses drive and comfort are both at virtual-one"),
    ],
)
def test_what_does_not_exist_is_told_and_no_bus_is_held(loop: PacedLoop, old: str, new: str, says: str) -> None:
    recorders: list[object] = []
    with pytest.raises(GivenError, match=says):
        build(config(old, new), loop, recorder=recorders.append)
    assert recorders == []
    assert (free("one"), free("two")) == (True, True)


def test_a_bus_that_another_holds_gives_the_first_one_up_again(loop: PacedLoop) -> None:
    with BusLock("virtual-two", runtime_directory()), pytest.raises(PortBusyError, match="in use by process"):
        build(config(), loop)
    assert free("one")


def test_a_recorder_that_cannot_be_made_gives_the_buses_up(loop: PacedLoop) -> None:
    def fails(links: object) -> None:
        raise ZeroDivisionError("odd")

    with pytest.raises(ZeroDivisionError, match="odd"):
        build(config(), loop, recorder=fails)
    assert (free("one"), free("two")) == (True, True)


def test_where_nothing_can_be_recorded_the_gauge_runs_and_says_so(loop: PacedLoop) -> None:
    def no_room(links: object) -> None:
        raise UnderdashError("recording.folder r: Read-only file system")

    built = build(config(), loop, recorder=no_room)
    assert built.daemon.recorder is None
    assert built.assembly.problems[-1] == (
        "nothing is recorded until the next start: recording.folder r: Read-only file system"
    )
    built.release()


def test_what_was_seen_of_the_key_is_kept_for_the_next_journey(loop: PacedLoop) -> None:
    built = build(config(), loop)
    seen = {name: type(one)(True, True) for name, one in built.daemon.key.ignition.seen().items()}
    assert seen
    built.daemon.key.ignition.restore(seen)
    built.keep()
    built.release()
    again = build(config(), loop)
    assert again.daemon.key.ignition.seen() == seen
    again.release()


def test_what_is_seen_of_the_key_is_kept_at_once_since_the_supply_may_be_cut(loop: PacedLoop) -> None:
    built = build(config(), loop)
    seen = {name: type(one)(True, True) for name, one in built.daemon.key.ignition.seen().items()}
    built.daemon.start()
    built.daemon.key.ignition.restore(seen)
    loop.call_later(0.5, loop.stop)
    loop.run_forever()
    kept = Kept(state_directory() / "state.json").seen(built.assembly.car)
    built.daemon.stop()
    built.release()
    assert kept == seen


def test_what_units_take_in_a_request_is_known_on_the_next_journey(loop: PacedLoop) -> None:
    built = build(config(), loop)
    asking = built.assembly.asking
    learned = {f"{poll.unit.name} {poll.speech.name}": {"alone": [poll.identifier]} for poll in asking.polls[:1]}
    assert asking.learned() == {}
    asking.restore(learned)
    built.daemon.start()
    loop.call_later(0.5, loop.stop)
    loop.run_forever()
    built.daemon.stop()
    built.release()  # no orderly end: the supply was cut
    again = build(config(), loop)
    assert again.assembly.asking.learned() == learned
    again.release()


@pytest.mark.parametrize("length", [0, 1, 30])
def test_a_state_file_that_was_cut_off_holds_no_start_up(loop: PacedLoop, length: int) -> None:
    path = state_directory() / "state.json"
    built = build(config(), loop)
    built.keep()
    built.release()
    path.write_bytes(path.read_bytes()[:length])
    again = build(config(), loop)
    assert again.assembly.asking.learned() == {}
    again.release()


def test_quiet_outlives_a_restart_until_it_is_released(loop: PacedLoop) -> None:
    built = build(config(), loop)
    built.daemon.perform(GoQuiet(True))
    built.release()  # no orderly end: the supply was cut
    again = build(config(), loop)
    assert again.daemon.sending.guard.quiet
    assert "quiet" in again.daemon.status().snapshot.notes
    again.daemon.perform(GoQuiet(False))
    again.release()
    third = build(config(), loop)
    assert not third.daemon.sending.guard.quiet
    third.release()


def test_state_is_kept_where_the_service_manager_says(tmp_path: Path) -> None:
    assert state_directory({"STATE_DIRECTORY": "/var/lib/a:/var/lib/b"}) == Path("/var/lib/a")
    assert state_directory({"XDG_STATE_HOME": str(tmp_path)}) == tmp_path / "underdash"
    assert state_directory({}) == Path.home() / ".local" / "state" / "underdash"


@dataclass
class Panel:
    """A panel that may fail to open."""

    size: tuple[int, int] = (240, 240)
    shown: int = 0

    def show(self, image: object, boxes: object) -> None:
        self.shown += 1

    def dim(self, level: float) -> None:
        pass

    def close(self) -> None:
        pass


def on_memory(loop: PacedLoop) -> Built:
    text = TEXT.replace('"virtual"', '"memory"').replace('channel = "one"\n', "").replace('channel = "two"\n', "")
    return build(parse_config(text, "mine.toml"), loop, memory={role: MemoryBus(role) for role in ("drive", "comfort")})


def run_for(loop: PacedLoop, built: Built, seconds: float) -> None:
    loop.call_later(seconds, loop.stop)
    loop.run_forever()


def test_a_panel_that_does_not_open_is_tried_again_while_the_others_show(loop: PacedLoop) -> None:
    built = on_memory(loop)
    tries: list[float] = []
    daemon = built.daemon
    opener = daemon._openers[0]

    def stubborn() -> Any:
        tries.append(loop.time())
        if len(tries) < 3:
            raise OSError("no such device")
        return opener()

    daemon._openers.insert(0, stubborn)
    daemon.start()
    assert len(daemon.screens) == 1
    assert any("no such device" in fault for fault in daemon.status().faults)
    run_for(loop, built, 25)
    assert len(tries) == 3
    assert tries[1] - tries[0] == pytest.approx(10, abs=0.5)
    assert len(daemon.screens) == 2
    assert not any("no such device" in fault for fault in daemon.status().faults)
    daemon.stop()
    daemon.stop()


IN_MEMORY = ('interface = "virtual"\nchannel = "one"', 'interface = "memory"')


def test_nothing_is_refused_before_the_buses_were_looked_at(loop: PacedLoop) -> None:
    daemon = Demo("tarn", loop, seed=1).daemon
    daemon.start()
    assert daemon.sending.guard.counts
    assert Reason.TRANSMIT_OFF not in daemon.sending.guard.counts
    daemon.stop()


def test_failures_of_ticks_that_differ_every_time_are_not_kept_for_ever(
    loop: PacedLoop, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = build(
        config(IN_MEMORY[0], IN_MEMORY[1]), loop, memory={"drive": MemoryBus("drive"), "comfort": MemoryBus("comfort")}
    )

    def broken(now: float) -> None:
        raise ValueError(f"at {now}")

    monkeypatch.setattr(built.daemon, "_step", broken)
    loop.call_later(10.0, loop.stop)
    built.daemon._tick()
    loop.run_forever()
    built.daemon.stop()
    built.release()
    assert len(built.daemon._tick_failures) == 20


# --- settings of panels -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Wire:
    """What some driver wants to know."""

    port: str
    baud: int = 9600


SETTINGS = 'driver = "picture"\n[panel.main.settings]\nport = "a"\nbaud = {}'


def test_settings_of_a_driver_that_describes_them_are_checked_and_handed_over() -> None:
    read = config('driver = "picture"\ndeck = ["boost", "temperatures"]', f'deck = ["boost"]\n{SETTINGS.format(19200)}')
    driver = PanelDriver("mirror", lambda table: table, Wire)
    table = panel_table("main", read.panel["main"], read, driver)
    assert table == {"size": (240, 240), "rotation": 0.0, "settings": Wire(port="a", baud=19200)}


def test_settings_that_do_not_fit_their_driver_are_told_with_their_place() -> None:
    wrong = SETTINGS.format('"fast"').replace("port", "prot")
    read = config('driver = "picture"\ndeck = ["boost", "temperatures"]', f'deck = ["boost"]\n{wrong}')
    driver = PanelDriver("mirror", lambda table: table, Wire)
    with pytest.raises(GivenError, match=r"(?s)panel.main.settings.*prot.*port") as told:
        panel_table("main", read.panel["main"], read, driver)
    assert "baud" in str(told.value)


def test_settings_of_a_driver_that_says_nothing_about_them_are_handed_over_as_they_stand() -> None:
    read = config('driver = "picture"\ndeck = ["boost", "temperatures"]', f'deck = ["boost"]\n{SETTINGS.format(1)}')
    table = panel_table("main", read.panel["main"], read, PanelDriver("mirror", lambda table: table))
    assert table == {"size": (240, 240), "rotation": 0.0, "port": "a", "baud": 1}


@pytest.mark.parametrize(("turns", "kind"), [(False, TurnedPanel), (True, PicturePanel)])
def test_pictures_are_turned_for_a_device_that_does_not_do_it_itself(turns: bool, kind: type) -> None:
    driver = PanelDriver("mirror", lambda table: PicturePanel((240, 240)), turns=turns)
    read = config('driver = "picture"', 'driver = "mirror"\nrotation = 12.0')
    assert type(panel_opener("main", read.panel["main"], read, {"mirror": driver})()) is kind
