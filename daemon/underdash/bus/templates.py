"""Templates: what a request may look like, byte by byte, compiled at start-up from the declared polls.

In a template every byte is pinned except those of identifiers, and these stay inside declared ranges. Whether a
template may be used at all is decided in `vetting.py`, whether a frame may go out now in `guard.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from ..contract.errors import UnderdashError
from ..contract.requests import ControlUnit
from .frames import Frame, id_text, key_of
from .legislated import own_id

FRAME_BYTES = 8
LONGEST_SINGLE = 7
GO_ON, NO_ROOM = 0x30, 0x32
"""First bytes of flow control (ISO 15765-2, clause 9.6.5): continue to send, and overflow."""


class TemplateError(UnderdashError):
    """A request that cannot be made into a template."""


@dataclass(frozen=True, slots=True)
class Span:
    """Bytes of a request that vary: one identifier.

    Args:
        at: first byte, counted from 0 in the frame's data.
        size: number of bytes, most significant first.
        allowed: ranges (first, last) its value stays in.
    """

    at: int
    size: int
    allowed: tuple[tuple[int, int], ...]

    def holds(self, data: bytes) -> bool:
        """Say whether the identifier in `data` is in a declared range."""
        value = int.from_bytes(data[self.at : self.at + self.size], "big")
        return any(first <= value <= last for first, last in self.allowed)

    def values_at(self, byte: int) -> set[int]:
        """Return every value that byte `byte` of the frame can have."""
        shift = 8 * (self.size - 1 - (byte - self.at))
        found: set[int] = set()
        for first, last in self.allowed:
            low, high = first >> shift, last >> shift
            found.update(range(256) if high - low >= 255 else (value & 0xFF for value in range(low, high + 1)))
        return found


@dataclass(frozen=True, slots=True)
class Parts:
    """What a protocol says about its request.

    Args:
        payload: one request, unpadded, address byte included.
        spans: the identifiers in it.
        command_at: the byte that says what is to be done: the service, or a maker's command byte.
        address_at: the unit's address byte, None where its id is its own.
        maker: name of the maker's format, None for a standard one on ISO 15765-2.
    """

    payload: bytes
    spans: tuple[Span, ...]
    command_at: int
    address_at: int | None = None
    maker: str | None = None


@dataclass(frozen=True, slots=True)
class Template:
    """A request that may be sent: `data & mask == value` and every span in its ranges.

    Args:
        bus: role.
        key: id of the request, with the extended flag in bit 31.
        mask, value: as long as the frame; a mask byte is FF where the byte is pinned and 00 where it varies.
        unit: name of the control unit.
        ranges: the bytes that vary.
        command_at, address_at, maker: see `Parts`.
        used: bytes in front of the padding.
        gap_s: least time between two requests to the unit.
        flow: (key, data) of the flow control that an answer may need, to the last byte; none for a maker's format.
    """

    bus: str
    key: int
    mask: bytes
    value: bytes
    unit: str
    ranges: tuple[Span, ...]
    command_at: int
    address_at: int | None = None
    maker: str | None = None
    used: int = FRAME_BYTES
    gap_s: float = 0.005
    flow: tuple[tuple[int, bytes], ...] = ()

    @property
    def command(self) -> int:
        """The service or command byte."""
        return self.value[self.command_at]

    @property
    def address(self) -> int | None:
        """The unit's address byte, None where its id is its own."""
        return None if self.address_at is None else self.value[self.address_at]

    def matches(self, frame: Frame) -> bool:
        """Say whether a frame is an instance of this template."""
        data = frame.data
        return (
            frame.key == self.key
            and len(data) == len(self.value)
            and all(byte & mask == value for byte, mask, value in zip(data, self.mask, self.value, strict=True))
            and all(span.holds(data) for span in self.ranges)
        )

    def values_at(self, byte: int) -> set[int]:
        """Return every value a byte can have in a frame of this template; none behind its end."""
        if byte >= len(self.value):
            return set()
        if self.mask[byte] == 0xFF:
            return {self.value[byte]}
        return next((span.values_at(byte) for span in self.ranges if span.at <= byte < span.at + span.size), set())

    def __str__(self) -> str:
        pinned = zip(self.mask, self.value, strict=True)
        text = "".join(f"{value:02X}" if mask == 0xFF else ".." for mask, value in pinned)
        return f"{self.bus} {id_text(self.key)}#{text}"


