"""The keys of `underdash.toml`, table by table, with what each may be; those of the panels are in `panels.py`.

``config/underdash.toml`` says the same to the owner; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from ..contract.plugin import Limits
from ..contract.sources import Input
from ..power.states import PowerOptions, Supply
from .inputs import InputConfig
from .mistakes import nearest
from .panels import PanelsConfig
from .structure import Hex, WrongError

Seconds = Annotated[float, Limits(above=0.0, high=86_400.0, unit="s")]
SecondsOrNone = Annotated[float, Limits(low=0.0, high=86_400.0, unit="s")]
Volts = Annotated[float, Limits(low=6.0, high=32.0, unit="V")]
Kind = Literal["broadcast", "poll", "input", "derived"]
LARGEST_LOAD = 10.0
"""Share of a bus in per cent that nobody may let this accessory take."""


@dataclass(frozen=True, kw_only=True)
class CarConfig:
    """``[car]``: which description is used.

    Args:
        name: one that an enabled plug-in brings.
        file: or a file, relative to the configuration's folder.
        variant: which of its variants, where it has any.
    """

    name: str = ""
    file: str = ""
    variant: str = ""

    def __post_init__(self) -> None:
        if bool(self.name) == bool(self.file):
            raise WrongError("either `name`, of a car that a plug-in brings, or `file`")


@dataclass(frozen=True, kw_only=True)
class PluginsConfig:
    """``[plugins]``: which run, in the order their pages and handlers are offered."""

    enabled: tuple[str, ...] = ()


INTERFACES = ("socketcan", "memory", "trace", "virtual", "gs_usb", "serial", "slcan", "socketcand", "udp_multicast")
"""Kinds of interfaces a person may mean: our own, and what python-can calls the common ones."""


@dataclass(frozen=True, kw_only=True)
class BusConfig:
    """``[bus.<role>]``: where a bus of the car is connected.

    Args:
        interface: "socketcan", "memory", "trace", or any other kind that python-can knows.
        channel: what that kind calls it, such as "can0" or "/dev/ttyACM0"; for "trace" its path, relative to the
            configuration's folder.
        hardware: for SocketCAN instead of a channel: part of the device's path, or its USB serial number.
        bitrate: bit/s at which the service's helper may let the interface take part; None lets it listen only.
        transmit: requests may be sent here.
        recorded_as: for "trace", what the bus is called in it; the role if left empty.
        speed: for "trace", 2.0 is twice as fast as it was.
    """

    interface: str = "socketcan"
    channel: str = ""
    hardware: str = ""
    bitrate: Annotated[int, Limits(low=5_000, high=1_000_000, unit="bit/s")] | None = None
    transmit: bool = False
    recorded_as: str = ""
    speed: Annotated[float, Limits(above=0.0, high=100.0)] = 1.0

    def __post_init__(self) -> None:
        self._check_trace()
        if self.channel and self.hardware:
            raise WrongError("either `channel` or `hardware`")
        if self.interface == "socketcan" and not (self.channel or self.hardware):
            raise WrongError('`hardware` (where it is plugged in, such as "spi0.0") or `channel` ("can0")')
        if self.hardware and self.interface != "socketcan":
            near = nearest(self.interface, INTERFACES)
            guess = f"; did you mean interface = {near!r}?" if near and near != self.interface else ""
            raise WrongError(f"`channel`; `hardware` is for socketcan{guess}")

    def _check_trace(self) -> None:
        if self.interface != "trace":
            if self.recorded_as or self.speed != 1.0:
                raise WrongError('`recorded_as` and `speed` only with interface = "trace"')
            return
        if not self.channel:
            raise WrongError('`channel`, the path of the trace ("drive.log")')
        if self.transmit:
            raise WrongError("`transmit = false`; nothing can be sent into a recorded drive")


@dataclass(frozen=True, kw_only=True)
class PowerConfig:
    """``[power]``: how the accessory is fed, and its times; see `PowerOptions`."""

    supply: Supply | None = None
    accept_drain: bool = False
    board: Literal["zero", "zero2", "3b", "4b", "5"] = "4b"
    off_s: SecondsOrNone = 2.0
    silence_s: Seconds = 30.0
    goodbye_s: SecondsOrNone = 3.0
    linger_s: SecondsOrNone = 30.0
    asleep_s: Annotated[float, Limits(low=0.0, high=2_592_000.0, unit="s")] | None = None
    cutoff_v: Volts = 11.8
    low_s: Seconds = 60.0
    after_start_s: Annotated[float, Limits(low=30.0, high=3600.0, unit="s")] = 30.0
    crank_s: Annotated[float, Limits(low=0.0, high=60.0, unit="s")] = 10.0
    dip_v: Volts = 10.0
    up_s: Annotated[float, Limits(low=10.0, high=3600.0, unit="s")] = 60.0
    halt_again_s: Annotated[float, Limits(low=10.0, high=3600.0, unit="s")] = 90.0
    login_hold_s: SecondsOrNone = 3600.0
    update_hold_s: SecondsOrNone = 3600.0
    hold_line: str = ""
    hold_inverted: bool = False

    def __post_init__(self) -> None:
        if self.goodbye_s > self.linger_s:
            raise WrongError("`goodbye_s` no longer than `linger_s`")
        if self.dip_v >= self.cutoff_v:
            raise WrongError("`dip_v` below `cutoff_v`")

    def options(self) -> PowerOptions:
        """Return the times as the power room wants them."""
        names = [name for name in PowerOptions.__dataclass_fields__ if name in self.__dataclass_fields__]
        return PowerOptions(**{name: getattr(self, name) for name in names})


@dataclass(frozen=True, kw_only=True)
class ButtonsConfig:
    """``[buttons]``: times of gestures; how long a hold takes is up to the plug-in that waits for it."""

    double_s: Annotated[float, Limits(above=0.0, high=2.0, unit="s")] = 0.35
    repeat_after_s: Annotated[float, Limits(above=0.0, high=10.0, unit="s")] = 0.5
    repeat_s: Annotated[float, Limits(low=0.05, high=5.0, unit="s")] = 0.2
    stuck_s: Annotated[float, Limits(low=10.0, high=3600.0, unit="s")] = 30.0


@dataclass(frozen=True, kw_only=True)
class LimitsConfig:
    """``[limits]``: how much may be sent, on each bus."""

    requests_per_s: Annotated[float, Limits(above=0.0, high=200.0, unit="requests a second")] = 40.0
    load_percent: Annotated[float, Limits(above=0.0, high=LARGEST_LOAD, unit="% of a bus")] = 3.0


@dataclass(frozen=True, kw_only=True)
class RecordingConfig:
    """``[recording]``: what is kept, and where; relative to the configuration's folder."""

    traces: bool = False
    folder: str = "recordings"
    share_mb: Annotated[float, Limits(low=1.0, high=1_000_000.0, unit="MB")] = 500.0


