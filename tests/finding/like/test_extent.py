from __future__ import annotations

import numpy as np

from underdash.bus.frames import Frame
from underdash.finding.like.extent import carried, heightened
from underdash.finding.like.fields import Rough
from underdash.finding.like.fitting import Timing
from underdash.finding.like.lanes import lanes
from underdash.finding.like.moments import sequences
from underdash.finding.like.reference import Reference
from underdash.finding.reading import heard_from

from ..made_up import BEGIN, drive


def test_a_higher_bit_that_belongs_does_not_take_others_along_that_stood_still() -> None:
    """Ten bits, and four bits above them a voltage that only moved before the first value of the reference."""
    grid = BEGIN + np.arange(0, 100, 0.05)
    rows = []
    for when, value in zip(grid.tolist(), np.rint(drive(grid) / 0.5 + 384).astype(int).tolist(), strict=True):
        voltage = 141 if when > BEGIN + 10 else 90 + int(10 * when) % 7
        rows.append(("drive", Frame(0x120, (value | voltage << 14).to_bytes(4, "little"), at=when)))
    (lane,) = lanes(heard_from(rows), ())
    (little,) = (one for one in sequences(4) if one.little)
    at = BEGIN + np.arange(15.0, 98.0, 3.0)
    signed = Rough(lane, little, 4, 5, True, 0.0, 0.01, len(at))
    found = heightened(signed, Reference("boost", at, drive(at)), Timing())
    assert (found.start, found.length, found.signed) == (4, 6, False)


def test_one_carry_shows_the_next_higher_bit_of_a_number_that_hardly_wraps() -> None:
    """A temperature that came past 64 before the first value of the reference, beside a flag that was set elsewhere."""
    grid = np.arange(0, 100, 0.05)
    temperature = np.rint(60 + grid / 2).astype(int)
    for flag, length in ((grid > 40, 7), (grid > 8, 7)):
        rows = [
            ("drive", Frame(0x120, (warm | int(set_) << 7).to_bytes(1), at=BEGIN + when))
            for when, warm, set_ in zip(grid.tolist(), temperature.tolist(), flag.tolist(), strict=True)
        ]
        (lane,) = lanes(heard_from(rows), ())
        little = next(one for one in sequences(1) if one.little)
        assert carried(Rough(lane, little, 0, 6, False, 0.0, 0.01, 20)).length == length
