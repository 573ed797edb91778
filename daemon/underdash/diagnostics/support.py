"""Which parameters of service 01 a unit says it has: its support masks, walked once a journey.

Parameter 00 names those from 01 to 20, the last of which, if it is there, names the next 32, and so on (SAE J1979).
"""

from __future__ import annotations

from .obd import MASKS, supported

_SPAN = 0x20


class Support:
    """The masks of one unit, as far as they are known on this journey."""

    __slots__ = ("_masks", "_mute")

    def __init__(self) -> None:
        self._masks: dict[int, frozenset[int]] = {}
        self._mute = False

    def reset(self) -> None:
        """Begin a new journey."""
        self._masks.clear()
        self._mute = False

    def heard(self, mask_pid: int, data: bytes) -> None:
        """Take a mask; one of less than four bytes says nothing about what it lacks."""
        if mask_pid in MASKS and len(data) >= _SPAN // 8:
            self._masks[mask_pid] = frozenset(supported(mask_pid, data[: _SPAN // 8]))

    def mute(self) -> None:
        """The unit does not answer masks: nothing is known, and nothing more is asked."""
        self._mute = True

    def has(self, pid: int) -> bool | None:
        """Say whether the unit has a parameter, None while that is not known."""
        for mask_pid in MASKS:
            mask = self._masks.get(mask_pid)
            if mask is None:
                return None
            if pid <= mask_pid + _SPAN:
                return pid in mask
            if mask_pid + _SPAN not in mask:
                return False
        return None

    def missing(self, pid: int) -> int | None:
        """Return the mask that has to be asked for next to know about a parameter, None if none helps."""
        if self._mute:
            return None
        for mask_pid in MASKS:
            mask = self._masks.get(mask_pid)
            if mask is None:
                return mask_pid
            if pid <= mask_pid + _SPAN or mask_pid + _SPAN not in mask:
                return None
        return None
