"""Is this the car of the description? Compared by the ids, lengths and periods of frames that are heard.

Once every expected frame has been heard often enough with its length and near its period, the car fits, and stays so
until silence. A frame with another length, or much quicker or slower, is another car, and so is one that stays away.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from math import inf

from ..contract.cars import CarDescription, ExpectedFrame
from .frames import Handler, id_text, key_of

LEAST_FRAMES = 5
LEAST_PERIODS = 4.0
LEAST_S = 0.5
"""Frames that had piled up before anybody read them come in one go; after this long they do not count for much."""
PERIOD_FACTOR = 2.0
PATIENCE_S = 10.0
BREAK_S = 1.0


class Fit(StrEnum):
    """How far the car is recognised."""

    FITS = "fits"
    WAITING = "waiting"
    DIFFERS = "differs"
    ABSENT = "nothing to compare"
    """The description names no frame to recognise the car by."""
    IMPOSSIBLE = "nothing is broadcast"
    """All buses of the car are silent until asked, so nothing can be compared."""


@dataclass(frozen=True, slots=True)
class FitVerdict:
    """How far the car is recognised, with a sentence."""

    fit: Fit
    sentence: str

    @property
    def may_send(self) -> bool:
        """Whether this keeps nobody from sending."""
        return self.fit in (Fit.FITS, Fit.IMPOSSIBLE)


class _Heard:
    """What has been heard of one expected frame since the last break."""

    __slots__ = ("at", "count", "expected", "length", "since")

    def __init__(self, expected: ExpectedFrame) -> None:
        self.expected = expected
        self.forget()

    def forget(self) -> None:
        self.count = 0
        self.since = -inf
        self.at = -inf
        self.length: int | None = None

    def handle(self, data: bytes, at: float) -> None:
        expected = self.expected
        if at - self.at > max(BREAK_S, 10 * (expected.period_s or 0.0)):
            self.since = at
            self.count = 0
        self.count += 1
        self.at = at
        if self.length is None or len(data) != expected.length:
            self.length = len(data)

    @property
    def name(self) -> str:
        return f"{id_text(key_of(self.expected.id, self.expected.extended))} on {self.expected.bus}"

    def enough(self) -> bool:
        """Say whether enough was heard to judge."""
        if self.expected.period_s is None:
            return self.count > 0
        least_s = max(LEAST_S, LEAST_PERIODS * self.expected.period_s)
        return self.count >= LEAST_FRAMES and self.at - self.since >= least_s

    def difference(self) -> str:
        """Return what is wrong with what was heard, "" if nothing is."""
        expected = self.expected
        if self.length is not None and self.length != expected.length:
            return f"{self.name} has {self.length} bytes instead of {expected.length}"
        if expected.period_s is not None and self.enough():
            period = (self.at - self.since) / (self.count - 1)
            if not expected.period_s / PERIOD_FACTOR <= period <= expected.period_s * PERIOD_FACTOR:
                return f"{self.name} comes every {period * 1000:.0f} ms instead of {expected.period_s * 1000:.0f} ms"
        return ""


class Fingerprint:
    """Compares a car with its description.

    Args:
        expected: frames by which the car is recognised.
        silent: nothing is broadcast on any of its buses.
    """

    def __init__(self, expected: Iterable[ExpectedFrame], *, silent: bool = False) -> None:
        self._heard = [_Heard(one) for one in expected]
        self._silent = silent
        self._first_at: float | None = None
        self._fits = False

    @classmethod
    def of(cls, car: CarDescription) -> Fingerprint:
        """Return the fingerprint of a description."""
        return cls(car.fingerprint, silent=bool(car.buses) and all(bus.silent for bus in car.buses))

    def same(self, other: Fingerprint) -> bool:
        """Say whether another one looks for the same frames."""
        return [one.expected for one in self._heard] == [one.expected for one in other._heard] and (
            self._silent == other._silent
        )

    def handlers(self) -> list[tuple[str, int, Handler]]:
        """Return (bus, key, handler) of the frames that are to be handed in."""
        return [(one.expected.bus, key_of(one.expected.id, one.expected.extended), one.handle) for one in self._heard]

    def talks(self, at: float) -> None:
        """Take note that a bus talks: from here on expected frames are missed."""
        if self._first_at is None:
            self._first_at = at

    def forget(self) -> None:
        """Begin anew, after all buses were silent: somebody may have moved the accessory to another car."""
        self._first_at = None
        self._fits = False
        for one in self._heard:
            one.forget()

    def verdict(self, now: float) -> FitVerdict:
        """Return how far the car is recognised."""
        if not self._heard:
            return _NOTHING_BROADCAST if self._silent else _NOTHING_TO_COMPARE
        wrong = [text for text in (one.difference() for one in self._heard) if text]
        if wrong:
            self._fits = False
            return FitVerdict(Fit.DIFFERS, f"this is not the described car: {'; '.join(wrong)}. {_REMEDY}")
        missing = [one for one in self._heard if not one.enough()]
        self._fits = self._fits or not missing
        if self._fits:
            return FitVerdict(Fit.FITS, "the car is the described one")
        names = ", ".join(one.name for one in missing)
        if self._first_at is not None and now - self._first_at > PATIENCE_S:
            return FitVerdict(Fit.DIFFERS, f"this may not be the described car: {names} not heard. {_REMEDY}")
        return FitVerdict(Fit.WAITING, f"recognising the car: waiting for {names}")


_REMEDY = "Choose the description of this car, or correct its [[fingerprint]]."
_NOTHING_BROADCAST = FitVerdict(Fit.IMPOSSIBLE, "all buses are silent until asked, so the car cannot be recognised")
_NOTHING_TO_COMPARE = FitVerdict(
    Fit.ABSENT,
    "the description names no frames to recognise the car by. Listen with the ignition on and put some steady ids, "
    "their lengths and periods under [[fingerprint]].",
)
