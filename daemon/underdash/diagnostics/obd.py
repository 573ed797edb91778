"""Service 01 of SAE J1979 (ISO 15031-5): ask for a current value, read the answer; values are in `parameters.py`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..contract.requests import Answer, PollRequest
from . import vehicle
from .identified import overheard
from .identified import request as request_identified
from .parameters import PARAMETERS

SERVICE = 0x01
REPLY = SERVICE + 0x40
MASKS = (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0)
"""Parameters that say which of the next 32 the unit has."""

MOST = 6
"""Parameters that one request may ask for (SAE J1979; from memory)."""

SIZES = {parameter.pid: parameter.size for parameter in PARAMETERS.values()}


def request(*pids: int) -> bytes:
    """Return the message that asks for up to six parameters (0 to FF)."""
    return request_identified(SERVICE, pids, 1)


def read(payload: bytes) -> tuple[Answer, ...]:
    """Read an answer; empty if the message is none of this service.

    A message that several known parameters fill to the last byte gives one answer each. Otherwise all bytes after the
    first parameter are its data: a unit may send more than it must.
    """
    return overheard(payload, SERVICE, 1, SIZES)


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
    """Return a request with fields: one of service 01 or 09 that has none gets the standard's, if those are known."""
    parameter = PARAMETERS.get(request.identifier)
    if request.fields or request.protocol != "service_01" or parameter is None:
        return vehicle.with_fields(request)
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
