"""How each protocol is spoken, in one shape: frames out, answers in, and which bytes of a request may vary.

This is the seam for what comes later: an assembler of several frames changes `decode` of the protocols over ISO-TP,
several identifiers in one request change what the scheduler hands out; who calls them stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from ..contract.errors import UnderdashError
from ..contract.requests import Answer, ControlUnit, PartKind, Protocol, SingleFrameFormat
from . import isotp, obd, single_frame, uds
from .isotp import FRAME_BYTES, Dropped
from .parameters import PARAMETERS

Heard = tuple[Answer, ...] | Dropped
"""What a frame says: answers (none: it is not one), or why one of ours gives none."""


@dataclass(frozen=True, slots=True)
class Speech:
    """A protocol as its users see it.

    Attributes:
        name: requests refer to it.
        short: how sources call it ("01").
        identifier_bytes: how long an identifier is.
        encode: (unit, identifier) -> a frame's data, unpadded.
        decode: (unit, a frame's data) -> what it says.
        varies: (unit) -> positions of the identifier in a frame.
        command_at: (unit) -> position of the byte that says what is to be done.
        address_at: (unit) -> position of the unit's address byte, None where there is none.
        room: (unit) -> bytes of a value that an answer in one frame holds.
        maker: it is a maker's own, not a standard's.
        size_of: (identifier) -> bytes of its value, where the standard fixes them.
    """

    name: str
    short: str
    identifier_bytes: int
    encode: Callable[[ControlUnit, int], bytes]
    decode: Callable[[ControlUnit, bytes], Heard]
    varies: Callable[[ControlUnit], tuple[int, ...]]
    command_at: Callable[[ControlUnit], int]
    address_at: Callable[[ControlUnit], int | None]
    room: Callable[[ControlUnit], int]
    maker: bool = False
    size_of: Callable[[int], int | None] = lambda identifier: None


def _over_isotp(
    name: str,
    identifier_bytes: int,
    request: Callable[[int], bytes],
    read: Callable[[bytes], tuple[Answer, ...]],
    size_of: Callable[[int], int | None] = lambda identifier: None,
) -> Speech:
    def command_at(unit: ControlUnit) -> int:
        return 1 + (unit.address is not None)

    def decode(unit: ControlUnit, data: bytes) -> Heard:
        message = isotp.unwrap(data, unit.address)
        if message is None:
            return ()
        if isinstance(message, bytes):
            return read(message)
        if not message.start:
            return message
        answers = read(message.start)
        return replace(message, identifier=answers[0].identifier) if answers else ()

    return Speech(
        name, name.rpartition("_")[2], identifier_bytes,
        encode=lambda unit, identifier: isotp.wrap(request(identifier), unit.address),
        decode=decode,
        varies=lambda unit: tuple(range(command_at(unit) + 1, command_at(unit) + 1 + identifier_bytes)),
        command_at=command_at,
        address_at=lambda unit: None if unit.address is None else 0,
        room=lambda unit: isotp.room(unit.address) - 1 - identifier_bytes,
        size_of=size_of,
    )  # fmt: skip


def _parameter_size(pid: int) -> int | None:
    parameter = PARAMETERS.get(pid)
    return parameter.size if parameter else None


SERVICE_01 = _over_isotp("service_01", 1, obd.request, obd.read, _parameter_size)
IDENTIFIER_22 = _over_isotp("identifier_22", uds.IDENTIFIER_BYTES, uds.request, uds.read)
STANDARD = (SERVICE_01, IDENTIFIER_22)


def from_format(form: SingleFrameFormat) -> Speech:
    """Return the speech of a maker's format.

    Raises:
        UnderdashError: the format contradicts itself.
    """
    wrong = single_frame.mistakes(form)
    if wrong:
        raise UnderdashError(f"format {form.name!r} cannot be used: {'; '.join(wrong)}")
    varies = single_frame.positions(form, PartKind.IDENTIFIER)
    (command_at,) = single_frame.positions(form, PartKind.COMMAND)
    address_at = single_frame.positions(form, PartKind.ADDRESS)

    def decode(unit: ControlUnit, data: bytes) -> Heard:
        heard = single_frame.decode(form, unit, data)
        return heard if isinstance(heard, Dropped) else _as_tuple(heard)

    return Speech(
        form.name, form.name, len(varies),
        encode=lambda unit, identifier: single_frame.encode(form, unit, identifier),
        decode=decode,
        varies=lambda unit: varies,
        command_at=lambda unit: command_at,
        address_at=lambda unit: next(iter(address_at), None),
        room=lambda unit: single_frame.room(form),
        maker=True,
    )  # fmt: skip


def from_protocol(protocol: Protocol) -> Speech:
    """Return the speech of a plug-in's protocol; what its `decode` raises becomes a dropped frame that names it."""

    def decode(unit: ControlUnit, data: bytes) -> Heard:
        try:
            answer = protocol.decode(unit, data)
        except Exception as exc:
            return Dropped("raised", f"protocol {protocol.name!r} raised {type(exc).__name__}: {exc}")
        return _as_tuple(answer)

    return Speech(
        protocol.name, protocol.name, len(protocol.identifier_bytes),
        encode=protocol.encode,
        decode=decode,
        varies=lambda unit: protocol.identifier_bytes,
        command_at=lambda unit: protocol.command_byte,
        address_at=lambda unit: None,
        room=lambda unit: FRAME_BYTES,
        maker=True,
    )  # fmt: skip


def _as_tuple(answer: Answer | None) -> tuple[Answer, ...]:
    return () if answer is None else (answer,)


def speeches(
    formats: Iterable[SingleFrameFormat], protocols: Iterable[Protocol]
) -> tuple[dict[str, Speech], list[str]]:
    """Return all protocols by name, and sentences about those that cannot be used."""
    found = {speech.name: speech for speech in STANDARD}
    problems: list[str] = []
    made: list[Speech] = [from_protocol(protocol) for protocol in protocols]
    for form in formats:
        try:
            made.append(from_format(form))
        except UnderdashError as exc:
            problems.append(str(exc))
    for speech in made:
        if speech.name in found:
            problems.append(
                f"protocol {speech.name!r} is there twice; the first one counts, give this one another name"
            )
        found.setdefault(speech.name, speech)
    return found, problems
