"""How many identifiers a unit takes in one request of a protocol: tried, learned, kept.

No standard says how many a unit takes. A refusal of several halves the number; that one of them alone is then refused
restores it, for the number was not at fault. Silence, or a refusal for the moment, is held against the number only if
the unit answers a single identifier right afterwards, twice: a unit that is asleep or busy teaches nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

STRIKES = 2
"""How often a unit has to keep silent about so many, and answer one alone, until that counts."""

MISFITS = 3
"""Answers whose lengths did not fit until fewer are asked for together."""


class Limit:
    """What is known of one unit and protocol.

    Args:
        most: what is tried first.

    Attributes:
        most: identifiers in a request.
        alone: identifiers that are only answered by themselves.
        sizes: bytes of an identifier's data, where an answer to it alone has shown them.
    """

    __slots__ = ("_before", "_doubt", "_first", "_misfits", "_strikes", "_struck", "alone", "most", "sizes")

    def __init__(self, most: int) -> None:
        self.most = self._first = max(1, most)
        self.alone: set[int] = set()
        self.sizes: dict[int, int] = {}
        self._before = self._doubt = self._strikes = self._struck = self._misfits = 0

    @property
    def room(self) -> int:
        """How many to ask for now."""
        return 1 if self._doubt else self.most

    def refused(self, count: int) -> None:
        """A request for so many was refused."""
        self._before = max(self._before, self.most)
        self._doubt = 0
        self.most = max(1, min(self.most, count // 2))

    def one_was_at_fault(self) -> None:
        """An identifier was refused alone: that explains the refusals of several."""
        self.most, self._before = max(self.most, self._before), 0

    def unanswered(self, count: int) -> None:
        """A request for so many was not answered."""
        self._doubt = count if count > 1 else 0

    def not_now(self, count: int) -> None:
        """A request for so many was refused for the moment; of one alone, it was not the number."""
        if count > 1:
            self._doubt = count
        else:
            self._doubt = self._strikes = self._struck = 0

    def answered(self, count: int) -> bool:
        """A request for so many was answered; returns whether it is now known that the number before was too large."""
        if count >= self._struck:
            self._strikes = self._struck = 0
        if not self._doubt:
            return False
        self._struck, self._doubt = self._doubt, 0
        self._strikes += 1
        if self._strikes < STRIKES:
            return False
        self._strikes, self.most = 0, max(1, min(self.most, self._struck // 2))
        return True

    def misfit(self, count: int) -> None:
        """An answer to so many could not be cut at its identifiers."""
        self._misfits += 1
        if self._misfits >= MISFITS:
            self._misfits = 0
            self.refused(count)

    def learned(self) -> dict[str, Any]:
        """Return what differs from the start, as plain data."""
        found: dict[str, Any] = {}
        if self.most < self._first:
            found["most"] = self.most
        if self.alone:
            found["alone"] = sorted(self.alone)
        if self.sizes:
            found["sizes"] = {f"{number:X}": size for number, size in sorted(self.sizes.items())}
        return found

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take over what an earlier journey learned; whatever makes no sense is left out."""
        most, alone = data.get("most"), data.get("alone")
        if isinstance(most, int) and _counts(most) and 1 <= most <= self._first:
            self.most = most
        if isinstance(alone, list):
            self.alone |= {number for number in alone if _counts(number)}
        sizes = data.get("sizes")
        if isinstance(sizes, dict):
            known = {number: size for text, size in sizes.items() if (number := _hex(text)) is not None}
            self.sizes |= {number: size for number, size in known.items() if _counts(size)}


def _counts(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _hex(text: object) -> int | None:
    try:
        return int(str(text), 16)
    except ValueError:
        return None
