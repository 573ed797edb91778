"""Makers' one-frame formats on the control unit's side, from the same description that the requests come from."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.requests import ControlUnit, Part, PartKind, SingleFrameFormat
from ..contract.signals import Value
from .faults import Fault
from .spelling import NEGATIVE, OUT_OF_RANGE, TOO_LONG, Known, spelt
from .transport import FRAME_BYTES


class OneFrame:
    """A unit's way to answer in one format.

    Args:
        form: the format.
        unit: whose address byte it answers to.
        known: what it has.
        spills: see `Manners`.
    """

    def __init__(self, form: SingleFrameFormat, unit: ControlUnit, known: Known, spills: bool = False) -> None:
        self.form = form
        self._unit = unit
        self._known = known
        self._spills = spills

    def asked(self, payload: bytes) -> int | None:
        """Return the identifier asked for, None if these bytes are not a request to this unit."""
        identifier: int | None = None
        at = 0
        for part in self.form.request:
            piece = payload[at : at + part.size]
            if len(piece) < part.size:
                return None
            at += part.size
            number = int.from_bytes(piece)
            if part.kind is PartKind.IDENTIFIER:
                identifier = number
            elif number != self._pinned(part):
                return None
        return identifier

    def _pinned(self, part: Part) -> int:
        """What a part of a request must be for this unit to feel meant."""
        if part.kind is PartKind.COUNT:
            return part.value + _following(self.form.request, part) & 0xFF
        if part.kind is PartKind.ADDRESS:
            return -1 if self._unit.address is None else self._unit.address
        return self.form.command if part.kind is PartKind.COMMAND else part.value

    def reply(self, identifier: int, values: Mapping[str, Value], fault: Fault = Fault.NONE) -> list[bytes] | int:
        """Return the frames of an answer, unpadded, or the code of a refusal."""
        fields = self._known.get(identifier)
        if fields is None:
            return OUT_OF_RANGE
        data = spelt(fields, values)
        if fault is Fault.WRONG_LENGTH:
            data = data[:-1]
        whole = self._spell(identifier ^ 1 if fault is Fault.FOREIGN else identifier, data)
        if len(whole) <= FRAME_BYTES:
            return [whole]
        if not self._spills:
            return TOO_LONG
        return [whole[at : at + FRAME_BYTES] for at in range(0, len(whole), FRAME_BYTES)]

    def _spell(self, identifier: int, data: bytes) -> bytes:
        reply = bytearray()
        for part in self.form.reply:
            if part.kind is PartKind.COUNT:
                reply.append((part.value + _following(self.form.reply, part, len(data))) & 0xFF)
            elif part.kind is PartKind.IDENTIFIER:
                reply += identifier.to_bytes(part.size)
            elif part.kind is PartKind.DATA:
                reply += data
            else:
                adds = self.form.reply_adds if part.kind is PartKind.COMMAND else 0
                reply += (self._pinned(part) + adds & 0xFF).to_bytes(part.size)
        return bytes(reply)

    def refusal(self, code: int) -> bytes:
        """Say no as ISO 14229-1 does, in the place of the command (common practice, no source)."""
        parts = self.form.reply
        reply = bytearray()
        command = next(index for index, part in enumerate(parts) if part.kind is PartKind.COMMAND)
        for part in parts[:command]:
            if part.kind is PartKind.COUNT:
                reply.append((part.value + _following(parts[: command + 1], part) + 2) & 0xFF)
            else:
                reply += self._pinned(part).to_bytes(part.size)
        return bytes(reply) + bytes((NEGATIVE, self.form.command, code))


def _following(parts: tuple[Part, ...], part: Part, data: int = 0) -> int:
    """Count the bytes after `part`, which stands for itself and not for its equals."""
    after = parts[next(index for index, other in enumerate(parts) if other is part) + 1 :]
    return sum(data if other.kind is PartKind.DATA else other.size for other in after)
