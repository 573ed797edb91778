"""What a plug-in says about itself."""

from __future__ import annotations

from dataclasses import dataclass

CONTRACT = 1
"""Version of the contract this core speaks; it only grows."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What a setting may be, beyond its type: ``hold_s: Annotated[float, Limits(above=0.0, high=10.0)] = 0.8``.

    Args:
        low, high: smallest and largest value that is allowed.
        above, below: it must be larger, smaller than this.
        unit: for the message.
    """

    low: float | None = None
    high: float | None = None
    above: float | None = None
    below: float | None = None
    unit: str = ""

    def hold(self, value: float) -> bool:
        """Tell whether a number is allowed."""
        return not (
            (self.low is not None and value < self.low)
            or (self.high is not None and value > self.high)
            or (self.above is not None and value <= self.above)
            or (self.below is not None and value >= self.below)
        )

    @property
    def text(self) -> str:
        """What is allowed, in words."""
        words = (("at least", self.low), ("more than", self.above), ("at most", self.high), ("less than", self.below))
        said = " and ".join(f"{word} {limit:.10g}" for word, limit in words if limit is not None)
        return f"{said} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class PluginInfo:
    """Who a plug-in is.

    Args:
        about: one line for lists.
        contract: contract version it was written for; a newer one than the core's is refused.
        settings: a dataclass whose fields are the keys of ``[plugin.<name>]``, or None if it has none.
    """

    about: str
    contract: int = CONTRACT
    settings: type | None = None
