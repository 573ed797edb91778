"""Messages that say what they carry: a service, then identifiers, each with its data in the answer.

SAE J1979, ISO 14229-1 and ISO 14230-3 all read this way: the answer's service is the request's plus 40, and every
value follows its identifier. Where one message has several, only the lengths tell where the next identifier begins.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from ..contract.requests import Answer
from .isotp import Dropped
from .negative import refused

REPLY_ADDS = 0x40

Sizes = Mapping[int, int]
"""Bytes of data that follow an identifier, by identifier."""

Read = Callable[[bytes, Sizes, tuple[int, ...]], "tuple[Answer, ...] | Dropped"]
"""(message, sizes, identifiers that were asked for; none: somebody else asked) -> what it says."""


def request(service: int, identifiers: Iterable[int], width: int) -> bytes:
    """Return the message that asks for identifiers of `width` bytes each."""
    return bytes((service,)) + b"".join(identifier.to_bytes(width) for identifier in identifiers)


def begins(start: bytes, service: int, width: int, identifier: int) -> bool:
    """Say whether a message that begins like this answers a request for an identifier.

    Args:
        start: its first bytes; the first frame of a very long message shows fewer than service and identifier.
        service: of the request.
        width: bytes of an identifier.
        identifier: what was asked for.
    """
    awaited = bytes((service + REPLY_ADDS,)) + identifier.to_bytes(width)
    return bool(start) and awaited.startswith(start[: 1 + width])


def reader(service: int, width: int) -> Read:
    """Return what reads answers of a service; see `read`."""
    return lambda payload, sizes, asked: read(payload, service, width, sizes, asked)


def overheard(payload: bytes, service: int, width: int, sizes: Sizes) -> tuple[Answer, ...]:
    """Read an answer that somebody else may have asked for; see `read`."""
    heard = read(payload, service, width, sizes)
    return () if isinstance(heard, Dropped) else heard


def read(
    payload: bytes, service: int, width: int, sizes: Sizes, asked: tuple[int, ...] = ()
) -> tuple[Answer, ...] | Dropped:
    """Read an answer.

    Args:
        payload: the message.
        service: of the request.
        width: bytes of an identifier.
        sizes: where it is known.
        asked: what was asked for; none where somebody else asked.

    Returns:
        The answers; none if the message is not of this service. One identifier that was asked for by itself has all
        bytes that follow it. Of several, those that are not there were left out. An answer to several whose lengths
        do not fit is dropped, since guessing would give one identifier the bytes of another.
    """
    negative = refused(payload, service)
    if negative is not None:
        return (negative,)
    if len(payload) < 1 + width or payload[0] != service + REPLY_ADDS:
        return ()
    body = payload[1:]
    first = int.from_bytes(body[:width])
    whole = (Answer(first, body[width:]),)
    if asked == (first,):
        return whole
    if len(asked) > 1 and first in asked:
        return _split(body, width, sizes, asked) or Dropped(
            "lengths", f"an answer of {len(payload)} bytes that does not fit the lengths of what was asked for together"
        )
    return _split(body, width, sizes, ()) or whole


def _split(body: bytes, width: int, sizes: Sizes, asked: tuple[int, ...]) -> tuple[Answer, ...]:
    """Cut a message at its identifiers; none unless the lengths of all of them end with the message."""
    answers: list[Answer] = []
    left = set(asked or sizes)
    at = 0
    while at < len(body):
        identifier = int.from_bytes(body[at : at + width])
        end = at + width + sizes.get(identifier, len(body))
        if identifier not in left or end > len(body):
            return ()
        left.discard(identifier)
        answers.append(Answer(identifier, body[at + width : end]))
        at = end
    return tuple(answers)
