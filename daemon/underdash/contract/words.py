"""What a page says beside its values: words and lamps."""

from __future__ import annotations

from dataclasses import dataclass

from .pages import Role
from .signals import Age


@dataclass(frozen=True, slots=True)
class Words:
    """A few words in a role: a remark, an alert."""

    text: str
    role: Role


@dataclass(frozen=True, slots=True)
class Lamp:
    """A named state.

    Attributes:
        lit: whether it holds, None where nobody knows.
        role: its colour when lit.
    """

    text: str
    lit: bool | None
    role: Role
    age: Age = Age.FRESH
