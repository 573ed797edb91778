"""What was found, tried on the panels of a daemon that drives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from structlog.testing import capture_logs

from underdash.config.mistakes import ConfigError
from underdash.config.reading import make_config
from underdash.config.toml import read_toml
from underdash.contract.errors import GivenError, UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import Signal
from underdash.wiring import reloading
from underdash.wiring.building import described
from underdash.wiring.reloading import Reloading, configuration_changed
from underdash.wiring.trying import PAGE, Trying, what_is_tried

Make = Callable[..., Any]
KEY: dict[str, Any] = {
    "word": "key",
    "signal": [
        {"name": "car.trial_1", "meaning": "0C4A1020 byte 0", "kind": "choice", "choices": ["off", "on", "starter"]}
    ],
    "broadcast": [
        {
            "bus": "comfort",
            "id": "0C4A1020",
            "fields": [
                {
                    "signal": "car.trial_1",
                    "byte": 0,
                    "bits": [0, 2],
                    "values": {"0": "off", "1": "off", "3": "on", "4": "starter"},
                }
            ],
        }
    ],
}
CONFIG = b'format = 1\n[car]\nname = "tarn"\n'


class Talk:
    """Stands for a command that asks."""

    def __init__(self, given: Mapping[str, Any] | None = None) -> None:
        self.ask, self.given = "try", given or {}
        self.on_end: Callable[[bool], None] = lambda gone: None
        self.told: list[Mapping[str, Any]] = []
        self.last: Mapping[str, Any] | None = None

    def more(self, table: Mapping[str, Any]) -> None:
        self.told.append(table)

    def done(self, table: Mapping[str, Any]) -> None:
        self.last = table

    @property
    def changes(self) -> list[Any]:
        return [one["value"] for table in self.told for one in table["changes"]]


def trying(journey: Any) -> Trying:
    return Trying(journey.demo.built, Reloading(journey.demo.built, journey.loop), journey.loop)


def test_a_finding_is_on_the_panel_and_told_until_nobody_watches(drive: Make) -> None:
    journey = drive()
    desk, talk, shown = trying(journey), Talk(KEY), []
    daemon = journey.demo.daemon

    def page() -> None:
        shown.append(daemon.screens[0].deck.current.name)

    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(6.0, page)
    journey.at(19.5, lambda: talk.on_end(False))
    journey.at(20.0, page)
    journey.run(21.0)
    assert talk.changes == ["on", "starter", "on", "off"]
    assert talk.last is not None
    assert talk.last["values"] == {"car.trial_1": "off"}
    assert shown == [PAGE, "boost"]
    assert "car.trial_1" not in daemon.assembly.catalogue
    assert journey.values("car.trial_1", 8.0, 8.5)[-1] == "on"


def test_what_is_tried_outlives_a_description_that_is_read_again(drive: Make) -> None:
    journey = drive()
    desk, talk = trying(journey), Talk(KEY)
    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(6.0, desk.reload)
    journey.run(12.0)
    assert talk.changes == ["on", "starter", "on"]
    talk.on_end(True)
    assert "car.trial_1" not in journey.demo.daemon.assembly.catalogue


def test_one_at_a_time(drive: Make) -> None:
    journey = drive()
    desk, told = trying(journey), []

    def second() -> None:
        with pytest.raises(UnderdashError, match="something is tried already"):
            desk.handlers["try"](Talk(KEY))  # type: ignore[arg-type]
        told.append(True)

    journey.at(1.0, lambda: desk.handlers["try"](Talk(KEY)))  # type: ignore[arg-type]
    journey.at(2.0, second)
    journey.run(3.0)
    assert told == [True]


def test_reload_says_what_came_of_it(drive: Make) -> None:
    journey = drive()
    desk, told = trying(journey), []
    journey.at(2.0, lambda: told.append(desk.handlers["reload"](Talk())))  # type: ignore[arg-type]
    journey.run(3.0)
    assert told == [{"car": "tarn", "title": "Halden Tarn 1.6T (2012)", "file": "", "problems": []}]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"signal": []}, "request 'try' comes with 'signal', a list of 1 to 4 tables"),
        ({"signal": KEY["signal"] * 5}, "a list of 1 to 4 tables"),
        ({"broadcast": "x"}, "request 'try' comes with 'broadcast'"),
        ({"broadcast": [{"bus": "x", "id": "1", "fields": [{"signal": "car.trial_1", "byte": 0}]}]}, "found 'x'"),
        ({"broadcast": [{"bus": "drive", "id": "1", "fields": [{"signal": "a.b", "byte": 0}]}]}, "found 'a.b'"),
        ({"signal": [{"name": "trial", "meaning": "x"}]}, "found 'trial'"),
    ],
)
def test_nonsense_is_told_before_anything_changes(drive: Make, change: Mapping[str, Any], says: str) -> None:
    car = drive().demo.built.assembly.car
    with pytest.raises(GivenError, match=says):
        what_is_tried({**KEY, **change}, car)


def test_what_was_tried_goes_even_if_the_file_has_mistakes_by_then(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(config: Any, loaded: Any) -> Any:
        raise ConfigError([])

    journey = drive()
    desk, talk = trying(journey), Talk(KEY)
    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(6.0, lambda: monkeypatch.setattr(reloading, "described", broken))
    journey.at(7.0, lambda: talk.on_end(True))
    journey.run(8.0)
    assert "car.trial_1" not in journey.demo.daemon.assembly.catalogue
    assert journey.values("engine.speed", 7.5, 8.0) != []


def test_what_was_tried_goes_once_nobody_asks_by_hand_any_more(drive: Make) -> None:
    journey = drive()
    desk, talk, there = trying(journey), Talk(KEY), []
    daemon = journey.demo.daemon

    def look() -> None:
        there.append("car.trial_1" in daemon.assembly.catalogue)

    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(5.5, lambda: daemon.sending.pause(True))
    journey.at(6.0, lambda: talk.on_end(True))
    journey.at(7.5, look)
    journey.at(8.0, lambda: daemon.sending.pause(False))
    journey.at(9.5, look)
    journey.run(10.0)
    assert there == [True, False]


def test_a_description_that_has_a_signal_of_that_name_by_now_is_told_of(
    drive: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def with_one(config: Any, loaded: Any) -> Any:
        car, loaded = described(config, loaded)
        return replace(car, signals=(*car.signals, Signal("car.trial_1", "", "mine"))), loaded

    journey = drive()
    desk, told = trying(journey), []

    def again() -> None:
        monkeypatch.setattr(reloading, "described", with_one)
        with pytest.raises(GivenError, match=r"has a signal car\.trial_1, which is tried just now; end that first"):
            desk.handlers["reload"](Talk())  # type: ignore[arg-type]
        told.append(True)

    journey.at(5.0, lambda: desk.handlers["try"](Talk(KEY)))  # type: ignore[arg-type]
    journey.at(6.0, again)
    journey.run(7.0)
    assert told == [True]


def test_a_daemon_that_ends_takes_nothing_up_any_more(drive: Make) -> None:
    journey = drive()
    desk, talk, assemblies = trying(journey), Talk(KEY), []
    daemon = journey.demo.daemon

    def end() -> None:
        assemblies.append(daemon.assembly)
        desk.close()
        talk.on_end(True)
        assemblies.append(daemon.assembly)

    journey.at(5.0, lambda: desk.handlers["try"](talk))  # type: ignore[arg-type]
    journey.at(6.0, end)
    journey.run(7.0)
    told = len(talk.told)
    assert assemblies[0] is assemblies[1]
    assert told == pytest.approx(5, abs=2), "it goes on telling"


def test_what_a_description_read_again_lacks_is_in_the_log(drive: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    def with_stranger(config: Any, loaded: Any) -> Any:
        car, loaded = described(config, loaded)
        one = BroadcastListener("drive", 0x123, (Field("car.unheard_of", Bits(0, 8)),))
        return replace(car, broadcasts=(*car.broadcasts, one)), loaded

    journey = drive()
    desk = trying(journey)
    monkeypatch.setattr(reloading, "described", with_stranger)
    journey.at(2.0, desk.reload)
    with capture_logs() as logs:
        journey.run(3.0)
    [told] = [one["text"] for one in logs if one["event"] == "problem"]
    assert "drive 123: signal 'car.unheard_of' is not declared" in told


@pytest.mark.parametrize(("text", "told"), [(CONFIG, 0), (b"\xef\xbb\xbf" + CONFIG, 0), (CONFIG + b"#", 1)])
def test_a_configuration_that_was_changed_needs_a_restart_and_that_is_told(
    tmp_path: Path, text: bytes, told: int
) -> None:
    path = tmp_path / "underdash.toml"
    path.write_bytes(CONFIG)
    config = make_config(*read_toml(path))
    assert configuration_changed(config) == []
    path.write_bytes(text)
    assert configuration_changed(config) == told * [
        f"{path} was changed after the daemon had started; "
        "restart the daemon for that: sudo systemctl restart underdash"
    ]
    path.unlink()
    assert configuration_changed(config) == []
