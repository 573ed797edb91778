from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from underdash.bus.frames import Frame
from underdash.cli.find import picture
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits
from underdash.display.palettes import DAY, Colour
from underdash.finding.found import Answer, Candidate, Where
from underdash.finding.heard import Heard
from underdash.finding.picture import LEFT, MARK, RIGHT, WIDTH, draw, ticks
from underdash.finding.picture_strip import pieces
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
