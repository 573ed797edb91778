from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from underdash.drivers import Box, pack
from underdash_serial_panel.codes import COLOURS, Colours, codes
from underdash_serial_panel.framing import MOST_PAYLOAD
from underdash_serial_panel.messages import Kind
from underdash_serial_panel.pixels import Pixels
from underdash_serial_panel.reference import Controller

W, H = 12, 9


@st.composite
def pictures(draw: st.DrawFn) -> bytes:
    """Pixels with long runs and few colours, or with none of that."""
    colours = draw(st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=6))
    pixels: list[int] = []
    while len(pixels) < W * H:
        pixels += [draw(st.sampled_from(colours))] * draw(st.sampled_from([1, 1, 2, 3, W, 40]))
    return b"".join(pixel.to_bytes(2, "big") for pixel in pixels[: W * H])


def drawn(controller: Controller, box: tuple[int, int, int, int], data: list[bytes]) -> None:
    """Have the reference draw one rectangle (left, top, across, down), code by code."""
    controller.frame[2:10] = b"".join(side.to_bytes(2, "big") for side in box)
    controller.rectangle()
    for code in data:
        controller.frame[2 : 2 + len(code)] = code
        controller.draw(2, 2 + len(code))


@settings(deadline=None)
@given(st.lists(pictures(), min_size=1, max_size=4))
def test_the_reference_draws_what_was_coded(shown: list[bytes]) -> None:
    controller, colours, before = Controller(W, H), Colours(), bytes(2 * W * H)
    for picture in shown:
        drawn(controller, (0, 0, W, H), list(codes(picture, before, W, colours)))
        assert bytes(controller.screen) == picture
        before = picture


def test_more_colours_than_the_table_holds_come_through() -> None:
    many = [i * 37 % 0x10000 for i in range(3 * COLOURS)]
    picture = b"".join(colour.to_bytes(2, "big") for colour in [*many, *reversed(many)])
    controller = Controller(len(picture) // 2, 1)
    data = list(codes(picture, bytes(len(picture)), controller.width, Colours()))
    drawn(controller, (0, 0, controller.width, 1), data)
    assert bytes(controller.screen) == picture
    assert {len(code) for code in data} == {1, 3}


def test_what_stays_costs_nothing_at_the_end_and_little_in_between() -> None:
    old = bytes(2 * 100)
    new = bytearray(old)
    new[0:2] = new[160:162] = b"\xff\xff"
    assert b"".join(codes(bytes(new), old, 10, Colours())) == bytes((0xE0, 0xFF, 0xFF, 0xE2, 0, 78, 0x80))
    assert list(codes(old, old, 10, Colours())) == []


def test_what_repeats_the_row_above_costs_next_to_nothing() -> None:
    row = b"\x12\x34" + b"\xff\xff" * 6 + b"\x12\x34"
    data = b"".join(codes(row * 8, b"\xaa\xaa" * 64, 8, Colours()))
    assert data == bytes((0xE0, 0x12, 0x34, 0xE0, 0xFF, 0xFF, 0x80 + 4, 0, 0xE3, 0, 55))


@st.composite
def changes(draw: st.DrawFn) -> list[tuple[Box, tuple[int, int, int]]]:
    """Boxes to be filled with a colour, one after the other."""
    made = []
    for _ in range(draw(st.integers(1, 5))):
        left, top = draw(st.integers(0, W - 1)), draw(st.integers(0, H - 1))
        box = (left, top, draw(st.integers(left + 1, W)), draw(st.integers(top + 1, H)))
        made.append((box, draw(st.tuples(*[st.integers(0, 255)] * 3))))
    return made


@settings(deadline=None)
@given(changes())
def test_pictures_that_change_box_by_box_are_rebuilt(made: list[tuple[Box, tuple[int, int, int]]]) -> None:
    pixels, controller, image = Pixels((W, H)), Controller(W, H), Image.new("RGB", (W, H))
    for box, colour in made:
        image.paste(colour, box)
        pixels.take(image, [box])
        for kind, payload in pixels.messages():
            assert len(payload) <= MOST_PAYLOAD
            controller.frame[2 : 2 + len(payload)] = payload
            controller.act(kind, 2 + len(payload))
        assert bytes(controller.screen) == pack(image)


def test_a_picture_that_is_shown_already_is_not_sent() -> None:
    pixels, image = Pixels((W, H)), Image.new("RGB", (W, H), (255, 0, 0))
    pixels.take(image, [(0, 0, W, H)])
    assert [kind for kind, _ in pixels.messages()] == [Kind.RECTANGLE, Kind.SHOW]
    pixels.take(image, [(0, 0, W, H)])
    assert list(pixels.messages()) == []
    pixels.forget()
    assert [kind for kind, _ in pixels.messages()] == [Kind.RECTANGLE, Kind.SHOW]


def test_a_rectangle_that_is_not_on_the_display_draws_nothing() -> None:
    for sides in ((1, 0, W, 1), (0, 1, 1, H), (0, 0, 0, 1), (0, 0, 1, 0), (0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF)):
        controller = Controller(W, H)
        drawn(controller, sides, [bytes((0xE0, 0xFF, 0xFF, 0x9F))])
        assert not any(controller.screen)
