"""Sending an ISO-TP message: frames come out when they may be sent, the receiver's flow control goes in.

One `Segmentation` is one message. Which move belongs to which flow status is in `_MOVES`. Block size and separation
time are those of the first flow control that lets it go on, as in the Linux kernel's isotp.c.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

from . import pci
from .isotp import Broken, Fault
from .pci import FlowControl, FlowStatus, Kind, Malformed

N_BS_S = 1.0
"""How long the receiver may take to say how to go on (N_Bs, ISO 15765-2)."""

MOST_WAITS = 10
"""How often in a row the receiver may ask to wait (N_WFTmax, which the standard leaves to us)."""

AT_ONCE = 16
"""Frames that are handed out together where the receiver wants no time between them; a queue must hold them."""


class State(StrEnum):
    """What a flow control frame finds."""

    READY = "ready"
    WAITING = "waiting"
    SENDING = "sending"
    DONE = "done"
    BROKEN = "broken"


class Segmentation:
    """Sends one message, in as many frames as it takes.

    Args:
        payload: the message, 1 byte or more.
        prefix: address byte its frames begin with, None without.
        reply_prefix: address byte of the receiver's flow control, None for the same one.
        n_bs_s: how long the receiver may take to say how to go on.
        most_waits: how often in a row it may ask to wait.
    """

    __slots__ = (
        "_deadline", "_left", "_most_waits", "_n_bs_s", "_number", "_payload", "_place", "_prefix", "_reply_prefix",
        "_terms", "_waits", "broken", "state",
    )  # fmt: skip

    def __init__(
        self,
        payload: bytes,
        prefix: int | None = None,
        *,
        reply_prefix: int | None = None,
        n_bs_s: float = N_BS_S,
        most_waits: int = MOST_WAITS,
    ) -> None:
        self._payload = payload
        self._prefix = prefix
        self._reply_prefix = prefix if reply_prefix is None else reply_prefix
        self._n_bs_s = n_bs_s
        self._most_waits = most_waits
        self._renew()

    def _renew(self) -> None:
        self.state = State.READY
        self.broken: Broken | None = None
        self._place = self._number = self._left = self._waits = 0
        self._terms: FlowControl | None = None
        self._deadline: float | None = None

    @property
    def done(self) -> bool:
        """Whether the last frame was handed out."""
        return self.state is State.DONE

    @property
    def deadline(self) -> float | None:
        """When `due` has a frame, or `tick` has something to say; None for never."""
        return self._deadline

    def start(self, now: float) -> bytes:
        """Return the first frame, unpadded, which for a short message is the only one; from the beginning each time.

        Raises:
            UnderdashError: the message is empty, or longer than any message.
        """
        self._renew()
        if len(self._payload) <= pci.room(self._prefix):
            frame = pci.single(self._payload, self._prefix)
            self.state = State.DONE
            return frame
        frame = pci.first(self._payload, self._prefix)
        self._place = len(frame) - (2 if len(self._payload) <= pci.MOST_SHORT_BYTES else 6) - (self._prefix is not None)
        self._await(now)
        return frame

    def receive(self, data: bytes, now: float) -> Broken | None:
        """Take a frame of the receiver; anything but awaited flow control is passed over.

        Returns:
            How the message ended, if this ended it.
        """
        late = self.tick(now)
        if late is not None or self.state is not State.WAITING:
            return late
        match pci.parse(data, self._reply_prefix):
            case FlowControl() as flow:
                return _MOVES.get(flow.status, Segmentation._give_up)(self, flow, now)
            case Malformed(Kind.FLOW_CONTROL, why):
                return self._end(Fault.LENGTH, f"{why} {self._so_far()}")
        return None

    def due(self, now: float, most: int = AT_ONCE) -> list[bytes]:
        """Return the frames to send now, unpadded: one, or up to `most` if the receiver wants no time between them."""
        frames: list[bytes] = []
        while self._may_send(now) and len(frames) < most:
            frames.append(self._next_frame(now))
        return frames

    def tick(self, now: float) -> Broken | None:
        """Let time pass; tells once that the receiver did not say how to go on."""
        if self.state is not State.WAITING or self._deadline is None or now < self._deadline:
            return None
        return self._end(Fault.NO_FLOW_CONTROL, f"no flow control for {self._n_bs_s:g} s {self._so_far()}")

    # --- moves ------------------------------------------------------------------------------------------------------

    def _go_on(self, flow: FlowControl, now: float) -> Broken | None:
        if self._terms is None:
            self._terms = flow
        self._waits, self._left = 0, self._terms.block_size
        self.state, self._deadline = State.SENDING, now
        return None

    def _wait(self, flow: FlowControl, now: float) -> Broken | None:
        self._waits += 1
        if self._waits > self._most_waits:
            return self._end(Fault.TOO_MANY_WAITS, f"the receiver asked to wait {self._waits} times {self._so_far()}")
        self._await(now)
        return None

    def _overflow(self, flow: FlowControl, now: float) -> Broken | None:
        return self._end(Fault.OVERFLOW, f"the receiver has no room for {len(self._payload)} bytes")

    def _give_up(self, flow: FlowControl, now: float) -> Broken | None:
        return self._end(Fault.RESERVED_STATUS, f"the receiver's flow status {flow.status} is reserved")

    # --- inside -----------------------------------------------------------------------------------------------------

    def _may_send(self, now: float) -> bool:
        return self.state is State.SENDING and self._deadline is not None and now >= self._deadline

    def _next_frame(self, now: float) -> bytes:
        self._number += 1
        part = self._payload[self._place : self._place + pci.room(self._prefix)]
        self._place += len(part)
        self._left -= 1
        if self._place == len(self._payload):
            self.state, self._deadline = State.DONE, None
        elif self._left == 0:  # without blocks it counts down for ever
            self._await(now)
        elif self._terms is not None:
            self._deadline = now + self._terms.st_min_s
        return pci.consecutive(self._number, part, self._prefix)

    def _await(self, now: float) -> None:
        self.state, self._deadline = State.WAITING, now + self._n_bs_s

    def _end(self, fault: Fault, why: str) -> Broken:
        self.broken = Broken(fault, why, self._payload[: pci.FRAME_BYTES])
        self.state, self._deadline = State.BROKEN, None
        return self.broken

    def _so_far(self) -> str:
        return f"after {self._place} of {len(self._payload)} bytes"


_MOVES: Mapping[int, Callable[[Segmentation, FlowControl, float], Broken | None]] = {
    FlowStatus.CONTINUE: Segmentation._go_on,
    FlowStatus.WAIT: Segmentation._wait,
    FlowStatus.OVERFLOW: Segmentation._overflow,
}
