"""What a layout is: the fields of one id, each with its place, kind and what it took, and how the id is sent."""

from __future__ import annotations

from dataclasses import dataclass

from ...contract.layout import Bits
from ..found import Candidate, Plain, Where, bits_plain
from ..heard import Stream
from .protection import Protection
from .rhythm import Rhythm


@dataclass(frozen=True, slots=True)
class Found:
    """One field of a frame.

    Attributes:
        where: its bits, with those above and below that never change where they must belong to it.
        kind: ``flag``, ``choice``, ``number``, ``noise``, ``counter``, ``checksum``, ``multiplexer``.
        confidence: how likely it begins and ends there, 0 to 1.
        lowest, highest: raw numbers seen.
        values: how many different ones.
        changes: how often it changed.
        smooth: a number that moves in small steps.
        about: what more there is to say: how it counts, the rule of a checksum.
    """

    where: Where
    kind: str
    confidence: float
    lowest: int = 0
    highest: int = 0
    values: int = 0
    changes: int = 0
    smooth: bool = False
    about: str = ""

    def candidate(self) -> Candidate:
        """Return it as other searches give their answers."""
        because = (self.about,) if self.about else ()
        return Candidate(self.where, self.confidence, self.confidence, because, {}, {})

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        return {
            **self.where.plain(), "kind": self.kind, "confidence": round(self.confidence, 3), "lowest": self.lowest,
            "highest": self.highest, "values": self.values, "changes": self.changes, "smooth": self.smooth,
            "about": self.about,
        }  # fmt: skip


NONE = Protection()


@dataclass(frozen=True, slots=True)
class Layout:
    """What was found out about the frames of one id."""

    stream: Stream
    rhythm: Rhythm
    fields: tuple[Found, ...] = ()
    multiplexer: Bits | None = None
    remarks: tuple[str, ...] = ()
    protection: Protection = NONE

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        made: dict[str, Plain] = {
            "bus": self.stream.bus, "id": self.stream.name, "extended": self.stream.extended,
            "frames": len(self.stream), "manner": self.rhythm.manner, "period_s": self.rhythm.period_s,
            "jitter_s": self.rhythm.jitter_s, "lengths": {str(n): count for n, count in self.rhythm.lengths},
            "fields": [one.plain() for one in self.fields], "remarks": list(self.remarks),
        }  # fmt: skip
        if self.multiplexer is not None:
            made["multiplexer"] = bits_plain(self.multiplexer)
        return made
