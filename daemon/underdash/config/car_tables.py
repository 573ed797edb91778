"""What may stand in a car description file, table by table; `car_layout.py` and the others make the contract's types.

Ids and bytes are text in hex digits ("7E8", "18DAF110", "5C"), the way they are written everywhere else; counts and
scales are numbers. The tables live only while a file is read; they are neither frozen nor comparable because each
method that is generated for them makes every start longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from ..contract.plugin import Limits
from .structure import Hex

Order = Literal["big", "little"]
Use = Literal["comfort", "driving"]
Byte = Annotated[int, Limits(low=0, high=4095)]
Bit = Annotated[int, Limits(low=0, high=7)]
Length = Annotated[int, Limits(low=1, high=512)]
Seconds = Annotated[float, Limits(above=0.0, high=3600.0, unit="s")]


@dataclass(kw_only=True, eq=False, repr=False)
class Provenance:
    """Who found a line and how well it was checked."""

    found_by: str = ""
    checked_by: str = ""
    trace: str = ""
    note: str = ""

    @property
    def text(self) -> str:
        """All of it in one line."""
        parts = (("found by ", self.found_by), ("checked by ", self.checked_by), ("trace ", self.trace))
        said = [self.note] if self.note else []
        return "; ".join(said + [word + value for word, value in parts if value])


@dataclass(kw_only=True, eq=False, repr=False)
class BusTable:
    """``[bus.<role>]``."""

    bitrate: Annotated[int, Limits(low=5_000, high=1_000_000, unit="bit/s")]
    silent: bool = False
    meaning: str = ""


@dataclass(kw_only=True, eq=False, repr=False)
class UnitTable(Provenance):
    """``[unit.<name>]``: both ids, or the way of addressing and the target that they are made of."""

    bus: str
    request: Hex | None = None
    response: Hex | None = None
    extended: bool | None = None
    addressing: Literal["normal fixed", "mixed"] | None = None
    target: Hex | None = None
    address: Hex | None = None
    reply_address: Hex | None = None
    padding: Hex = "00"
    answer_within_s: Annotated[float, Limits(above=0.0, high=5.0, unit="s")] = 0.25
    gap_s: Annotated[float, Limits(low=0.005, high=5.0, unit="s")] = 0.005
    block_size: Annotated[int, Limits(low=0, high=255, unit="frames")] = 0
    st_min_ms: Annotated[float, Limits(low=0.0, high=127.0, unit="ms")] = 0.0


@dataclass(kw_only=True, eq=False, repr=False)
class FormatTable(Provenance):
    """``[request_format.<name>]``."""

    command: Hex
    request: tuple[str, ...]
    reply: tuple[str, ...]
    reply_adds: Hex = "40"


@dataclass(kw_only=True, eq=False, repr=False)
class BitsTable:
    """Where bits are, in one of three ways: `byte` with `bit` and `length`, `byte` with `bits`, or DBC `start`."""

    byte: Byte | None = None
    bit: Bit | None = None
    bits: tuple[Bit, Bit] | None = None
    start: Annotated[int, Limits(low=0, high=511)] | None = None
    length: Length | None = None
    order: Order | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class SelectTable(BitsTable):
    """A multiplexer condition."""

    values: tuple[int, ...]
    within: SelectTable | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class FieldTable(BitsTable, Provenance):
    """One signal in a frame or an answer."""

    signal: str
    coding: Literal["unsigned", "signed", "float", "bcd", "text"] = "unsigned"
    scale: float | None = None
    offset: float | None = None
    points: tuple[tuple[float, float], ...] = ()
    values: dict[str, str | bool | float] | None = None
    unit: str | None = None
    unavailable: tuple[int | tuple[int, int], ...] = ()
    saturates_at: int | None = None
    present_if: BitsTable | None = None
    full_scale_from: str | None = None
    select: SelectTable | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class SignalTable:
    """``[[signal]]``: a quantity that only this car has."""

    name: str
    meaning: str
    unit: str = ""
    kind: Literal["number", "switch", "choice", "text"] = "number"
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


@dataclass(kw_only=True, eq=False, repr=False)
class ChecksumTable:
    """A checksum, of a byte or half of one; of the CRC-8 the polynomial, initial and final value, in hex."""

    kind: Literal["crc8", "sum8", "xor8", "sum4", "xor4"]
    byte: Byte
    bits: tuple[Bit, Bit] | None = None
    polynomial: Hex = "1D"
    initial: Hex = "FF"
    final: Hex | None = None
    first: Byte | None = None
    last: Byte | None = None
    reflected: bool = False
    negative: bool = False


@dataclass(kw_only=True, eq=False, repr=False)
class BroadcastTable(Provenance):
    """``[[broadcast]]``."""

    bus: str
    id: Hex
    fields: tuple[Any, ...]
    extended: bool | None = None
    period_s: Seconds | None = None
    on_change: bool = False
    shortest: Annotated[int, Limits(low=0, high=8, unit="bytes")] | None = None
    counter: BitsTable | None = None
    checksum: ChecksumTable | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class PollTable(Provenance):
    """``[[poll]]``."""

    unit: str
    protocol: str
    identifier: Hex
    fields: tuple[Any, ...] = ()
    period_s: Seconds = 0.5
    once: bool = False


@dataclass(kw_only=True, eq=False, repr=False)
class FrameTable:
    """A frame on a bus."""

    bus: str
    id: Hex
    extended: bool | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class IgnitionTable(Provenance):
    """``[[ignition]]``."""

    signal: str
    on: tuple[str | bool, ...] = ()
    off: tuple[str | bool, ...] = ()
    start: tuple[str | bool, ...] = ()
    above: float | None = None
    lifetime_s: Annotated[float, Limits(above=0.0, high=60.0, unit="s")] = 2.0
    alive_with: FrameTable | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class FingerprintTable(FrameTable):
    """``[[fingerprint]]``."""

    length: Annotated[int, Limits(low=0, high=8, unit="bytes")]
    period_s: Seconds | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class ExchangeTable:
    """``[[exchange]]``."""

    request_format: str
    unit: str
    request: Hex
    times: Annotated[int, Limits(low=10, unit="times the same request was heard")]
    answers: Annotated[int, Limits(low=2, unit="different answers")]
    trace: str


@dataclass(kw_only=True, eq=False, repr=False)
class HeadTable:
    """The keys at the top of the file."""

    format: Literal[1]
    name: str
    title: str
    counting: Literal["from 0", "from 1"]
    origin: str = ""
    base: str = ""
    without: tuple[str, ...] = ()
    knob_applies: Literal["night", "always"] | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class VariantTable:
    """The keys of ``[variant.<name>]`` beside its sections."""

    title: str
    without: tuple[str, ...] = ()
    knob_applies: Literal["night", "always"] | None = None


@dataclass(kw_only=True, eq=False, repr=False)
class SectionsTable:
    """The sections of a file or a variant; each entry is made by itself, so that a mistake in one hides no other."""

    bus: dict[str, Any] | None = None
    unit: dict[str, Any] | None = None
    request_format: dict[str, Any] | None = None
    signal: list[Any] | None = None
    broadcast: list[Any] | None = None
    poll: list[Any] | None = None
    ignition: list[Any] | None = None
    buttons: dict[str, Use] | None = None
    fingerprint: list[Any] | None = None
    exchange: list[Any] | None = None
