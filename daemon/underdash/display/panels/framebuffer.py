"""A panel that Linux drives as a framebuffer: what its driver calls ``/dev/fb0``.

Structures and numbers are those of the kernel's ``include/uapi/linux/fb.h``. Pixels of 16 bits (five red, six green,
five blue) and of 32 bits are written, with red in the high bits or in the low ones.
"""

from __future__ import annotations

import contextlib
import fcntl
import mmap
import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from ...contract.errors import UnderdashError
from ..rgb565 import pack
from ..round import Box, common

FBIOGET_VSCREENINFO, FBIOGET_FSCREENINFO, FBIOBLANK = 0x4600, 0x4602, 0x4611
VSCREENINFO_BYTES, FSCREENINFO_BYTES = 160, 80
FB_BLANK_UNBLANK, FB_BLANK_POWERDOWN = 0, 4
LAYOUTS = {
    (16, (11, 5, 5, 6, 0, 5)): False,
    (16, (0, 5, 5, 6, 11, 5)): True,
    (32, (16, 8, 8, 8, 0, 8)): False,
    (32, (0, 8, 8, 8, 16, 8)): True,
}
"""Bits a pixel and (offset, length) of red, green, blue; whether red is low."""
VIDEO = "add this user to group video"
RED, GREEN, BLUE = 8, 11, 14
"""Index of each colour's offset, followed by its length, among the 32-bit words of fb_var_screeninfo."""


@dataclass(frozen=True, kw_only=True)
class FramebufferSettings:
    """Settings of the framebuffer panel.

    Args:
        device: the framebuffer's file.
    """

    device: str = "/dev/fb0"


@dataclass(frozen=True, slots=True)
class Format:
    """How a framebuffer lays out its pixels.

    Args:
        size: pixels across and down that are seen.
        bits: a pixel.
        stride: bytes from one row to the next.
        start: bytes from the beginning to the first pixel seen.
        red_low: red is in the low bits, not in the high ones.
    """

    size: tuple[int, int]
    bits: int
    stride: int
    start: int = 0
    red_low: bool = False

    @property
    def length(self) -> int:
        """Bytes from the beginning to behind the last row."""
        return self.start + self.stride * self.size[1]

    def packed(self, image: Image.Image) -> bytes:
        """Return an RGB image as this format's pixels, row by row."""
        if self.bits == 32:
            return image.tobytes("raw", "RGBX" if self.red_low else "BGRX")
        if self.red_low:
            image = Image.merge("RGB", image.split()[::-1])
        # the framebuffer is in the machine's own order, low byte first
        high_first = bytearray(pack(image))
        high_first[0::2], high_first[1::2] = high_first[1::2], high_first[0::2]
        return bytes(high_first)


def format_of(variable: bytes, fixed: bytes) -> Format:
    """Read the two structures of the kernel.

    Args:
        variable: fb_var_screeninfo, 160 bytes.
        fixed: fb_fix_screeninfo, 80 bytes on a 64-bit machine, 68 on a 32-bit one.

    Raises:
        UnderdashError: pixels are laid out in another way than those that are known.
    """
    words = struct.unpack("=40I", variable)
    across, down, x, y, bits = words[0], words[1], words[4], words[5], words[6]
    layout = tuple(words[place + n] for place in (RED, GREEN, BLUE) for n in (0, 1))
    if (bits, layout) not in LAYOUTS:
        colours = ", ".join(
            f"{length} bits from bit {offset}" for offset, length in zip(layout[::2], layout[1::2], strict=True)
        )
        raise UnderdashError(
            f"it has {bits} bits a pixel with red, green, blue in {colours}; 16 bits (5, 6, 5) and 32 bits "
            "(8, 8, 8) are known, which the driver's overlay can choose"
        )
    # char id[16]; unsigned long smem_start; u32 smem_len, type, type_aux, visual; u16 steps[3]; u32 line_length
    (stride,) = struct.unpack_from("=I", fixed, 16 + struct.calcsize("@L") + 16 + 8)
    return Format((across, down), bits, stride, y * stride + x * bits // 8, LAYOUTS[bits, layout])


def trouble(device: Path) -> str:
    """Say what keeps a framebuffer from being used, without opening it; "" if nothing does."""
    if not device.exists():
        return f"framebuffer {device} is not there; is the panel's overlay loaded?"
    return "" if os.access(device, os.R_OK | os.W_OK) else f"framebuffer {device} may not be used; {VIDEO}"


class Framebuffer:
    """Shows images on a framebuffer.

    Args:
        device: its file.

    Raises:
        UnderdashError: it is not there, may not be used, or has pixels of an unknown kind.
    """

    def __init__(self, device: Path) -> None:
        self._device = device
        try:
            self._file = os.open(device, os.O_RDWR | os.O_CLOEXEC)
        except OSError as exc:
            hint = VIDEO if isinstance(exc, PermissionError) else "is the panel's overlay loaded?"
            raise UnderdashError(f"framebuffer {device} cannot be opened: {exc.strerror}; {hint}") from exc
        try:
            variable = fcntl.ioctl(self._file, FBIOGET_VSCREENINFO, bytes(VSCREENINFO_BYTES))
            fixed = fcntl.ioctl(self._file, FBIOGET_FSCREENINFO, bytes(FSCREENINFO_BYTES))
            self.format = format_of(variable, fixed)
            self._memory = mmap.mmap(self._file, self.format.length)
        except OSError as exc:
            os.close(self._file)
            raise UnderdashError(f"framebuffer {device}: {exc.strerror or exc}; it is no framebuffer") from exc
        except UnderdashError as exc:
            os.close(self._file)
            raise UnderdashError(f"framebuffer {device}: {exc}") from exc
        self._blank(FB_BLANK_UNBLANK)

    @property
    def size(self) -> tuple[int, int]:
        """Pixels across and down."""
        return self.format.size

    def show(self, image: Image.Image, boxes: Sequence[Box]) -> None:
        """Write the boxes of an image."""
        for box in boxes:
            inside = common(box, (0, 0, *self.size))
            if inside is not None:
                write_box(self._memory, self.format, image.crop(inside), inside)

    def dim(self, level: float) -> None:
        """Blank it where it is to be dark; other light is up to its backlight."""
        self._blank(FB_BLANK_UNBLANK if level > 0 else FB_BLANK_POWERDOWN)

    def close(self) -> None:
        """Go black and give the device back."""
        self._memory[:] = bytes(len(self._memory))
        self._blank(FB_BLANK_POWERDOWN)
        self._memory.close()
        os.close(self._file)

    def _blank(self, how: int) -> None:
        # many drivers of small panels cannot, and say so
        with contextlib.suppress(OSError):
            fcntl.ioctl(self._file, FBIOBLANK, how)


def write_box(memory: mmap.mmap | bytearray, form: Format, tile: Image.Image, box: Box) -> None:
    """Write a tile into its box of a framebuffer's memory."""
    data = form.packed(tile)
    width = (box[2] - box[0]) * form.bits // 8
    place = form.start + box[1] * form.stride + box[0] * form.bits // 8
    for row in range(box[3] - box[1]):
        memory[place : place + width] = data[row * width : (row + 1) * width]
        place += form.stride
