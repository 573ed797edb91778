from __future__ import annotations

from underdash.contract.pages import Role
from underdash.contract.signals import Age
from underdash.display.elements import Picture, Row
from underdash.display.fonts import Fonts
from underdash.display.palettes import DAY
from underdash.display.rows import RowsPart, RowSpot


def test_only_the_row_that_changed_is_painted() -> None:
    part = RowsPart((RowSpot(190, 100, 25), RowSpot(190, 130, 25)), DAY, Fonts())
    first, second = Row("a", "91", "°C", Role.INK, Age.FRESH), Row("b", "38", "°C", Role.INK, Age.FRESH)
    later = Row("b", "138", "°C", Role.CAUTION, Age.FRESH)
    boxes = part.boxes(Picture(rows=(first, second)), Picture(rows=(first, later)))
    assert len(boxes) == 1
    left, top, right, _ = boxes[0]
    assert top == 130
    assert right == 190
    assert left < 190 - 3 * 14
