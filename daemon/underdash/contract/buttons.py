"""Steering-wheel buttons: gestures in, actions out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from .signals import Snapshot


class GestureKind(StrEnum):
    """What a finger did."""

    PRESS = "press"
    DOUBLE = "double"
    HOLD = "hold"
    REPEAT = "repeat"


@dataclass(frozen=True, slots=True)
class Gesture:
    """A finished gesture on the button whose signal is ``button.<button>``."""

    button: str
    kind: GestureKind
    held_s: float = 0.0


@dataclass(frozen=True, slots=True)
class TurnPage:
    """Go `step` pages on (negative: back) in the deck of the panel the gesture belongs to."""

    step: int = 1


@dataclass(frozen=True, slots=True)
class ShowPage:
    """Show the page of this name."""

    page: str


@dataclass(frozen=True, slots=True)
class ResetPeak:
    """Forget the held peak of a signal that a page has among its `peaks`, or of all with None."""

    signal: str | None = None


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """Take the raised alert off the panel."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Put a mark with this text into what is being recorded."""

    text: str = ""


@dataclass(frozen=True, slots=True)
class Refresh:
    """Ask for a signal now instead of at its next turn."""

    signal: str


@dataclass(frozen=True, slots=True)
class GoQuiet:
    """Stop sending until released (`on` False)."""

    on: bool = True


@dataclass(frozen=True, slots=True)
class SetChoice:
    """Give a switch or choice signal a value that stays until it is chosen again, such as ``dashboard.night``.

    It counts only while no frame, wire or request says otherwise, and is no evidence for the ignition.
    """

    signal: str
    value: bool | str


@dataclass(frozen=True, slots=True)
class ShowRate:
    """Say on the panel for ten seconds how often the page's main value really comes; once more takes it off."""


Action = TurnPage | ShowPage | ResetPeak | Acknowledge | Mark | Refresh | GoQuiet | SetChoice | ShowRate


@dataclass(frozen=True, slots=True)
class ButtonHandler:
    """What to do when a gesture is finished.

    Args:
        button: name of the button, without "button.".
        kind: the gesture.
        on: (gesture, snapshot) -> actions; synchronous and pure.
        hold_s: how long a hold takes; only for holds, must be more than 0.
        condition: the gesture counts only where this holds, such as standing still; `check` wants one on buttons that
            act on driving. Synchronous and pure.
    """

    button: str
    kind: GestureKind
    on: Callable[[Gesture, Snapshot], Sequence[Action]]
    hold_s: float = 0.8
    condition: Callable[[Snapshot], bool] | None = None
