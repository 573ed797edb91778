"""The line that holds the supply: taken first, let go of last, and told where it cannot be."""

from __future__ import annotations

from typing import Any

import pytest

from underdash.config.schema import PowerConfig
from underdash.contract.errors import UnderdashError
from underdash.inputs.fakes import FakeOutput
from underdash.power.states import Supply
from underdash.wiring.hold_line import HoldLine, findings

HELD = PowerConfig(supply=Supply.HELD, hold_line="GPIO26", hold_inverted=True)


@pytest.mark.parametrize(("off", "levels"), [(True, [True, False, None]), (False, [True, None])])
def test_it_is_on_from_the_first_moment_and_goes_off_only_for_a_power_off(off: bool, levels: list[Any]) -> None:
    line = FakeOutput()
    asked: list[tuple[str, bool]] = []

    def take(name: str, *, on: bool, inverted: bool) -> FakeOutput:
        asked.append((name, inverted))
        line.levels = [on]
        return line

    hold = HoldLine(HELD, take)
    hold.close(off=off)
    hold.close(off=True)
    assert asked == [("GPIO26", True)]
    assert line.levels == levels


def test_without_a_line_or_where_it_cannot_be_taken_the_daemon_runs_all_the_same() -> None:
    def refuse(name: str, **_: object) -> FakeOutput:
        raise UnderdashError(f"line {name} cannot be taken: busy")

    HoldLine(PowerConfig(supply=Supply.HELD), refuse).close(off=True)
    HoldLine(HELD, refuse).close(off=True)


def test_a_line_that_went_away_does_not_keep_the_end_from_coming() -> None:
    class Gone(FakeOutput):
        def set(self, on: bool) -> None:
            raise OSError(19, "No such device")

    HoldLine(HELD, lambda name, **_: Gone()).close(off=True)


@pytest.mark.parametrize(
    ("config", "by", "says"),
    [
        (PowerConfig(supply=Supply.WAKEABLE), "", ""),
        (PowerConfig(supply=Supply.HELD), "", "note: supply = \"held\", and no power.hold_line says"),
        (HELD, "", "note: power.hold_line GPIO26 is let go when the daemon ends"),
        (HELD, "underdash", "note: power.hold_line GPIO26 is let go when the daemon ends"),
        (HELD, "spi0 CS0", "error: power.hold_line: line GPIO26 is held by 'spi0 CS0' -> choose another line"),
    ],
)  # fmt: skip
def test_check_says_what_is_the_matter_with_it(config: PowerConfig, by: str, says: str) -> None:
    said = [str(one) for one in findings(config, lambda name: by)]
    assert "".join(said).startswith(says)
    assert bool(said) == bool(says)


def test_check_tells_a_line_that_is_not_there() -> None:
    def missing(name: str) -> str:
        raise UnderdashError(f"line {name}: no chip under /dev has a line of this name")

    (said,) = findings(HELD, missing)
    assert str(said).startswith(
        "error: power.hold_line: line GPIO26: no chip under /dev has a line of this name -> correct"
    )


def test_a_supply_that_ends_with_the_key_is_not_held_by_a_line() -> None:
    warned, _ = findings(PowerConfig(supply=Supply.SWITCHED, hold_line="GPIO26"), lambda name: "")
    assert str(warned).startswith("warning: power.hold_line holds a supply that ends with the key")
