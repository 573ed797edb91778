from __future__ import annotations

import contextlib
import errno
import gzip
import io
import os
import re
from collections import Counter
from pathlib import Path
from typing import Any

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.frames import Frame
from underdash.bus.trace import Trace, TraceError, TraceWriter, line_of, read_trace

RECORDINGS = Path(__file__).resolve().parents[3] / "shared" / "recordings"
needs_recordings = pytest.mark.skipif(not RECORDINGS.is_dir(), reason=f"no recordings at {RECORDINGS}")


def written(tmp_path: Path, text: str | bytes, name: str = "drive.log") -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    extended = draw(st.booleans())
    can_id = draw(st.integers(0, 0x1FFF_FFFF if extended else 0x7FF))
    at = draw(st.integers(0, 10**12)) / 1e6
    kind = draw(st.sampled_from(("data", "remote", "fd", "error")))
    if kind == "remote":
        return Frame(can_id, b"", extended, at, remote=True)
    if kind == "fd":
        return Frame(can_id, draw(st.binary(max_size=64)), extended, at, fd=True)
    if kind == "error":
        return Frame(draw(st.integers(0, 0x3FF)), draw(st.binary(min_size=8, max_size=8)), False, at, error=True)
    return Frame(can_id, draw(st.binary(max_size=8)), extended, at)


@given(st.lists(st.tuples(st.sampled_from(("drive", "comfort")), frames())))
def test_what_is_written_is_read_again(pairs: list[tuple[str, Frame]]) -> None:
    buffer = io.BytesIO()
    with TraceWriter(buffer, {"boot": "abc"}) as writer:
        for role, frame in pairs:
            writer.write(role, frame)
    trace = Trace(io.BytesIO(buffer.getvalue()), "memory")
    assert list(trace) == pairs
    assert trace.about == {"boot": "abc", "format": "1"}
    assert trace.half_written == 0


@given(frames().filter(lambda frame: not frame.error))
def test_the_librarys_reader_understands_our_lines(frame: Frame) -> None:
    message = next(iter(can.CanutilsLogReader(io.StringIO(line_of("drive", frame)))))
    assert message.arbitration_id == frame.id
    assert message.is_extended_id == frame.extended
    assert (message.is_remote_frame, message.is_fd) == (frame.remote, frame.fd)
    assert bytes(message.data) == frame.data
    assert message.timestamp == pytest.approx(frame.at, abs=1e-6)


def test_a_line_reads_as_the_trade_writes_it() -> None:
    assert line_of("drive", Frame(0x1A0, b"\x01\xff", at=12.5)) == "(12.500000) drive 1A0#01FF\n"
    assert line_of("drive", Frame(0x18DB33F1, b"", True, 0.0)) == "(0.000000) drive 18DB33F1#\n"


@pytest.mark.parametrize("cut", range(1, 30))
def test_a_trace_cut_off_anywhere_in_its_last_line_loses_only_that_line(tmp_path: Path, cut: int) -> None:
    buffer = io.BytesIO()
    with TraceWriter(buffer) as writer:
        for number in range(3):
            writer.write("drive", Frame(0x1A0, bytes((number,) * 4), at=number))
    path = written(tmp_path, buffer.getvalue()[:-cut])
    trace = read_trace(path)
    assert [frame.data[0] for _, frame in trace] == [0, 1]
    assert trace.half_written == (0 if cut == len("(2.000000) drive 1A0#02020202\n") else 1)


def test_a_foreign_trace_may_end_without_a_line_end(tmp_path: Path) -> None:
    trace = read_trace(written(tmp_path, "(1.0) can0 1A0#01\n(2.0) can0 1A0#02"))
    assert [frame.data for _, frame in trace] == [b"\x01", b"\x02"]
    trace = read_trace(written(tmp_path, "(1.0) can0 1A0#01\n(2.0) can0 1A0#0"))
    assert [frame.data for _, frame in trace] == [b"\x01"]
    assert trace.half_written == 1


