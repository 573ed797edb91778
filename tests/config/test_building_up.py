from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from underdash.config.building_up import description, save_new
from underdash.config.cars import read_car
from underdash.config.mistakes import ConfigError
from underdash.contract.cars import BusDescription, CarDescription, ExpectedFrame
from underdash.contract.errors import GivenError, UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.signals import Signal

CAR = CarDescription(
    "new",
    'The "new" car',
    (BusDescription("drive", 500_000, meaning="engine"), BusDescription("diag", 500_000, silent=True)),
    broadcasts=(BroadcastListener("drive", 0x100, (Field("car.fan", Bits(0, 16)),), period_s=0.1),),
    buttons=(("menu", "comfort"),),
    fingerprint=(ExpectedFrame("drive", 0x100, False, 8, 0.1),),
    signals=(Signal("car.fan", "%", "fan", low=0.0, high=100.0),),
    origin="made up",
)


def test_a_description_is_read_again_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    save_new(path, description(CAR, ("first", "second"), ("last",)))
    assert read_car(path) == CAR
    text = path.read_text()
    assert text.startswith("# first\n# second\n\nformat = 1\n")
    assert text.endswith("\n# last\n")


def test_what_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    path.write_text("mine")
    with pytest.raises(GivenError, match="exists already; name another file"):
        save_new(path, "x")
    assert path.read_text() == "mine"
    with pytest.raises(UnderdashError, match=r"cannot be written: no such file .* name another place"):
        save_new(tmp_path / "gone" / "new.toml", "x")


def test_what_would_have_mistakes_is_not_written() -> None:
    with pytest.raises(ConfigError, match="at least 5000"):
        description(CarDescription("new", "New", (BusDescription("drive", 5),)))


@pytest.mark.parametrize("role", ["dr ive", "can0.1", "a]b", 'q"uote'])
def test_a_bus_may_have_any_name_that_a_recording_gives_it(role: str) -> None:
    car = CarDescription("n", "N", (BusDescription(role, 500_000),))
    assert list(tomllib.loads(description(car))["bus"]) == [role]
