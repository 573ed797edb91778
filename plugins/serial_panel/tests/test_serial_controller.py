"""The controller in C, compiled and spoken to as a board would be, must do what the reference does."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from underdash import Age, Content, Lamp, Role, Share, Shown, Upright, Words
from underdash.testing import FakeClock
from underdash_serial_panel.device import PixelPanel
from underdash_serial_panel.framing import Frame, on_wire
from underdash_serial_panel.link import Link
from underdash_serial_panel.memory import MemoryLine
from underdash_serial_panel.messages import Kind
from underdash_serial_panel.reference import Controller
from underdash_serial_panel.settings import Settings
from underdash_serial_panel.values import Values

SOURCE = Path(__file__).parents[1] / "controller" / "controller.c"
SIZE = (60, 40)
BOARD = """
#include <stdio.h>
#include "controller.c"

static uint8_t screen[2 * WIDTH * HEIGHT], replies[1 << 20];
static uint32_t replied;
static uint16_t lit;

void line_write(const uint8_t *bytes, uint16_t count) { while (count--) replies[replied++] = *bytes++; }
void panel_black(void) { for (uint32_t i = 0; i < sizeof screen; i++) screen[i] = 0; }
void panel_draw(uint16_t x, uint16_t y, uint16_t count, uint16_t colour) {
    for (uint16_t i = 0; i < count; i++) {
        uint8_t *pixel = screen + 2 * (y * WIDTH + x + i);
        pixel[0] = (uint8_t)(colour >> 8), pixel[1] = (uint8_t)colour;
    }
}
void panel_show(void) {}
void panel_light(uint16_t level) { lit = level; }
void panel_said(uint8_t kind, const uint8_t *payload, uint16_t length) {
    fprintf(stderr, "%02x", kind);
    while (length--) fprintf(stderr, "%02x", *payload++);
    fputc('\\n', stderr);
}

int main(void) {
    int byte;
    controller_start();
    while ((byte = getchar()) != EOF) controller_byte((uint8_t)byte);
    fwrite(screen, 1, sizeof screen, stdout);
    putchar(lit >> 8), putchar(lit & 255);
    fwrite(replies, 1, replied, stdout);
    return 0;
}
"""


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Path:
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if compiler is None:
        pytest.skip("no C compiler")
    folder = tmp_path_factory.mktemp("board")
    (folder / "board.c").write_text(BOARD)
    strict = ["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic", "-O1"]
    shape = [f"-DWIDTH={SIZE[0]}", f"-DHEIGHT={SIZE[1]}", f"-I{SOURCE.parent}"]
    made = [compiler, *strict, *shape, "-o", str(folder / "board"), str(folder / "board.c")]
    subprocess.run(made, check=True, capture_output=True, text=True)
    return folder / "board"


def both(board: Path, wire: bytes) -> tuple[tuple[bytes, int, bytes], tuple[bytes, int, bytes]]:
    """Let both hear the same bytes; return picture, light and answers of each."""
    heard = subprocess.run([str(board)], input=wire, capture_output=True, check=True).stdout
    pixels = 2 * SIZE[0] * SIZE[1]
    in_c = heard[:pixels], int.from_bytes(heard[pixels : pixels + 2], "big"), heard[pixels + 2 :]
    reference = Controller(*SIZE)
    answers = reference.start() + b"".join(map(reference.receive, wire))
    return in_c, (bytes(reference.screen), reference.light, answers)


def spoken() -> bytes:
    """What the plug-in sends for a few pictures and the light."""
    said = bytearray()
    clock = FakeClock()

    class Listening(MemoryLine):
        def write(self, data: bytes) -> None:
            said.extend(data)
            super().write(data)

    line = Listening(Controller(*SIZE), clock.advance)
    panel = PixelPanel(SIZE, Link(Settings(port="/dev/none"), SIZE, lambda: line, clock))
    for shift in (3, 90, 7):
        image = Image.new("RGB", SIZE)
        image.putdata([(x * shift % 256, (x // 7) * 40 % 256, x // 60 * 5) for x in range(SIZE[0] * SIZE[1])])
        panel.show(image, [(0, 0, *SIZE)])
        panel.dim(shift / 100)
    return bytes(said)


def test_it_shows_and_answers_what_the_reference_does(board: Path) -> None:
    in_c, reference = both(board, spoken())
    assert any(in_c[0])
    assert in_c[1] == round(0.07 * 0xFFFF)
    assert in_c == reference


@given(st.data())
@settings(max_examples=25, deadline=None)
def test_it_does_what_the_reference_does_on_a_line_full_of_noise(board: Path, data: st.DataObject) -> None:
    wire = bytearray(spoken()[:3000])
    for at in data.draw(st.lists(st.integers(0, 2999), max_size=6)):
        wire[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=5))
    in_c, reference = both(board, bytes(wire))
    assert in_c == reference


def test_it_hands_on_whatever_a_page_says(board: Path) -> None:
    knock = Upright(Shown("-1.5", "°", Role.WARNING, Age.FRESH, "1"), Share(0.0, 1.0, None, Role.WARNING, 0.5))
    content = Content(
        "all",
        value=Shown("0.72", "bar", Role.INK, Age.FRESH),
        share=Share(0.4, 0.1, 0.6, Role.ACCENT, 0.3),
        columns=(knock,),
        lamps=(Lamp("charging", True, Role.ACCENT), Lamp("ready", None, Role.INK, Age.GONE)),
        lines=(Words("ignition unknown", Role.CAUTION),),
    )
    values = Values()
    values.take(content)
    messages = list(values.messages())
    assert {0x20, 0x21, 0x25, 0x26, 0x27} <= {int(kind) for kind, _ in messages}
    frames = [Frame(int(kind), number, payload) for number, (kind, payload) in enumerate(messages)]
    wire = on_wire(Frame(0x01, 0, b"\1\7\2")) + b"".join(map(on_wire, frames))
    heard = subprocess.run([str(board)], input=wire, capture_output=True, check=True).stderr.decode().split()
    said = [f"{int(kind):02x}{payload.hex()}" for kind, payload in messages if kind != Kind.SHOW]
    assert heard == ["00", *said]


CODES = st.lists(st.binary(max_size=40), min_size=1, max_size=6)
SIDES = st.tuples(st.integers(0, 61), st.integers(0, 41), st.integers(0, 61), st.integers(0, 41))


@given(st.lists(st.tuples(SIDES, CODES), max_size=6))
@settings(max_examples=60, deadline=None)
def test_it_draws_any_codes_as_the_reference_does(
    board: Path, rectangles: list[tuple[tuple[int, int, int, int], list[bytes]]]
) -> None:
    wire, number = bytearray(on_wire(Frame(0x01, 0, b"\1\7\1"))), 0
    for sides, parts in rectangles:
        payload = b"".join(side.to_bytes(2, "big") for side in sides)
        for kind, part in zip([0x10, *[0x11] * len(parts)], [payload + parts[0], *parts[1:]], strict=False):
            wire += on_wire(Frame(kind, number % 256, part))
            number += 1
    in_c, reference = both(board, bytes(wire))
    assert in_c == reference
