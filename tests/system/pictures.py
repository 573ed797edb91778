"""Pictures that a guest hands out, as PNG files to look at."""

from __future__ import annotations

import json
import os
import zlib
from base64 import b64decode
from collections.abc import Mapping
from pathlib import Path

from PIL import Image

from underdash.display.rgb565 import unpack
from underdash.drivers import PanelModel

SIZE = 320, 240


def from_screen(text: str) -> Image.Image:
    """Return what the guest's framebuffer held; it has red in the low bits, and the low byte first."""
    data = zlib.decompress(b64decode(text))
    swapped = bytearray(data)
    swapped[0::2], swapped[1::2] = swapped[1::2], swapped[0::2]
    return Image.merge("RGB", unpack(bytes(swapped), SIZE).split()[::-1])


def from_spi(text: str) -> PanelModel:
    """Return a model of the panel's controller that got the same bytes, each as what its line said it is."""
    model = PanelModel.gc9a01()
    wire = model.wire()
    wire.reset()
    for data, values in json.loads(zlib.decompress(b64decode(text))):
        if data:
            wire.data(b64decode(values))
        else:
            wire.command(*b64decode(values))
    return model


def keep(pictures: Mapping[str, Image.Image], folder: Path) -> None:
    """Keep pictures as PNG, by their names, in $UNDERDASH_PICTURES or a folder, and say where."""
    place = Path(os.environ.get("UNDERDASH_PICTURES", folder))
    place.mkdir(parents=True, exist_ok=True)
    for name, picture in pictures.items():
        picture.save(place / f"{name}.png")
    print(f"pictures: {place}")
