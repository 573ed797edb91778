"""The framebuffer's pixels, on memory laid out as the kernel says; a real one is in the guest (tests/system)."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from PIL import Image

from underdash.contract.errors import UnderdashError
from underdash.display.panels.framebuffer import Format, Framebuffer, format_of, write_box
from underdash.display.rgb565 import unpack

RGB565 = (11, 5, 0, 5, 6, 0, 0, 5, 0)
BGRX = (16, 8, 0, 8, 8, 0, 0, 8, 0)


def variable(size: tuple[int, int], bits: int, layout: tuple[int, ...], offset: tuple[int, int] = (0, 0)) -> bytes:
    words = [*size, *size, *offset, bits, 0, *layout]
    return struct.pack("=40I", *words, *[0] * (40 - len(words)))


def fixed(stride: int) -> bytes:
    return struct.pack("@16sLIIIIHHHI", b"test", 0, 0, 0, 0, 0, 1, 1, 0, stride).ljust(80, b"\0")


def picture() -> Image.Image:
    image = Image.new("RGB", (16, 8))
    image.putdata([(x * 16, y * 32, 255 - x * 16) for y in range(8) for x in range(16)])
    return image


def test_the_structures_of_the_kernel_are_read() -> None:
    assert format_of(variable((240, 240), 16, RGB565), fixed(480)) == Format((240, 240), 16, 480)
    padded = format_of(variable((320, 240), 32, BGRX, (8, 2)), fixed(2048))
    assert padded == Format((320, 240), 32, 2048, 2 * 2048 + 8 * 4)
    assert padded.length == padded.start + 2048 * 240


@pytest.mark.parametrize(
    ("bits", "layout"), [(16, (10, 5, 0, 5, 5, 0, 0, 5, 0)), (24, BGRX), (8, (0, 8, 0, 0, 8, 0, 0, 8, 0))]
)
def test_other_pixels_are_refused(bits: int, layout: tuple[int, ...]) -> None:
    with pytest.raises(UnderdashError, match=f"it has {bits} bits a pixel"):
        format_of(variable((240, 240), bits, layout), fixed(480))


def test_sixteen_bits_are_written_low_byte_first_into_the_box_and_nowhere_else() -> None:
    form = Format((16, 8), 16, 40, start=4)
    memory = bytearray(b"\xaa" * form.length)
    write_box(memory, form, picture().crop((3, 2, 9, 5)), (3, 2, 9, 5))
    rows = [memory[4 + y * 40 + 6 : 4 + y * 40 + 18] for y in (2, 3, 4)]
    high_first = b"".join(bytes(pair) for row in rows for pair in zip(row[1::2], row[0::2], strict=True))
    assert unpack(high_first, (6, 3)).getpixel((0, 0)) == (48, 64, 200)
    assert memory.count(0xAA) == form.length - 36


def test_thirty_two_bits_are_blue_green_red() -> None:
    form = Format((16, 8), 32, 64)
    memory = bytearray(form.length)
    write_box(memory, form, picture(), (0, 0, 16, 8))
    assert Image.frombytes("RGB", (16, 8), bytes(memory), "raw", "BGRX").tobytes() == picture().tobytes()


@pytest.mark.parametrize(
    ("bits", "layout", "raw"), [(16, (0, 5, 0, 5, 6, 0, 11, 5, 0), None), (32, (0, 8, 0, 8, 8, 0, 16, 8, 0), "RGBX")]
)
def test_red_in_the_low_bits(bits: int, layout: tuple[int, ...], raw: str | None) -> None:
    form = format_of(variable((1, 1), bits, layout), fixed(4))
    packed = form.packed(Image.new("RGB", (1, 1), (248, 4, 8)))
    assert packed == (b"\x3f\x08" if raw is None else b"\xf8\x04\x08\xff")


def test_what_is_no_framebuffer_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnderdashError, match=r"cannot be opened: No such file.*is the panel's overlay loaded"):
        Framebuffer(tmp_path / "fb9")
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    with pytest.raises(UnderdashError, match="it is no framebuffer"):
        Framebuffer(plain)
