"""Who speaks on a bus, and which ids the standards, or common practice, have answer which others."""

from __future__ import annotations

from dataclasses import dataclass

from ...bus.frames import id_text, key_of
from ...bus.legislated import FUNCTIONAL, request_id_of

UNITS = range(0x7E0, 0x7E8)
"""Ids of requests to one unit with 11 bits (ISO 15765-4)."""
ANSWERS_ABOVE = 8
"""How much higher the id of an answer is with 11 bits (ISO 15765-4; common practice on other ids)."""


@dataclass(frozen=True, slots=True, order=True)
class Sender:
    """Who says something: bus, id, and the address byte its frames begin with, None without."""

    bus: str
    id: int
    extended: bool = False
    prefix: int | None = None

    def __str__(self) -> str:
        """Write as a person reads it: ``7E8``, ``6F1 address 12``."""
        return self.name + ("" if self.prefix is None else f" address {self.prefix:02X}")

    @property
    def name(self) -> str:
        """The id in hex digits."""
        return id_text(key_of(self.id, self.extended))


def speaks_to_all(sender: Sender) -> bool:
    """Say whether requests of this id go to all units (ISO 15765-4)."""
    return key_of(sender.id, sender.extended) in FUNCTIONAL


def standard(to: Sender, by: Sender) -> bool:
    """Say whether a standard, or common practice, has the one id answer the other."""
    if (to.bus, to.extended) != (by.bus, by.extended):
        return False
    if speaks_to_all(to):
        return request_id_of(by.id, wide=True) is not None if by.extended else True
    return request_id_of(by.id, wide=True) == to.id if by.extended else to.id + ANSWERS_ABOVE == by.id


def answers_by_standard(one: Sender) -> bool:
    """Say whether a standard makes this the id of answers."""
    return request_id_of(one.id, wide=one.extended) is not None


def asks_by_standard(one: Sender) -> bool:
    """Say whether a standard makes this the id of requests."""
    return speaks_to_all(one) or (request_id_of(one.id, wide=True) is not None if one.extended else one.id in UNITS)