def template(unit: ControlUnit, parts: Parts) -> Template:
    """Compile a request to a unit.

    Args:
        unit: who is asked.
        parts: what the protocol says about the request.

    Returns:
        A template in which only the identifiers of `parts` vary.

    Raises:
        TemplateError: the request does not fit one frame, or its spans overlap or lie outside it.
    """
    where = f"request to {unit.name} on {unit.bus}"
    used = len(parts.payload)
    if not 1 <= used <= FRAME_BYTES:
        raise TemplateError(f"{where}: {used} bytes; one frame carries 1 to {FRAME_BYTES}. Ask for fewer identifiers.")
    if not 0 <= parts.command_at < used:
        raise TemplateError(f"{where}: its command byte {parts.command_at} is not among its {used} bytes.")
    varying = _varying(where, parts)
    value = bytes(0 if index in varying else byte for index, byte in enumerate(parts.payload))
    mask = bytes(0 if index in varying else 0xFF for index in range(used))
    padding = 0 if unit.padding is None else FRAME_BYTES - used
    return Template(
        unit.bus,
        key_of(unit.request_id, unit.extended),
        mask + b"\xff" * padding,
        value + bytes([unit.padding or 0]) * padding,
        unit.name,
        parts.spans,
        parts.command_at,
        parts.address_at,
        parts.maker,
        used,
        unit.gap_s,
        () if parts.maker else flow_of(unit),
    )


def flow_of(unit: ControlUnit) -> tuple[tuple[int, bytes], ...]:
    """Return (key, data) of what a unit may be told of its long answers: go on as described, or no room."""
    head = b"" if unit.address is None else bytes((unit.address,))
    datas = (head + bytes(body) for body in ((GO_ON, unit.block_size, unit.st_min), (NO_ROOM, 0, 0)))
    padded = (data if unit.padding is None else data.ljust(FRAME_BYTES, bytes((unit.padding,))) for data in datas)
    can_id = own_id(unit)
    return () if can_id is None else tuple((key_of(can_id, unit.extended), data) for data in padded)


def _varying(where: str, parts: Parts) -> set[int]:
    """Return the positions that vary."""
    varying: set[int] = set()
    for span in parts.spans:
        place = set(range(span.at, span.at + span.size))
        pinned = {parts.command_at, -1 if parts.address_at is None else parts.address_at}
        if not place or max(place) >= len(parts.payload) or min(place) < 0:
            raise TemplateError(f"{where}: identifier bytes {span.at} to {span.at + span.size - 1} lie outside it.")
        if place & (varying | pinned):
            raise TemplateError(f"{where}: identifier bytes overlap each other, the command or the address byte.")
        if not span.allowed or any(not 0 <= a <= b < 256**span.size for a, b in span.allowed):
            raise TemplateError(f"{where}: an identifier's ranges must be inside 0 to {256**span.size - 1}.")
        varying |= place
    return varying


Places = dict[tuple[str, int], tuple[Template, ...]]
"""Templates by bus and key."""


def indexed(templates: Iterable[Template]) -> tuple[Places, Places]:
    """Return templates by where their requests go, and by where flow control of their answers goes."""
    requests: Places = {}
    flows: Places = {}
    for one in templates:
        place = (one.bus, one.key)
        requests[place] = (*requests.get(place, ()), one)
        for place in {(one.bus, key) for key, _ in one.flow}:
            flows[place] = (*flows.get(place, ()), one)
    return requests, flows


# --- how a control unit may read a frame --------------------------------------------------------------------------


def services_read(values_at: list[set[int]], offset: int) -> Iterator[int]:
    """Yield the services a unit can find in a frame it takes for ISO 15765-2.

    Args:
        values_at: what each byte can be.
        offset: where the protocol byte sits: 0, or 1 behind an address byte (extended or mixed addressing).

    Single frames (clause 9.6.2) and first frames (9.6.3) carry a service; others do not. A single frame whose length
    points behind the frame's end counts, since not every unit checks that; so do seven bytes behind an address byte.
    """
    padded = values_at + [set()] * 5
    for kind in padded[offset]:
        if kind >> 4 == 0 and 1 <= kind & 0xF <= LONGEST_SINGLE:
            yield from padded[offset + 1]
        elif kind >> 4 == 1:
            yield from padded[offset + 2]
            if kind & 0xF == 0 and 0 in padded[offset + 1]:
                yield from padded[offset + 6]  # the long form of a first frame
