"""ISO-TP (ISO 15765-2) from the control unit's side: messages into frames, and frames into messages.

Written for the simulator alone and by another reading of the standard than `underdash.diagnostics`, so that the two
check each other. Time is handed in with what is heard; nothing here needs a timer, because a time that is over shows
when the next frame comes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from .faults import Fault
from .manners import DEFAULT, Manners

Replies = list[tuple[float, bytes]]
"""(seconds from now, a frame's data without padding), in the order of sending."""

FRAME_BYTES = 8
LONGEST_SHORT = 0xFFF
"""The largest length that a first frame can say in twelve bits."""
CONTINUE, WAIT, OVERFLOW, RESERVED = 0, 1, 2, 5
SLACK_S = 0.002
"""A frame may go out this much before the moment it was planned for: timers are not exact."""
RESERVED_GAP_S = 0.127
WAIT_EVERY_S = 0.05
"""How often a unit that is not ready for more says so."""
_DECLINES = {
    Fault.NO_FLOW_CONTROL: (),
    Fault.WAITS: (WAIT,) * 40,
    Fault.OVERFLOW: (OVERFLOW,),
    Fault.RESERVED_STATUS: (RESERVED,),
}
"""What a unit with a fault says of a message in several frames, one flow status after the other."""


def gap_of(st_min: int) -> float:
    """Return the gap in seconds that a byte STmin asks for; what is reserved means the longest, 127 ms."""
    if st_min <= 0x7F:
        return st_min / 1000.0
    if 0xF1 <= st_min <= 0xF9:
        return (st_min - 0xF0) / 10_000.0
    return RESERVED_GAP_S


def prefix_of(address: int | None) -> bytes:
    """Return what frames begin with: an address byte, or nothing."""
    return b"" if address is None else bytes((address,))


@dataclass(slots=True)
class Heard:
    """What came of a frame: a whole message, and what has to be sent because of it."""

    message: bytes | None = None
    replies: Replies = field(default_factory=list)


@dataclass(slots=True)
class _Out:
    """A message on its way out."""

    rest: bytes
    at_s: float
    """When its last frame goes out; flow control counts from here."""
    fault: Fault
    number: int = 1
    block: int = 0
    gap_s: float | None = None


@dataclass(slots=True)
class _In:
    """A message on its way in."""

    length: int
    data: bytearray
    at_s: float
    number: int = 1
    left: int = 0


class Transport:
    """One end of a conversation in ISO-TP.

    A new request takes the place of one that is not yet complete, and of an answer that waits for flow control; while
    frames go out it is not heard.

    Args:
        manners: block size, gaps and patience.
        prefix: what every frame that it sends begins with: an address byte, or nothing.
        heard: the same of the frames it hears, None for the same one.

    Attributes:
        broken: how many messages were begun and not completed, in both directions.
    """

    def __init__(self, manners: Manners = DEFAULT, prefix: bytes = b"", heard: bytes | None = None) -> None:
        self.manners = manners
        self.broken = 0
        self._prefix = prefix
        self._heard = prefix if heard is None else heard
        self._out: _Out | None = None
        self._in: _In | None = None

    @property
    def room(self) -> int:
        """How many bytes of a message one frame holds."""
        return FRAME_BYTES - 1 - len(self._prefix)

    def reset(self) -> None:
        """Forget what is under way."""
        self._out = self._in = None

    def single(self, message: bytes) -> bytes:
        """Return a message that fits one frame as that frame."""
        return self._prefix + bytes((len(message),)) + message

    # --- out --------------------------------------------------------------------------------------------------------

    def begin(self, message: bytes, now: float, after_s: float, fault: Fault = Fault.NONE) -> Replies:
        """Send a message; a longer one begins, and goes on when flow control comes.

        Args:
            message: at least one byte.
            now: monotonic seconds.
            after_s: when its first frame is to go out, from now.
            fault: what goes wrong with a message of several frames.
        """
        if len(message) <= self.room:
            return [(after_s, self.single(message))]
        length = len(message)
        head = bytes((0x10 | length >> 8, length & 0xFF))
        if length > LONGEST_SHORT:
            head = b"\x10\x00" + length.to_bytes(4)
        taken = FRAME_BYTES - len(self._prefix) - len(head)
        self._drop_out()
        out = self._out = _Out(message[taken:], now + after_s, fault)
        frames = [(after_s, self._prefix + head + message[:taken])]
        if fault is Fault.HASTY:
            frames += self._consecutive(out, 0, now)
        elif fault is Fault.IMPATIENT:
            self._drop_out()
        return frames

    def _consecutive(self, out: _Out, count: int, now: float) -> Replies:
        """Return the next `count` frames (0: all that are left), the first one a gap after what went out last."""
        gap_s = max(out.gap_s or 0.0, self.manners.frame_gap_s)
        at_s = max(now, out.at_s)
        frames: Replies = []
        while out.rest and (not count or len(frames) < count):
            at_s += gap_s
            part, out.rest = out.rest[: self.room], out.rest[self.room :]
            number = out.number + (out.fault is Fault.BROKEN_SEQUENCE and not out.rest)
            out.number += 1
            if out.rest or out.fault is not Fault.MISSING_FRAME:
                frames.append((at_s - now, self._prefix + bytes((0x20 | number & 0x0F,)) + part))
        out.at_s = at_s
        return frames

    def _flow_control(self, body: bytes, now: float) -> Replies:
        out = self._out
        if out is None or not out.rest or now < out.at_s - SLACK_S or len(body) < 3:
            return []
        state = body[0] & 0x0F
        if now - out.at_s >= self.manners.patience_s or state > WAIT:
            self._drop_out()
            return []
        if state == WAIT:
            out.at_s = now
            return []
        if out.gap_s is None:  # block size and gap of the first one hold for the whole message
            out.block, out.gap_s = body[1], gap_of(body[2])
        return self._consecutive(out, out.block, now)

    def _drop_out(self) -> None:
        if self._out is not None and self._out.rest:
            self.broken += 1
        self._out = None

    # --- in ---------------------------------------------------------------------------------------------------------

    def hear(self, data: bytes, now: float, fault: Fault = Fault.NONE) -> Heard:
        """Take a frame of the other end, padding included.

        Args:
            data: its data.
            now: monotonic seconds.
            fault: what goes wrong with a message of several frames.
        """
        body = data[len(self._heard) :]
        if not body or not data.startswith(self._heard):
            return Heard()
        kind = body[0] >> 4
        if kind == 3:
            return Heard(replies=self._flow_control(body, now))
        if kind == 2:
            return self._next(body, now)
        if kind > 3 or self._sending(now):
            return Heard()
        self._drop_out()
        return self._first(body, now, fault) if kind else self._single(body)

    def _sending(self, now: float) -> bool:
        """Say whether frames of an answer are still to go out."""
        return self._out is not None and now < self._out.at_s - SLACK_S

    def _single(self, body: bytes) -> Heard:
        length = body[0]
        if not 1 <= length <= self.room or len(body) <= length:
            return Heard()
        self._drop_in()
        return Heard(bytes(body[1 : 1 + length]))

    def _first(self, body: bytes, now: float, fault: Fault) -> Heard:
        if len(body) < self.room + 1:
            return Heard()
        length, start = (body[0] & 0x0F) << 8 | body[1], body[2:]
        if length == 0:
            length, start = int.from_bytes(body[2:6]), body[6:]
        self._drop_in()
        if length <= self.room:
            return Heard()
        after_s = self.manners.flow_control_after_s
        if length > self.manners.longest_message or fault in _DECLINES:
            return Heard(replies=self._say(_DECLINES.get(fault, (OVERFLOW,))))
        waits = self._say((WAIT,) * self.manners.waits)
        go_on_s = after_s + len(waits) * WAIT_EVERY_S
        self._in = _In(length, bytearray(start), now + go_on_s, left=self.manners.block_size)
        return Heard(replies=[*waits, self._go_on(go_on_s)])

    def _next(self, body: bytes, now: float) -> Heard:
        into = self._in
        if into is None:
            return Heard()
        wrong = body[0] & 0x0F != into.number & 0x0F or len(body) - 1 < min(self.room, into.length - len(into.data))
        if wrong or now - into.at_s >= self.manners.patience_s:
            self._drop_in()
            return Heard()
        into.data += body[1:]
        into.number += 1
        into.at_s = now
        if len(into.data) >= into.length:
            self._in = None
            return Heard(bytes(into.data[: into.length]))
        if self.manners.block_size:
            into.left -= 1
            if into.left == 0:
                into.left = self.manners.block_size
                return Heard(replies=[self._go_on(self.manners.flow_control_after_s)])
        return Heard()

    def _say(self, statuses: tuple[int, ...]) -> Replies:
        """Return flow control that lets nothing come yet, one after the other."""
        after_s = self.manners.flow_control_after_s
        return [
            (after_s + n * WAIT_EVERY_S, self._prefix + bytes((0x30 | one, 0, 0))) for n, one in enumerate(statuses)
        ]

    def _go_on(self, after_s: float) -> tuple[float, bytes]:
        manners = self.manners
        return after_s, self._prefix + bytes((0x30 | CONTINUE, manners.block_size, manners.st_min))

    def _drop_in(self) -> None:
        if self._in is not None:
            self.broken += 1
        self._in = None
