from __future__ import annotations

import numpy as np

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder
from underdash.finding.like.lanes import lanes, says, selectors
from underdash.finding.reading import heard_from

from ..frames import columns


def test_a_multiplexer_is_told_from_a_counter() -> None:
    chance = np.random.default_rng(1)
    quiet = np.cumsum(chance.integers(-4, 5, (3, 100)), axis=1) + np.array([[50], [130], [210]])
    turns = [n % 3 for n in range(300)]
    shown = [int(quiet[n % 3, n // 3]) for n in range(300)]
    found = selectors(columns(turns, shown, [7] * 300))
    assert found[0][0] == Bits(0, 8, 0, ByteOrder.LITTLE)
    steady = np.cumsum(chance.integers(-1, 2, 300)) + 100
    assert selectors(columns([n % 16 for n in range(300)], steady.tolist())) == []


def test_an_id_is_searched_whole_and_by_its_multiplexer() -> None:
    rows = [bytes((n % 2, 100 * (n % 2) + n // 2)) for n in range(200)]
    heard = heard_from([("drive", Frame(0x10, data, at=0.1 * n)) for n, data in enumerate(rows)])
    found = list(lanes(heard))
    assert [(one.select.values if one.select else None, len(one)) for one in found[:3]] == [
        (None, 200), ((0,), 100), ((1,), 100),
    ]  # fmt: skip
    assert list(lanes(heard, (("drive", 0x10, False),))) == []


def test_a_byte_that_is_not_there_yet_says_nothing() -> None:
    volts = [0] * 5 + [120 + n % 14 for n in range(40)]
    speed = [0] * 5 + list(range(1, 41))
    assert says(np.array([volts, speed], dtype=np.uint8).T).tolist() == [False] * 5 + [True] * 40
    assert says(np.array([speed], dtype=np.uint8).T).all()
