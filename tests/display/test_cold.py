from __future__ import annotations

from PIL import ImageChops

from underdash.contract.pages import Scale
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.display.cold import HYSTERESIS_K, STEPS, Cold, cold_form
from underdash.display.elements import Column, Figure, Picture, Sweep
from underdash.display.kit import Painter
from underdash.display.round import Face

BOARD, OUTSIDE, CABIN = "board.temperature", "ambient.temperature", "cabin.temperature"
SCALE = Scale(-0.8, 1.6, 0.0)


def snapshot(**degc: float) -> Snapshot:
    names = {"board": BOARD, "outside": OUTSIDE, "cabin": CABIN}
    return Snapshot(
        0.0,
        {
            names[key]: Reading(names[key], value, value, "°C", 0, Age.FRESH, 0.0, Quality.GOOD, "test")
            for key, value in degc.items()
        },
    )


def test_it_is_cold_below_its_limit_and_stays_so_a_little_above() -> None:
    cold = Cold(-10.0)
    assert not cold.step(snapshot(outside=-9.0))
    assert cold.step(snapshot(outside=-11.0))
    assert cold.step(snapshot(outside=-10.0 + HYSTERESIS_K - 0.5))
    assert not cold.step(snapshot(outside=-10.0 + HYSTERESIS_K))
    assert not cold.step(snapshot(outside=-9.0))


def test_the_cabin_decides_before_the_board_and_the_board_before_the_air_outside() -> None:
    cold = Cold(-10.0)
    assert not cold.step(snapshot(board=15.0, outside=-25.0))
    assert cold.signal == BOARD
    assert cold.step(snapshot(outside=-25.0))
    assert cold.signal == OUTSIDE
    assert not cold.step(snapshot(cabin=18.0, board=-20.0, outside=-25.0))
    assert cold.signal == CABIN


def test_a_temperature_that_is_gone_changes_nothing_and_without_a_limit_nothing_is_cold() -> None:
    cold = Cold(-10.0)
    assert cold.step(snapshot(outside=-20.0))
    assert cold.step(snapshot())
    assert not Cold(None).step(snapshot(outside=-40.0))


def test_bands_move_in_large_steps_without_head_and_marks() -> None:
    sweep = Sweep(0.72, SCALE, 1.1, Age.FRESH, 0.4)
    figure = Figure("0.72", "+", "", "bar", Age.FRESH, True, 2)
    seen = cold_form(Picture(sweep, figure, columns=(Column("1", sweep, "0.72", "bar"),)))
    assert seen.figure == figure
    for band in (seen.sweep, seen.columns[0].sweep):
        assert band is not None
        assert band.value is not None
        steps = (band.value - SCALE.low) / (SCALE.high - SCALE.low) * STEPS
        assert abs(steps - round(steps)) < 1e-9
        assert band.peak is None
        assert band.average is None
        assert band.coarse


def test_to_and_from_the_cold_form_is_painted_bit_by_bit_as_at_once() -> None:
    face = Face(240, 240)
    warm = Picture(Sweep(0.7, SCALE, 1.1, Age.FRESH))
    painter = Painter(face)
    for picture in (warm, cold_form(warm), warm):
        assert ImageChops.difference(painter.paint(picture)[0], Painter(face).paint(picture)[0]).getbbox() is None