@pytest.mark.parametrize(
    "line",
    [
        "(1.0) can0 1A0#012",
        "(1.0) can0 1A0#0102030405060708090A",
        "(1.0) can0 1A0",
        "(1.0) can0 8A0#00",
        "(1.0) can0 1A0A#00",
        "(1.0) can0 -A0#00",
        "(1.0) can0 1_0#00",
        "(1.0) can0 8A0#R",
        "(1.0) can0 C0000000#R",
        "(1.0) can0 20000040#010203040506070809",
        "(1.0) can0 1A0##0" + "00" * 65,
        "(1.0) can0 1A0#0G",
        "(1.0) 1A0#00",
        "1.0 can0 1A0#00",
        "(nan) can0 1A0#00",
        "(-1) can0 1A0#00",
        "nonsense",
        "\x00\x01\x02",
        "(1.0) can0 1A0#\u00e4\u00e4",
    ],
)
def test_a_line_that_is_no_frame_is_named_with_its_number(tmp_path: Path, line: str) -> None:
    path = written(tmp_path, f"# a remark\n\n(0.5) can0 1A0#00\n{line}\n(2.0) can0 1A0#00\n")
    trace = read_trace(path)
    next(trace)
    with pytest.raises(TraceError, match=re.escape(f"{path}, line 4:")):
        next(trace)


def test_a_bus_may_be_called_what_its_owner_likes() -> None:
    line = "(1.000000) b\u00fche 1A0#01\n".encode()
    ((role, frame),) = Trace([line], "any")
    assert line_of(role, frame).encode() == line


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_with_a_sentence(data: bytes) -> None:
    trace = Trace(io.BytesIO(data), "noise")
    with contextlib.suppress(TraceError):
        assert all(len(frame.data) <= 100 for _, frame in trace)


