"""How full a bus is, from exact frame lengths.

A classic frame (ISO 11898-1) is: start bit, arbitration and control field, data, a CRC of 15 bits; from the start bit
to the CRC a bit of the other value is stuffed in after five equal ones. Then, without stuffing, CRC delimiter, two
bits of acknowledgement, seven of end and three of interframe space.
"""

from __future__ import annotations

from functools import cache

from .frames import EXTENDED, Frame

_CRC_POLYNOMIAL = 0x4599
_UNSTUFFED_TAIL = 1 + 2 + 7 + 3
_SAMPLE_GAP_S = 0.02


def frame_bits(frame: Frame) -> int:
    """Return how many bit times a data or remote frame takes, stuffing and interframe space included."""
    return _bits(frame.id, frame.extended, frame.remote, frame.data)


def key_bits(key: int, data: bytes) -> int:
    """Return the same for a data frame known by its key."""
    return _bits(key & 0x1FFF_FFFF, bool(key & EXTENDED), False, data)


def worst_bits(length: int, extended: bool) -> int:
    """Return the most bit times a frame with `length` data bytes can take (Davis et al., 2007)."""
    stuffable = (54 if extended else 34) + 8 * length
    return stuffable + _UNSTUFFED_TAIL + (stuffable - 1) // 4


def _bits(can_id: int, extended: bool, remote: bool, data: bytes) -> int:
    length = 0 if remote else len(data)
    if extended:
        # start, 11 bits, SRR, IDE, 18 bits, RTR, two reserved, four of length
        body = (can_id >> 18) << 27 | 0b11 << 25 | (can_id & 0x3_FFFF) << 7 | remote << 6 | len(data)
        size = 39
    else:
        body = can_id << 7 | remote << 6 | len(data)
        size = 19
    if length:
        body = body << 8 * length | int.from_bytes(data, "big")
    size += 8 * length
    stuffable = size + 15
    whole = body << 15 | _crc(body.to_bytes((size + 7) // 8, "big"))
    # alternating bits in front make whole bytes and can never be stuffed
    spare = -stuffable % 8
    whole |= (0b0101_0101 & (1 << spare) - 1) << stuffable
    return stuffable + _stuffed(whole.to_bytes((stuffable + spare) // 8, "big")) + _UNSTUFFED_TAIL


def _crc(body: bytes) -> int:
    table = _crc_table()
    crc = 0
    for byte in body:
        crc = (crc << 8 & 0x7FFF) ^ table[crc >> 7 ^ byte]
    return crc


@cache
def _crc_table() -> tuple[int, ...]:
    def step(value: int) -> int:
        crc = value << 7
        for _ in range(8):
            crc = crc << 1 ^ _CRC_POLYNOMIAL if crc & 0x4000 else crc << 1
        return crc & 0x7FFF

    return tuple(step(value) for value in range(256))


def _stuffed(stream: bytes) -> int:
    """Count the stuff bits of a stream that begins after a bit of 1 that stands alone."""
    table = _stuff_table()
    state = 5
    count = 0
    for byte in stream:
        state, more = table[state][byte]
        count += more
    return count


@cache
def _stuff_table() -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return, by state and byte, the next state and the stuff bits; state = last bit * 5 + its run - 1."""

    def step(state: int, byte: int) -> tuple[int, int]:
        last, run = state // 5, state % 5 + 1
        count = 0
        for shift in range(7, -1, -1):
            bit = byte >> shift & 1
            run = run + 1 if bit == last else 1
            last = bit
            if run == 5:
                count += 1
                last, run = 1 - last, 1
        return last * 5 + run - 1, count

    return tuple(tuple(step(state, byte) for byte in range(256)) for state in range(10))


class LoadMeter:
    """How full a bus is, from counts and now and then the exact length of one frame.

    Args:
        bitrate: bit/s; None for a bus without one, whose load is always 0.
        window_s: time over which the load is a mean.
    """

    def __init__(self, bitrate: int | None, window_s: float = 1.0) -> None:
        self._bitrate = bitrate
        self._window_s = window_s
        self._count = 0
        self._exact_bits = 0.0
        self._mean_bits = 0.0
        self._mean_bytes = 0.0
        self._sample_after = 0.0
        self._since: float | None = None
        self._load = 0.0

    def add(self, count: int) -> None:
        """Take note of `count` frames whose lengths are as those sampled."""
        self._count += count

    def add_totals(self, frames: int, octets: int) -> None:
        """Take note of frames that were counted elsewhere, with the data bytes they had."""
        if frames > 0:
            # a data byte takes eight bits and, stuffed, up to ten
            self._exact_bits += frames * self._mean_bits + (octets - frames * self._mean_bytes) * 9

    def wants_sample(self, at: float) -> bool:
        """Say whether a sample is worth its time now."""
        return at >= self._sample_after

    def sample(self, key: int, data: bytes, at: float) -> None:
        """Learn from one frame how long frames are on this bus."""
        self._sample_after = at + _SAMPLE_GAP_S
        bits = key_bits(key, data)
        weight = 0.05 if self._mean_bits else 1.0
        self._mean_bits += (bits - self._mean_bits) * weight
        self._mean_bytes += (len(data) - self._mean_bytes) * weight

    def load(self, now: float) -> float:
        """Return the share of the bus's time that was taken, 0..1, over the last window."""
        if self._since is None:
            self._since = now
        passed = now - self._since
        if passed >= self._window_s and self._bitrate:
            bits = self._exact_bits + self._count * self._mean_bits
            self._load = min(1.0, bits / (self._bitrate * passed))
            self._count = 0
            self._exact_bits = 0.0
            self._since = now
        return self._load
