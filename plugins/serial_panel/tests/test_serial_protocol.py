"""What PROTOCOL.md says is what the code does."""

from __future__ import annotations

import re
from pathlib import Path

from underdash_serial_panel.codes import COLOURS, LONG, NEW, RUN, SKIP, UP
from underdash_serial_panel.framing import MOST_PAYLOAD, Deframer
from underdash_serial_panel.messages import MOST_WINDOW, Kind
from underdash_serial_panel.reference import DARK_AFTER_MS, Controller
from underdash_serial_panel.session import HELLO_S, HELLOS, PATIENCE_S, PING_S, TRIES
from underdash_serial_panel.values import FULL, MOST_SENTENCE, NOWHERE

TEXT = (Path(__file__).parents[1] / "PROTOCOL.md").read_text()
EXAMPLE = re.findall(r"^    (host|controller) +(.+?)  +((?:[0-9A-F]{2} )+00)$", TEXT, re.MULTILINE)


def test_the_example_is_what_the_reference_answers() -> None:
    controller, answered = Controller(240, 240), Controller(240, 240).start()
    assert len(EXAMPLE) == 9
    for who, what, written in EXAMPLE:
        data = bytes.fromhex(written)
        (frame,) = Deframer().feed(data)
        assert frame.kind == Kind[what.split(",")[0].split()[0]], what
        if who == "controller":
            assert answered == data, what
        else:
            answered = b"".join(map(controller.receive, data))
    lit = [(i % 240, i // 240) for i in range(240 * 240) if controller.screen[2 * i : 2 * i + 2] == b"\xf8\x00"]
    assert lit == [(x, y) for y in (20, 21, 22) for x in (10, 11, 12, 13)]
    assert (controller.pictures, controller.light) == (1, 0)


def test_the_kinds_are_those_of_the_page() -> None:
    listed = re.findall(r"(0x[0-9A-F]{2}) ([A-Z]+)[,;.]", TEXT.partition("All kinds:")[2])
    assert {name: int(number, 16) for number, name in listed} == {kind.name: kind.value for kind in Kind}


def test_the_numbers_are_those_of_the_page() -> None:
    flat = " ".join(TEXT.split())
    for said in (
        f"payload | 0 to {MOST_PAYLOAD} |",
        f"a HELLO every {HELLO_S} s, each with another session, and gives up for a while after {words(HELLOS)}.",
        f"acknowledged for {PATIENCE_S} s and",
        f"begin again for the {words(TRIES)}th time",
        f"1 to {MOST_WINDOW}. Four",
        f"hears no frame for {DARK_AFTER_MS // 1000} seconds",
        "nothing to say for a second",
        f"a table of {COLOURS} colours",
        f"(code - 0x{RUN:X} + 1) pixels of `last`",
        f"leave (code - 0x{SKIP:X} + 1) pixels",
        f"(code - 0x{UP:X} + 1) times",
        f"0x{NEW:X} | a colour",
        f"| 0x{LONG[RUN]:X}, 0x{LONG[SKIP]:X}, 0x{LONG[UP]:X} | n",
        f"UTF-8, {MOST_SENTENCE} at most",
        f"0x{FULL:X} the high end, 0x{NOWHERE:X} none",
    ):
        assert said in flat, said
    assert PING_S == 1.0


def words(number: int) -> str:
    return {5: "fif", 7: "seven"}[number]
