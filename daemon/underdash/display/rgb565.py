"""16-bit colour as small panels take it, made by whole-image operations.

Pillow has no packer for it, and a loop over pixels in Python would cost a hundred times what drawing does.
"""

from __future__ import annotations

from PIL import Image, ImageChops

_RED_HIGH = [v & 0xF8 for v in range(256)]
_GREEN_HIGH = [v >> 5 for v in range(256)]
_GREEN_LOW = [(v & 0x1C) << 3 for v in range(256)]
_BLUE_LOW = [v >> 3 for v in range(256)]


def pack(image: Image.Image) -> bytes:
    """Return an RGB image as RGB565, two bytes a pixel, the high byte first, row by row."""
    if image.mode != "RGB":
        image = image.convert("RGB")
    red, green, blue = image.split()
    # the parts share no bits, so adding them is joining them
    high = ImageChops.add(red.point(_RED_HIGH), green.point(_GREEN_HIGH))
    low = ImageChops.add(green.point(_GREEN_LOW), blue.point(_BLUE_LOW))
    return Image.merge("LA", (high, low)).tobytes()


def unpack(data: bytes, size: tuple[int, int]) -> Image.Image:
    """Return the image that `pack` was given, as far as 16 bits hold it; for tests and recorded panels.

    Raises:
        ValueError: `data` is not two bytes for each pixel.
    """
    if len(data) != 2 * size[0] * size[1]:
        raise ValueError(f"{len(data)} bytes for {size[0]}x{size[1]} pixels, {2 * size[0] * size[1]} are needed")
    high, low = Image.frombytes("LA", size, data).split()
    red = high.point([v & 0xF8 for v in range(256)])
    green = ImageChops.add(
        high.point([(v & 0x07) << 5 for v in range(256)]), low.point([(v & 0xE0) >> 3 for v in range(256)])
    )
    blue = low.point([(v & 0x1F) << 3 for v in range(256)])
    return Image.merge("RGB", (red, green, blue))
