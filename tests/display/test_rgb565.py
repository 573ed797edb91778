from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from underdash.display.rgb565 import pack, unpack


@pytest.mark.parametrize(
    ("colour", "word"),
    [
        ((255, 0, 0), 0xF800),
        ((0, 255, 0), 0x07E0),
        ((0, 0, 255), 0x001F),
        ((255, 255, 255), 0xFFFF),
        ((8, 4, 8), 0x0821),
        ((7, 3, 7), 0x0000),
    ],
)
def test_colours_become_words_with_the_high_byte_first(colour: tuple[int, int, int], word: int) -> None:
    assert pack(Image.new("RGB", (1, 1), colour)) == struct.pack(">H", word)


@given(st.integers(1, 9), st.integers(1, 7), st.randoms(use_true_random=False))
def test_any_image_packs_as_the_definition_says(width: int, height: int, random: object) -> None:
    data = bytes(random.randrange(256) for _ in range(3 * width * height))  # type: ignore[attr-defined]
    expected = b"".join(
        struct.pack(">H", (r >> 3) << 11 | (g >> 2) << 5 | b >> 3)
        for r, g, b in zip(data[0::3], data[1::3], data[2::3], strict=True)
    )
    assert pack(Image.frombytes("RGB", (width, height), data)) == expected


def test_unpacking_gives_the_image_back_as_far_as_16_bits_hold_it() -> None:
    image = Image.linear_gradient("L").resize((40, 30)).convert("RGB")
    again = unpack(pack(image), image.size)
    assert pack(again) == pack(image)


def test_bytes_that_do_not_fit_the_size_are_refused() -> None:
    with pytest.raises(ValueError, match="8 are needed"):
        unpack(b"123", (2, 2))


def test_other_modes_are_taken_too() -> None:
    assert pack(Image.new("L", (1, 1), 255)) == b"\xff\xff"
