"""What stands in where safe mode leaves out the plug-in that the car or a panel rests on."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf
from pathlib import Path

import pytest

from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.errors import GivenError, UnderdashError
from underdash.pace import PacedLoop, paced_loop
from underdash.service.ledger import BadEnd
from underdash.wiring.building import build
from underdash.wiring.past import Past
from underdash.wiring.reloading import Reloading
from underdash.wiring.safe_mode import heard_only, no_car, without_dark

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost"]
[bus.drive]
interface = "virtual"
channel = "one"
transmit = true
[bus.comfort]
interface = "slcan"
channel = "/dev/ttyACM7"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost"]
[panel.left]
driver = "strangers_panel"
deck = ["boost"]
"""
LEAVE = "sudo systemctl restart underdash, or the next start of the machine, tries all plug-ins again"


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


def safe(suspect: str = "") -> Past:
    return Past.of([BadEnd(at, "stood still", suspect) for at in (0.0, 1.0, 2.0)], 3.0)


def test_a_car_that_is_left_out_costs_no_start_and_its_buses_are_only_listened_to(loop: PacedLoop) -> None:
    past = safe("tarn")
    built = build(config(), loop, past=past)
    assert list(built.daemon.links) == ["drive"]  # the adapter on a serial line needs a rate that nobody knows
    assert [(bus.role, bus.bitrate) for bus in built.assembly.car.buses] == [("drive", 0)]
    assert not built.daemon.sending.guard.keys("drive")
    status = built.daemon.status()
    assert status.car.startswith("none is described in safe mode, so its buses are only listened to: who brings it")
    assert [fault.partition(":")[0] for fault in status.past] == [
        "car",
        "panel left stays dark",
        "safe mode",
    ]
    assert all(fault.endswith(LEAVE) for fault in status.past)
    built.release()


def test_a_panel_whose_driver_is_left_out_stays_dark_while_the_car_is_read(loop: PacedLoop) -> None:
    past = safe()
    built = build(config(), loop, past=past)
    assert list(built.daemon.links) == ["drive", "comfort"]
    assert built.assembly.car.name == "tarn"
    built.daemon.start()
    assert [screen.name for screen in built.daemon.screens] == ["main"]
    assert past.no_car == ""
    assert past.missing == [f"panel left stays dark: nobody brings its driver 'strangers_panel' in safe mode; {LEAVE}"]
    built.daemon.stop()
    built.release()


def test_a_description_that_cannot_be_read_in_safe_mode_is_told_with_its_reason(
    loop: PacedLoop, tmp_path: Path
) -> None:
    (tmp_path / "car.toml").write_text("format = 1\n")
    past = safe()
    build(config('name = "tarn"', f'file = "{tmp_path / "car.toml"}"'), loop, past=past).release()
    assert "car.toml" in past.no_car
    assert "so its buses are only listened to" in past.no_car


@pytest.mark.parametrize(
    ("past", "old", "new", "says"),
    [
        (Past(), 'name = "tarn"', 'name = "strangers"', "car 'strangers' is not known"),
        (Past(), "", "", "nobody brings a driver 'strangers_panel'"),
        (safe(), 'supply = "switched"', "", "power.supply is missing"),
        (safe(), "[bus.drive]", "[bus.drife]", "no such bus; did you mean drive"),
    ],
)
def test_what_is_wrong_in_the_configuration_ends_the_start_as_ever(
    loop: PacedLoop, past: Past, old: str, new: str, says: str
) -> None:
    with pytest.raises(GivenError, match=says):
        build(config(old, new), loop, past=past)


def test_nothing_is_sent_on_a_bus_of_a_car_that_is_not_known() -> None:
    heard = heard_only(config())
    assert {role: bus.transmit for role, bus in heard.bus.items()} == {"drive": False}
    assert [bus.role for bus in no_car(heard).buses] == ["drive"]


def test_panels_whose_drivers_are_there_are_left_alone() -> None:
    past, read = Past(), config()
    assert without_dark(read, {"picture", "strangers_panel"}, past) is read
    assert list(without_dark(read, {"picture"}, past).panel) == ["main"]
    assert len(past.missing) == 1


def test_a_car_whose_plugin_is_refused_costs_no_start_and_is_named_everywhere(loop: PacedLoop) -> None:
    read = config("[bus.drive]", "[plugin.tarn]\nspeed = 1\n[bus.drive]")
    past = Past()
    built = build(read, loop, past=past)
    assert list(built.daemon.links) == ["drive"]
    assert not built.daemon.sending.guard.keys("drive")
    status = built.daemon.status()
    assert status.car.startswith("none is described, so its buses are only listened to: car 'tarn' is not known.")
    assert "tarn: it takes no settings, found speed; remove [plugin.tarn]" in status.car
    car, panel = status.faults[-2:]
    assert car == f"car: {status.car}"
    assert panel.startswith("panel left stays dark: nobody brings its driver 'strangers_panel' (tarn: it takes no")
    assert built.daemon.telling.notes() == ("no car: its plug-in does not run",)
    assert past.remedy == "no car: its plug-in does not run: see underdash check"
    built.release()


def test_a_description_that_wants_a_refused_plugins_protocol_costs_no_start_either(
    loop: PacedLoop, tmp_path: Path
) -> None:
    (tmp_path / "car.toml").write_text("format = 1\n")
    text = f'file = "{tmp_path / "car.toml"}"\n[plugin.boost]\nfull_scale = "much"'
    built = build(config('name = "tarn"', text), loop)
    assert "what is missing there may be a plug-in's: boost: " in built.daemon.status().car
    built.release()


def test_one_page_fewer_is_no_reason_to_do_without_the_car(loop: PacedLoop) -> None:
    read = config("[bus.drive]", '[plugin.boost]\nfull_scale = "much"\n[bus.drive]')
    past = Past()
    built = build(read, loop, past=past)
    assert built.assembly.car.name == "tarn"
    assert past.note == "a panel's driver is missing"
    assert past.no_car == ""
    built.release()


def test_in_safe_mode_without_a_car_a_description_is_not_read_again(loop: PacedLoop) -> None:
    built = build(config(), loop, past=safe("tarn"))
    with pytest.raises(UnderdashError, match=r"since a plug-in does not run .* restart the daemon"):
        Reloading(built, loop).reload()
    assert built.daemon.assembly.car.name == "no-car"
    built.release()


def test_in_safe_mode_with_a_car_its_description_is_read_again_and_who_is_left_out_stays_out(loop: PacedLoop) -> None:
    built = build(config(), loop, past=safe("boost"))
    built.daemon.start()
    after = Reloading(built, loop).reload()
    assert built.daemon.assembly is after
    assert [one.name for one in after.loaded.plugins] == ["tarn"]
    assert built.daemon.past.note != ""
    built.daemon.stop()
    built.release()
