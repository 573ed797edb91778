"""What the owner writes under ``[panel.<name>.settings]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from underdash import Limits

from .messages import Can


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings of a serial panel.

    Args:
        port: where the controller is plugged in, best by ``/dev/serial/by-id/...``, which never changes.
        baud: bits a second, the same as in the controller; a board with USB of its own does not care.
        mode: "pixels" sends pictures, "values" sends what the page says, for a controller that draws itself.
    """

    port: str
    baud: Annotated[int, Limits(low=9600, high=4_000_000, unit="baud")] = 115200
    mode: Literal["pixels", "values"] = "pixels"

    def __post_init__(self) -> None:
        if not self.port.startswith("/"):
            raise ValueError('`port` as a whole path, such as "/dev/serial/by-id/..." or "/dev/ttyACM0"')

    @property
    def wanted(self) -> Can:
        """What the controller has to be able to do."""
        return Can.PIXELS if self.mode == "pixels" else Can.VALUES
