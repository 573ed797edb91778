"""Service 01 of SAE J1979 (ISO 15031-5): ask for a current value, read the answer; values are in `parameters.py`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..contract.requests import Answer, PollRequest
from .negative import refused
from .parameters import PARAMETERS

SERVICE = 0x01
REPLY = SERVICE + 0x40
MASKS = (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0)
"""Parameters that say which of the next 32 the unit has."""


def request(pid: int) -> bytes:
    """Return the message that asks for a parameter (0 to FF)."""
    return bytes((SERVICE, pid))


def read(payload: bytes) -> tuple[Answer, ...]:
    """Read an answer; empty if the message is none of this service.

    A message that several known parameters fill to the last byte (another tester may ask for up to six at once) gives
    one answer each. Otherwise all bytes after the first parameter are its data: a unit may send more than it must.
    """
    negative = refused(payload, SERVICE)
    if negative is not None:
        return (negative,)
    if len(payload) < 2 or payload[0] != REPLY:
        return ()
    return _split(payload[1:]) or (Answer(payload[1], payload[2:]),)


def _split(body: bytes) -> tuple[Answer, ...]:
    answers = []
    while body:
        parameter = PARAMETERS.get(body[0])
        if parameter is None or len(body) < 1 + parameter.size:
            return ()
        answers.append(Answer(body[0], body[1 : 1 + parameter.size]))
        body = body[1 + parameter.size :]
    return tuple(answers)


def supported(mask_pid: int, data: bytes) -> tuple[int, ...]:
    """Return the parameters a support mask names.

    Args:
        mask_pid: the parameter the mask was the answer to (00, 20, 40 ...).
        data: its bytes; the top bit of the first stands for the parameter after `mask_pid`.
    """
    size = 8 * len(data)
    bits = int.from_bytes(data)
    return tuple(mask_pid + 1 + n for n in range(size) if bits >> (size - 1 - n) & 1)


def with_fields(request: PollRequest) -> PollRequest:
    """Return a request with fields: one of service 01 that has none gets those of the table, if that has the number."""
    parameter = PARAMETERS.get(request.identifier)
    if request.fields or request.protocol != "service_01" or parameter is None:
        return request
    return replace(request, fields=parameter.fields)


def polls(unit: str, pids: Iterable[int], period_s: float = 0.5) -> list[PollRequest]:
    """Return standard requests to a unit, each with the fields of the table.

    Raises:
        KeyError: the table does not have a parameter.
    """
    return [poll(unit, pid, period_s) for pid in pids]


def poll(unit: str, pid: int, period_s: float = 0.5) -> PollRequest:
    """Return one standard request; what cannot change while driving is asked once. Raises as `polls` does."""
    parameter = PARAMETERS[pid]
    return PollRequest(
        unit, "service_01", pid, parameter.fields, period_s, parameter.once, f"SAE J1979, {parameter.source}"
    )
