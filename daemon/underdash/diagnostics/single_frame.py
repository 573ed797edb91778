"""A maker's own one-frame request format, described as data: `SingleFrameFormat` in, bytes out and back.

A reply names the command plus `reply_adds` and usually echoes the identifier, so an answer is recognised by what it
says and not by when it comes. A refusal is taken as in ISO 14229-1: 7F where the command would be, then the command
that was refused, then the code (common practice for makers' formats, no source).
"""

from __future__ import annotations

from ..contract.errors import UnderdashError
from ..contract.requests import Answer, ControlUnit, Part, PartKind, SingleFrameFormat
from .isotp import FRAME_BYTES, Dropped
from .negative import NEGATIVE

BELOW_0 = 0x100 - FRAME_BYTES
"""Counts that start here or above start below 0: one that started here would leave no number for what follows."""
_PINNED = (PartKind.MODE, PartKind.FIXED)


def encode(form: SingleFrameFormat, unit: ControlUnit, identifier: int) -> bytes:
    """Return the bytes that ask a unit for an identifier, unpadded.

    Raises:
        UnderdashError: the unit has no address byte though the format wants one, or a number is too large for its part.
    """
    sizes = [part.size for part in form.request]
    return b"".join(
        _spell(form, unit, part, identifier, sum(sizes[index + 1 :])) for index, part in enumerate(form.request)
    )


def _spell(form: SingleFrameFormat, unit: ControlUnit, part: Part, identifier: int, after: int) -> bytes:
    numbers = {
        PartKind.COUNT: part.value + after & 0xFF,
        PartKind.COMMAND: form.command,
        PartKind.IDENTIFIER: identifier,
        PartKind.ADDRESS: unit.address,
    }
    number = numbers.get(part.kind, part.value)
    if number is None:
        raise UnderdashError(
            f"format {form.name!r} has an address byte, and unit {unit.name!r} no address; give the unit its `address`"
        )
    if not 0 <= number < 1 << 8 * part.size:
        raise UnderdashError(
            f"format {form.name!r}: {part.kind.value} {number:X} does not fit {part.size} byte(s); make the part larger"
        )
    return number.to_bytes(part.size)


def decode(form: SingleFrameFormat, unit: ControlUnit, data: bytes) -> Answer | Dropped | None:
    """Read a frame that may be an answer.

    Returns:
        The answer; or why it gives none though it is this unit's; or None if it is not one.
    """
    at, end = 0, len(data)
    identifier: int | None = None
    for part in form.reply:
        if part.kind is PartKind.DATA:
            break
        raw = data[at : at + part.size]
        at += part.size
        number = int.from_bytes(raw)
        if len(raw) < part.size or not _fits(unit, part, number):
            return None
        if part.kind is PartKind.COUNT:
            end = at + _counted(number, part.value)
        elif part.kind is PartKind.IDENTIFIER:
            identifier = number
        elif part.kind is PartKind.COMMAND and number != reply_command(form):
            return _refusal(form, number, data[at:end])
    return _value(identifier, data, at, end)


def _counted(number: int, start: int) -> int:
    """Return how many bytes follow; a count that leaves some of them out starts below 0: FD is -3."""
    return number - start if start < BELOW_0 else (number - start + 0x80 & 0xFF) - 0x80


def _fits(unit: ControlUnit, part: Part, number: int) -> bool:
    """Say whether a pinned byte of a reply is what it has to be."""
    if part.kind is PartKind.ADDRESS:
        return number == unit.address
    return part.kind not in _PINNED or number == part.value


def _value(identifier: int | None, data: bytes, at: int, end: int) -> Answer | Dropped | None:
    """Return what is between the last named byte of a reply and its counted end."""
    if end < at:
        return None
    if end > FRAME_BYTES:
        why = f"an answer of {end - at} bytes, where one frame of this format holds {FRAME_BYTES - at}"
        return Dropped("several frames", why, identifier=identifier)
    if end > len(data):
        return Dropped("length", f"a frame that says {end} bytes and holds {len(data)}", identifier=identifier)
    return Answer(identifier, data[at:end])


def reply_command(form: SingleFrameFormat) -> int:
    """Return the command byte of a reply."""
    return (form.command + form.reply_adds) & 0xFF


def _refusal(form: SingleFrameFormat, command: int, rest: bytes) -> Answer | None:
    if command == NEGATIVE and len(rest) >= 2 and rest[0] == form.command:
        return Answer(None, refused=rest[1])
    return None


# --- what the format promises -----------------------------------------------------------------------------------


def positions(form: SingleFrameFormat, kind: PartKind) -> tuple[int, ...]:
    """Return which bytes of a request belong to parts of a kind."""
    found: list[int] = []
    at = 0
    for part in form.request:
        if part.kind is kind:
            found.extend(range(at, at + part.size))
        at += part.size
    return tuple(found)


def room(form: SingleFrameFormat) -> int:
    """Return how many bytes of a value one reply holds."""
    return FRAME_BYTES - sum(part.size for part in form.reply if part.kind is not PartKind.DATA)


def mistakes(form: SingleFrameFormat) -> list[str]:
    """Return what is wrong with a format, as sentence fragments; nothing if it can be used."""
    return [*_request_mistakes(form), *_reply_mistakes(form)]


def _request_mistakes(form: SingleFrameFormat) -> list[str]:
    kinds = [part.kind for part in form.request]
    length = sum(part.size for part in form.request)
    found = [f"its request needs exactly one {k.value} part" for k in _NEEDED if kinds.count(k) != 1]
    if PartKind.DATA in kinds:
        found.append("its request has a data part, and a request that reads carries none")
    if length > FRAME_BYTES:
        found.append(f"its request has {length} bytes, a frame holds {FRAME_BYTES}")
    if any(part.size != 1 for part in form.request if part.kind is PartKind.COMMAND):
        found.append("its command part has to be one byte")
    return found


def _reply_mistakes(form: SingleFrameFormat) -> list[str]:
    kinds = [part.kind for part in form.reply]
    found = []
    if kinds[-1:] != [PartKind.DATA] or kinds.count(PartKind.DATA) != 1:
        found.append("its reply needs one data part, at the end")
    if kinds.count(PartKind.COMMAND) != 1:
        found.append("its reply needs exactly one command part")
    if room(form) < 1:
        found.append("its reply leaves no byte for a value")
    return found


_NEEDED = (PartKind.COMMAND, PartKind.IDENTIFIER)
