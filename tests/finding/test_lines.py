from __future__ import annotations

import pytest

from underdash.bus.frames import EXTENDED, Frame
from underdash.finding.lines import BUS_SHIFT, DATA, ERROR, FD, NOTHING, REMOTE, Buses, Rows, rows_of


@pytest.mark.parametrize(
    "stamp",
    ["0.000001", "1953.613500", "1700000000.123456", "9007199254.740991", "1.5", "123456789012345.6", "7.123456789"],
)
def test_a_time_is_the_same_number_as_python_reads(stamp: str) -> None:
    rows = rows_of(f"({stamp}) can0 123#01\n".encode(), Buses())
    if float(stamp) < 1e12:
        assert rows.kind.tolist() == [DATA]
        assert rows.at.tolist() == [float(stamp)]
    else:
        assert rows.kind.tolist() == [NOTHING]


@pytest.mark.parametrize(
    "line",
    [
        "(9007199254.740993) can0 123#01\n",  # as a whole number it is no float any more
        "(9999999999.99999999) can0 123#01\n",
        "(9999999999.999999999) can0 123#01\n",
        "(1000000000000.0) can0 123#01\n",
        "(1.0) can0 800#01\n",
        "(1.0) can0 20000000#01\n",
        "(1.0) can0 123#01",
        "(1.0) can0 123#0\n",
        "(1.0)  can0 123#01\n",
        "(1) can0 123#01\n",
        "# mark (1.0) menu\n",
        "\n",
        "(",
    ],
)
def test_what_is_no_plain_line_is_left_alone(line: str) -> None:
    rows = rows_of(("(1.0) can0 123#01\n" + line).encode(), Buses())
    assert rows.kind.tolist() == [DATA, NOTHING]
    assert rows.starts.tolist() == [0, 18, 18 + len(line)]


def test_lines_of_every_shape_are_read_side_by_side() -> None:
    buses = Buses({"can1": "comfort"})
    text = "(1.0) can0 123#\n(2.0) can1 00000123#0102\n(3.0) can0 7FF#a5FF0000000000FF R\n(4.0) can0 124#\n"
    rows = rows_of(text.encode(), buses)
    assert buses.names == ["can0", "comfort"]
    assert (rows.key & ((1 << BUS_SHIFT) - 1)).tolist() == [0x123, 0x123 | EXTENDED, 0x7FF, 0x124]
    assert (rows.key >> BUS_SHIFT).tolist() == [0, 1, 0, 0]
    assert rows.length.tolist() == [0, 2, 8, 0]
    assert rows.data[1].tolist() == [1, 2, 0, 0, 0, 0, 0, 0]
    assert rows.data[2].tolist() == [0xA5, 0xFF, 0, 0, 0, 0, 0, 0xFF]


def test_many_odd_lines_of_one_length_do_not_keep_the_rest_from_being_read_one_by_one() -> None:
    odd = "".join(f"(1.0)\tcan0 {n:03X}#01\n" for n in range(20))
    rows = rows_of((odd + "(1.0) can0 123#01\n").encode(), Buses())
    assert rows.kind.tolist() == [NOTHING] * 21  # slower, never wrong


def test_frames_that_carry_nothing_searched_are_rows_of_their_kind() -> None:
    import numpy as np

    rows = Rows.empty(np.arange(6))
    for row, frame in enumerate(
        (
            Frame(1, b"", remote=True), Frame(2, b"", error=True), Frame(3, b"", fd=True),
            Frame(4, b"\1" * 12), Frame(5, b"\1\2", extended=True, at=3.0),
        )
    ):  # fmt: skip
        rows.put(row, 2, frame)
    assert rows.kind.tolist() == [REMOTE, ERROR, FD, FD, DATA]
    assert (rows.key[4], rows.length[4], rows.at[4]) == (2 << BUS_SHIFT | EXTENDED | 5, 2, 3.0)
