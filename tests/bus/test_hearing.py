from __future__ import annotations

from pathlib import Path

import pytest

from underdash.bus.frames import Frame
from underdash.bus.hearing import Hearing, told
from underdash.bus.trace import read_trace

RECORDINGS = Path(__file__).resolve().parents[3] / "shared" / "recordings"


def heard(*frames: Frame) -> Hearing:
    made = Hearing()
    for frame in frames:
        made.take(frame)
    return made


def steady(count: int, can_id: int = 0x3A6, period_s: float = 0.01, *, extended: bool = False) -> list[Frame]:
    return [Frame(can_id, bytes(8), extended, number * period_s) for number in range(count)]


def text(hearing: Hearing, seconds: float = 10.0, bitrate: int | None = 500_000) -> str:
    return "\n".join(told(hearing, seconds, bitrate))


ERROR_FRAME = Frame(0x88, bytes(8), error=True)
FD_FRAME = Frame(0x100, bytes(12), fd=True)


def test_frames_are_counted_by_kind_and_their_time_on_the_bus_added_up() -> None:
    hearing = heard(*steady(1000), ERROR_FRAME, FD_FRAME, Frame(0x7DF, b"", remote=True))
    assert (hearing.frames, hearing.errors, hearing.fd, hearing.remote) == (1000, 1, 1, 1)
    # ISO 11898-1: a frame of 11 bits of id with 8 bytes takes 111 bits with the space after it, stuffed 135 at most
    load = hearing.load(10.0, 500_000)
    assert load is not None
    assert 1000 * 111 / 5e6 <= load <= 1000 * 135 / 5e6
    assert hearing.load(10.0, None) is None


def test_a_good_bus_is_told_with_ids_periods_load_and_the_next_step() -> None:
    said = text(heard(*steady(1000), *steady(10, 0x18FF_0001, 1.0, extended=True), Frame(0x500, b"")))
    assert "1011 frames in 10 s from 3 ids (2 of 11 bits and 1 of 29 bits)" in said
    assert "% of the bus's time" in said
    assert "2 of the ids come steadily, every 10 ms to 1.0 s; 1 now and then" in said
    assert "no error frame: the bit rate is right" in said
    assert "next: record a drive" in said


def test_few_frames_are_no_proof() -> None:
    assert "200 frames are needed for proof" in text(heard(*steady(20)))


def test_a_tester_is_named_by_the_standards_ids() -> None:
    both = heard(*steady(300), Frame(0x7DF, bytes(8)), Frame(0x7E8, bytes(8)))
    assert "a tester asks on 7DF, and units answer on 7E8" in text(both)
    wide = heard(*steady(300), Frame(0x18DB33F1, bytes(8), True), Frame(0x18DAF110, bytes(8), True))
    assert "a tester asks on 18DB33F1, and units answer on 18DAF110" in text(wide)
    assert "nobody answers" in text(heard(*steady(300), Frame(0x7E0, bytes(8))))
    assert "not heard here" in text(heard(*steady(300), Frame(0x7E9, bytes(8))))
    assert "no tester asks" in text(heard(*steady(300)))


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        ([], "nothing in 10 s: the bus is asleep, a gateway keeps it silent"),
        ([ERROR_FRAME] * 30, "only error frames, 30 in 10 s: the bit rate is wrong"),
        ([FD_FRAME] * 30, "30 FD frames and no classic one"),
        ([Frame(0x123, b"", remote=True)] * 30, "only remote frames, 30 in 10 s"),
        ([*steady(500), ERROR_FRAME], "1 error frames among good ones"),
        ([*steady(500), FD_FRAME], "1 frames are FD"),
    ],
)
def test_what_is_not_as_it_should_be_is_told(frames: list[Frame], said: str) -> None:
    assert said in text(heard(*frames))


def test_errors_among_good_frames_are_never_called_proof() -> None:
    assert "rate is right" not in text(heard(*steady(500), ERROR_FRAME))


def test_a_trace_proves_nothing_about_a_bus() -> None:
    assert "rate is right" not in "\n".join(told(heard(*steady(500)), 5.0, None, live=False))
    assert "asleep" not in "\n".join(told(heard(), 5.0, None, live=False))


@pytest.mark.skipif(not RECORDINGS.is_dir(), reason=f"no recordings in {RECORDINGS}")
@pytest.mark.parametrize(
    ("name", "frames", "wide"),
    [("truck_idle", 45_571, True), ("suv_highway", 53_800, False), ("hatch_b_diagnostic_scan", 1_845, False)],
)
def test_recordings_of_real_cars_are_counted_as_their_list_says(name: str, frames: int, wide: bool) -> None:
    hearing = Hearing()
    for _, frame in read_trace(RECORDINGS / f"{name}.log.gz"):
        hearing.take(frame)
    narrow_ids, wide_ids = hearing.ids()
    assert hearing.frames == frames
    assert bool(wide_ids) is wide
    assert bool(narrow_ids) is not wide
    assert bool(hearing.requests) is (name == "hatch_b_diagnostic_scan")
