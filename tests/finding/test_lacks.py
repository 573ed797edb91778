from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from, read_heard

from .conftest import written

LEFT_OUT = "frames left out, since only data frames of classic CAN are searched"


def every_10_ms(seconds: Iterable[tuple[float, float]]) -> Heard:
    """An id every 10 ms in these stretches, one beside it that comes when it likes."""
    frames = [("drive", Frame(0x100, b"\0", at=a + 0.01 * n)) for a, b in seconds for n in range(round((b - a) * 100))]
    return heard_from([*frames, ("drive", Frame(0x200, b"\0", at=frames[-1][1].at))])


def test_a_whole_recording_lacks_nothing() -> None:
    assert every_10_ms([(5.0, 9.0)]).remarks == ()


def test_silence_of_all_buses_is_told_with_its_times() -> None:
    (said,) = every_10_ms([(5.0, 9.0), (9.7, 12.0), (40.0, 41.0)]).remarks
    assert said.startswith("nothing was heard on any bus for 0.7 s from second 4.0 and 28.0 s from second 7.0:")


def test_many_silences_are_counted() -> None:
    (said,) = every_10_ms([(2.0 * n, 2.0 * n + 1.0) for n in range(9)]).remarks
    assert " and 3 more:" in said


def test_frames_that_come_when_they_like_make_no_silence() -> None:
    """Silence is only told by an id that is sent regularly."""
    times = [0.0, 0.01, 0.02, 5.0, 5.01, 9.0] + [10.0 + n * n for n in range(30)]
    assert heard_from([("drive", Frame(0x700, b"\0", at=at)) for at in times]).remarks == ()


def test_a_clock_that_went_back_leaves_the_largest_piece() -> None:
    frames = [("drive", Frame(0x100, b"\x01", at=50.0 + n)) for n in range(3)]
    frames += [("drive", Frame(0x100, b"\x02", at=10.0 + n)) for n in range(5)]
    frames += [("comfort", Frame(0x200, b"\x03", at=1.0 + n)) for n in range(4)]
    heard = heard_from(frames)
    assert [(str(one), one.at.tolist()) for one in heard] == [("drive 100", [10.0, 11.0, 12.0, 13.0, 14.0])]
    assert (heard.begin, heard.end) == (10.0, 14.0)
    assert heard.remarks == (
        "the clock went back or leapt 2 times, so times before and after do not compare: only the largest of the 3 "
        "pieces is searched, lines 4 to 8 with 5 of 12 data frames; cut the trace there to search the others",
    )


def test_marks_belong_to_the_piece_in_which_they_were_set(tmp_path: Path) -> None:
    text = "# mark (50.5) first\n(50.0) can0 100#01\n(51.0) can0 100#01\n# mark (50.7) second\n"
    later = "(1.0) can0 100#02\n# mark (1.5) third\n(2.0) can0 100#02\n(3.0) can0 100#02\n# mark (50.6) fourth\n"
    assert read_heard(written(tmp_path, text + later)).marks == ((1.5, "third"), (50.6, "fourth"))
    assert read_heard(written(tmp_path, text + later[:18])).marks == ((50.5, "first"), (50.7, "second"))


def test_a_clock_that_leaps_by_years_begins_another_piece() -> None:
    """A board without a clock of its own is told the time once it has a network."""
    at = [1.0, 2.0, 1.7e9, 1.7e9 + 1, 1.7e9 + 2]
    heard = heard_from([("drive", Frame(0x100, b"\0", at=one)) for one in at])
    assert heard.begin == 1.7e9
    assert "lines 3 to 5 with 3 of 5 data frames" in heard.remarks[0]


def test_frames_of_two_interfaces_a_little_out_of_order_are_put_in_order() -> None:
    heard = heard_from([("drive", Frame(0x100, bytes([n]), at=at)) for n, at in enumerate((1.0, 1.02, 1.01, 1.03))])
    (one,) = heard.streams
    assert (one.at.tolist(), one.data[:, 0].tolist()) == ([1.0, 1.01, 1.02, 1.03], [0, 2, 1, 3])
    assert heard.remarks == ()


def test_frames_with_one_time_are_counted() -> None:
    heard = heard_from([("drive", Frame(0x100, b"\0", at=at)) for at in (1.0, 1.0, 2.0, 2.0, 2.0, 3.0)])
    assert heard.remarks == (
        "frames with the same time as the one of their id before: 3; the clock is coarse, or they were recorded twice",
    )


def test_a_few_frames_with_one_time_are_not_worth_a_word() -> None:
    at = [1.0, *(1.0 + n for n in range(200))]
    assert heard_from([("drive", Frame(0x100, b"\0", at=one)) for one in at]).remarks == ()


def test_a_clock_that_stands_is_told() -> None:
    heard = heard_from([("drive", Frame(can_id, b"\0", at=1.0)) for can_id in (1, 2, 3)])
    assert heard.remarks == (
        "all frames carry the same time, so nothing can be told about when: record again with times",
    )


def test_only_error_frames_point_at_the_wiring() -> None:
    heard = heard_from([("drive", Frame(0x8, b"\0" * 8, at=float(n), error=True)) for n in range(7)])
    assert (heard.streams, heard.end) == ((), 6.0)
    assert heard.remarks == (
        f"{LEFT_OUT}: 7 error; so many errors mean a wrong rate, a bad contact or swapped wires: "
        "see `underdash listen`, record again",
    )


def test_frames_of_every_other_kind_are_counted() -> None:
    frames = [Frame(0x100, b"\0", at=1.0), Frame(0x100, b"\0", at=2.0)]
    frames += [Frame(0x101, b"", at=3.0, remote=True), Frame(0x102, b"\0" * 12, at=4.0, fd=True)]
    frames += [Frame(0x8, b"", at=5.0, error=True), Frame(0x102, b"\0" * 12, at=6.0, fd=True)]
    assert heard_from([("drive", frame) for frame in frames]).remarks == (f"{LEFT_OUT}: 1 error, 1 remote and 2 FD",)


def test_one_frame_is_too_few() -> None:
    (said,) = heard_from([("drive", Frame(0x100, b"\0", at=1.0))]).remarks
    assert said == "there is one data frame only, so nothing can be seen to change: record for longer"


def test_half_a_line_is_left_out_and_told(tmp_path: Path) -> None:
    heard = read_heard(written(tmp_path, "(1.0) can0 100#01\n(2.0) can0 100#01\n(3.0) can0 100#0"))
    assert heard.frames == 2
    assert heard.remarks == (
        "the trace was cut off while it was written or copied: its last line is half there and was left out",
    )


@pytest.mark.parametrize(("ids", "more"), [(1, ""), (7, " and 2 more")])
def test_ids_that_change_their_length_are_named(ids: int, more: str) -> None:
    frames = [Frame(0x100 + n, b"\0" * size, at=1.0 + step) for n in range(ids) for step, size in ((0, 8), (0.05, 3))]
    (said,) = heard_from([("drive", frame) for frame in frames]).remarks
    assert said.startswith("frames change their length on drive 100 (3 to 8 bytes)")
    assert said.endswith(f"{more}: bytes that a frame lacks read as 0")


def test_nothing_at_all_has_nothing_to_say() -> None:
    assert heard_from([]).remarks == ()
