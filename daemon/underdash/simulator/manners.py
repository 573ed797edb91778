"""How a simulated control unit behaves where the standards leave it a choice."""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.errors import UnderdashError


@dataclass(frozen=True, slots=True)
class Manners:
    """How a control unit sends, and how much it takes at once.

    Args:
        block_size: frames it takes before it wants to send flow control again, 0 for all (ISO 15765-2).
        st_min: the byte with which it says how far apart frames to it have to be.
        frame_gap_s: how far apart its own frames are when the tester wants them faster than it can.
        flow_control_after_s: how long it takes to send flow control.
        waits: how often it has the sender of a longer message wait before the first block.
        patience_s: how long it waits for flow control (N_Bs) and for the next frame (N_Cr).
        longest_message: bytes of what it takes; the sender of a longer one is told that it is too long.
        identifiers_at_once: how many identifiers of service 22 it takes in one request.
        parameters_at_once: how many parameters of service 01 it takes in one request; the standard says six.
        spills: an answer of a maker's format that is longer than a frame is sent as far as it goes, under its true
            count, with the rest in further frames; otherwise it is refused.
        pending_share: how many of its answers to identifiers are pending first, 0..1.

    Raises:
        UnderdashError: a byte that is none, or a number that has to be positive and is not.
    """

    block_size: int = 0
    st_min: int = 0
    frame_gap_s: float = 0.001
    flow_control_after_s: float = 0.001
    waits: int = 0
    patience_s: float = 1.0
    longest_message: int = 64
    identifiers_at_once: int = 8
    parameters_at_once: int = 6
    spills: bool = False
    pending_share: float = 0.02

    def __post_init__(self) -> None:
        for name, value in (("block_size", self.block_size), ("st_min", self.st_min)):
            if not 0 <= value <= 0xFF:
                raise UnderdashError(f"manners: {name} is {value}; it is one byte, so 0 to 255")
        for name, least in (("longest_message", 7), ("identifiers_at_once", 1), ("parameters_at_once", 1)):
            if getattr(self, name) < least:
                raise UnderdashError(f"manners: {name} is {getattr(self, name)}; it has to be {least} or more")


DEFAULT = Manners()
