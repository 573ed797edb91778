"""Panels and CAN adapters on SPI, and how panels are turned."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.panels import PanelConfig
from underdash.config.reading import parse_config
from underdash.display.panels.wire import SpiSettings
from underdash.wiring.spi import adapters, spi_findings, spi_of, turned

TEXT = """
format = 1
[car]
name = "tarn"
[bus.drive]
channel = "can0"
[bus.comfort]
channel = "can1"
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost"]
"""


@pytest.fixture
def network(tmp_path: Path) -> Path:
    """The kernel's folder of interfaces: can0 on SPI 0, can1 on USB."""
    places = {"can0": "soc/fe204000.spi/spi_master/spi0/spi0.1", "can1": "usb1/1-1/1-1:1.0"}
    for interface, place in places.items():
        device = tmp_path / "devices" / place
        device.mkdir(parents=True)
        (tmp_path / "net" / interface).mkdir(parents=True)
        (tmp_path / "net" / interface / "device").symlink_to(device)
        (tmp_path / "net" / interface / "type").write_text("280\n")
    return tmp_path / "net"


def told(network: Path, text: str = TEXT, **panels: str) -> list[str]:
    settings = {name: SpiSettings(spi=spi) for name, spi in panels.items()}
    return [str(one) for one in spi_findings(settings, adapters(parse_config(text, "mine.toml"), network))]


def test_an_adapter_on_spi_is_found_by_its_device(network: Path) -> None:
    assert spi_of("can0", network) == (0, 1)
    assert spi_of("can1", network) is None
    assert spi_of("can9", network) is None


def test_a_panel_beside_a_can_adapter_is_told_and_what_to_do(network: Path) -> None:
    (one,) = told(network, main="spi0.0")
    assert one.startswith("warning: panel main shares SPI controller 0 with the CAN adapter can0 (bus.drive)")
    assert "-> wire the panel to another controller, such as spi1.0" in one
    assert told(network, main="spi1.0") == []


def sharing(network: Path, driver: str = "mcp251x", chunk_bytes: int = 4096, speed_hz: int = 32_000_000) -> str:
    drivers = network.parent / "drivers" / driver
    drivers.mkdir(parents=True)
    ((network / "can0" / "device").resolve() / "driver").symlink_to(drivers)
    panels = {"main": SpiSettings(spi="spi0.0", chunk_bytes=chunk_bytes, speed_hz=speed_hz)}
    (one,) = spi_findings(panels, adapters(parse_config(TEXT, "mine.toml"), network), network)
    return str(one)


def test_how_long_pixels_hold_the_controller_is_told_and_what_would_do(network: Path) -> None:
    # 4096 bytes of 8 bits at 32 MHz
    said = sharing(network)
    assert "pixels hold it for 1.0 ms at a time, and frames can get lost meanwhile" in said
    assert said.endswith("or lower its chunk_bytes to 768")


def test_where_no_chunk_is_small_enough_the_clock_has_to_be_faster(network: Path) -> None:
    assert sharing(network, speed_hz=1_000_000).endswith("or raise its speed_hz")


@pytest.mark.parametrize(("driver", "chunk_bytes"), [("mcp251x", 512), ("mcp251xfd", 4096)])
def test_small_chunks_and_controllers_with_more_room_are_only_noted(
    network: Path, driver: str, chunk_bytes: int
) -> None:
    assert sharing(network, driver, chunk_bytes).startswith("note: panel main shares SPI controller 0")


def test_an_adapter_that_is_named_by_where_it_hangs_is_looked_up(network: Path) -> None:
    by_hardware = TEXT.replace('channel = "can0"', 'hardware = "spi0.1"')
    (one,) = told(network, by_hardware, main="spi0.0")
    assert one.startswith("warning: panel main shares SPI controller 0 with the CAN adapter can0 (bus.drive)")
    unplugged = TEXT.replace('channel = "can0"', 'hardware = "spi7.0"')
    assert told(network, unplugged, main="spi0.0") == []


def test_two_at_one_chip_select_cannot_both_be_right(network: Path) -> None:
    (one,) = told(network, main="spi0.1")
    assert one.startswith("error: panel main and the CAN adapter can0 (bus.drive) are both at spi0.1")
    (one,) = told(network, main="spi1.0", rear="spi1.0")
    assert one.startswith("error: panels main and rear are both at spi1.0")


@pytest.mark.parametrize(
    ("size", "is_round", "rotation", "says"),
    [
        ((240, 240), True, 33.0, ""),
        ((240, 240), False, 92.0, ""),
        ((320, 240), False, -90.0, ""),
        ((320, 240), False, 30.0, "panel main is turned by 30 degrees, so the corners"),
        ((320, 240), True, 0.0, "panel main is round but 320 pixels across and 240 down"),
    ],
)
def test_a_shape_or_an_angle_that_loses_a_part_is_told(
    size: tuple[int, int], is_round: bool, rotation: float, says: str
) -> None:
    panel = PanelConfig(driver="picture", deck=("boost",), size=size, round=is_round, rotation=rotation)
    found = [one.sentence for one in turned("main", panel)]
    assert len(found) == bool(says)
    assert all(sentence.startswith(says) for sentence in found)
