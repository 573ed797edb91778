"""Declared requests in several frames: what they must look like, byte by byte, before the first one goes out.

Only the first frame carries a service (ISO 15765-2, clause 9.6.3); the others carry identifiers, and on an id whose
addressing no standard fixes one of them might be read as a request of its own. So such requests exist only for ids
that ISO 15765-4 reserves for one unit each, without an address byte, and they may ask for nothing but what a vetted
template of one identifier asks for as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .frames import Frame
from .legislated import FUNCTIONAL, has_legislated_id
from .templates import FRAME_BYTES, Template

FIRST, CONSECUTIVE = 1, 2
ROOM = FRAME_BYTES - 1


@dataclass(frozen=True, slots=True)
class LongRequest:
    """Leave to send one request in several frames, in their order.

    Args:
        bus: role.
        frames: all of its frames.
        unit: who is asked.
        until: monotonic s, the end of the leave.
    """

    bus: str
    frames: tuple[Frame, ...]
    unit: str
    until: float


def allowed_by(request: LongRequest, templates: Iterable[Template]) -> Template | None:
    """Return the template that such a request asks no more than, None if there is none.

    Args:
        request: which one.
        templates: vetted ones for its bus and id.
    """
    key = request.frames[0].key if request.frames else 0
    if key in FUNCTIONAL or not has_legislated_id(key) or any(one.key != key or _odd(one) for one in request.frames):
        return None
    for one in templates:
        if one.unit == request.unit and one.maker is None and one.address_at is None and len(one.ranges) == 1:
            message = message_of(request.frames, one)
            if message is not None and _asks_no_more(message, one):
                return one
    return None


def message_of(frames: tuple[Frame, ...], template: Template) -> bytes | None:
    """Return the message that frames carry, None if they are not exactly that of one, padded as the unit wants it."""
    head = frames[0].data
    if len(head) != FRAME_BYTES or head[0] >> 4 != FIRST:
        return None
    length = (head[0] & 0x0F) << 8 | head[1]
    message = head[2:]
    for number, frame in enumerate(frames[1:], 1):
        left = min(ROOM, length - len(message))
        if left <= 0 or frame.data[:1] != bytes((CONSECUTIVE << 4 | number & 0x0F,)):
            return None
        message += frame.data[1 : 1 + left]
        if frame.data[1 + left :] != _padding(template, ROOM - left):
            return None
    return message if length > ROOM and len(message) == length else None


def _padding(template: Template, count: int) -> bytes:
    """Return what stands behind a message; a template that is shorter than a frame has none."""
    padding = template.value[template.used :]
    return padding[:1] * count if padding else b""


def _asks_no_more(message: bytes, template: Template) -> bool:
    (span,) = template.ranges
    body = message[1:]
    if message[0] != template.command or not body or len(body) % span.size:
        return False
    numbers = (int.from_bytes(body[at : at + span.size]) for at in range(0, len(body), span.size))
    return all(any(first <= number <= last for first, last in span.allowed) for number in numbers)


def _odd(frame: Frame) -> bool:
    return frame.fd or frame.error or frame.remote or type(frame.data) is not bytes
