from __future__ import annotations

from underdash.bus.frames import Frame
from underdash.finding.drafting import draft
from underdash.finding.heard import Heard
from underdash.finding.reading import heard_from


def heard() -> Heard:
    def periodic(can_id: int, period: float, length: int = 8, begin: float = 0.0) -> list[tuple[str, Frame]]:
        times = [begin + n * period for n in range(int((60.0 - begin) / period))]
        return [("can0", Frame(can_id, bytes(length), at=at)) for at in times]

    frames = [*periodic(0x100, 0.01), *periodic(0x101, 0.01), *periodic(0x200, 0.1, 2), *periodic(0x300, 1.0, 4)]
    frames += periodic(0x400, 0.02, begin=30.0)  # not from the beginning
    frames += [("can0", Frame(0x500, bytes([n % 7]), at=at)) for n, at in enumerate((1.0, 9.0, 9.3, 40.0, 41.0, 58.0))]
    frames += [("can0", Frame(0x600, bytes(1 + n % 2), at=0.1 * n)) for n in range(600)]  # two lengths
    frames += [("other", Frame(0x700, b"", at=30.0))]
    counting = [("can0", Frame(0x1B4, bytes([n % 16, 7, 0]), at=0.05 * n)) for n in range(1200)]
    return heard_from(sorted([*frames, *counting], key=lambda pair: pair[1].at), {"can0": "drive"})


def test_a_car_is_recognised_by_frames_of_different_pace_that_are_always_there() -> None:
    car, _ = draft(heard(), "mine", "Mine", {"drive": 500_000})
    assert [(one.id, one.length, one.period_s) for one in car.fingerprint] == [
        (0x100, 8, 0.01),
        (0x1B4, 3, 0.05),
        (0x200, 2, 0.1),
    ]
    assert [(bus.role, bus.bitrate) for bus in car.buses] == [("drive", 500_000)]


def test_each_frame_is_told_in_a_line() -> None:
    _, lines = draft(heard(), "mine", "Mine", {"drive": 500_000})
    assert lines[0] == "What the recording says, frame by frame:"
    assert "drive 1B4: every 50 ms, 3 bytes, counts in byte 0 bits 0 to 3, nothing else moved" in lines
    assert "drive 500: 6 times, not by the clock, 1 bytes, 3 other bits moved" in lines
    assert not any("700" in line for line in lines)


def asked(request: int, answer: int, at: float, number: int) -> list[tuple[str, Frame]]:
    """One exchange of service 22."""
    identifier = bytes((0xF4, number % 3))
    return [
        ("can0", Frame(request, b"\x03\x22" + identifier + bytes(4), at=at)),
        ("can0", Frame(answer, b"\x04\x62" + identifier + bytes((number & 0xFF, 0, 0)), at=at + 0.01)),
    ]


def test_what_a_tester_asks_and_is_answered_is_nothing_to_recognise_a_car_by() -> None:
    """On the ids of the standard, on others, and where only the answers of the standard's ids were recorded."""
    frames = [("can0", Frame(0x300, bytes(4), at=float(n))) for n in range(60)]
    for number in range(300):
        at = 0.2 * number
        frames += [*asked(0x7E0, 0x7E8, at, number), *asked(0x6A1, 0x6B4, at + 0.05, number)]
        frames.append(("can0", Frame(0x7EA, bytes(8), at=at + 0.1)))
    car, lines = draft(heard_from(sorted(frames, key=lambda one: one[1].at), {"can0": "drive"}), "m", "M", {"drive": 1})
    assert [one.id for one in car.fingerprint] == [0x300]
    told = [line for line in lines if line.endswith(", a tester's or a unit's answer to it")]
    assert [line[:9] for line in told] == ["drive 6A1", "drive 6B4", "drive 7E0", "drive 7E8", "drive 7EA"]
