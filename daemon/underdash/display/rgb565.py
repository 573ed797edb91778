"""16-bit colour as small panels take it, made by whole-image operations.

Pillow has no packer for it, a loop over pixels in Python would cost a hundred times what drawing does, and its point
operation spends more time on its table than on a small box. So the parts go through `bytes.translate`, and are joined
as two long integers.
"""

from __future__ import annotations

from PIL import Image

_RED_HIGH = bytes(v & 0xF8 for v in range(256))
_GREEN_HIGH = bytes(v >> 5 for v in range(256))
_GREEN_LOW = bytes((v & 0x1C) << 3 for v in range(256))
_BLUE_LOW = bytes(v >> 3 for v in range(256))


def pack(image: Image.Image) -> bytes:
    """Return an RGB image as RGB565, two bytes a pixel, the high byte first, row by row."""
    raw = (image if image.mode == "RGB" else image.convert("RGB")).tobytes()
    green = raw[1::3]
    packed = bytearray(2 * len(green))
    packed[0::2] = _joined(raw[0::3].translate(_RED_HIGH), green.translate(_GREEN_HIGH))
    packed[1::2] = _joined(green.translate(_GREEN_LOW), raw[2::3].translate(_BLUE_LOW))
    return bytes(packed)


def _joined(a: bytes, b: bytes) -> bytes:
    return (int.from_bytes(a, "little") | int.from_bytes(b, "little")).to_bytes(len(a), "little")


def unpack(data: bytes, size: tuple[int, int]) -> Image.Image:
    """Return the image that `pack` was given, as far as 16 bits hold it; for tests and recorded panels.

    Raises:
        ValueError: `data` is not two bytes for each pixel.
    """
    if len(data) != 2 * size[0] * size[1]:
        raise ValueError(f"{len(data)} bytes for {size[0]}x{size[1]} pixels, {2 * size[0] * size[1]} are needed")
    rgb = bytearray(3 * size[0] * size[1])
    high, low = data[0::2], data[1::2]
    rgb[0::3] = bytes(v & 0xF8 for v in high)
    rgb[1::3] = bytes((h & 0x07) << 5 | (v & 0xE0) >> 3 for h, v in zip(high, low, strict=True))
    rgb[2::3] = bytes((v & 0x1F) << 3 for v in low)
    return Image.frombytes("RGB", size, bytes(rgb))
