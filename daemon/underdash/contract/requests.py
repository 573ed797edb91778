"""Requests to control units, as declarations; `underdash.diagnostics` speaks them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from .layout import Field


@dataclass(frozen=True, slots=True)
class ControlUnit:
    """A control unit that answers requests.

    Args:
        name: short, such as "engine"; requests refer to it.
        bus: role of its bus.
        request_id, response_id: CAN ids.
        extended: both ids have 29 bits.
        address: byte that frames to it begin with, None without: where several units share an id pair, and in the
            extended and mixed addressing of ISO 15765-2.
        reply_address: byte that its frames begin with, None for the same one; extended addressing has the tester's.
        padding: byte that fills a request up to eight bytes (0 is a padding too); None sends it unpadded.
        answer_within_s: how long to wait for an answer.
        gap_s: least time between two requests.
        block_size: after how many frames of a long answer it waits for us again, 0 for never.
        st_min: time it leaves between these frames, as flow control says it: 00 to 7F ms, F1 to F9 for 100 to 900 us.
    """

    name: str
    bus: str
    request_id: int
    response_id: int
    extended: bool = False
    address: int | None = None
    padding: int | None = 0x00
    answer_within_s: float = 0.25
    gap_s: float = 0.005
    reply_address: int | None = None
    block_size: int = 0
    st_min: int = 0

    @property
    def reply_prefix(self) -> int | None:
        """Byte that its frames begin with, None without."""
        return self.address if self.reply_address is None else self.reply_address


@dataclass(frozen=True, slots=True)
class PollRequest:
    """A value to be asked for while somebody wants it.

    Args:
        unit: name of the control unit.
        protocol: "service_01" or "service_09" (SAE J1979), "identifier_22" (ISO 14229-1), "identifier_21" or
            "identifier_1A" (ISO 14230-3), or the name of a single-frame format or of a protocol that a plug-in brings.
        identifier: parameter, data identifier, or the maker's number.
        fields: what the answer carries; bytes are counted from 0 at the first byte after the echoed identifier.
        period_s: how often it is wanted at most.
        once: asked once a journey.
        note: who found it and how it was checked.
    """

    unit: str
    protocol: str
    identifier: int
    fields: tuple[Field, ...]
    period_s: float = 0.5
    once: bool = False
    note: str = ""


class PartKind(StrEnum):
    """What a byte of a maker's single-frame format is."""

    COUNT = "count"
    """`value` plus the number of bytes that follow it and count (padding does not), modulo 256: FD is -3."""
    ADDRESS = "address"
    """The control unit's address byte."""
    COMMAND = "command"
    """The command that reads; in a reply it is the request's plus `reply_adds`."""
    IDENTIFIER = "identifier"
    """The number asked for, `size` bytes, most significant first."""
    MODE = "mode"
    """Pinned to `value`, the one that asks for a single answer."""
    FIXED = "fixed"
    """Always `value`."""
    DATA = "data"
    """Replies only, last: the bytes of the value."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a single-frame format; see `PartKind` for what `size` and `value` mean."""

    kind: PartKind
    size: int = 1
    value: int = 0


@dataclass(frozen=True, slots=True)
class SingleFrameFormat:
    """A maker's own one-frame request format.

    Args:
        name: requests refer to it.
        request, reply: the parts in order.
        command: the command byte that reads.
        reply_adds: what a reply adds to the command byte (common practice: 0x40).
    """

    name: str
    command: int
    request: tuple[Part, ...]
    reply: tuple[Part, ...]
    reply_adds: int = 0x40


@dataclass(frozen=True, slots=True)
class Answer:
    """What a control unit said: `data` for an identifier, or the `refused` code of a negative response."""

    identifier: int | None
    data: bytes = b""
    refused: int | None = None


@dataclass(frozen=True, slots=True)
class Protocol:
    """A request format in code, for what a `SingleFrameFormat` cannot say.

    Args:
        name: requests refer to it.
        encode: (unit, identifier) -> the request's payload, at most eight bytes, unpadded; where the unit has an
            `address`, with that byte in its place.
        decode: (unit, payload) -> an answer, or None if this payload is not one. It gets every frame on the unit's
            answering id as it comes, padding and all.
        identifier_bytes: positions of the payload, counted from 0, that vary with the identifier, a checksum over it
            among them; the guard pins all others.
        command_byte: position of the byte that says what is to be done. A maker's command goes out with the owner's
            permission (``[reads]``) and an ``[[exchange]]`` of the description whose `request_format` is this name.
    """

    name: str
    encode: Callable[[ControlUnit, int], bytes]
    decode: Callable[[ControlUnit, bytes], Answer | None]
    identifier_bytes: tuple[int, ...]
    command_byte: int
