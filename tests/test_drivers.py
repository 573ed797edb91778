"""`underdash.drivers`, as the author of a panel driver uses it: the example in DEVELOPERS.md, and what it shows."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image

import underdash.drivers as names
from underdash import PanelDriver, UnderdashError, hookimpl
from underdash.drivers import PanelModel, Put, SpiSettings, Wire, WiredPanel, dcs, open_wire, unpack, windows
from underdash.drivers import pack as packed

SIZE = 128, 96


@dataclass(frozen=True, kw_only=True)
class Settings(SpiSettings):
    """Keys of ``[panel.<name>.settings]``; `spi`, `speed_hz`, `dc` and `reset` come from SpiSettings."""

    inverted: bool = True


def begun(wire: Wire, settings: Settings) -> Put:
    """Wake the controller with its memory black, and return what brings the changed boxes of an image to it."""
    wire.reset()
    wire.command(dcs.SLPOUT)  # the wire waits as long as the command asks for
    wire.register(dcs.COLMOD, dcs.RGB565)
    wire.command(dcs.INVON if settings.inverted else dcs.INVOFF)
    put = windows(wire)
    put(Image.new("RGB", SIZE), [(0, 0, *SIZE)])  # before it lights up, so that no snow shows
    wire.command(dcs.DISPON)
    return put


def opened(table: dict[str, object]) -> WiredPanel:
    """Return the panel; the wire is opened with the first picture, and anew after an error."""
    settings = table["settings"]
    assert isinstance(settings, Settings)
    return WiredPanel(SIZE, lambda: open_wire(settings), lambda wire: begun(wire, settings))


def check(table: dict[str, object]) -> str:
    """Say what is wrong before anything is opened, "" if nothing is: `underdash check` tells it."""
    return "" if table["size"] == SIZE else f"this panel has size = [{SIZE[0]}, {SIZE[1]}]"


@hookimpl
def panel_drivers() -> list[PanelDriver]:
    """Bring it; turning and light are left to the core."""
    return [PanelDriver("my_panel", opened, Settings, check=check, dims=False)]


def shown(image: Image.Image) -> Image.Image:
    """The image as 16 bits leave it."""
    return unpack(packed(image), image.size)


def test_a_driver_against_a_model_of_its_controller() -> None:
    model = PanelModel(SIZE, inverting=True)
    panel = WiredPanel(SIZE, model.wire, lambda wire: begun(wire, Settings()))
    image = Image.new("RGB", SIZE, (200, 40, 0))
    panel.show(image, [(0, 0, *SIZE)])
    assert model.seen().tobytes() == shown(image).tobytes()
    image.paste((0, 0, 255), (10, 20, 30, 25))
    before = model.sent
    panel.show(image, [(10, 20, 30, 25)])
    assert model.seen().tobytes() == shown(image).tobytes()
    assert model.sent - before < 300  # 20 times 5 pixels of 2 bytes, and a window


def test_after_an_error_everything_is_shown_again() -> None:
    model = PanelModel(SIZE, inverting=True)
    panel = WiredPanel(SIZE, model.wire, lambda wire: begun(wire, Settings()))
    image = Image.new("RGB", SIZE, (200, 40, 0))
    model.break_after = 1000
    with pytest.raises(UnderdashError, match="begun anew"):
        panel.show(image, [(0, 0, *SIZE)])
    model.break_after = None
    panel.show(image, [(0, 0, *SIZE)])
    assert model.seen().tobytes() == shown(image).tobytes()


def test_the_example_is_a_driver() -> None:
    (driver,) = panel_drivers()
    table: dict[str, object] = {"size": (240, 240), "rotation": 0.0, "settings": Settings()}
    assert driver.check is not None
    assert driver.check(table) == "this panel has size = [128, 96]"
    device = driver.opened(table)
    assert isinstance(device, WiredPanel)
    device.close()


@pytest.mark.parametrize("name", names.__all__)
def test_every_name_is_explained_to_authors(name: str) -> None:
    text = Path(__file__).parents[1].joinpath("DEVELOPERS.md").read_text(encoding="utf-8")
    _, _, after = text.partition("## Write a panel driver\n")
    section, _, _ = after.partition("\n## ")
    assert f"`{name}`" in section