@dataclass(frozen=True, kw_only=True)
class SignalsConfig:
    """``[signals]``: in `order` kinds of sources by signal, the preferred one first."""

    order: dict[str, tuple[Kind, ...]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Config(PanelsConfig):
    """All of `underdash.toml`; for what it inherits see `PanelsConfig`.

    Args:
        plugin: settings of plug-ins by name, as they stand; each is checked against its plug-in's dataclass.
        bus: by role.
        input: the owner's own wires and sensors, by name.
        reads: by control unit, bytes of the maker's that the owner allows because they only read.
        units: the owner's unit by stored unit or by signal.
    """

    format: Literal[1]
    car: CarConfig
    plugins: PluginsConfig = field(default_factory=PluginsConfig)
    plugin: dict[str, dict[str, Any]] = field(default_factory=dict)
    bus: dict[str, BusConfig] = field(default_factory=dict)
    input: dict[str, InputConfig] = field(default_factory=dict)
    reads: dict[str, tuple[Hex, ...]] = field(default_factory=dict)
    power: PowerConfig = field(default_factory=PowerConfig)
    units: dict[str, str] = field(default_factory=dict)
    buttons: ButtonsConfig = field(default_factory=ButtonsConfig)
    limits: LimitsConfig = field(default_factory=LimitsConfig)
    recording: RecordingConfig = field(default_factory=RecordingConfig)
    signals: SignalsConfig = field(default_factory=SignalsConfig)

    @property
    def settings(self) -> Mapping[str, Mapping[str, Any]]:
        """Settings tables of the enabled plug-ins, in their order; an empty one where the file has none."""
        return {name: self.plugin.get(name, {}) for name in self.plugins.enabled}

    @property
    def recorded(self) -> frozenset[str]:
        """Buses that play a recorded drive."""
        return frozenset(role for role, bus in self.bus.items() if bus.interface == "trace")

    @property
    def inputs(self) -> dict[str, Input]:
        """Inputs by name."""
        return {name: one.made() for name, one in self.input.items()}

    @property
    def simulated(self) -> bool:
        """Whether a simulated car or a recorded drive stands in for the car; then this machine's own mean nothing."""
        return any(bus.interface in ("memory", "trace") for bus in self.bus.values())

    @property
    def car_file(self) -> Path | None:
        """The car's file, if the configuration names one; relative to the configuration's folder."""
        return self.path.parent / self.car.file if self.car.file else None

    @property
    def reading_bytes(self) -> dict[str, frozenset[int]]:
        """`reads` as numbers."""
        return {unit: frozenset(int(text, 16) for text in texts) for unit, texts in self.reads.items()}
