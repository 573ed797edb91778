"""What `check` has to tell, one thing at a time."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How much a finding matters."""

    ERROR = "error"
    """The daemon will not do what the configuration asks for."""
    WARNING = "warning"
    """It will, but probably not what was meant."""
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to tell: what is the case, and the next step ("" if there is none to take)."""

    level: Level
    sentence: str
    next_step: str = ""

    def __str__(self) -> str:
        step = f" -> {self.next_step}" if self.next_step else ""
        return f"{self.level}: {self.sentence}{step}"
