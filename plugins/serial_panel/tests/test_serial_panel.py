from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from underdash import Age, Content, Lamp, PanelDriver, Role, Share, Shown, UnderdashError, Upright, Words
from underdash.drivers import pack
from underdash.testing import brought, load_plugin
from underdash_serial_panel import check, opened
from underdash_serial_panel.device import PixelPanel, SerialPanel, ValuesPanel
from underdash_serial_panel.memory import MemoryLine
from underdash_serial_panel.reference import DARK_AFTER_MS, Controller
from underdash_serial_panel.session import PING_S
from underdash_serial_panel.settings import Settings

SIZE = (16, 10)
WHOLE = (0, 0, *SIZE)
RED = Image.new("RGB", SIZE, (255, 0, 0))
MakeBench = Callable[..., Any]


def test_hook_brings_the_driver_with_its_settings() -> None:
    (driver,) = brought(load_plugin("underdash_serial_panel"), "panel_drivers")
    assert driver == PanelDriver("serial_panel", opened, Settings, check=check)


@pytest.mark.parametrize(("mode", "kind"), [("pixels", PixelPanel), ("values", ValuesPanel)])
def test_opening_takes_no_time_since_it_does_not_touch_the_line(mode: Any, kind: type[SerialPanel]) -> None:
    settings = Settings(port="/dev/serial/by-id/nowhere", mode=mode)
    panel = opened({"size": SIZE, "rotation": 0.0, "settings": settings})
    assert isinstance(panel, kind)
    panel.close()


def test_a_port_without_its_whole_path_is_told() -> None:
    with pytest.raises(ValueError, match="whole path"):
        Settings(port="ttyACM0")


def test_the_example_of_the_readme_is_taken() -> None:
    text = (Path(__file__).parents[1] / "README.md").read_text()
    for block in text.split("```toml\n")[1:]:
        table = tomllib.loads(block.split("```")[0])["panel"]["main"]
        assert table["driver"] == "serial_panel"
        assert Settings(**table["settings"]).port.startswith("/dev/")


# --- pixels -----------------------------------------------------------------------------------------------------------


def test_the_light_comes_on_after_the_picture_and_only_once(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE))
    made.pixels.show(RED, [WHOLE])
    assert (made.controller.light, made.controller.pictures) == (0, 1)
    assert made.right(RED)
    made.pixels.dim(0.5)
    sent = made.line.sent
    made.pixels.dim(0.5)
    assert made.controller.light == 0x8000
    assert made.line.sent == sent


def test_closing_leaves_it_dark_and_gives_the_line_back(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE))
    made.insist(RED, [WHOLE], 1.0)
    made.pixels.close()
    assert (made.controller.light, made.controller.session) == (0, 0)
    assert made.line.closed
    made.pixels.close()


def test_a_line_on_which_nothing_changes_is_kept_alive_and_not_more(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE))
    made.insist(RED, [WHOLE], 1.0)
    sent = made.line.sent
    made.idle(10 * PING_S)
    assert made.controller.light == 0xFFFF
    assert 9 * 6 <= made.line.sent - sent <= 10 * 6


def test_a_controller_that_hears_nothing_goes_dark_and_keeps_its_picture(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE))
    made.insist(RED, [WHOLE], 1.0)
    made.controller.passed(DARK_AFTER_MS)
    assert made.controller.light == 0
    made.idle(2 * PING_S)
    assert made.controller.light == 0xFFFF
    assert made.right(RED)


def test_a_silent_controller_is_told_with_what_to_check_and_left_alone_for_a_while(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE), there=lambda number, byte: b"", greets=False)
    with pytest.raises(UnderdashError, match=r"at /dev/ttyACM0: nothing answers; check .* RX .* 115200 baud"):
        made.pixels.show(RED, [WHOLE])
    for _ in range(100):
        made.clock.advance(0.04)
        with pytest.raises(UnderdashError, match="nothing answers"):
            made.pixels.show(RED, [WHOLE])
    assert made.opened == 4


