"""Values that pages are tried with."""

from __future__ import annotations

import pytest

from underdash.config.reading import parse_config
from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Snapshot
from underdash.display.deck import find
from underdash.display.recorder import record
from underdash.display.sweep import role_of
from underdash.wiring.assembly import Assembly
from underdash.wiring.building import assembled
from underdash.wiring.made_up import made_up, ordinary

TEXT = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost", "temperatures", "battery", "values"]
[power]
supply = "switched"
[[plugin.values.pages.engine.values]]
signal = "engine.speed"
low = 0.0
high = 7000.0
warning = 6200.0
"""


@pytest.fixture(scope="module")
def assembly() -> Assembly:
    return assembled(parse_config(TEXT, "made_up.toml"))


def test_made_up_values_are_plausible_and_only_of_what_there_is(assembly: Assembly) -> None:
    page = Page("x", "X", lambda canvas, snapshot: None, ("engine.speed", "fuel.ethanol", "vehicle.ignition"))
    low, high = (made_up(assembly, page, share) for share in (0.0, 1.0))
    assert low.number("engine.speed") == 0.0
    assert (high.number("engine.speed") or 0.0) > 5000
    assert high.reading("vehicle.ignition").value == "START"
    assert not high.reading("fuel.ethanol").provided
    assert made_up(assembly, page, None).reading("engine.speed").value is None


@pytest.mark.parametrize("name", ["battery", "engine", "temperatures", "boost"])
def test_ordinary_values_are_in_no_zone(assembly: Assembly, name: str) -> None:
    page = find(assembly.pages, name, "test")
    picture = record(page, made_up(assembly, page, ordinary(assembly, page)), (240, 240))
    assert picture.sweep is not None
    assert picture.sweep.value is not None
    assert role_of(picture.sweep) not in (Role.CAUTION, Role.WARNING)
    assert not any(row.role in (Role.CAUTION, Role.WARNING) for row in picture.rows)


def test_where_every_value_is_in_a_zone_the_middle_has_to_do(assembly: Assembly) -> None:
    scale = Scale(0.0, 1.0, 0.0, (Zone(-9e9, 9e9, Role.WARNING),))

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.sweep(snapshot.reading("engine.speed"), scale)

    assert ordinary(assembly, Page("x", "X", draw, ("engine.speed",))) == {"engine.speed": 0.5}
