from __future__ import annotations

import gzip
import os
from collections.abc import Callable
from pathlib import Path

import can
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceError, TraceWriter, UnreadableTraceError, read_trace
from underdash.bus.trace_lacks import zeros
from underdash.finding import reading
from underdash.finding.columns import MOST_IDS
from underdash.finding.heard import Heard
from underdash.finding.reading import PIECE, _blocks, heard_from, read_heard, sha256_of

from .conftest import written

STAMPS = ("{}", "{}.5", "{}.500000", "000{}.123456", "{}.1234567890123456", "{}.123456789", "{}.25e0", "0_{}.0")
CHANNELS = (b"can0", b"can1", b"vcan10", b"drive", b"\xffx")
DATA = (b"", b"00", b"A5FF", b"a5Ff", b"0102030405060708")
ODD_DATA = (b"R", b"R4", b"#3AABBCC", b"#0" + b"11" * 64, b"0", b"GG", b"010203040506070809", b"#", b"+1")
IDS = (b"1A4", b"7FF", b"000", b"00000123", b"1FFFFFFF", b"20000080", b"8A1", b"FFFFFFFF", b"12", b"1G4", b"+12")
ENDS = (b"\n", b"\r\n", b" R\n", b"  T extra\n", b"\t\n")
OTHERS = (
    b"# mark (2.5) menu\n", b"# mark (x) menu\n", b"# version: 1\n", b"#\n", b"\n", b"  \n", b"()\n", b"(\n",
    b"# underdash trace 1\n", b"  (%d.0) can0 123#01\n", b"(%d.0)  can0\t123#02\n", b"no frame\n", b"(%d.0) can0 123#0",
    b"# " + b"x" * 300 + b"\n", b"#(1.0) can0 123#01\n",
)  # fmt: skip


@st.composite
def lines(draw: st.DrawFn) -> bytes:
    """A trace of mostly plain lines; times grow, whatever they are written like."""
    out = []
    usual = st.sampled_from(STAMPS[2:4])
    for second in range(draw(st.integers(0, 25))):
        kind = draw(st.sampled_from(("plain",) * 8 + ("odd", "other")))
        if kind == "other":
            other = draw(st.sampled_from(OTHERS))
            out.append(other % second if b"%" in other else other)
            continue
        odd = kind == "odd"
        stamp = draw(st.sampled_from(STAMPS) if odd else usual).format(second).encode()
        name = draw(st.sampled_from(IDS if odd else IDS[:5]))
        data = draw(st.sampled_from((*DATA, *ODD_DATA) if odd else DATA))
        end = draw(st.sampled_from(ENDS) if odd else st.just(b"\n"))
        out.append(b"(" + stamp + b") " + draw(st.sampled_from(CHANNELS)) + b" " + name + b"#" + data + end)
    text = b"".join(out)
    return text[: len(text) - draw(st.integers(0, 3))] if draw(st.booleans()) else text


def one_by_one(path: Path) -> Heard:
    """What a reader of single lines makes of it."""
    trace = read_trace(path)
    found = heard_from(trace)
    half = ("half",) if trace.half_written else ()
    return Heard(
        found.streams, found.begin, found.end, tuple(sorted(trace.marks)), (*found.remarks, *half), about=trace.about
    )


def same(one: Heard, other: Heard) -> bool:
    return (
        [(s.bus, s.id, s.extended) for s in one] == [(s.bus, s.id, s.extended) for s in other]
        and all(
            np.array_equal(a.at, b.at) and np.array_equal(a.length, b.length) and np.array_equal(a.data, b.data)
            for a, b in zip(one, other, strict=True)
        )
        and (one.begin, one.end, one.marks, dict(one.about)) == (other.begin, other.end, other.marks, dict(other.about))
        and len(one.remarks) == len(other.remarks)
        and all(a == b or (b == "half" and "half there" in a) for a, b in zip(one.remarks, other.remarks, strict=True))
    )


