"""What was heard on a bus in a while, put into sentences for somebody who has just connected it. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import sqrt

from .frames import EXTENDED, Frame, id_text
from .legislated import has_legislated_id, request_id_of
from .load import frame_bits
from .proof import FRAMES

STEADY = 0.25
"""Spread of the periods of an id, as a share of their mean, up to which it is called steady."""
LEAST_PERIODS = 3
FEW_IDS = 4


@dataclass(slots=True)
class IdHeard:
    """One id: how often it came, and sum and sum of squares of the times in between."""

    frames: int = 0
    last_at: float = 0.0
    sum_s: float = 0.0
    squares: float = 0.0

    def add(self, at: float) -> None:
        """Take a frame."""
        if self.frames:
            gap = max(0.0, at - self.last_at)
            self.sum_s += gap
            self.squares += gap * gap
        self.frames += 1
        self.last_at = at

    @property
    def period_s(self) -> float | None:
        """Its period if that is steady."""
        gaps = self.frames - 1
        if gaps < LEAST_PERIODS:
            return None
        mean = self.sum_s / gaps
        spread = sqrt(max(0.0, self.squares / gaps - mean * mean))
        return mean if mean > 0 and spread <= STEADY * mean else None


@dataclass(slots=True)
class Hearing:
    """Counts what is heard on one bus.

    Attributes:
        frames, errors, fd, remote: whole classic data frames, error frames, and what is neither.
        bits: time the frames took, in bits.
        begun, ended: time of the first and of the last frame; None before there was one.
    """

    frames: int = 0
    errors: int = 0
    fd: int = 0
    remote: int = 0
    bits: int = 0
    begun: float | None = None
    ended: float = 0.0
    _ids: dict[int, IdHeard] = field(default_factory=dict)

    def take(self, frame: Frame) -> None:
        """Take a frame."""
        self.begun = frame.at if self.begun is None else self.begun
        self.ended = max(self.ended, frame.at)
        if frame.error:
            self.errors += 1
        elif frame.fd:
            self.fd += 1
        elif frame.remote:
            self.remote += 1
        else:
            self.frames += 1
            self.bits += frame_bits(frame)
            self._ids.setdefault(frame.key, IdHeard()).add(frame.at)

    def load(self, seconds: float, bitrate: int | None) -> float | None:
        """Return the share of the bus's time that was taken, 0..1."""
        return self.bits / (bitrate * seconds) if bitrate and seconds > 0 else None

    @property
    def seconds(self) -> float:
        """From the first frame to the last."""
        return 0.0 if self.begun is None else max(0.0, self.ended - self.begun)

    @property
    def requests(self) -> list[int]:
        """Keys on which testers ask control units (ISO 15765-4)."""
        return sorted(key for key in self._ids if has_legislated_id(key))

    @property
    def answers(self) -> list[int]:
        """Keys on which control units answer testers."""
        return sorted(key for key in self._ids if _is_answer(key))

    @property
    def steady(self) -> list[float]:
        """Periods of the ids that have one, the shortest first."""
        return sorted(one.period_s for one in self._ids.values() if one.period_s is not None)

    def ids(self) -> tuple[int, int]:
        """Return how many ids of 11 and of 29 bits there were."""
        wide = sum(bool(key & EXTENDED) for key in self._ids)
        return len(self._ids) - wide, wide


def _is_answer(key: int) -> bool:
    wide = bool(key & EXTENDED)
    can_id = key & ~EXTENDED
    if not wide:
        return 0x7E8 <= can_id <= 0x7EF
    asked = request_id_of(can_id, wide=True)
    return can_id & 0x1FFF_FF00 == 0x18DA_F100 and asked is not None


