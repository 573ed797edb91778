from __future__ import annotations

import struct

import numpy as np

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, Coding, Select
from underdash.finding.found import Where
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from
from underdash.finding.series import Series, series_of


def heard(*payloads: bytes) -> Heard:
    return heard_from([("drive", Frame(0x10, data, at=0.5 * n)) for n, data in enumerate(payloads)])


def values(found: Series | None) -> list[float]:
    assert found is not None
    return [float(one) for one in found.value]


def test_a_place_is_read_in_its_coding() -> None:
    one = heard(b"\xff\x12", b"\x01\x99")
    assert values(series_of(one, Where("drive", 0x10, False, Bits(0)))) == [255, 1]
    assert values(series_of(one, Where("drive", 0x10, False, Bits(0), Coding.SIGNED))) == [-1, 1]
    assert values(series_of(one, Where("drive", 0x10, False, Bits(1), Coding.BCD))) == [12, 99]
    floats = heard(struct.pack(">f", 1.5), b"\x7f\xc0\0\0")
    found = values(series_of(floats, Where("drive", 0x10, False, Bits(0, 32), Coding.FLOAT)))
    assert found[0] == 1.5
    assert np.isnan(found[1])


def test_frames_too_short_or_of_another_multiplexer_value_are_left_out() -> None:
    one = heard(b"\x01\x0a", b"\x02\x0b", b"\x01", b"\x01\x0c")
    inner = Select(Bits(0, 4, 3), (1,))
    found = series_of(one, Where("drive", 0x10, False, Bits(1), select=Select(Bits(0), (1, 3), inner)))
    assert found is not None
    assert (found.at.tolist(), found.value.tolist(), found.period_s) == ([0.0, 1.5], [10, 12], None)


def test_a_place_that_was_not_heard_is_none() -> None:
    one = heard(b"\x01")
    assert series_of(one, Where("drive", 0x11, False, Bits(0))) is None
    assert series_of(one, Where("comfort", 0x10, False, Bits(0))) is None
    assert series_of(one, Where("drive", 0x10, False, Bits(1))) is None
    assert series_of(one, Where("drive", 0x10, False, Bits(0), select=Select(Bits(7), (1,)))) is None
