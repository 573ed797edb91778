"""What is known about the ignition, from listening and from wires.

The rule: ON is at least one fresh ON and no fresh OFF. START outranks both, keeps whatever the accessory does, and
shuts sending until two seconds after ON. Nothing fresh is UNKNOWN, which shuts sending. No poll, no derived signal and
no plug-in may feed this; the wiring sees to that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import inf
from typing import TYPE_CHECKING

from ..contract.signals import Value

if TYPE_CHECKING:
    from ..contract.cars import IgnitionEvidence


class Position(StrEnum):
    """What the evidence adds up to."""

    ON = "on"
    OFF = "off"
    START = "start"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class IgnitionOptions:
    """Times in seconds.

    Args:
        settle_s: after ON follows START, before anything is sent.
        silence_s: no frame on any bus for this long is silence.
        vouched_s: how long a person's word stands in for evidence.
        backlog_s: after this program stood still, until what had queued up meanwhile is read. A receive buffer holds
            a few thousand frames, each read in some ten microseconds.
    """

    settle_s: float = 2.0
    silence_s: float = 5.0
    vouched_s: float = 600.0
    backlog_s: float = 0.5


@dataclass(frozen=True, slots=True)
class IgnitionState:
    """The ignition as known at one moment.

    Attributes:
        position: what the evidence adds up to.
        may_send: the guard may let frames out, until `until` (monotonic s) unless a newer state says otherwise.
        why: a sentence with the evidence and, where it closes, the remedy.
        attended: a person's word stands in for evidence.
    """

    position: Position
    may_send: bool
    why: str
    until: float = -inf
    attended: bool = False


NEVER_KNOWN = IgnitionState(Position.UNKNOWN, False, "no evidence has been looked at yet")


@dataclass(frozen=True, slots=True)
class Seen:
    """Whether an entry was seen on and not on while a bus was awake."""

    on: bool = False
    off: bool = False


class _Entry:
    """One piece of evidence and what it last said."""

    __slots__ = ("at", "evidence", "says", "seen", "value")

    def __init__(self, evidence: IgnitionEvidence) -> None:
        self.evidence = evidence
        self.says: Position | None = None
        self.value: Value = ""
        self.at = -inf
        self.seen = Seen()

    def read(self, value: Value) -> Position | None:
        """Return what a value of the signal says, None where it says nothing."""
        words = _words(value)
        for position, meant in ((Position.START, self.evidence.start), (Position.OFF, self.evidence.off)):
            if words & {word.casefold() for word in meant}:
                return position
        if words & {word.casefold() for word in self.evidence.on}:
            return Position.ON
        above = self.evidence.above
        if above is not None and isinstance(value, float | int) and not isinstance(value, bool) and value > above:
            return Position.ON
        return None

    def ends(self) -> float:
        """Return until when the last sample counts (monotonic s)."""
        return self.at + self.evidence.lifetime_s

    def text(self) -> str:
        return f"{self.evidence.name} = {self.value}"


class Ignition:
    """Adds evidence up.

    Args:
        evidence: from the car's description.
        options: times.
    """

    def __init__(self, evidence: Iterable[IgnitionEvidence], options: IgnitionOptions | None = None) -> None:
        self.options = options or IgnitionOptions()
        self._entries = [_Entry(one) for one in evidence]
        self._heard_at = -inf
        self._vouched_at = -inf
        self._starting = False
        self._open_at = -inf
        self._trusted_from = -inf

    # --- what comes in ------------------------------------------------------------------------------------------

    def sample(self, signal: str, value: Value, at: float, wire: str = "") -> None:
        """Take a sample of a signal that came from listening or from a wire.

        Args:
            signal, value, at: the sample.
            wire: the input it came from, where that is evidence of its own; a wire and a frame that feed one signal
                are two witnesses, and neither may speak for the other.
        """
        for entry in self._entries:
            if entry.evidence.signal != signal or entry.evidence.wire != wire:
                continue
            says = entry.read(value)
            if says is Position.ON and at < self._trusted_from:
                if entry.says is not Position.ON:
                    entry.says = None
                continue
            entry.says, entry.value, entry.at = says, value, at
            self._note_seen(entry, at)
        self._settle(at)

    def alive(self, bus: str, can_id: int, at: float) -> None:
        """Take note of a frame that keeps a signal alive which is sent on change only.

        A sample that had run out stays so: the value may have changed while nobody was heard.
        """
        for entry in self._entries:
            if entry.evidence.alive_with == (bus, can_id) and self._trusted_from <= at <= entry.ends():
                entry.at = at

    def stood_still(self, at: float) -> None:
        """Take note that this program stood still until now.

        What is read at once has waited as long and only looks fresh. So ON counts again from the first sample of the
        normal flow; OFF and START count as ever. A signal that is sent on change says nothing new, so what it said
        stays until it runs out.
        """
        self._trusted_from = at + self.options.backlog_s
        for entry in self._entries:
            if entry.says is Position.ON and (entry.evidence.alive_with is None or at > entry.ends()):
                entry.says = None

    def heard(self, at: float) -> None:
        """Take note that a bus talks; a wire is no bus, it says its word in a sleeping car too."""
        self._heard_at = at

    def vouch(self, at: float) -> None:
        """Take a person's word, given at the keyboard beside a standing car, that the ignition is on."""
        self._vouched_at = at
        self._heard_at = max(self._heard_at, at)

    def vouched(self, now: float) -> bool:
        """Say whether a person's word counts, whatever else is known: it ends by time and once the buses are silent."""
        return now <= min(self._vouched_at + self.options.vouched_s, self._heard_at + self.options.silence_s)

    def end_vouching(self) -> None:
        """Take the person's word back."""
        self._vouched_at = -inf

    # --- what is known ------------------------------------------------------------------------------------------

    def wires(self, now: float) -> dict[str, Position]:
        """Return what each wire says, by its name; none for one that says nothing."""
        return {
            entry.evidence.wire: entry.says
            for entry in self._entries
            if entry.evidence.wire and entry.says is not None and now <= entry.ends()
        }

    def talking(self, now: float) -> bool:
        """Say whether any bus talks."""
        return now - self._heard_at <= self.options.silence_s

    def state(self, now: float) -> IgnitionState:
        """Return what is known now."""
        self._settle(now)
        position = self._position(now)
        if position is Position.OFF:
            self._vouched_at = -inf
            return IgnitionState(position, False, f"ignition off ({self._texts(now, position)}); switch it on")
        if position is Position.START:
            return IgnitionState(position, False, f"starter turns ({self._texts(now, position)}); wait")
        if now < self._trusted_from:
            return IgnitionState(position, False, "the accessory stood still for a moment; requests follow at once")
        if now < self._open_at:
            return IgnitionState(position, False, "engine was started a moment ago; requests follow in two seconds")
        if position is Position.ON:
            # a person's word beside evidence that was not seen both ways yet lets it count: so a wire proves itself
            # where buses say nothing until they are asked
            why, attended = f"ignition on ({self._texts(now, position)})", now <= self._vouched_until()
            return IgnitionState(position, True, why, self._on_ends(now), attended=attended)
        return self._unknown(now)

    @property
    def seen_both(self) -> bool:
        """Whether every entry that can say ON has been seen both on and not on while a bus was awake."""
        entries = [entry for entry in self._entries if _says_on(entry.evidence)]
        return bool(entries) and all(entry.seen.on and entry.seen.off for entry in entries)

    def seen(self) -> dict[str, Seen]:
        """Return what was seen by signal or wire, to be kept over journeys."""
        seen: dict[str, Seen] = {}
        for entry in self._entries:
            before = seen.get(entry.evidence.name, Seen(True, True))
            seen[entry.evidence.name] = Seen(before.on and entry.seen.on, before.off and entry.seen.off)
        return seen

    def restore(self, seen: Mapping[str, Seen]) -> None:
        """Take over what was seen on earlier journeys with the same description."""
        for entry in self._entries:
            before = seen.get(entry.evidence.name, Seen())
            entry.seen = Seen(entry.seen.on or before.on, entry.seen.off or before.off)

    def unseen_text(self) -> str:
        """Return a sentence that says what has not been seen yet, "" if nothing is missing."""
        entries = [entry for entry in self._entries if _says_on(entry.evidence)]
        if not entries:
            return "the description has no evidence for the ignition; find it and describe it under [[ignition]]"
        missing = [
            f"{entry.evidence.name} {word}"
            for entry in entries
            for word, was in (("on", entry.seen.on), ("not on", entry.seen.off))
            if not was
        ]
        if not missing:
            return ""
        return f"not seen yet while a bus was awake: {', '.join(missing)}; turn the key on and off once"

    # --- inside -------------------------------------------------------------------------------------------------

    def _fresh(self, now: float, position: Position) -> list[_Entry]:
        return [entry for entry in self._entries if entry.says is position and now <= entry.ends()]

    def _position(self, now: float) -> Position:
        for position in (Position.START, Position.OFF, Position.ON):
            if self._fresh(now, position):
                return position
        return Position.UNKNOWN

    def _settle(self, now: float) -> None:
        """Follow START: what comes after it opens late."""
        position = self._position(now)
        if position is Position.START:
            self._starting = True
            # also where what follows is OFF, as a contact that flutters says it, or nothing but a person's word
            self._open_at = max(self._open_at, now + self.options.settle_s)
        elif position is Position.OFF:
            self._starting = False
        elif self._starting and position is Position.ON:
            self._starting = False
            self._open_at = now + self.options.settle_s

    def _on_ends(self, now: float) -> float:
        return max(entry.ends() for entry in self._fresh(now, Position.ON))

    def _texts(self, now: float, position: Position) -> str:
        return ", ".join(entry.text() for entry in self._fresh(now, position))

    def _vouched_until(self) -> float:
        """Return until when a person's word counts."""
        return min(self._vouched_at + self.options.vouched_s, self._heard_at + self.options.silence_s)

    def _unknown(self, now: float) -> IgnitionState:
        if self.vouched(now):
            ends = self._vouched_until()
            why = "a person at the keyboard says that the ignition is on"
            return IgnitionState(Position.ON, True, why, ends, attended=True)
        self._vouched_at = -inf
        if not self._entries:
            why = "ignition unknown: the description has no evidence for it; find it and describe it under [[ignition]]"
        else:
            wanted = ", ".join(entry.evidence.name for entry in self._entries)
            why = f"ignition unknown: nothing fresh from {wanted}; check that their bus or wire is alive"
        return IgnitionState(Position.UNKNOWN, False, why)

    def _note_seen(self, entry: _Entry, at: float) -> None:
        if entry.says is Position.START or not self.talking(at):
            return
        on = entry.says is Position.ON
        # an entry with words for OFF must say one of them; for others anything but ON is the other side
        off = entry.says is Position.OFF or (entry.says is None and not entry.evidence.off)
        entry.seen = Seen(entry.seen.on or on, entry.seen.off or off)


def _says_on(evidence: IgnitionEvidence) -> bool:
    return bool(evidence.on) or evidence.above is not None


def _words(value: Value) -> set[str]:
    """Return the ways a description may spell a value."""
    if isinstance(value, bool):
        return {"true", "on", "1"} if value else {"false", "off", "0"}
    if isinstance(value, str):
        return {value.casefold()}
    return {f"{value:g}"}
