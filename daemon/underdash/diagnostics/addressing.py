"""Ids and address bytes of the ISO-TP addressing formats (ISO 15765-2; the 29-bit ids are its ISO 15765-4 ones).

| format | ids | byte in front of each frame |
|---|---|---|
| normal | any pair, 11 or 29 bit | none |
| normal fixed | 29 bit, made of the two addresses: 18DA target source | none |
| extended | any pair | the address of whom the frame is for, so another one in each direction |
| mixed, 11 bit | any pair | the address extension, the same in both directions |
| mixed, 29 bit | made of the two addresses: 18CE target source | the address extension |
"""

from __future__ import annotations

from dataclasses import dataclass

from ..contract.errors import UnderdashError

TESTER = 0xF1
"""The address of an external tester (ISO 15765-4)."""

_FIXED, _MIXED = 0x18DA_0000, 0x18CE_0000


@dataclass(frozen=True, slots=True)
class Address:
    """How a unit is spoken to.

    Attributes:
        request_id, response_id: CAN ids.
        extended: both ids have 29 bits.
        request_prefix, response_prefix: byte in front of each frame, None without.
    """

    request_id: int
    response_id: int
    extended: bool = False
    request_prefix: int | None = None
    response_prefix: int | None = None


def normal_fixed(unit: int, tester: int = TESTER) -> Address:
    """Return the 29-bit ids that follow from the addresses of both."""
    return Address(_FIXED | _pair(unit, tester), _FIXED | _pair(tester, unit), True)


def mixed_fixed(unit: int, extension: int, tester: int = TESTER) -> Address:
    """Return an address with an address extension in front, on the 29-bit ids that follow from both addresses."""
    _pair(extension, 0)
    return Address(_MIXED | _pair(unit, tester), _MIXED | _pair(tester, unit), True, extension, extension)


def _pair(target: int, source: int) -> int:
    for address in (target, source):
        if not 0 <= address <= 0xFF:
            raise UnderdashError(f"address {address:#x} was to go into one byte; use 0 to FF")
    return target << 8 | source
