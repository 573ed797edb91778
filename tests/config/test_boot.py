"""What a config.txt says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.config.boot import Overlay, can_overlays, parse, pin_of, pins

TEXT = """
# a remark
dtparam=spi=on,i2c_arm=off
dtparam=audio   # without a value
gpu_mem=64
dtoverlay=mcp2515,spi0-1,oscillator=8000000,interrupt=24
dtparam=speed=5000000
dtoverlay=
dtparam=act_led_gpio=4
[pi5]
dtoverlay=mcp251xfd,spi1-0
[all]
dtoverlay=spi1-1cs,cs0_pin=16
[none]
dtoverlay=w1-gpio
"""


def test_parameters_and_overlays_are_read_with_what_belongs_to_them() -> None:
    boot = parse(TEXT, "Raspberry Pi 4 Model B Rev 1.2")
    assert boot.overlays == (
        Overlay("mcp2515", {"spi0-1": "", "oscillator": "8000000", "interrupt": "24", "speed": "5000000"}),
        Overlay("spi1-1cs", {"cs0_pin": "16"}),
    )
    assert boot.on("spi")
    assert boot.on("audio")
    assert not boot.on("i2c_arm")
    assert not boot.on("i2c_vc")


@pytest.mark.parametrize(
    ("section", "model", "counts"),
    [
        ("pi5", "Raspberry Pi 5 Model B Rev 1.0", True),
        ("pi5", "Raspberry Pi 500 Rev 1.0", False),
        ("pi400", "Raspberry Pi 400 Rev 1.1", True),
        ("pi4", "Raspberry Pi 400 Rev 1.1", False),
        ("pi0w", "Raspberry Pi Zero W Rev 1.1", True),
        ("pi3+", "Raspberry Pi 4 Model B Rev 1.2", False),
        ("cm4", "Raspberry Pi Compute Module 4 Rev 1.0", True),
        ("pi4", "", True),
        ("EDID=VSC-TD2220", "Raspberry Pi 4 Model B Rev 1.2", True),
    ],
)
def test_lines_for_other_boards_are_left_out(section: str, model: str, counts: bool) -> None:
    assert bool(parse(f"[{section}]\ndtoverlay=w1-gpio\n", model).overlays) is counts


def test_can_controllers_have_their_place_oscillator_and_clock() -> None:
    text = "dtoverlay=mcp2515,spi1-2,oscillator=8000000\ndtoverlay=mcp2515-can1\ndtoverlay=mcp251xfd,spi0-0\n"
    found = [(one.place, one.oscillator_hz, one.clock_hz) for one in can_overlays(parse(text))]
    assert found == [
        ("spi1.2", 8_000_000, 4_000_000),
        ("spi0.1", 16_000_000, 8_000_000),
        ("spi0.0", 40_000_000, 40_000_000),
    ]


def test_an_overlay_that_does_not_say_where_has_no_place() -> None:
    (found,) = can_overlays(parse("dtoverlay=mcp2515,oscillator=much"))
    assert (found.place, found.oscillator_hz) == ("", 16_000_000)


def test_pins_are_told_with_who_has_them() -> None:
    taken = dict(
        pins(parse("dtparam=spi=on\ndtparam=i2c_arm=on\ndtoverlay=spi1-1cs\ndtoverlay=mcp2515,interrupt=22\n"))
    )
    assert set(taken) == {2, 3, 7, 8, 9, 10, 11, 18, 19, 20, 21, 22}
    assert taken[22] == "dtoverlay=mcp2515 (interrupt)"
    assert taken[20] == "dtoverlay=spi1-1cs"


@pytest.mark.parametrize(
    ("line", "pin"), [("GPIO24", 24), ("/dev/gpiochip0:7", 7), ("LIGHT", None), ("GPIO", None), ("", None)]
)
def test_the_pin_of_a_line_is_known_by_its_name_or_number(line: str, pin: int | None) -> None:
    assert pin_of(line) == pin


@given(st.text(), st.text(max_size=40))
def test_no_text_ends_the_reading(text: str, model: str) -> None:
    boot = parse(f"{text}\ndtoverlay={text}\n[{text}]\ndtparam={text}", model)
    assert all(isinstance(number, int) for number, _ in pins(boot))
    assert all(one.clock_hz > 0 or one.oscillator_hz <= 1 for one in can_overlays(boot))
