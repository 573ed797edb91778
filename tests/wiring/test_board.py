"""What a board and its config.txt say to a configuration; a folder stands for the machine's root."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from underdash.bus.controller import Controller, Counters
from underdash.config.findings import Finding, Level
from underdash.config.reading import parse_config
from underdash.config.schema import Config
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.pages import PanelDriver
from underdash.display.panels.wire import SpiSettings
from underdash.wiring.board import board_findings, read_boot
from underdash.wiring.needs import needs

CAR = CarDescription("small", "Small car", (BusDescription("drive", 500_000),))
LISTENS = Controller("canx", 7, "can", up=True, bitrate=500_000, clock_hz=8_000_000, listen_only=True)
DRIVERS = {"wired": PanelDriver("wired", lambda table: object(), SpiSettings)}
PANEL = '[panel.main]\ndriver = "wired"\ndeck = ["status"]\n[panel.main.settings]\n'
CAN = '[bus.drive]\nhardware = "spi0.1"\n'


def configured(text: str) -> Config:
    return parse_config(f'format = 1\n[car]\nname = "small"\n[power]\nsupply = "switched"\n{text}')


def found(machine: Any, text: str, setup: Controller | None = None) -> list[Finding]:
    config = configured(text)
    return list(board_findings(config, CAR, needs(config, DRIVERS), machine.root, lambda name: setup))


# --- SPI and overlays -------------------------------------------------------------------------------------------------


def test_a_machine_that_has_everything_is_not_mentioned(machine: Any) -> None:
    machine.board()
    machine.file("dev/spidev1.0")
    machine.can("canx", "spi0.1", frames=100)
    machine.boot("dtparam=spi=on\ndtoverlay=mcp2515,spi0-1,interrupt=25\ndtoverlay=spi1-1cs\n")
    assert not found(machine, f'{PANEL}spi = "spi1.0"\n{CAN}', LISTENS)


@pytest.mark.parametrize(
    ("boot", "spi", "step"),
    [
        ("", "spi0.0", "write dtparam=spi=on into /boot/firmware/config.txt and restart"),
        ("dtparam=spi=on", "spi0.0", "restart the board"),
        ("", "spi1.1", "write dtoverlay=spi1-2cs into /boot/firmware/config.txt"),
        ("dtoverlay=spi1-3cs", "spi1.1", "config.txt has SPI 1: restart the board"),
        ("dtparam=spi=on\ndtoverlay=mcp2515,spi0-0", "spi0.0", "gives spi0.0 to a CAN controller"),
    ],
)
def test_a_spi_device_that_is_not_there_is_told_with_the_line_that_brings_it(
    machine: Any, boot: str, spi: str, step: str
) -> None:
    machine.boot(boot)
    (finding,) = found(machine, f'{PANEL}spi = "{spi}"\n')
    assert finding.level is Level.ERROR
    assert f"panel main: there is no /dev/spidev{spi.removeprefix('spi')}" in finding.sentence
    assert step in finding.next_step


def test_a_machine_without_config_txt_is_told_something_else(machine: Any) -> None:
    (finding,) = found(machine, PANEL)
    assert "config.txt" not in finding.next_step
    assert read_boot(machine.root) is None


def test_the_older_place_of_config_txt_is_known(machine: Any) -> None:
    machine.file("boot/config.txt", "dtparam=spi=on")
    boot = read_boot(machine.root)
    assert boot is not None
    assert boot.path == "/boot/config.txt"


def test_an_overlay_that_is_missing_for_a_bus_is_told(machine: Any) -> None:
    machine.boot("dtparam=spi=on")
    (finding,) = found(machine, CAN)
    assert "no overlay for a CAN controller at spi0.1" in finding.sentence
    assert "dtoverlay=mcp2515,spi0-1,oscillator=16000000,interrupt=25" in finding.next_step


def test_an_overlay_of_which_no_interface_came_is_told(machine: Any) -> None:
    machine.boot("dtoverlay=mcp2515,spi0-1")
    (finding,) = found(machine, CAN)
    assert "no interface came of it" in finding.sentence
    assert "dmesg" in finding.next_step


@pytest.mark.parametrize(
    ("boot", "said"),
    [
        ("dtoverlay=mcp2515-can0,interrupt=24\ndtoverlay=mcp2515,spi0-0", "two CAN overlays at spi0.0"),
        ("dtoverlay=mcp2515", "does not say where its controller hangs"),
    ],
)
def test_overlays_that_cannot_work_are_told(machine: Any, boot: str, said: str) -> None:
    machine.boot(boot)
    (finding,) = found(machine, "")
    assert finding.level is Level.WARNING
    assert said in finding.sentence


# --- pins -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("boot", "text", "said", "level"),
    [
        (
            "dtoverlay=mcp2515,spi0-1",
            f'{PANEL}dc = "GPIO25"',
            "GPIO25 is wanted by dtoverlay=mcp2515 (interrupt) and panel main (dc)",
            Level.ERROR,
        ),
        (
            "dtoverlay=mcp2515,spi0-0\ndtoverlay=mcp2515,spi0-1",
            "",
            "GPIO25 is wanted by dtoverlay=mcp2515 (interrupt) and dtoverlay=mcp2515 (interrupt)",
            Level.WARNING,
        ),
        ("", f'{PANEL}dc = "GPIO23"', "GPIO23 is wanted by panel main (dc) and panel main (reset)", Level.ERROR),
        (
            "dtoverlay=w1-gpio",
            '[input.key]\nkind = "gpio"\nsignal = "vehicle.ignition"\nline = "GPIO4"\n',
            "GPIO4 is wanted by dtoverlay=w1-gpio (gpiopin) and input key",
            Level.ERROR,
        ),
        ("dtoverlay=pwm\ndtoverlay=spi1-1cs", "", "GPIO18 is wanted by", Level.WARNING),
    ],
)
def test_a_pin_that_two_want_is_told(machine: Any, boot: str, text: str, said: str, level: Level) -> None:
    machine.boot(boot)
    machine.file("dev/spidev0.0")
    (finding,) = [one for one in found(machine, text) if "GPIO" in one.sentence]
    assert said in finding.sentence
    assert finding.level is level


def test_an_input_and_a_backlight_at_one_pin_are_told_elsewhere(machine: Any) -> None:
    machine.boot("")
    machine.file("dev/spidev0.0")
    text = f'{PANEL}\n[panel.main.backlight]\nkind = "line"\nline = "GPIO4"\n'
    key = '[input.key]\nkind = "gpio"\nsignal = "vehicle.ignition"\nline = "GPIO4"\n'
    assert not found(machine, text + key)


# --- the oscillator ---------------------------------------------------------------------------------------------------


def test_a_clock_that_is_not_what_config_txt_says_is_told(machine: Any) -> None:
    machine.boot("dtoverlay=mcp2515,spi0-1,oscillator=8000000")
    machine.can("canx", "spi0.1", frames=100)
    (finding,) = found(machine, CAN, LISTENS)
    assert finding.level is Level.WARNING
    assert "with an oscillator of 16 MHz, config.txt says 8 MHz" in finding.sentence
    assert "restart the board" in finding.next_step


def test_errors_alone_at_the_right_rate_put_the_oscillator_under_suspicion(machine: Any) -> None:
    machine.boot("dtoverlay=mcp2515,spi0-1")
    machine.can("canx", "spi0.1", errors=12)
    (finding,) = found(machine, CAN, LISTENS)
    assert finding.level is Level.WARNING
    assert "has heard errors and not one frame, at the described 500000 bit/s" in finding.sentence
    assert "8 MHz against 16 MHz is usual" in finding.sentence
    assert "oscillator=" in finding.next_step


@pytest.mark.parametrize("setup", [replace(LISTENS, counters=Counters(bus_errors=3)), replace(LISTENS, rx_errors=127)])
def test_errors_are_known_by_the_controllers_counters_too(machine: Any, setup: Controller) -> None:
    machine.can("canx", "spi0.1")
    (finding,) = found(machine, CAN, setup)
    assert "not one frame" in finding.sentence
    assert "MHz" not in finding.sentence  # nothing says what Linux takes it for


def test_errors_alone_on_another_adapter_are_no_matter_of_its_oscillator(machine: Any) -> None:
    machine.can("canx", "1-1.2:1.0", driver="gs_usb", errors=12)
    (finding,) = found(machine, '[bus.drive]\nchannel = "canx"\n', replace(LISTENS, clock_hz=48_000_000))
    assert "oscillator" not in str(finding)
    assert "listen --rates" in finding.next_step


@pytest.mark.parametrize(("frames", "errors", "bitrate"), [(100, 12, 500_000), (0, 0, 500_000), (0, 12, 250_000)])
def test_frames_silence_and_a_wrong_rate_put_nothing_under_suspicion(
    machine: Any, frames: int, errors: int, bitrate: int
) -> None:
    machine.boot("dtoverlay=mcp2515,spi0-1")
    machine.can("canx", "spi0.1", frames=frames, errors=errors)
    assert not found(machine, CAN, replace(LISTENS, bitrate=bitrate))
