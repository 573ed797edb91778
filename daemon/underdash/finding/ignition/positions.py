"""What a person's marks say about the ignition: which position it was in when, and what else was done meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from ...contract.errors import GivenError
from ...signals.catalogue import IGNITION_POSITIONS
from ..heard import Heard
from ..marks import LATEST_S, Mark

RUNNING = "RUNNING"
"""The ignition is ON, and the engine runs or the car is ready to drive: some fields tell that apart."""
WORDS = {
    **{position.casefold(): position for position in IGNITION_POSITIONS},
    "running": RUNNING, "ready": RUNNING, "engine running": RUNNING,
    "accessory": "ACC", "locked": "LOCK", "starter": "START",
}  # fmt: skip
ASLEEP = ("asleep", "sleep", "buses asleep")
LIT, DARK = ("ON", RUNNING), ("LOCK", "OFF", "ACC")
"""Positions in which control units may be asked, and in which they must not be."""

SETTLED_S = 0.5
"""A car shows a new position this long after it was marked at the latest: its frames come five times a second at least,
and the mark itself is late (our choice)."""
USUAL_LATE_S = 0.35
"""Half of the longest lateness."""
SHORT_S = 0.3
"""Less of a stay is not long enough to be sure of."""


@dataclass(frozen=True, slots=True)
class Stay:
    """The ignition rests in one position.

    Attributes:
        position: one of `IGNITION_POSITIONS`, or RUNNING.
        begin, end: seconds as marked.
        first, last: between these it was certainly there, or most likely where it is not `sure`.
        sure: False for a stay that is shorter than marks can be late.
    """

    position: str
    begin: float
    end: float
    first: float
    last: float
    sure: bool


@dataclass(frozen=True)
class Led:
    """A recording in which the ignition was turned, and what a person said of it.

    Attributes:
        heard: the recording.
        stays: the positions, in their order.
        turns: seconds at which it was turned, as marked.
        others: marks of other deeds by word, such as doors: what answers to them is not the ignition.
    """

    heard: Heard
    stays: tuple[Stay, ...]
    turns: tuple[float, ...]
    others: Mapping[str, tuple[Mark, ...]]

    @property
    def rounds(self) -> int:
        """How often a position came again."""
        return len(self.stays) - len({stay.position for stay in self.stays})

    def with_one_left_out(self) -> Iterator[Led]:
        """Yield it with each of the stays forgotten, where on and off are still both among the others."""
        for stay in self.stays:
            rest = tuple(one for one in self.stays if one is not stay)
            seen = {one.position for one in rest}
            if seen & set(LIT) and seen & set(DARK):
                yield replace(self, stays=rest)


def led(heard: Heard, marks: Mapping[str, Sequence[Mark]]) -> Led:
    """Sort marks by word into positions and others; raises GivenError where they do not say both on and off."""
    stays = _stays(marks, heard)
    return Led(heard, stays, tuple(stay.begin for stay in stays), _others(marks))


def is_position(word: str) -> bool:
    """Say whether a mark's word names a position of the ignition."""
    return word.casefold() in WORDS


def _stays(marks: Mapping[str, Sequence[Mark]], heard: Heard) -> tuple[Stay, ...]:
    turned = sorted(
        ((mark, WORDS[word.casefold()]) for word, some in marks.items() if is_position(word) for mark in some),
        key=lambda pair: pair[0].begin,
    )
    found = []
    for number, (mark, position) in enumerate(turned):
        until = turned[number + 1][0].begin if number + 1 < len(turned) else heard.end + LATEST_S
        if mark.end is not None:
            until = min(until, mark.end)
        found.append(_stay(position, mark.begin, until))
    seen = {stay.position for stay in found}
    for needed, what in ((LIT, "ON"), (DARK, "OFF")):
        if not seen & set(needed):
            raise GivenError(
                f"the marks never say {what}: mark each position when it is reached, LOCK, OFF, ACC, ON, START and the "
                "way back, so that on and off can be compared"
            )
    return tuple(found)


def _others(marks: Mapping[str, Sequence[Mark]]) -> dict[str, tuple[Mark, ...]]:
    return {
        word: tuple(some) for word, some in marks.items() if not is_position(word) and word.casefold() not in ASLEEP
    }


def _stay(position: str, begin: float, end: float) -> Stay:
    first, last = begin + SETTLED_S, end - LATEST_S
    if last - first >= SHORT_S:
        return Stay(position, begin, end, first, last, True)
    quarter = (end - begin) / 4
    return Stay(position, begin, end, begin - USUAL_LATE_S + quarter, end - USUAL_LATE_S - quarter, False)