def outcome(read: Callable[[Path], Heard], path: Path) -> Heard | str:
    try:
        return read(path)
    except TraceError as exc:
        return str(exc)


@pytest.fixture(params=[7, 64, 1 << 20])
def block(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    size: int = request.param
    monkeypatch.setattr(reading, "BLOCK", size)
    monkeypatch.setattr(reading, "PIECE", min(size, reading.PIECE))
    return size


@pytest.mark.parametrize("packed", [False, True], ids=["plain", "gz"])
def test_blocks_and_single_lines_read_the_same_and_fail_the_same(
    block: int, packed: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("traces")

    @given(lines())
    def check(text: bytes) -> None:
        path = folder / ("a.log.gz" if packed else "a.log")
        path.write_bytes(gzip.compress(text, 1) if packed else text)
        expected, found = outcome(one_by_one, path), outcome(read_heard, path)
        if isinstance(expected, str) or isinstance(found, str):
            assert found == expected
        else:
            assert same(found, expected)

    check()


@pytest.mark.parametrize("lost", [1, 9, 40, 400])
def test_a_packed_trace_that_was_cut_off_is_read_as_far_as_it_goes(block: int, lost: int, tmp_path: Path) -> None:
    text = b"".join(b"(%d.000001) can0 %03X#%02X\n" % (n, n * 7 % 0x7FF, n & 0xFF) for n in range(500))
    path = tmp_path / "a.log.gz"
    path.write_bytes(gzip.compress(text)[:-lost])
    expected, found = one_by_one(path), read_heard(path)
    assert found.frames == expected.frames > 100
    assert same(found, expected)


def test_a_damaged_packed_trace_tells_after_which_line(tmp_path: Path) -> None:
    text = b"".join(b"(%d.000001) can0 %03X#%02X\n" % (n, n * 7 % 0x7FF, n & 0xFF) for n in range(500))
    damaged = bytearray(gzip.compress(text))
    damaged[len(damaged) // 2 : len(damaged) // 2 + 40] = b"\xff" * 40
    (path := tmp_path / "a.log.gz").write_bytes(bytes(damaged))
    with pytest.raises(TraceError) as one:
        list(read_trace(path))
    with pytest.raises(TraceError) as other:
        read_heard(path)
    assert str(one.value) == str(other.value)


def test_everything_about_a_recording_comes_along(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    with TraceWriter(path, {"boot": "b00t"}) as trace:
        trace.write("can0", Frame(0x123, b"\x01\x02", at=5.0))
        trace.mark("menu", 5.5)
        trace.write("can0", Frame(0x123, b"\x01", at=6.0))
        trace.write("can1", Frame(0x18DAF110, b"", extended=True, at=7.0))
    heard = read_heard(path, {"can0": "drive"})
    assert [(str(one), one.at.tolist(), one.length.tolist(), one.data.tolist()) for one in heard] == [
        ("can1 18DAF110", [7.0], [0], [[]]),
        ("drive 123", [5.0, 6.0], [2, 1], [[1, 2], [1, 0]]),
    ]
    assert (heard.trace, heard.sha256, heard.marks) == ("drive.log", sha256_of(path), ((5.5, "menu"),))
    assert heard.about == {"format": "1", "boot": "b00t"}


def test_two_channels_can_be_one_bus(tmp_path: Path) -> None:
    path = written(tmp_path, "(1.0) can0 123#01\n(2.0) drive 123#02\n")
    heard = read_heard(path, {"can0": "drive"})
    assert [str(one) for one in heard] == ["drive 123"]
    assert heard.remarks == ("the channels can0 and drive of the trace are searched as one bus, drive",)
    assert read_heard(path).remarks == ()


def test_formats_of_other_programs_are_read_frame_by_frame(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with can.CSVWriter(path) as writer:
        writer.on_message_received(
            can.Message(timestamp=0.5, arbitration_id=0x123, is_extended_id=False, data=b"\x01\x02")
        )
    (one,) = read_heard(path).streams
    assert (one.id, one.at.tolist(), one.data.tolist()) == (0x123, [0.5], [[1, 2]])


def test_how_far_reading_is_goes_up_to_the_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "BLOCK", 1000)
    monkeypatch.setattr(reading, "PIECE", 1000)
    path = written(tmp_path, "".join(f"({n}.000000) can0 123#01\n" for n in range(2000)))
    shares: list[float] = []
    read_heard(path, progress=shares.append)
    assert len(shares) > 10
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_a_trace_that_would_fill_the_memory_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MOST_FRAMES", 3)
    with pytest.raises(TraceError, match="more than 0 million frames"):
        read_heard(written(tmp_path, "".join(f"({n}.0) can0 123#01\n" for n in range(4))))
    with pytest.raises(TraceError, match="cut it"):
        heard_from([("can0", Frame(1, b"", at=float(n))) for n in range(4)])


def test_buses_with_different_clocks_in_one_file_are_refused(tmp_path: Path) -> None:
    lines = [f"({(5000 if n % 2 else 1000) + n / 1000:.6f}) can{n % 2} 123#01\n" for n in range(3000)]
    with pytest.raises(
        TraceError, match="buses with different clocks were put into one file; keep the lines of one bus"
    ):
        read_heard(written(tmp_path, "".join(lines)))


def test_buses_that_are_fetched_in_turn_are_one_piece() -> None:
    """Each interface's frames are written in one go: their stamps begin before the end of the other's."""
    frames = []
    for turn in range(20):
        for bus in ("can0", "can1"):
            frames += [(bus, Frame(0x10, bytes([turn]), at=100 + 0.4 * turn + 0.02 * n)) for n in range(20)]
    heard = heard_from(frames)
    assert heard.remarks == ()
    assert [len(stream) for stream in heard] == [400, 400]
    assert all((np.diff(stream.at) >= 0).all() for stream in heard)


def test_a_trace_that_begins_with_a_byte_mark_and_ends_in_zeros_is_read(tmp_path: Path) -> None:
    path = tmp_path / "cut.log"
    path.write_bytes(b"\xef\xbb\xbf(1.0) can0 123#01\n(2.0) can0 123#02\n(3.0) can0 12" + bytes(1000))
    heard = read_heard(path)
    assert heard.frames == 2
    assert any("ends in 1000 zero bytes, as where power was cut" in remark for remark in heard.remarks)
    path.write_bytes(b"# mark (1.0) menu\n" + bytes(1000))
    assert read_heard(path).remarks == (zeros(1000),)


def test_a_trace_that_goes_on_in_zeros_is_read_in_bounded_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("underdash.finding.reading.BLOCK", 64)
    monkeypatch.setattr("underdash.finding.reading.LONGEST_LINE", 256)
    path = tmp_path / "cut.log"
    path.write_bytes(b"(1.0) can0 123#01\n(2.0) can0 123#02\n" + bytes(100_000))
    with path.open("rb") as file:
        longest = max(map(len, _blocks(file)))
    assert longest <= 64 + 256 + 2 * PIECE
    heard = read_heard(path)
    assert (heard.frames, heard.remarks[-1]) == (2, zeros(100_000))


def test_a_trace_from_a_pipe_is_refused_before_it_is_read(tmp_path: Path) -> None:
    os.mkfifo(path := tmp_path / "pipe.log")
    with pytest.raises(UnreadableTraceError, match=r"is a pipe or a device, .*write it to a file first"):
        read_heard(path)


def test_noise_of_thousands_of_ids_is_refused() -> None:
    frames = [("can0", Frame(n, b"\1", True, at=n / 1000)) for n in range(MOST_IDS + 1)]
    assert len(heard_from(frames[1:]).streams) == MOST_IDS
    with pytest.raises(UnreadableTraceError, match=f"there are {MOST_IDS + 1} different ids in the trace, as in noise"):
        heard_from(frames)
