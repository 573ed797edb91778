"""underdash: what a plug-in author imports, and nothing else.

Start at `hookimpl` and the hooks in DEVELOPERS.md; `underdash.testing` helps with tests. Names are looked up when they
are first used, so that a command is quick to answer.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .contract.buttons import (
        Acknowledge,
        Action,
        ButtonHandler,
        Gesture,
        GestureKind,
        GoQuiet,
        Mark,
        Refresh,
        ResetPeak,
        SetChoice,
        ShowPage,
        ShowRate,
        TurnPage,
    )
    from .contract.cars import BusDescription, CarDescription, CarFile, Exchange, ExpectedFrame, IgnitionEvidence
    from .contract.content import Content, Share, Shown, Upright
    from .contract.errors import UnderdashError
    from .contract.hooks import hookimpl
    from .contract.layout import Bits, BroadcastListener, ByteOrder, Checksum, Coding, Counter, Field, Select
    from .contract.pages import Alert, Canvas, Page, PanelDriver, Role, Scale, Zone
    from .contract.plugin import CONTRACT, Limits, PluginInfo
    from .contract.requests import Answer, ControlUnit, Part, PartKind, PollRequest, Protocol, SingleFrameFormat
    from .contract.signals import Age, Kind, PowerState, Quality, Reading, Signal, Snapshot, Value, worst
    from .contract.sources import Derived, Input, InputKind, Pull, Result
    from .contract.units import UNITS, Unit, compatible, convert, linear
    from .contract.words import Lamp, Words

_ROOMS = (
    "signals",
    "units",
    "layout",
    "requests",
    "cars",
    "pages",
    "words",
    "content",
    "buttons",
    "sources",
    "plugin",
    "errors",
    "hooks",
)

__all__ = [
    "CONTRACT",
    "UNITS",
    "Acknowledge",
    "Action",
    "Age",
    "Alert",
    "Answer",
    "Bits",
    "BroadcastListener",
    "BusDescription",
    "ButtonHandler",
    "ByteOrder",
    "Canvas",
    "CarDescription",
    "CarFile",
    "Checksum",
    "Coding",
    "Content",
    "ControlUnit",
    "Counter",
    "Derived",
    "Exchange",
    "ExpectedFrame",
    "Field",
    "Gesture",
    "GestureKind",
    "GoQuiet",
    "IgnitionEvidence",
    "Input",
    "InputKind",
    "Kind",
    "Lamp",
    "Limits",
    "Mark",
    "Page",
    "PanelDriver",
    "Part",
    "PartKind",
    "PluginInfo",
    "PollRequest",
    "PowerState",
    "Protocol",
    "Pull",
    "Quality",
    "Reading",
    "Refresh",
    "ResetPeak",
    "Result",
    "Role",
    "Scale",
    "Select",
    "SetChoice",
    "Share",
    "ShowPage",
    "ShowRate",
    "Shown",
    "Signal",
    "SingleFrameFormat",
    "Snapshot",
    "TurnPage",
    "UnderdashError",
    "Unit",
    "Upright",
    "Value",
    "Words",
    "Zone",
    "compatible",
    "convert",
    "hookimpl",
    "linear",
    "worst",
]


def __getattr__(name: str) -> object:
    """Fetch a public name from the file of the contract that defines it."""
    if name in __all__:
        for room in _ROOMS:
            found = vars(import_module(f".contract.{room}", __name__)).get(name)
            if found is not None:
                globals()[name] = found
                return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted({*globals(), *__all__})
