"""How much may be sent: caps on requests and load, the gap of a unit, and the frame that is not confirmed yet."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from .frames import Frame, id_text
from .load import worst_bits
from .refusals import Reason, Refusal

Lane = tuple[int, int | None]
"""A control unit as the bus sees it: the key of its requests, and its address byte where it has one."""

WINDOW_S = 1.0
LEAST_GAP_S = 0.005
"""No description, and no plug-in, makes it shorter."""
LATE_S = 1.0


@dataclass(frozen=True, slots=True)
class Caps:
    """Limits of what is sent on one bus.

    Args:
        requests_per_s: requests in any second.
        load: share of the bus our frames take, worst stuffing assumed, 0..1.
        confirm_s: within this time a frame that was sent is heard back; else the bus is blocked.
    """

    requests_per_s: float = 40.0
    load: float = 0.03
    confirm_s: float = 0.05


class Meter:
    """What was sent on one bus lately, and what of it is unconfirmed.

    Args:
        caps: limits.
        bus: role, for sentences.
        bitrate: bit/s; None on a bus without one, where the load has no cap.
    """

    def __init__(self, caps: Caps, bus: str, bitrate: int | None) -> None:
        self.caps = caps
        self.bus = bus
        self.bitrate = bitrate
        self.pending: Frame | None = None
        self.pending_at = -inf
        self._late: Frame | None = None
        self._late_until = -inf
        self._requests: deque[float] = deque()
        self._bits: deque[tuple[float, int]] = deque()
        self._lanes: dict[Lane, float] = {}

    def blocked(self, now: float) -> bool:
        """Say whether the last frame has been unconfirmed for too long."""
        return self.pending is not None and now - self.pending_at > self.caps.confirm_s

    def waits(self, now: float) -> Refusal | None:
        """Say whether a frame has to wait for the confirmation of the last."""
        if self.pending is None:
            return None
        text = id_text(self.pending.key)
        if self.blocked(now):
            return Refusal(
                Reason.BLOCKED,
                f"{self.bus}: {text} was not confirmed within {self.caps.confirm_s * 1000:.0f} ms; nobody acknowledges "
                "or the bus is full. Check wiring, termination and rate; it is tried again after a pause.",
            )
        return Refusal(Reason.UNCONFIRMED, f"{self.bus}: {text} is still on its way; one frame at a time")

    def over(self, frame: Frame, lane: Lane, gap_s: float, now: float) -> Refusal | None:
        """Say which cap a request would break."""
        gap = now - self._lanes.get(lane, -inf)
        least_s = max(LEAST_GAP_S, gap_s)
        if not gap >= least_s:
            return Refusal(
                Reason.ECU_GAP,
                f"{id_text(lane[0])}: {gap * 1000:.1f} ms after the last request, {least_s * 1000:g} ms are the least",
            )
        self._forget(now)
        if len(self._requests) >= self.caps.requests_per_s:
            return Refusal(
                Reason.RATE,
                f"{self.bus}: {len(self._requests)} requests in the last second, {self.caps.requests_per_s:g} are the "
                "most; ask for less at a time",
            )
        return self.over_load(frame, now)

    def over_load(self, frame: Frame, now: float, following: Iterable[Frame] = ()) -> Refusal | None:
        """Say whether a frame, and those that have to follow it, would take more of the bus than we may have."""
        if not self.bitrate:
            return None
        self._forget(now)
        bits = sum(bits for _, bits in self._bits)
        bits += sum(worst_bits(len(one.data), one.extended) for one in (frame, *following))
        if bits <= self.caps.load * self.bitrate * WINDOW_S:
            return None
        return Refusal(
            Reason.LOAD,
            f"{self.bus}: our requests would take {100 * bits / self.bitrate:.1f} % of the bus, "
            f"{100 * self.caps.load:g} % are the most; ask for less at a time",
        )

    def sent(self, frame: Frame, lane: Lane | None, now: float) -> None:
        """Take note of a frame that was handed to the interface; `lane` is None for flow control."""
        self.pending, self.pending_at = frame, now
        self._bits.append((now, worst_bits(len(frame.data), frame.extended)))
        if lane is not None:
            self._requests.append(now)
            self._lanes[lane] = now

    def confirms(self, key: int, data: bytes, now: float) -> bool:
        """Say whether a frame heard is our own coming back, be it late, and take note of that."""
        if self.pending is not None and self.pending.key == key and self.pending.data == data:
            self.pending = None
            return True
        late = self._late
        if late is not None and now <= self._late_until and late.key == key and late.data == data:
            self._late = None
            return True
        return False

    def given_up(self, now: float) -> None:
        """Wait no longer for the unconfirmed frame; it may go out all the same."""
        self._late, self._late_until = self.pending, now + LATE_S
        self.pending = None

    def _forget(self, now: float) -> None:
        while self._requests and now - self._requests[0] >= WINDOW_S:
            self._requests.popleft()
        while self._bits and now - self._bits[0][0] >= WINDOW_S:
            self._bits.popleft()
