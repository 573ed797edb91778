"""The conversation with a controller: greeting, numbers, window, sending again. No line and no clock in here.

Frames are numbered and the controller acknowledges the next number it expects, so it gets each exactly once and in
order, or the session is lost. A lost session is begun anew with another session number, and everything is sent again.
"""

from __future__ import annotations

from collections import deque
from enum import StrEnum
from math import inf

from .framing import Deframer, Frame, on_wire
from .messages import VERSION, Can, Greeting, Kind, hello, read_acknowledge, read_greeting

HELLO_S = 0.5
HELLOS = 7
"""A board that restarts when its line is opened takes a second or two before it listens."""
PATIENCE_S = 0.3
TRIES = 5
PING_S = 1.0
BITS_A_BYTE = 10
"""A start bit, eight of data, a stop bit."""


class Trouble(StrEnum):
    """How a session ends."""

    SILENT = "the controller does not answer"
    GARBLED = "what arrives is no frame"
    ANEW = "the controller started anew"
    STUCK = "the controller no longer acknowledges"
    REFUSED = "the controller does not fit"


class Session:
    """One session, from greeting to trouble.

    Args:
        number: of the session, 1..255; another one than the last.
        wanted: what the controller shall do.
        size: pixels across and down that it shall have, None if that is its own affair.
        baud: bits a second on the line, to know how long sending takes.
        now: monotonic seconds.

    Attributes:
        greeting: what the controller said of itself, None as long as it has not.
        trouble: why it has ended, None while it goes on.
        again: frames that were sent another time.
    """

    def __init__(self, number: int, wanted: Can, size: tuple[int, int] | None, *, baud: int, now: float) -> None:
        self.number = number
        self.greeting: Greeting | None = None
        self.trouble: Trouble | None = None
        self.again = 0
        self._wanted = wanted
        self._size = size
        self._byte_s = BITS_A_BYTE / baud
        self._deframer = Deframer()
        self._waiting: deque[bytes] = deque()
        self._first = 0
        self._written = 0
        self._sent = 0
        self._tries = 0
        self._due = now
        self._spoke = now

    @property
    def open(self) -> bool:
        """Whether frames can be put."""
        return self.greeting is not None and self.trouble is None

    @property
    def room(self) -> bool:
        """Whether the controller can take another frame."""
        return self.greeting is not None and self.trouble is None and len(self._waiting) < self.greeting.window

    @property
    def idle(self) -> bool:
        """Whether everything put is acknowledged."""
        return not self._waiting

    @property
    def due(self) -> float:
        """When `to_write` has something to do although nothing arrived, monotonic seconds."""
        return inf if self.open and self.idle else self._due

    def put(self, kind: int, payload: bytes = b"") -> None:
        """Take a frame for the controller; only while there is `room`."""
        number = (self._first + len(self._waiting)) % 256
        self._waiting.append(on_wire(Frame(kind, number, payload)))

    def silent_for(self, now: float) -> float:
        """Return for how long nothing was sent, in seconds."""
        return now - self._spoke

    def to_write(self, now: float) -> bytes:
        """Return what has to be written now; what is late is begun again."""
        if self.trouble is not None:
            return b""
        if self.greeting is None:
            return self._hello(now) if now >= self._due else b""
        out = b""
        if self._written and self._written == len(self._waiting) and now >= self._due:
            if not self._rewind():
                return b""
            out = b"\0"  # the zero that ended the last frame may be what was lost
        if self._written < len(self._waiting):
            out += b"".join(list(self._waiting)[self._written :])
            self._written = self._sent = len(self._waiting)
            self._spoke = now
            self._wait(now)
        return out

    def feed(self, data: bytes, now: float) -> None:
        """Take what arrived."""
        for frame in self._deframer.feed(data):
            if self.trouble is not None:
                return
            if frame.kind == Kind.GREETING:
                self._greeted(read_greeting(frame.payload), now)
            elif frame.kind == Kind.ACKNOWLEDGE and self.greeting is not None:
                said = read_acknowledge(frame.payload)
                if said is not None:
                    self._acknowledged(*said, now)

    # --- greeting -----------------------------------------------------------------------------------------------

    def _hello(self, now: float) -> bytes:
        if self._tries >= HELLOS:
            self.trouble = Trouble.GARBLED if self._deframer.broken else Trouble.SILENT
            return b""
        if self._tries:
            # an answer to the last one may be on its way still, and would begin a session the controller has left
            self.number = self.number % 255 + 1
        self._tries += 1
        self._due = now + HELLO_S
        self._spoke = now
        return b"\0" + on_wire(Frame(Kind.HELLO, 0, hello(self.number, self._wanted)))

    def _greeted(self, greeting: Greeting | None, now: float) -> None:
        if greeting is None:
            return
        if self.greeting is not None:
            if greeting.session != self.number:
                self.trouble = Trouble.ANEW
        elif greeting.session == self.number:
            self.greeting = greeting
            self._tries = 0
            fits = greeting.size == self._size or self._size is None
            if greeting.version != VERSION or not greeting.can & self._wanted or not fits:
                self.trouble = Trouble.REFUSED
        elif greeting.session == 0:
            self._due = now  # it has just started, and what was said before is lost

    # --- numbers ------------------------------------------------------------------------------------------------

    def _acknowledged(self, following: int, again: bool, now: float) -> None:
        done = (following - self._first) % 256
        if done > self._sent:
            return
        for _ in range(done):
            self._waiting.popleft()
        self._first = following
        self._sent -= done
        self._written = max(self._written - done, 0)
        if done:
            self._tries = 0
            self._wait(now)
        if again and self._written:
            self._rewind()

    def _rewind(self) -> bool:
        """Begin again with the first frame that is not acknowledged, but not for ever; tell whether it goes on."""
        self._tries += 1
        if self._tries >= TRIES:
            self.trouble = Trouble.STUCK
        self.again += self._written
        self._written = 0
        return self.trouble is None

    def _wait(self, now: float) -> None:
        self._due = now + PATIENCE_S + self._byte_s * sum(map(len, self._waiting))