def test_another_speed_at_the_other_end_is_guessed(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE), back=lambda number, byte: bytes((byte ^ 0x5A,)))
    made.back = lambda number, byte: b"\x9c\x00"
    with pytest.raises(UnderdashError, match="no frame; check that both sides run at 115200 baud, 8 data bits"):
        made.pixels.show(RED, [WHOLE])


@pytest.mark.parametrize(
    ("controller", "size", "mode", "says"),
    [
        (Controller(320, 240), SIZE, "pixels", "has 320x240 pixels and the configuration says 16x10; correct `size`"),
        (Controller(*SIZE, can=2), SIZE, "pixels", "does not take pixels; set `mode` to 'values'"),
        (Controller(*SIZE, can=1), SIZE, "values", "does not take values; set `mode` to 'pixels'"),
    ],
)
def test_a_controller_that_does_not_fit_is_told_with_what_to_change(
    bench: MakeBench, controller: Controller, size: tuple[int, int], mode: str, says: str
) -> None:
    made = bench(controller, mode=mode, size=size)
    panel = made.pixels if mode == "pixels" else made.values
    with pytest.raises(UnderdashError, match=says):
        panel.dim(1.0)


def test_a_controller_of_another_version_is_told(bench: MakeBench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("underdash_serial_panel.reference.VERSION", 9)
    with pytest.raises(UnderdashError, match="speaks version 9 of the protocol, this is version 1"):
        bench(Controller(*SIZE)).pixels.show(RED, [WHOLE])


def test_a_port_that_is_not_there_is_tried_again_ever_more_seldom(bench: MakeBench) -> None:
    made = bench(Controller(*SIZE), absent="there is no serial port")
    tries: list[float] = []
    really = made.open_line

    def opens() -> MemoryLine:
        tries.append(made.clock() - began)
        line: MemoryLine = really()
        return line

    made.link._open_line = opens
    began = made.clock()
    for _ in range(500):
        with pytest.raises(UnderdashError, match="at /dev/ttyACM0: there is no serial port"):
            made.pixels.show(RED, [WHOLE])
        made.clock.advance(0.04)
    assert len(tries) == 7
    assert [round(b - a) for a, b in pairwise(tries[1:])] == [1, 2, 5, 5, 5]
    made.absent = None
    made.clock.advance(5.0)
    made.pixels.show(RED, [WHOLE])
    assert made.right(RED)


def test_a_small_slow_receiver_is_never_overrun(bench: MakeBench) -> None:
    """What is on the way and not acknowledged fits into the window of two frames."""
    made = bench(Controller(64, 48, window=2))
    noise = Image.new("RGB", (64, 48))
    noise.putdata([(i * 97 % 256, i * 31 % 256, i * 53 % 256) for i in range(64 * 48)])
    most = 0
    really = MemoryLine.write

    def counted(line: MemoryLine, data: bytes) -> None:
        nonlocal most
        if made.controller.session:
            most = max(most, len(data))
        really(line, data)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(MemoryLine, "write", counted)
        made.pixels.show(noise, [(0, 0, 64, 48)])
    assert made.right(noise)
    assert 256 < most <= 2 * 256


# --- values -----------------------------------------------------------------------------------------------------------

BOOST = Content(
    "boost",
    "boost",
    Shown("+0.84", "bar", Role.INK, Age.FRESH),
    Share(0.5, 0.25, 1.0, Role.ACCENT),
    (Shown("97", "°C", Role.CAUTION, Age.LATE, "oil"),),
    None,
    Words("reference assumed", Role.CAUTION),
)


def told(bench: MakeBench, *contents: Content) -> tuple[Any, list[int]]:
    """Tell contents one after the other; return the bench and the bytes each of them took."""
    made = bench(Controller(0, 0, can=2), mode="values", size=SIZE)
    sizes, sent = [], 0
    for content in contents:
        made.values.tell(content)
        sizes.append(made.line.sent - sent)
        sent = made.line.sent
    return made, sizes


def test_a_controller_that_draws_by_itself_is_told_what_the_page_says(bench: MakeBench) -> None:
    made, _ = told(bench, BOOST)
    assert made.controller.said == {
        (0x20, 0): ("boost", "boost", 1, 0, 0, 0),
        (0x21, 0): (0, 0, "+0.84", "bar", 2, 0x7FFF, 16384, 0xFFFE, 0xFFFF),
        (0x22, 0): ("oil", 3, 1, "97", "°C"),
        (0x23, 1): (3, "reference assumed"),
    }
    assert made.controller.pictures == 1


def test_a_value_that_moves_takes_few_bytes(bench: MakeBench) -> None:
    moved = replace(BOOST, value=Shown("+0.85", "bar", Role.INK, Age.FRESH), share=Share(0.51, 0.25, None, Role.ACCENT))
    made, sizes = told(bench, BOOST, moved)
    assert sizes[1] < 40
    assert made.controller.said[0x21, 0] == (0, 0, "+0.85", "bar", 2, round(0.51 * 0xFFFE), 16384, 0xFFFF, 0xFFFF)


def test_what_a_page_no_longer_says_is_taken_away(bench: MakeBench) -> None:
    bare = replace(BOOST, value=None, share=None, remark=None)
    made, _ = told(bench, BOOST, bare)
    assert made.controller.said[0x21, 0] == (0, 0, "", "")
    assert made.controller.said[0x23, 1] == (0, "")


def test_another_page_begins_with_nothing_of_the_last(bench: MakeBench) -> None:
    status = Content(
        "status", sentence=Words("all is well", Role.INK), banner=Words("hot", Role.WARNING), night=True, hold=0.5
    )
    made, _ = told(bench, BOOST, status)
    assert made.controller.said == {
        (0x20, 0): ("status", "", 0, 0, 0, 0),
        (0x23, 0): (0, "all is well"),
        (0x23, 2): (4, "hot"),
        (0x24, 0): (1, 128),
    }


def test_columns_lamps_and_lines_are_told(bench: MakeBench) -> None:
    knock = Upright(Shown("-1.5", "°", Role.WARNING, Age.FRESH, "1"), Share(0.0, 1.0, None, Role.WARNING, 0.5))
    lamps = Lamp("charging", True, Role.ACCENT), Lamp("ready", None, Role.INK, Age.GONE)
    lines = (Words("no requests: ignition unknown", Role.CAUTION),)
    made, _ = told(bench, Content("all", columns=(knock,), lamps=lamps, lines=lines))
    assert made.controller.said == {
        (0x20, 0): ("all", "", 0, 1, 2, 1),
        (0x25, 0): ("1", 4, 0, "-1.5", "°", 4, 0, 0xFFFE, 0xFFFF, 0x7FFF),
        (0x26, 0): (1, 2, 0, "charging"),
        (0x26, 1): (2, 0, 2, "ready"),
        (0x27, 0): (3, "no requests: ignition unknown"),
    }


def test_a_text_that_is_too_long_is_cut_between_characters(bench: MakeBench) -> None:
    made, _ = told(bench, Content("p", title="°" * 100, sentence=Words("é" * 200, Role.INK)))
    assert made.controller.said[0x20, 0] == ("p", "°" * 30, 0, 0, 0, 0)
    assert made.controller.said[0x23, 0] == (0, "é" * 100)


def test_a_controller_that_started_anew_is_told_everything_again(bench: MakeBench) -> None:
    made, _ = told(bench, BOOST)
    said = dict(made.controller.said)
    made.values.dim(0.5)
    made.restart()
    for _ in range(60):
        made.clock.advance(0.04)
        made.values.tend()
    assert made.controller.said == said
    assert made.controller.light == 0x8000


def test_pack_is_what_the_pixels_are_compared_with() -> None:
    assert pack(RED)[:2] == b"\xf8\x00"
