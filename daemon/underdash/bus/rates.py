"""Which bit rate a bus has, judged by what was heard at each. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

GOOD_FRAMES = 20
WRONG_ERRORS = 10


class Sign(StrEnum):
    """What a try at a rate shows."""

    RIGHT = "right"
    WRONG = "wrong"
    MIXED = "good frames and errors"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Try:
    """What was heard at a rate: whole frames and error frames."""

    bitrate: int
    good: int = 0
    errors: int = 0

    @property
    def sign(self) -> Sign:
        """What it shows; a few good frames are no proof, but no other rate gives any."""
        if self.good and self.errors:
            return Sign.MIXED
        if self.good:
            return Sign.RIGHT
        return Sign.WRONG if self.errors else Sign.NOTHING

    @property
    def decided(self) -> bool:
        """Say whether listening on at this rate would tell nothing new."""
        return self.good >= GOOD_FRAMES or (not self.good and self.errors >= WRONG_ERRORS)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found. `bitrate`: bit/s, None where none is right."""

    bitrate: int | None
    sentence: str


def judge(tries: Iterable[Try]) -> Verdict:
    """Say which rate is right."""
    tries = list(tries)
    best = max((one for one in tries if one.good), key=lambda one: (one.sign is Sign.RIGHT, one.good), default=None)
    if best is not None and best.sign is Sign.RIGHT:
        return Verdict(best.bitrate, f"{best.bitrate} bit/s: {best.good} good frames and no error")
    if best is not None:
        return Verdict(
            None,
            f"at {best.bitrate} bit/s {best.good} good frames come mixed with {best.errors} errors: an FD bus, a bad "
            "contact or a wrong termination; nothing is to be sent here",
        )
    if any(one.sign is Sign.WRONG for one in tries):
        return Verdict(
            None,
            "something talks, and at none of these rates is it understood: the wires may be swapped, or the bus is of "
            "another kind (single-wire, fault-tolerant, FD), which needs another transceiver",
        )
    return Verdict(None, "nothing was heard at any rate: the bus is asleep, silent until asked, or the pins are wrong")
