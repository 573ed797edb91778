"""For authors of panel drivers: what they need beyond the contract.

`pack` makes 16-bit colour of an image, a `Box` is where one changed. `underdash` itself is quick to import and loads
no Pillow, so this is a module of its own.
"""

from __future__ import annotations

from .display.rgb565 import pack
from .display.round import Box

__all__ = ["Box", "pack"]
