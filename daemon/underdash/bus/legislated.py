"""The ids that ISO 15765-4 fixes: of requests to one emission-related unit and to all of them, and of the answers.

On these ids (7DF, 7E0 to 7E7, 18DB33F1, 18DAxxF1) the standard fixes addressing without an address byte. A request to
all is answered by every unit on an id of its own, which tells who it is and on which id it gets its flow control.
"""

from __future__ import annotations

from ..contract.requests import ControlUnit
from .frames import EXTENDED, key_of

FUNCTIONAL_11, FUNCTIONAL_29 = 0x7DF, 0x18DB_33F1
FUNCTIONAL = (FUNCTIONAL_11, FUNCTIONAL_29 | EXTENDED)
"""Keys of requests that speak to all units at once."""

P2_S = 0.05
"""How long units may take to begin their answers (P2CAN of ISO 15765-4); the next request to all comes later."""

_REPLIES = range(0x7E8, 0x7F0)
_FIXED, _MIXED = 0x18DA_0000, 0x18CE_0000
_HEAD, _PRIORITY = 0x1FFF_0000, 0x1C00_0000


def has_legislated_id(key: int) -> bool:
    """Say whether ISO 15765-4 reserves the id of this key for requests to emission-related units."""
    if not key & EXTENDED:
        return key == FUNCTIONAL_11 or 0x7E0 <= key <= 0x7E7
    can_id = key & 0x1FFF_FFFF
    return can_id == FUNCTIONAL_29 or can_id & 0x1FFF_00FF == 0x18DA_00F1


def speaks_to_all(unit: ControlUnit) -> bool:
    """Say whether its requests go to all units."""
    return key_of(unit.request_id, unit.extended) in FUNCTIONAL


def own_id(unit: ControlUnit) -> int | None:
    """Return the id that speaks to a unit alone, on which it gets flow control; None where nothing tells it."""
    return request_id_of(unit.response_id, wide=unit.extended) if speaks_to_all(unit) else unit.request_id


def request_id_of(response_id: int, *, wide: bool = False) -> int | None:
    """Return the id that speaks to the unit that answers on another one.

    Args:
        response_id: the id it answers on.
        wide: it has 29 bits.

    Returns:
        The id, or None where the standards do not tell it from the response id.
    """
    if not wide:
        return response_id - 8 if response_id in _REPLIES else None
    if response_id & _HEAD & ~_PRIORITY in (_FIXED & ~_PRIORITY, _MIXED & ~_PRIORITY):
        target, source = response_id >> 8 & 0xFF, response_id & 0xFF
        return response_id & _HEAD | source << 8 | target
    return None
