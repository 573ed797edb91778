"""Whether a wire of the ignition tells the truth: what it says is held against what the buses do. Pure.

A wire that is taken for inverted and is not, or the other way about, cannot be told from the wire alone. A car whose
buses have fallen silent for ten minutes is not at ON, though, and one whose engine turns is not at OFF. That is told;
after an hour of silence a wire at ON is not believed in any more, or it would empty the battery of a parked car.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .ignition import Position

SILENT_S = 600.0
"""Buses of a parked car may talk on for minutes after the key; once silent for this long it sleeps."""
BELIEVED_S = 3600.0
"""A bus can also be lost on the road, where nothing is to go dark; longer than a stage of most journeys."""
TURNS_S = 10.0
TURNS_RPM = 300.0
"""A starter turns an engine more slowly than that (common practice)."""


@dataclass(slots=True)
class Doubt:
    """Compares; `look` is called a few times a second.

    Attributes:
        unbelieved: each wire that says ON has said so through an hour in which no bus was heard.
    """

    unbelieved: bool = False
    _on: dict[str, float] = field(default_factory=dict)
    _off: dict[str, float] = field(default_factory=dict)

    def look(
        self, words: Mapping[str, Position], silent_s: float | None, engine_rpm: float | None, now: float
    ) -> dict[str, str]:
        """Return a sentence for each wire that cannot be right, by its name.

        Args:
            words: what each wire says, by its name; none for one that says nothing.
            silent_s: seconds since any bus was heard; None where that says nothing, such as while one is not open.
            engine_rpm: how fast the engine turns, as it was heard on a bus; None where that is not known.
            now: monotonic seconds.
        """
        turns = engine_rpm is not None and engine_rpm > TURNS_RPM
        _since(self._on, words, Position.ON, now)
        _since(self._off, words if turns else {}, Position.OFF, now)
        found = {}
        alone_s = {name: min(silent_s or 0.0, now - since) for name, since in self._on.items()}
        self.unbelieved = min(alone_s.values(), default=0.0) >= BELIEVED_S
        for name, seconds in alone_s.items():
            if silent_s is not None and seconds >= SILENT_S:
                so_far = "; it no longer keeps a supply up that drains the battery" if self.unbelieved else ""
                found[name] = (
                    f"{name} says ON, and no bus has been heard for {silent_s / 60:.0f} minutes{so_far}: {_NOT_ON}"
                )
        for name, since in self._off.items():
            if now - since >= TURNS_S:
                found[name] = f"{name} says OFF while the engine turns at {engine_rpm:.0f} rpm: {_NOT_OFF}"
        return found


_NOT_ON = (
    "perhaps it is the wrong way about, or a wire that is always on; change `inverted` of that input, or take the wire "
    "that is on at ON (terminal 15)"
)
_NOT_OFF = "perhaps it is the wrong way about, or broken; change `inverted` of that input, or mend the wire"


def _since(times: dict[str, float], words: Mapping[str, Position], position: Position, now: float) -> None:
    """Keep since when each wire has said this without a break."""
    for name in [*times]:
        if words.get(name) is not position:
            del times[name]
    for name, word in words.items():
        if word is position:
            times.setdefault(name, now)