def test_a_packed_trace_is_read_and_one_cut_off_gives_what_it_has(tmp_path: Path) -> None:
    lines = b"".join(b"(%d.0) can0 1A0#%04X\n" % (number, number * 7919 % 65536) for number in range(5000))
    whole = gzip.compress(lines)
    assert sum(1 for _ in read_trace(written(tmp_path, whole, "a.log.gz"))) == 5000
    trace = read_trace(written(tmp_path, whole[: len(whole) // 2], "b.log.gz"))
    assert 0 < sum(1 for _ in trace) < 5000
    assert trace.half_written == 1


def test_a_trace_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match=r"missing\.log cannot be opened: No such file"):
        read_trace(tmp_path / "missing.log")
    with pytest.raises(TraceError, match="cannot be opened"):
        read_trace(tmp_path)
    damaged = bytearray(gzip.compress(os.urandom(4000)))
    damaged[200:260] = bytes(60)
    with pytest.raises(TraceError):
        list(read_trace(written(tmp_path, bytes(damaged), "damaged.log.gz")))


LINES = b"# underdash trace 1\n(1.0) can0 1A0#01\n(2.0) can0 1A0#02\n"


def test_what_is_in_a_file_counts_more_than_its_name(tmp_path: Path) -> None:
    for content, name in (
        (LINES, "plain.log.gz"), (gzip.compress(LINES), "packed.log"), (LINES, "lines.csv"), (LINES[20:], "lines.asc"),
    ):  # fmt: skip
        assert [frame.at for _, frame in read_trace(written(tmp_path, content, name))] == [1.0, 2.0]


def test_a_byte_order_mark_in_front_is_no_part_of_a_trace(tmp_path: Path) -> None:
    for content in (LINES, LINES[20:]):
        assert len(list(read_trace(written(tmp_path, b"\xef\xbb\xbf" + content)))) == 2
    with pytest.raises(TraceError, match=r"line 2: .*is no frame"):
        list(read_trace(written(tmp_path, b"# a\n\xef\xbb\xbf(1.0) can0 1A0#01\n")))


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_text_saved_as_utf_16_is_named_as_such(tmp_path: Path, encoding: str) -> None:
    with pytest.raises(TraceError, match=r"line [12]: there are zero bytes in it, as in text saved as UTF-16.*UTF-8"):
        list(read_trace(written(tmp_path, LINES.decode().encode(encoding))))


def test_lines_that_end_in_a_carriage_return_alone_are_told(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="its lines end in a carriage return alone; save it"):
        list(read_trace(written(tmp_path, LINES.replace(b"\n", b"\r"))))
    assert len(list(read_trace(written(tmp_path, LINES.replace(b"\n", b"\r\n"))))) == 2


@pytest.mark.parametrize(("half", "lost"), [(b"", 0), (b"(3.0) can0 1A0#0", 1), (b"# mark (3.", 1)])
def test_zeros_that_a_power_cut_leaves_at_the_end_are_no_half_line(tmp_path: Path, half: bytes, lost: int) -> None:
    trace = read_trace(written(tmp_path, LINES + half + bytes(5000)))
    assert len(list(trace)) == 2
    assert (trace.zeros, trace.half_written) == (5000, lost)


def test_a_file_of_another_kind_is_told_without_its_bytes(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match=r"^[ -~]*x89PNG\?\[31m\? 1 2' is no frame[ -~]*$"):
        list(read_trace(written(tmp_path, b"\x89PNG\x1b[31m\x07 1 2\r\nmore\n")))


def test_a_mark_at_no_time_is_left_out() -> None:
    trace = Trace([b"# mark (nan) a\n", b"# mark (-5) b\n", b"# mark (1e308) c\n", b"# mark (2.5) d\n"], "memory")
    assert list(trace) == []
    assert trace.marks == [(2.5, "d")]


def test_a_trace_of_a_newer_format_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="format 2"):
        list(read_trace(written(tmp_path, "# underdash trace 2\n")))


def test_marks_and_what_is_said_at_the_top_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    with TraceWriter(path, {"boot": "4f", "wall": "2026-01-02T03:04:05+00:00"}) as writer:
        writer.write("drive", Frame(1, b"", at=1.0))
        writer.mark("knock\nhere", 1.5)
        writer.flush(durable=True)
        assert writer.frames == 1
    trace = read_trace(path)
    assert len(list(trace)) == 1
    assert trace.about["wall"] == "2026-01-02T03:04:05+00:00"
    assert trace.marks == [(1.5, "knock here")]


def test_an_existing_trace_is_never_overwritten(tmp_path: Path) -> None:
    path = written(tmp_path, "")
    with pytest.raises(TraceError, match="another name"):
        TraceWriter(path)


@pytest.mark.parametrize("ending", [".asc", ".blf", ".csv", ".db", ".trc"])
def test_other_formats_are_read_through_the_library(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"drive{ending}"
    sent = [Frame(0x1A0, b"\x01\x02", at=1.0), Frame(0x18DB33F1, bytes(8), True, at=2.0)]
    with can.Logger(path) as logger:
        for frame in sent:
            logger(can.Message(frame.at, frame.id, frame.extended, data=frame.data, channel=1, is_rx=True, check=True))
    got = [frame for _, frame in read_trace(path)]
    assert [(frame.id, frame.data, frame.extended) for frame in got] == [(f.id, f.data, f.extended) for f in sent]


def test_another_format_that_is_broken_or_missing_is_told(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="no such file"):
        read_trace(tmp_path / "none.blf")
    with pytest.raises(TraceError, match="cannot be read"):
        list(read_trace(written(tmp_path, "timestamp,arbitration_id\nno such thing\n", "broken.csv")))
    (folder := tmp_path / "folder.csv").mkdir()
    with pytest.raises(TraceError, match=r"folder\.csv cannot be opened: it is no file"):
        read_trace(folder)


def expected_counts() -> dict[str, int]:
    """The frame counts the recordings' own table gives, by file."""
    counts: dict[str, int] = {}
    for line in (RECORDINGS / "README.md").read_text().splitlines() if RECORDINGS.is_dir() else []:
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) > 4 and (numbers := re.findall(r"\d[\d,]*", cells[3])):
            names = [cells[1].split(",")[0]]
            if len(numbers) == 2:
                names.append(names[0] + cells[1].split("...")[1])
            counts |= {name: int(number.replace(",", "")) for name, number in zip(names, numbers, strict=True)}
    return counts


@needs_recordings
@pytest.mark.parametrize("name", sorted(expected_counts()))
def test_recordings_have_as_many_frames_as_their_table_says_and_the_library_reads_the_same(name: str) -> None:
    path = RECORDINGS / f"{name}.log.gz"
    trace = read_trace(path)
    with gzip.open(path, "rt") as file:
        differing = Counter(
            (message.arbitration_id, bytes(message.data), message.is_extended_id, message.channel)
            != (frame.id, frame.data, frame.extended, channel)
            or abs(message.timestamp - frame.at) > 1e-6
            for message, (channel, frame) in zip(can.CanutilsLogReader(file), trace, strict=True)
        )
    print(f"{name}: {differing.total()} frames compared with the library's reader")
    assert differing == {False: expected_counts()[name]}
    assert trace.half_written == 0


class Full(io.FileIO):
    """A file on a full disk."""

    def write(self, data: Any, /) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_does_not_keep_the_file_open(tmp_path: Path) -> None:
    writer = TraceWriter(tmp_path / "drive.log")
    writer._file.close()
    disk = Full(tmp_path / "full.log", "wb")
    writer._file = io.BufferedWriter(disk)
    writer.write("drive", Frame(0x123, b"\x01"))
    with pytest.raises(OSError, match="No space left"):
        writer.close()
    assert disk.closed


@pytest.mark.parametrize("name", ["a.log", "a.csv", "a.blf"])
def test_a_file_of_zeros_is_refused_at_once(tmp_path: Path, name: str) -> None:
    with (path := tmp_path / name).open("wb") as file:
        file.truncate(1 << 32)
    with pytest.raises(TraceError, match="begins with zero bytes: power was cut before any of it was on the disk"):
        list(read_trace(path))


@pytest.mark.parametrize("after", [b"", b"(9.0) can0 123#01\n", bytes(10) + b"(9.0) can0 123#01\n"])
def test_many_zeros_at_the_end_are_read_in_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: bytes) -> None:
    monkeypatch.setattr("underdash.bus.trace.LONGEST_LINE", 64)
    trace = read_trace(written(tmp_path, LINES + bytes(640) + after))
    if after:
        with pytest.raises(TraceError, match="line 4: there are zero bytes in it"):
            list(trace)
        return
    assert len(list(trace)) == 2
    assert (trace.zeros, trace.half_written, trace.line) == (640, 0, 4)


