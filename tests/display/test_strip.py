from __future__ import annotations

from underdash.contract.pages import Scale
from underdash.display.elements import STRIP_COLUMNS, Picture, Strip
from underdash.display.palettes import DAY
from underdash.display.strip import LONGEST_BRIDGE, StripPart, runs

BOX = (60, 180, 180, 214)


def test_a_long_gap_stays_open_and_a_short_one_is_bridged() -> None:
    short = (1.0, *[None] * (LONGEST_BRIDGE - 1), 1.0)
    long = (1.0, *[None] * LONGEST_BRIDGE, 1.0)
    assert len(runs(short)) == 1
    assert len(runs(long)) == 2
    assert runs((None, None)) == []


def test_only_a_new_history_is_painted() -> None:
    part = StripPart(BOX, DAY, 2.0)
    old = Strip((0.5,) * STRIP_COLUMNS, Scale(0.0, 1.0, 0.0))
    new = Strip((0.6,) * STRIP_COLUMNS, Scale(0.0, 1.0, 0.0))
    assert part.boxes(Picture(strip=old), Picture(strip=old)) == []
    assert part.boxes(Picture(strip=old), Picture(strip=new)) == [BOX]
