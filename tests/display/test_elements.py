from __future__ import annotations

from math import inf, nan

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Canvas, Page, Role, Scale
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.contract.words import Words
from underdash.display.elements import STRIP_COLUMNS, Row
from underdash.display.recorder import Recorder, record


def recorder(now: float = 100.0) -> Recorder:
    return Recorder((240, 240), now)


def test_a_recorder_is_the_contracts_canvas() -> None:
    canvas: Canvas = recorder()
    assert (canvas.width, canvas.height) == (240, 240)


def test_a_page_becomes_a_list_of_what_can_be_seen(scale: Scale) -> None:
    value = Reading("x", -41.0, -0.41, "bar", 2, Age.FRESH, 0.1, Quality.GOOD, "made up")
    canvas = recorder()
    canvas.title("boost")
    canvas.sweep(value, scale, peak=1.1)
    canvas.figure(value, signed=True)
    picture = canvas.picture()
    assert picture.title == "boost"
    assert picture.sweep is not None
    assert (picture.sweep.value, picture.sweep.peak) == (-0.41, 1.1)
    assert picture.figure is not None
    assert (picture.figure.sign, picture.figure.digits, picture.figure.unit) == ("-", "0.41", "bar")


@pytest.mark.parametrize(
    ("shown", "quality", "signed", "expected"),
    [
        (0.72, Quality.GOOD, True, ("0.72", "+", "")),
        (0.72, Quality.GOOD, False, ("0.72", "", "")),
        (-0.41, Quality.GOOD, False, ("0.41", "-", "")),
        (0.001, Quality.GOOD, True, ("0.00", "", "")),
        (-0.001, Quality.GOOD, True, ("0.00", "", "")),
        (1.54, Quality.ABOVE, True, ("1.54", "", ">")),
        (-0.8, Quality.BELOW, True, ("0.80", "-", "<")),
    ],
)
def test_a_figure_hangs_its_sign_and_says_where_the_field_ends(
    shown: float, quality: Quality, signed: bool, expected: tuple[str, str, str]
) -> None:
    canvas = recorder()
    canvas.figure(Reading("x", shown, shown, "bar", 2, Age.FRESH, 0.1, quality, ""), signed=signed)
    figure = canvas.picture().figure
    assert figure is not None
    assert (figure.digits, figure.sign, figure.mark) == expected


@pytest.mark.parametrize("shown", [None, nan, inf])
def test_a_value_that_is_gone_or_no_number_is_dashes(shown: float | None) -> None:
    canvas = recorder()
    canvas.figure(Reading("x", shown, shown, "bar", 2, Age.GONE, 9.0, Quality.GOOD, ""), signed=True)
    figure = canvas.picture().figure
    assert figure is not None
    assert (figure.digits, figure.sign) == ("--", "")


def test_a_choice_is_shown_as_it_is() -> None:
    canvas = recorder()
    canvas.figure(Reading("x", "ON", None, "", 0, Age.FRESH, 0.1, Quality.GOOD, ""))
    figure = canvas.picture().figure
    assert figure is not None
    assert figure.digits == "ON"


def test_rows_keep_label_value_unit_and_role() -> None:
    canvas = recorder()
    canvas.rows((("coolant", Reading("x", 91.0, 91.0, "°C", 0, Age.FRESH, 0.1, Quality.GOOD, ""), Role.INK),))
    assert canvas.picture().rows == (Row("coolant", "91", "°C", Role.INK, Age.FRESH),)


def test_more_than_four_rows_are_refused() -> None:
    row = ("a", Reading("x", 1.0, 1.0, "", 0, Age.FRESH, 0.1, Quality.GOOD, ""), Role.INK)
    with pytest.raises(UnderdashError, match="holds 4 at most"):
        recorder().rows((row,) * 5)


@pytest.mark.parametrize(
    "scale", [Scale(1.0, 1.0, 1.0), Scale(2.0, 1.0, 1.5), Scale(0.0, nan, 0.0), Scale(0.0, 1.0, 2.0)]
)
def test_a_scale_that_cannot_be_drawn_is_refused(scale: Scale) -> None:
    value = Reading("x", 1.0, 1.0, "", 0, Age.FRESH, 0.1, Quality.GOOD, "")
    with pytest.raises(UnderdashError, match=r"scale|band starts"):
        recorder().sweep(value, scale)


def test_a_second_figure_on_a_page_is_refused() -> None:
    canvas = recorder()
    value = Reading("x", 1.0, 1.0, "", 0, Age.FRESH, 0.1, Quality.GOOD, "")
    canvas.figure(value)
    with pytest.raises(UnderdashError, match="drawn twice"):
        canvas.figure(value)


def test_history_stands_still_between_its_steps(scale: Scale) -> None:
    def strip(now: float) -> object:
        canvas = recorder(now)
        canvas.strip(tuple((now - t / 10, t / 1000) for t in range(700, 1000)), scale, seconds=30.0)
        return canvas.picture().strip

    assert strip(100.05) == strip(100.45)
    assert strip(100.45) != strip(100.55)


def test_history_leaves_out_what_is_older_or_no_number(scale: Scale) -> None:
    canvas = recorder()
    odd = ((nan, 1.0), (inf, 1.0), (-inf, 1.0), (1e300, 1.0), (-1e300, 1.0), (1.0, inf))
    canvas.strip((*odd, (31.0, 1.0), (10.2, nan), (0.7, 0.5)), scale, seconds=30.0)
    strip = canvas.picture().strip
    assert strip is not None
    assert len(strip.columns) == STRIP_COLUMNS
    assert [c for c in strip.columns if c is not None] == [0.5]


@pytest.mark.parametrize("seconds", [0.0, -1.0, 1e-300, nan, inf])
def test_a_strip_of_no_time_is_refused(scale: Scale, seconds: float) -> None:
    with pytest.raises(UnderdashError, match="a finite number, 0"):
        recorder().strip((), scale, seconds=seconds)


def test_a_doubt_and_a_note_take_turns() -> None:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.remark("reference assumed")

    page = Page("p", "p", draw, ())
    said = {
        record(page, Snapshot(now, {}, notes=("no requests: ignition unknown", "less bad")), (240, 240)).remark
        for now in (0.0, 4.0, 8.0, 12.0)
    }
    assert said == {
        Words("reference assumed", Role.CAUTION),
        Words("no requests: ignition unknown", Role.SOFT),
    }


def test_text_without_end_is_cut() -> None:
    canvas = recorder()
    canvas.title("far " * 100)
    assert len(canvas.picture().title) <= 48
