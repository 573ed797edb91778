"""What the owner can set under ``[plugin.page_turn]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from underdash import Limits

from .words import action


@dataclass(frozen=True, kw_only=True)
class Binding:
    """What one gesture does.

    Args:
        button: name of the button, the part after "button.".
        gesture: what the finger does; a hold by default, since the car does its own thing with a press.
        hold_s: how long a hold takes.
        do: words of `words.py`, done in this order.
        standing: it counts only while the car is known to stand still, for a button that acts on driving.
    """

    button: str
    gesture: Literal["press", "double", "hold", "repeat"] = "hold"
    hold_s: Annotated[float, Limits(above=0.0, high=10.0, unit="s")] = 0.8
    do: tuple[str, ...]
    standing: bool = False

    def __post_init__(self) -> None:
        for words in self.do:
            action(words)
        if not self.do:
            raise ValueError("at least one thing to `do`")
        if self.button.startswith("button."):
            raise ValueError(f'`button` without "button.": {self.button.removeprefix("button.")!r}')


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of page turning.

    Args:
        bindings: what gestures do; if left out, gestures on the car's buttons by the rule in the README.
        hold_s: how long those holds take.
    """

    bindings: tuple[Binding, ...] = ()
    hold_s: Annotated[float, Limits(above=0.0, high=10.0, unit="s")] = 0.8
