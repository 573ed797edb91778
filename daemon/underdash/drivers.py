"""For authors of panel drivers: what they need beyond the contract.

`pack` makes 16-bit colour of an image, a `Box` is where one changed. `open_wire` opens SPI with a line for commands and
data as `SpiSettings` say, `WiredPanel` is a panel at its end, `windows` sends what changed, `dcs` has the commands that
controllers share, and `PanelModel` is such a controller for tests. `output` takes a GPIO line. `underdash` itself is
quick to import and loads no Pillow, so this is a module of its own.
"""

from __future__ import annotations

from .display.panels import dcs
from .display.panels.model import ModelError, PanelModel
from .display.panels.wire import SpiSettings, Wire, open_wire
from .display.panels.wired import Put, WiredPanel, windows
from .display.rgb565 import pack, unpack
from .display.round import Box
from .service.lines import OutputLine, output

__all__ = [
    "Box",
    "ModelError",
    "OutputLine",
    "PanelModel",
    "Put",
    "SpiSettings",
    "Wire",
    "WiredPanel",
    "dcs",
    "open_wire",
    "output",
    "pack",
    "unpack",
    "windows",
]
