"""A whole sentence in place of a figure: it wraps, stays inside a round panel and leaves room for rows."""

from __future__ import annotations

from math import hypot

import pytest

from underdash.contract.errors import UnderdashError
from underdash.contract.pages import Role
from underdash.contract.signals import Age, Quality, Reading
from underdash.display.fonts import CAP_HEIGHT, Fonts
from underdash.display.layout import Layout, arrange
from underdash.display.recorder import MOST_SENTENCE, Recorder
from underdash.display.round import Face

FONTS = Fonts()
SENTENCES = (
    "all is well",
    "the ignition is off: switch it on",
    "bus comfort is silent: wake the car, check the plug",
    "nobody provides engine.manifold_pressure: describe it or add a plug-in",
    "x" * 60,
    "word " * 40,
)


def reading(text: str) -> Reading:
    return Reading("", text, None, "", 0, Age.FRESH, None, Quality.GOOD, "")


def layout(text: str, rows: int = 4, size: tuple[int, int] = (240, 240), round_: bool = True) -> Layout:
    canvas = Recorder(size)
    canvas.sentence(text)
    canvas.rows(tuple((f"label {n}", reading("12 of 34"), Role.INK) for n in range(rows)))
    return arrange(canvas.picture(), Face(*size, round_), FONTS)


@pytest.mark.parametrize("rows", [0, 2, 4])
@pytest.mark.parametrize("text", SENTENCES)
def test_its_lines_lie_inside_a_round_panel_one_under_the_other(text: str, rows: int) -> None:
    lines = [line for line in layout(text, rows).lines if line.centred]
    assert 1 <= len(lines) <= 4
    bottom = -1.0
    for line in lines:
        half, height = FONTS.width(line.weight, line.px, line.text) / 2, line.px * CAP_HEIGHT
        assert line.top >= bottom
        bottom = line.top + height
        assert max(hypot(half, edge - 120) for edge in (line.top, bottom)) <= 122


@pytest.mark.parametrize("text", SENTENCES[:4])
def test_no_word_is_lost_where_there_is_room(text: str) -> None:
    said = " ".join(line.text for line in layout(text).lines if line.centred)
    assert said == text


@pytest.mark.parametrize(("size", "round_"), [((128, 160), False), ((160, 80), False), ((480, 480), True)])
def test_it_fits_other_panels(size: tuple[int, int], round_: bool) -> None:
    made = layout(SENTENCES[2], 4, size, round_)
    assert len(made.rows) == 4
    assert all(spot.top + spot.px * CAP_HEIGHT <= size[1] for spot in made.rows)


def test_rows_stand_below_it() -> None:
    made = layout(SENTENCES[3])
    assert min(spot.top for spot in made.rows) > max(
        line.top + line.px * CAP_HEIGHT for line in made.lines if line.centred
    )


def test_a_sentence_is_cut_to_what_can_be_read_and_stands_alone() -> None:
    canvas = Recorder((240, 240))
    canvas.sentence("many  words\n" * 30)
    said = canvas.picture().sentence
    assert said is not None
    assert len(said.text) == MOST_SENTENCE
    assert "\n" not in said.text
    with pytest.raises(UnderdashError, match="beside a figure"):
        canvas.sentence("another")
