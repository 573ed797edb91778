"""The cold form: where liquid crystals turn slowly, figures and slow, coarse bands take the place of quick ones.

The air in the cabin decides; where nobody measures it the board does, which sits beside its panels, else the air
outside. Its own warmth, some 25 K (common practice), makes a board's processor late to call it cold.
"""

from __future__ import annotations

from ..contract.signals import Snapshot
from .elements import Column, Picture, Sweep, share_of

SIGNALS = ("cabin.temperature", "board.temperature", "ambient.temperature")
HYSTERESIS_K = 3.0
STEPS = 24
COLD_FPS = 2.0


class Cold:
    """Whether a panel is cold.

    Args:
        below: degC below which it is, None if it never is; it stays so up to `HYSTERESIS_K` above.

    Attributes:
        signal: what decided last, "" if nothing is known.
    """

    def __init__(self, below: float | None) -> None:
        self._below = below
        self._cold = False
        self.signal = ""

    def step(self, snapshot: Snapshot) -> bool:
        """Look at the temperatures; one that is gone leaves things as they are."""
        if self._below is None:
            return False
        for name in SIGNALS:
            degc = snapshot.number(name)
            if degc is not None:
                self.signal = name
                self._cold = degc < self._below + (HYSTERESIS_K if self._cold else 0.0)
                break
        return self._cold


def cold_form(picture: Picture) -> Picture:
    """Return a picture whose bands move in large steps, without heads and marks."""
    sweep = None if picture.sweep is None else _coarse(picture.sweep)
    return picture._replace(sweep=sweep, columns=tuple(_still(column) for column in picture.columns))


def _still(column: Column) -> Column:
    return column._replace(sweep=_coarse(column.sweep))


def _coarse(sweep: Sweep) -> Sweep:
    if sweep.value is None:
        return sweep._replace(peak=None, average=None, coarse=True)
    scale = sweep.scale
    step = round(share_of(scale, sweep.value) * STEPS) / STEPS
    return sweep._replace(value=scale.low + step * (scale.high - scale.low), peak=None, average=None, coarse=True)
