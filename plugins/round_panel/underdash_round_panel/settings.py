"""What the owner writes under ``[panel.<name>.settings]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from underdash.drivers import SpiSettings

SIZE = 240, 240


@dataclass(frozen=True, kw_only=True)
class Settings(SpiSettings):
    """Settings of a round panel, beyond those of its wire.

    Args:
        variant: which of the two sets of start-up values suits the module better.
        bgr: red and blue are the other way about.
        mirrored: it shows everything as in a mirror.
        inverted: whether inversion is on; a negative asks for the other.
    """

    variant: Literal["A", "B"] = "A"
    bgr: bool = False
    mirrored: bool = False
    inverted: bool = True
