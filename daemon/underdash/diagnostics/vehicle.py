"""Service 09 of SAE J1979 (ISO 15031-5): vehicle information, asked once a journey.

On CAN an answer says, after the echoed number, how many items follow (from memory); fields count from that byte, so
the identification number (02) is text from byte 1 on.
"""

from __future__ import annotations

from dataclasses import replace

from ..contract.layout import Bits, Coding, Field
from ..contract.requests import PollRequest
from .identified import request as request_identified

SERVICE = 0x09
IDENTIFICATION = 0x02
NAME = "service_09"

_CHARACTERS = 17
FIELDS = {
    IDENTIFICATION: (Field("vehicle.identification", Bits(1, 8 * _CHARACTERS), coding=Coding.TEXT),),
}


def request(number: int) -> bytes:
    """Return the message that asks for an item of vehicle information."""
    return request_identified(SERVICE, (number,), 1)


def with_fields(request: PollRequest) -> PollRequest:
    """Return a request with the standard's fields if it has none of its own, asked once."""
    fields = FIELDS.get(request.identifier)
    if request.fields or request.protocol != NAME or fields is None:
        return request
    return replace(request, fields=fields, once=True)


def poll(unit: str) -> PollRequest:
    """Return the request for the identification number of the vehicle."""
    return PollRequest(unit, NAME, IDENTIFICATION, FIELDS[IDENTIFICATION], 1.0, True, "SAE J1979")
