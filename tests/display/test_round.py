from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.display.round import Box, Face, area, common, merged, union


def test_a_round_panel_is_narrower_towards_its_edge() -> None:
    face = Face(240, 240)
    assert face.half_width(118, 122) > face.half_width(40, 60) > face.half_width(10, 30)
    assert face.half_width(0, 4) == 0.0


def test_a_rectangular_panel_is_as_wide_everywhere() -> None:
    face = Face(320, 240, round=False)
    assert face.half_width(0, 10) == face.half_width(115, 125) == 158.0


def test_the_mask_lights_the_middle_and_not_the_corners() -> None:
    mask = Face(240, 240).mask()
    assert mask is not None
    assert mask.getpixel((120, 120)) == 255
    assert mask.getpixel((0, 0)) == 0
    assert mask.getpixel((120, 1)) == 255
    assert Face(240, 240, round=False).mask() is None


@pytest.mark.parametrize(("size", "unit"), [((240, 240), 1.0), ((320, 240), 1.0), ((128, 128), 128 / 240)])
def test_sizes_grow_with_the_shorter_side(size: tuple[int, int], unit: float) -> None:
    assert Face(*size).unit == unit


boxes = st.tuples(st.integers(0, 200), st.integers(0, 200), st.integers(1, 40), st.integers(1, 40)).map(
    lambda t: (t[0], t[1], t[0] + t[2], t[1] + t[3])
)


@given(st.lists(boxes, max_size=8))
def test_merged_boxes_cover_the_same_and_more(given_boxes: list[Box]) -> None:
    result = merged(given_boxes)
    assert len(result) <= len(given_boxes)
    for box in given_boxes:
        assert any(union(box, other) == other for other in result)


@given(boxes, boxes)
def test_what_two_boxes_share_lies_in_both(a: Box, b: Box) -> None:
    shared = common(a, b)
    if shared is not None:
        assert union(shared, a) == a
        assert union(shared, b) == b
        assert area(shared) > 0
