"""Watching live: what moves by itself is hidden, and what answers to a press stands out.

First nobody touches anything: whatever moves then is of no use to find a button by. After that each bit that changes
is kept with its times for a while. Bits of one byte that always change together are one field. The high bits of a
slow counter did not move in the quiet time; they are known by changing only when the bit below them does.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from ..bus.frames import Frame, id_text
from ..contract.layout import Bits, ByteOrder

QUIET_S = 10.0
"""How long nobody touches anything (our choice; long enough for most lamps and slow counters to move)."""
KEPT_S = 12.0
RESTLESS = 20
"""A bit that changed more often than this within `KEPT_S` moves by itself after all: no finger is that quick."""

Key = tuple[str, int]
"""Role of the bus, and key of the frame."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A field that changed lately.

    Attributes:
        place: bus and id, as a person reads them.
        bits: where in the frame.
        before: its raw number at the beginning of the time that is kept.
        changes: (seconds, raw number) since, oldest first.
    """

    place: str
    bits: Bits
    before: int
    changes: tuple[tuple[float, int], ...]

    @property
    def last_at(self) -> float:
        """When it changed last."""
        return self.changes[-1][0]


@dataclass(slots=True)
class _Frame:
    """What is known of one id: its last payload as a number, which bits are hidden, and recent changes of the rest."""

    payload: int
    length: int
    hidden: int = 0
    changes: dict[int, deque[tuple[float, int]]] = field(default_factory=dict)
    #: bits that changed once while the bit below them stood still, so that they are no counter's
    alone: int = 0


class Watcher:
    """Takes frames as they come and tells what answers.

    Args:
        quiet_s: how long nobody touches anything at the beginning.

    Attributes:
        frames: taken so far.
    """

    def __init__(self, quiet_s: float = QUIET_S) -> None:
        self.frames = 0
        self._quiet_s = quiet_s
        self._begun: float | None = None
        self._known: dict[Key, _Frame] = {}

    def take(self, bus: str, frame: Frame) -> None:
        """Take a frame; one without classic data says nothing."""
        if frame.error or frame.remote or frame.fd:
            return
        self.frames += 1
        if self._begun is None:
            self._begun = frame.at
        payload = int.from_bytes(frame.data, "little")
        known = self._known.get((bus, frame.key))
        if known is None:
            self._known[bus, frame.key] = _Frame(payload, len(frame.data))
            return
        moved = known.payload ^ payload
        changed = moved & ~known.hidden
        known.payload, known.length = payload, max(known.length, len(frame.data))
        if not changed:
            return
        if frame.at - self._begun < self._quiet_s:
            known.hidden |= changed
            return
        known.alone |= changed & ~_carried(changed, moved & known.hidden)
        while changed:
            bit = (changed & -changed).bit_length() - 1
            changed &= changed - 1
            times = known.changes.setdefault(bit, deque())
            times.append((frame.at, payload >> bit & 1))
            while times[0][0] < frame.at - KEPT_S:
                times.popleft()
            if len(times) > RESTLESS:
                known.hidden |= 1 << bit
                del known.changes[bit]

    def quiet_left_s(self, now: float) -> float:
        """Return for how long nobody should touch anything yet; all of it before the first frame."""
        return self._quiet_s if self._begun is None else max(0.0, self._begun + self._quiet_s - now)

    def hidden(self) -> tuple[int, int]:
        """Return how many bits move by themselves, and in how many ids."""
        counts = [known.hidden.bit_count() for known in self._known.values() if known.hidden]
        return sum(counts), len(counts)

    def again(self) -> None:
        """Begin anew with a quiet time; what was hidden stays hidden."""
        self._begun = None
        for known in self._known.values():
            known.changes.clear()

    def answers(self, now: float, seconds: float = KEPT_S) -> list[Answer]:
        """Return what changed within the last `seconds`, the latest first."""
        found = []
        for (bus, key), known in self._known.items():
            for first, last, times in _fields(known, now - seconds):
                found.append(_answer(f"{bus} {id_text(key)}", known, first, last, times))
        return sorted(found, key=lambda one: one.last_at, reverse=True)


def _fields(known: _Frame, since: float) -> list[tuple[int, int, tuple[float, ...]]]:
    """Put neighbouring bits of one byte together that changed at the same moments: (first bit, last bit, moments)."""
    found: list[tuple[int, int, tuple[float, ...]]] = []
    for bit in sorted(known.changes):
        if not known.alone >> bit & 1:
            continue
        times = tuple(at for at, _ in known.changes[bit] if at >= since)
        if not times:
            continue
        if found:
            first, last, before = found[-1]
            if last == bit - 1 and first // 8 == bit // 8 and before == times:
                found[-1] = first, bit, times
                continue
        found.append((bit, bit, times))
    return found


def _carried(changed: int, moving: int) -> int:
    """Return the changed bits whose lower neighbour moved as well, step by step from those that move by themselves.

    The neighbour of a byte's lowest bit is the highest of the byte before (little-endian) or after it (big-endian).
    """
    carried, found = 0, moving
    while found:
        above = (found << 1) | (found & _HIGHEST) >> 15
        found = above & changed & ~carried
        carried |= found
    return carried


_HIGHEST = int.from_bytes(b"\x80" * 64, "little")


def _answer(place: str, known: _Frame, first: int, last: int, times: tuple[float, ...]) -> Answer:
    """Work out the field's numbers at each change from those of its bits."""
    bits = Bits(first // 8, last - first + 1, first % 8, ByteOrder.LITTLE)
    value = known.payload >> first & (1 << bits.length) - 1
    changes: list[tuple[float, int]] = []
    by_bit = {bit: dict(known.changes[bit]) for bit in range(first, last + 1)}
    for at in reversed(times):
        changes.append((at, value))
        for bit, moments in by_bit.items():
            if at in moments:
                value = value & ~(1 << (bit - first)) | (1 - moments[at]) << (bit - first)
    return Answer(place, bits, value, tuple(reversed(changes)))


def strip(answer: Answer, now: float, seconds: float, width: int) -> str:
    """Draw a field against time: low where it is as at the beginning, high where it is not; the newest is right."""
    cells: list[str] = []
    value, left = answer.before, list(answer.changes)
    for cell in range(width):
        until = now - seconds + (cell + 1) * seconds / width
        moved = False
        while left and left[0][0] <= until:
            value = left.pop(0)[1]
            moved = True
        away = value != answer.before
        cells.append("│" if moved and not away and cells and cells[-1] == "▁" else "▔" if away else "▁")
    return "".join(cells)