def told(heard: Hearing, seconds: float, bitrate: int | None, *, live: bool = True) -> Iterator[str]:
    """Say what was heard, a sentence each, and last what to do next.

    Args:
        heard: what came.
        seconds: in how long.
        bitrate: bit/s of the interface, where it is known.
        live: now, from a bus; else from a trace, which proves nothing about the bus.
    """
    if not heard.frames and (live or heard.errors or heard.fd or heard.remote):
        yield from _nothing(heard, seconds)
        return
    narrow, wide = heard.ids()
    kinds = " and ".join(f"{count} of {bits} bits" for count, bits in ((narrow, 11), (wide, 29)) if count)
    load = heard.load(seconds, bitrate)
    share = "" if load is None else f", {load:.0%} of the bus's time"
    yield f"{heard.frames} frames in {seconds:.0f} s from {narrow + wide} ids ({kinds}){share}"
    yield from _periods(heard.steady, narrow + wide)
    yield from _testers(heard)
    if live:
        yield from _judged(heard, narrow + wide)
    else:
        yield from _beside(heard)


def _periods(periods: list[float], ids: int) -> Iterator[str]:
    if periods:
        span = f"every {_time(periods[0])}"
        span += f" to {_time(periods[-1])}" if periods[-1] > 1.2 * periods[0] else ""
        rest = ids - len(periods)
        come = "comes" if len(periods) == 1 else "come"
        yield f"{len(periods)} of the ids {come} steadily, {span}" + (f"; {rest} now and then" if rest else "")


def _testers(heard: Hearing) -> Iterator[str]:
    asked, answered = (", ".join(map(id_text, keys[:FEW_IDS])) for keys in (heard.requests, heard.answers))
    if heard.requests and heard.answers:
        yield f"a tester asks on {asked}, and units answer on {answered}: unplug it before anything else asks"
    elif heard.requests:
        yield f"a tester asks on {asked}, and nobody answers"
    elif heard.answers:
        yield f"units answer on {answered}, to a tester that is not heard here"
    else:
        yield "no tester asks on the standard's ids"


def _beside(heard: Hearing) -> Iterator[str]:
    kinds = (heard.errors, "error"), (heard.fd, "FD"), (heard.remote, "remote")
    if parts := [f"{count} {kind} frame{'' if count == 1 else 's'}" for count, kind in kinds if count]:
        yield f"beside them {' and '.join(filter(None, (', '.join(parts[:-1]), parts[-1])))}"


def _judged(heard: Hearing, ids: int) -> Iterator[str]:
    if heard.fd:
        yield f"{heard.fd} frames are FD, which are counted and not read; the classic ones are"
    if heard.errors:
        yield (
            f"{heard.errors} error frames among good ones: another kind of bus (FD heard by a classic controller), a "
            "bad contact or a wrong termination; the rate is not proven, so nothing is to be sent here"
        )
        yield "next: measure 60 ohm between the wires with the bus asleep, and look at plug and splices"
        return
    if heard.frames < FRAMES:
        yield f"no error, but {FRAMES} frames are needed for proof; switch the ignition on and listen again"
        return
    yield "no error frame: the bit rate is right"
    yield f"next: record a drive (underdash record drive.log){' and describe the car' if ids > FEW_IDS else ''}"


def _nothing(heard: Hearing, seconds: float) -> Iterator[str]:
    if heard.errors:
        yield f"only error frames, {heard.errors} in {seconds:.0f} s: the bit rate is wrong, or the wires are swapped"
        yield "next: underdash listen --rates tries the usual rates, still listening only"
        return
    if heard.fd:
        yield f"{heard.fd} FD frames and no classic one: this bus speaks FD, which is heard and never asked"
        return
    if heard.remote:
        yield f"only remote frames, {heard.remote} in {seconds:.0f} s: they ask for data, and nobody sends any here"
        return
    yield f"nothing in {seconds:.0f} s: the bus is asleep, a gateway keeps it silent until asked, or the pins are wrong"
    yield (
        "next: switch the ignition on and listen again; then measure (with the bus asleep 60 ohm between the wires, "
        "awake some 2.5 V on each); then try underdash listen --rates"
    )


def _time(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms" if seconds < 0.995 else f"{seconds:.1f} s"
