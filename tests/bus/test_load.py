from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.load import LoadMeter, frame_bits, key_bits, worst_bits

# lengths computed by an independent program from the same rules (CRC-15 0x4599, interframe space included)
VECTORS = [
    ("07C", "1F0F0F0F0F0F0F0F", 131),
    ("7E8", "04410C1AF8AAAAAA", 117),
    ("7DF", "02010C0000000000", 123),
    ("7DF", "02010CCCCCCCCCCC", 115),
    ("7DF", "02010C5555555555", 115),
    ("7DF", "02010CAAAAAAAAAA", 115),
    ("18DB33F1", "02010CAAAAAAAAAA", 134),
]


def bit_by_bit(frame: Frame) -> int:
    """The same length, the slow way: every bit by itself."""
    name = f"{frame.id:029b}" if frame.extended else f"{frame.id:011b}"
    remote = str(int(frame.remote))
    head = f"0{name[:11]}11{name[11:]}{remote}00" if frame.extended else f"0{name}{remote}00"
    bits = head + f"{len(frame.data):04b}" + ("" if frame.remote else "".join(f"{byte:08b}" for byte in frame.data))
    crc = 0
    for bit in bits:
        crc = (crc << 1 ^ (0x4599 if int(bit) ^ crc >> 14 & 1 else 0)) & 0x7FFF
    stuffed, run, last = 0, 0, ""
    for bit in bits + f"{crc:015b}":
        run = run + 1 if bit == last else 1
        last = bit
        if run == 5:
            stuffed += 1
            last, run = "10"[int(bit)], 1
    return len(bits) + 15 + stuffed + 13


@pytest.mark.parametrize(("name", "data", "bits"), VECTORS)
def test_lengths_agree_with_known_ones(name: str, data: str, bits: int) -> None:
    assert frame_bits(Frame(int(name, 16), bytes.fromhex(data), len(name) > 3)) == bits


@given(st.integers(0, 0x1FFF_FFFF), st.booleans(), st.booleans(), st.binary(max_size=8))
def test_lengths_agree_with_counting_bit_by_bit(can_id: int, extended: bool, remote: bool, data: bytes) -> None:
    frame = Frame(can_id if extended else can_id & 0x7FF, data, extended, remote=remote)
    assert frame_bits(frame) == bit_by_bit(frame)
    assert frame_bits(frame) <= worst_bits(len(data), extended)


@pytest.mark.parametrize(
    ("length", "extended", "bits"), [(0, False, 55), (1, False, 65), (8, False, 135), (0, True, 80), (8, True, 160)]
)
def test_the_worst_case_is_that_of_the_published_formula(length: int, extended: bool, bits: int) -> None:
    assert worst_bits(length, extended) == bits


def test_a_full_bus_reads_as_full_and_an_idle_one_as_empty() -> None:
    meter = LoadMeter(500_000)
    bits = key_bits(0x123, bytes(8))
    meter.load(0.0)
    meter.sample(0x123, bytes(8), 0.0)
    meter.add(500_000 // bits)
    assert meter.load(1.0) == pytest.approx(1.0, abs=0.01)
    assert meter.load(2.0) == 0.0


def test_a_load_from_samples_is_close_to_the_exact_one() -> None:
    dice = random.Random(7)
    frames = [
        Frame(dice.randrange(0x800), dice.randbytes(dice.choice((2, 8, 8, 8))), at=i / 2000) for i in range(10_000)
    ]
    meter, exact = LoadMeter(500_000, window_s=5.0), sum(map(frame_bits, frames))
    meter.load(0.0)
    for frame in frames:
        meter.add(1)
        if meter.wants_sample(frame.at):
            meter.sample(frame.key, frame.data, frame.at)
    assert meter.load(5.0) == pytest.approx(exact / 2_500_000, rel=0.1)


def test_frames_counted_elsewhere_make_about_the_same_load() -> None:
    meter, data = LoadMeter(125_000), bytes(range(8))
    meter.load(0.0)
    meter.sample(0x1234 | EXTENDED, data, 0.0)
    meter.add_totals(500, 500 * 4)
    exact = 500 * key_bits(0x1234 | EXTENDED, data[:4]) / 125_000
    assert meter.load(1.0) == pytest.approx(exact, rel=0.1)


def test_a_bus_without_a_rate_has_no_load() -> None:
    meter = LoadMeter(None)
    meter.load(0.0)
    meter.sample(0x123, b"", 0.5)
    meter.add(100)
    assert meter.load(2.0) == 0.0