def test_a_line_without_end_is_no_frame_before_all_of_it_is_read(tmp_path: Path) -> None:
    with (path := tmp_path / "a.log").open("wb") as file:
        file.write(b"A" * 3_000_000)
        file.truncate(1 << 32)
    with pytest.raises(TraceError, match=r"line 1: 'A+' is no frame"):
        list(read_trace(path))


@pytest.mark.parametrize("name", [bytes(40), b"\x1b[31m", b"can" + b"0" * 40])
def test_a_channel_has_a_name_that_can_be_shown(tmp_path: Path, name: bytes) -> None:
    with pytest.raises(TraceError, match="line 1: "):
        list(read_trace(written(tmp_path, b"(1.0) " + name + b" 1A0#01\n(2.0) can0 1A0#02\n")))


def test_a_damaged_packed_trace_is_told_without_a_line_that_it_does_not_have(tmp_path: Path) -> None:
    packed = gzip.compress(LINES * 50)
    with pytest.raises(TraceError, match=r"cannot be read: it is damaged \(.*\); copy it again$"):
        list(read_trace(written(tmp_path, packed[:10] + b"\xff" * 30, "a.log.gz")))


def test_what_is_packed_is_unpacked_before_a_pipe(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match=r"is packed by gzip; unpack what goes into a pipe \(zcat\)"):
        list(Trace(io.BytesIO(gzip.compress(LINES)), "pipe"))


def test_a_pipe_with_the_name_of_another_format_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(path := tmp_path / "a.blf")
    with pytest.raises(TraceError, match="it is no file"):
        read_trace(path)
