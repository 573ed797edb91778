from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from underdash.bus.frames import Frame
from underdash.cli.find import picture
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits
from underdash.display.palettes import DAY, Colour
from underdash.finding.found import Answer, Candidate, Where
from underdash.finding.heard import Heard
from underdash.finding.like.reference import Reference
from underdash.finding.picture import LEFT, MARK, RIGHT, WIDTH, draw, ticks
from underdash.finding.picture_strip import SCALE, Box, Span, draw_strip, moved, pieces
from underdash.finding.reading import heard_from
from underdash.finding.series import Series


def candidate(byte: int, confidence: float = 0.9, can_id: int = 0x2C1) -> Candidate:
    return Candidate(Where("comfort", can_id, False, Bits(byte)), confidence, 1.0, meaning={0: "released", 2: "menu"})


def pressed_from_4_to_6() -> Heard:
    """Ten seconds: byte 0 is a switch, byte 1 climbs, byte 2 is constant."""
    return heard_from(
        [
            ("comfort", Frame(0x2C1, bytes((2 if 400 <= n < 600 else 0, n // 4, 7)), at=100 + 0.01 * n))
            for n in range(1001)
        ]
    )


def column(at: float) -> int:
    return round(LEFT + (WIDTH - RIGHT - LEFT) * (at - 100) / 10)


def colours(image: Image.Image, x: int) -> set[Colour]:
    return {tuple(pixel) for pixel in np.asarray(image)[:, x].tolist()}


def test_a_switch_is_bright_while_it_is_not_at_rest() -> None:
    image = draw(pressed_from_4_to_6(), [candidate(0)])
    assert image.width == WIDTH
    assert DAY.accent in colours(image, column(105.0))
    assert DAY.muted not in colours(image, column(105.0))
    for at in (102.0, 108.0):
        assert DAY.muted in colours(image, column(at))
        assert DAY.accent not in colours(image, column(at))


def test_a_press_shorter_than_a_pixel_is_seen() -> None:
    frames = [("comfort", Frame(0x2C1, b"\x02" if n == 5000 else b"\0", at=100 + 0.001 * n)) for n in range(10001)]
    image = draw(heard_from(frames), [candidate(0)])
    assert DAY.accent in {colour for x in range(LEFT, WIDTH) for colour in colours(image, x)}


def test_a_number_climbs_from_the_lower_left_to_the_upper_right() -> None:
    seen = np.asarray(draw(pressed_from_4_to_6(), [candidate(1)])).astype(int)
    bright = np.abs(seen - np.array(DAY.accent)).sum(axis=2) < 30
    heights = [float(np.flatnonzero(bright[:, column(at)]).mean()) for at in (101.0, 103.0, 105.0, 107.0, 109.0)]
    assert heights == sorted(heights, reverse=True)


def test_a_strip_stays_empty_where_nothing_came() -> None:
    series = Series(np.array([0.0, 0.1, 0.2, 2.0, 2.1]), np.zeros(5), 0.1)
    assert pieces(series) == [slice(0, 3), slice(3, 5)]
    frames = [("comfort", Frame(0x2C1, b"\0", at=100 + 0.1 * n)) for n in range(101) if not 30 < n < 70]
    image = draw(heard_from(frames), [candidate(0)])
    assert DAY.muted in colours(image, column(102.0))
    assert DAY.muted not in colours(image, column(105.0))


def test_marks_stand_at_their_times_and_those_outside_the_recording_nowhere() -> None:
    heard = pressed_from_4_to_6()
    plain, marked = draw(heard, [candidate(0)]), draw(heard, [candidate(0)], [(103.0, 103.0, "menu")])
    assert MARK not in {colour for x in range(WIDTH) for colour in colours(plain, x)}
    near = {colour for x in range(column(103.0) - 2, column(103.0) + 3) for colour in colours(marked, x)}
    assert near - colours(plain, column(103.0))
    outside = draw(heard, [candidate(0)], [(50.0, 50.0, "menu"), (200.0, 210.0, "menu")])
    assert outside.tobytes() == plain.tobytes()


def test_five_candidates_fit_and_more_are_left_out() -> None:
    heard = pressed_from_4_to_6()
    five = [candidate(place % 3) for place in range(5)]
    assert draw(heard, five).size == draw(heard, [*five, candidate(1)]).size
    assert draw(heard, five).height < 800


def test_what_cannot_be_drawn_is_said() -> None:
    """No candidate, one that is not in the recording, one that spells no number, and a recording of one frame."""
    for heard in (pressed_from_4_to_6(), heard_from([("comfort", Frame(0x2C1, b"\0\0\0", at=1.0))])):
        for candidates in ([], [candidate(7)], [candidate(0, can_id=1)], [candidate(0), candidate(1), candidate(2)]):
            assert len({pixel for _, pixel in draw(heard, candidates).getcolors(1 << 20) or []}) > 10


@pytest.mark.parametrize(
    ("seconds", "step"), [(0.004, 0.0004), (10.8, 2.0), (60.0, 10.0), (100.0, 10.0), (101.0, 20.0), (7200.0, 1000.0)]
)
def test_the_axis_has_round_times(seconds: float, step: float) -> None:
    found = ticks(seconds)
    assert len(found) <= 11
    assert found[0] == 0
    assert found[-1] <= seconds
    if len(found) > 1 and seconds >= 1:
        assert found[1] == pytest.approx(step)


def test_a_recording_without_any_length_has_one_time() -> None:
    assert ticks(0.0) == [0.0]


def test_the_picture_of_several_answers_shows_the_best_of_each(tmp_path: Path) -> None:
    heard = pressed_from_4_to_6()
    answers = [Answer("menu", ((candidate(0),), (candidate(1),))), Answer("up", ((candidate(1),),)), Answer("down")]
    file = tmp_path / "found.png"
    picture(argparse.Namespace(picture=str(file)), heard, answers)
    with Image.open(file) as drawn:
        wanted = draw(heard, [candidate(0), candidate(1)], names=["menu", "up"])
        assert drawn.convert("RGB").tobytes() == wanted.tobytes()
    picture(argparse.Namespace(picture=None), heard, answers)
    with pytest.raises(UnderdashError, match="cannot be written"):
        picture(argparse.Namespace(picture=str(tmp_path / "no" / "found.png")), heard, answers)


def test_frames_that_come_at_all_are_bright_where_they_are_sent() -> None:
    frames = [Frame(0x2C1, bytes([n]), at=at + 0.02 * n) for at in (102.0, 107.0) for n in range(30)]
    clock = [Frame(0x100, b"", at=100.0 + n) for n in range(11)]
    heard = heard_from([("comfort", one) for one in sorted([*frames, *clock], key=lambda one: one.at)])
    where = Where("comfort", 0x2C1, False, Bits(0), comes=True)
    image = draw(heard, [Candidate(where, 0.9, 1.0)])
    assert DAY.accent in colours(image, column(102.3))
    assert DAY.accent not in colours(image, column(105.0))


CLIMBING = {"scale": 0.4, "offset": -10.0, "lag_s": 0.5}


def strip(figures: dict[str, float], reference: Reference | None) -> tuple[Image.Image, list[tuple[float, str]]]:
    """One strip of ten seconds, 1000 finished pixels wide, of a raw number that climbs from 0 to 250."""
    image = Image.new("RGB", (SCALE * 1000, SCALE * 100), DAY.ground)
    at = 100.0 + np.linspace(0.0, 10.0, 251)
    found = Candidate(Where("comfort", 0x2C1, False, Bits(1)), 0.9, 1.0, figures=figures)
    span, box = Span(100.0, 110.0, 0.0, SCALE * 1000.0), Box(0.0, 0.0, 1000.0, 100.0)
    levels = draw_strip(
        ImageDraw.Draw(image), span, box, Series(at, np.arange(251.0), 0.04), found, reference=reference
    )
    return image, levels


def inked(image: Image.Image, at: float) -> list[int]:
    """Heights in finished pixels at which a point is, in the column of a time."""
    rows = np.asarray(image)[:, round(SCALE * 100 * (at - 100.0))]
    return sorted({int(row) // SCALE for row in np.flatnonzero((rows == DAY.ink).all(axis=1))})


def test_a_references_points_lie_on_the_line_where_they_agree_and_beside_it_where_not() -> None:
    reference = Reference("speed", np.array([102.0, 105.0, 106.0, 109.8]), np.array([15.0, 45.0, 500.0, 92.0]), "km/h")
    image, levels = strip(CLIMBING, reference)
    assert [text for _, text in levels] == ["-10 km/h", "90 km/h"]
    # half a second later each; the line climbs by 8 pixels a second, from 90 to 10
    assert 70 in inked(image, 102.5)
    assert 46 in inked(image, 105.5)
    assert inked(image, 106.5)[0] < 5, "what lies beyond the ends is drawn at the edge"
    assert not inked(image, 103.5)
    assert (
        len(moved(reference, Candidate(Where("", 0, False, Bits(0)), 1, 1, figures=CLIMBING), Span(100, 110, 0, 1)))
        == 3
    )


def test_a_number_that_falls_while_the_quantity_rises_is_drawn_as_the_quantity() -> None:
    reference = Reference("speed", np.array([102.0]), np.array([80.0]), "degC")
    image, levels = strip({"scale": -0.4, "offset": 100.0}, reference)
    assert [text for _, text in levels] == ["0 °C", "100 °C"]
    assert 26 in inked(image, 102.0)


def test_ends_are_written_as_finely_as_they_tell_something() -> None:
    ends = [text for _, text in strip({"scale": 0.1236, "offset": 3.0}, None)[1]]
    assert ends == ["3.0", "33.9"]
    assert [text for _, text in strip({"scale": 1e-4}, None)[1]] == ["0.0000", "0.0250"]
    assert [text for _, text in strip({}, None)[1]] == ["0", "250"]


def test_many_points_lie_below_the_line_and_few_upon_it() -> None:
    def centre(count: int) -> Colour:
        at = 100.0 + np.linspace(0.0, 10.0, count)
        image, _ = strip({"scale": 1.0, "offset": 0.0}, Reference("n", at, 25.0 * (at - 100.0)))
        red, green, blue = np.asarray(image)[SCALE * 50, SCALE * 500].tolist()
        return red, green, blue

    assert centre(11) == DAY.ink
    assert centre(2001) == DAY.accent


def test_a_picture_with_a_reference_is_taller_and_has_its_points() -> None:
    heard = pressed_from_4_to_6()
    reference = Reference("speed", np.array([101.0, 104.0]), np.array([25.0, 100.0]), "km/h")
    with_it, without = (draw(heard, [candidate(1)], reference=one) for one in (reference, None))
    assert with_it.height > without.height
    assert DAY.ink in colours(with_it, column(101.0))
    assert draw(heard, [], reference=reference).width == WIDTH
