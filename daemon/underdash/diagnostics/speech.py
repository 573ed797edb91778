"""How each protocol is spoken, in one shape: messages out, answers in, and which bytes of a request may vary.

What carries a message is not decided here: protocols over ISO-TP make and read whole messages, however many frames
those take; a maker's one-frame formats make and read the frame itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from ..contract.errors import UnderdashError, raised
from ..contract.fitting import misfit
from ..contract.requests import Answer, ControlUnit, PartKind, Protocol, SingleFrameFormat
from . import isotp, kwp, obd, single_frame, uds, vehicle
from .identified import Sizes, reader
from .isotp import FRAME_BYTES, Dropped
from .pci import MOST_SHORT_BYTES

MISTAKEN = "mistake in a protocol"
"""Why a frame is dropped that a plug-in's `decode` should have read."""

Heard = tuple[Answer, ...] | Dropped
"""What a message says: answers (none: it is not one), or why one of ours gives none."""


@dataclass(frozen=True, slots=True)
class Speech:
    """A protocol as its users see it.

    Attributes:
        name: requests refer to it.
        short: how sources call it ("01").
        identifier_bytes: how long an identifier is.
        encode: (unit, identifier) -> the data of the frame that asks for it, unpadded.
        decode: (unit, message or frame's data, sizes, identifiers asked for) -> what it says; see `identified.read`.
        varies: (unit) -> positions of the identifier in a frame.
        command_at: (unit) -> position of the byte that says what is to be done.
        address_at: (unit) -> position of the unit's address byte, None where there is none.
        room: (unit) -> bytes of a value that an answer holds.
        message: identifiers -> the message that asks for them, for protocols over ISO-TP; None for others.
        most: identifiers a request may ask for.
        several_frames: its request may take several frames; without, `most` is what one frame holds.
        service: number of its service, for the meaning of negative responses.
        maker: it is a maker's own, not a standard's.
        echoes: its answers are known to say which identifier they are about.
        sizes: bytes of values, by identifier, where the standard fixes them.
    """

    name: str
    short: str
    identifier_bytes: int
    encode: Callable[[ControlUnit, int], bytes]
    decode: Callable[[ControlUnit, bytes, Sizes, tuple[int, ...]], Heard]
    varies: Callable[[ControlUnit], tuple[int, ...]]
    command_at: Callable[[ControlUnit], int]
    address_at: Callable[[ControlUnit], int | None]
    room: Callable[[ControlUnit], int]
    message: Callable[[Iterable[int]], bytes] | None = None
    most: int = 1
    several_frames: bool = False
    service: int = 0
    maker: bool = False
    echoes: bool = True
    sizes: Mapping[int, int] = field(default_factory=dict)

    @property
    def over_isotp(self) -> bool:
        """Its messages may take several frames."""
        return self.message is not None

    def most_in_a_frame(self, unit: ControlUnit) -> int:
        """Return how many identifiers a request in one frame may ask for."""
        return min(self.most, (isotp.room(unit.address) - 1) // self.identifier_bytes)


def _over_isotp(
    name: str, identifier_bytes: int, service: int, request: Callable[..., bytes],
    *, most: int = 1, several_frames: bool = False, sizes: Mapping[int, int] | None = None,
) -> Speech:  # fmt: skip
    read = reader(service, identifier_bytes)

    def command_at(unit: ControlUnit) -> int:
        return 1 + (unit.address is not None)

    return Speech(
        name, name.rpartition("_")[2], identifier_bytes,
        encode=lambda unit, identifier: isotp.wrap(request(identifier), unit.address),
        decode=lambda unit, message, known, asked: read(message, known, asked),
        varies=lambda unit: tuple(range(command_at(unit) + 1, command_at(unit) + 1 + identifier_bytes)),
        command_at=command_at,
        address_at=lambda unit: None if unit.address is None else 0,
        room=lambda unit: MOST_SHORT_BYTES - 1 - identifier_bytes,
        message=lambda identifiers: request(*identifiers),
        most=most,
        several_frames=several_frames,
        service=service,
        sizes=sizes or {},
    )  # fmt: skip


SERVICE_01 = _over_isotp("service_01", 1, obd.SERVICE, obd.request, most=obd.MOST, sizes=obd.SIZES)
SERVICE_09 = _over_isotp("service_09", 1, vehicle.SERVICE, vehicle.request)
IDENTIFIER_22 = _over_isotp(
    "identifier_22", uds.IDENTIFIER_BYTES, uds.SERVICE, uds.request, most=uds.MOST, several_frames=True
)
IDENTIFIER_21 = _over_isotp("identifier_21", 1, kwp.LOCAL, kwp.request_local)
IDENTIFIER_1A = _over_isotp("identifier_1A", 1, kwp.IDENTIFICATION, kwp.request_identification)
STANDARD = (SERVICE_01, SERVICE_09, IDENTIFIER_22, IDENTIFIER_21, IDENTIFIER_1A)


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

    def decode(unit: ControlUnit, data: bytes, sizes: Sizes, asked: tuple[int, ...]) -> Heard:
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
        service=form.command,
        maker=True,
        echoes=any(part.kind is PartKind.IDENTIFIER for part in form.reply),
    )  # fmt: skip


def from_protocol(protocol: Protocol) -> Speech:
    """Return the speech of a plug-in's protocol; what its `decode` does wrong becomes a dropped frame that names it."""
    name = f"decode of protocol {protocol.name!r}"

    def decode(unit: ControlUnit, data: bytes, sizes: Sizes, asked: tuple[int, ...]) -> Heard:
        try:
            answer: object = protocol.decode(unit, data)
        except (Exception, SystemExit) as exc:
            return Dropped(MISTAKEN, f"{name} raised {raised(exc)}")
        wrong = misread(answer)
        if wrong or not isinstance(answer, Answer):
            return Dropped(MISTAKEN, f"{name} {wrong}") if wrong else ()
        return (answer,)

    return Speech(
        protocol.name, protocol.name, len(protocol.identifier_bytes),
        encode=protocol.encode,
        decode=decode,
        varies=lambda unit: protocol.identifier_bytes,
        command_at=lambda unit: protocol.command_byte,
        address_at=lambda unit: None,
        room=lambda unit: FRAME_BYTES,
        maker=True,
        echoes=False,
    )  # fmt: skip


def misread(answer: object) -> str:
    """Say what a plug-in's `decode` gave that is neither an answer nor None, "" if it is one of them."""
    if answer is None:
        return ""
    if not isinstance(answer, Answer):
        return f"gave {type(answer).__name__}, it has to give an Answer or None"
    wrong = misfit(answer)
    return f"gave an Answer whose {wrong}" if wrong else ""


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
