"""``[input.<name>]``: the owner's own wires and sensors.

They stand in the main configuration and not in a plug-in's settings, since one of them may say that the ignition is on,
which no plug-in may, and since every mistake in them is then told with its line like any other.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated, Any, Literal

from ..contract.plugin import Limits
from ..contract.sources import Input, InputKind, Pull
from .structure import WrongError

Ohms = Annotated[float, Limits(low=0.0, high=1e9, unit="ohm")]
PERIOD_S = {InputKind.ONE_WIRE: 5.0}
"""How often a sensor is read where the owner does not say; a 1-Wire thermometer takes 750 ms for each reading."""
USUAL_PERIOD_S = 1.0
_SCALING = {"period_s", "points", "scale", "offset", "unit"}
_ELECTRICAL = {"device", "channel", "divider", "pull_up", *_SCALING}
KEYS = {
    InputKind.GPIO: {"line", "inverted", "pull", "debounce_s", "means"},
    InputKind.IIO: _ELECTRICAL,
    InputKind.HWMON: _ELECTRICAL,
    InputKind.ONE_WIRE: {"device", *_SCALING},
}
IGNITION = "vehicle.ignition"


@dataclass(frozen=True, kw_only=True)
class InputConfig:
    """One wired line or sensor; see `Input` for what the keys mean.

    Args:
        line: of a gpio input; `place` of `Input`.
        device: of any other; `place` of `Input`.
        means: of a gpio input that feeds vehicle.ignition: "ON" for terminal 15, "START" for terminal 50 (DIN 72552).
        period_s: None is the usual one of its kind.
    """

    kind: InputKind
    signal: str
    line: str = ""
    inverted: bool = False
    pull: Pull = Pull.AS_IS
    debounce_s: Annotated[float, Limits(low=0.0, high=1.0, unit="s")] = 0.02
    means: Literal["ON", "START"] = "ON"
    device: str = ""
    channel: str = ""
    period_s: Annotated[float, Limits(low=0.1, high=3600.0, unit="s")] | None = None
    divider: tuple[Ohms, Ohms] | None = None
    pull_up: tuple[float, Ohms] | None = None
    points: tuple[tuple[float, float], ...] = ()
    scale: float = 1.0
    offset: float = 0.0
    unit: str | None = None

    def __post_init__(self) -> None:
        allowed = KEYS[self.kind] | {"kind", "signal"}
        strange = [one.name for one in fields(self) if one.name not in allowed and self._given(one.name, one.default)]
        if strange:
            raise WrongError(f'no `{strange[0]}`, which is not for kind = "{self.kind}"')
        if self.kind is InputKind.GPIO:
            self._check_line()
        else:
            self._check_sensor()

    @property
    def is_key(self) -> bool:
        """Whether this wire is evidence for the ignition."""
        return self.kind is InputKind.GPIO and self.signal == IGNITION

    def made(self) -> Input:
        """Return the input."""
        own = {one.name for one in fields(Input)} & {one.name for one in fields(self)}
        given: dict[str, Any] = {name: getattr(self, name) for name in own}
        given["place"] = self.line or self.device
        given["period_s"] = self.period_s or PERIOD_S.get(self.kind, USUAL_PERIOD_S)
        given["means"] = self.means if self.is_key else ""
        return Input(**given)

    def _given(self, name: str, default: object) -> bool:
        return bool(getattr(self, name) != default)

    def _check_line(self) -> None:
        if not self.line:
            raise WrongError('`line`, such as "GPIO17"; `gpioinfo` lists them')
        if self.means != "ON" and not self.is_key:
            raise WrongError("`means` only for signal vehicle.ignition")
        to_off, to_on = (Pull.UP, Pull.DOWN) if self.inverted else (Pull.DOWN, Pull.UP)
        if self.is_key and self.pull is to_on:
            raise WrongError(f'`pull = "{to_off}"`, so that a broken wire of the ignition reads as off')

    def _check_sensor(self) -> None:
        if self.signal == IGNITION:
            raise WrongError('`kind = "gpio"` for vehicle.ignition')
        if self.kind is not InputKind.ONE_WIRE and not (self.device and self.channel):
            raise WrongError("`device` (what its file `name` says) and `channel`")
        if self.points and (self.scale != 1.0 or self.offset != 0.0):
            raise WrongError("either `points`, or `scale` and `offset`")
        if self.divider is not None and self.pull_up is not None:
            raise WrongError("either `divider` or `pull_up`")
