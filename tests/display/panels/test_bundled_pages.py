"""The bundled pages through renderer, writer and wire, until a model of the controller shows what was drawn."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import NamedTuple

import pytest

from underdash.config.reading import parse_config
from underdash.contract.pages import Page
from underdash.contract.signals import Quality
from underdash.display.kit import Painter, draw_page
from underdash.display.palettes import DAY, night
from underdash.display.panels.lcd import LcdSettings, lcd_panel
from underdash.display.panels.model import PanelModel
from underdash.display.panels.turned import TurnedPanel
from underdash.display.panels.wired import WiredPanel
from underdash.display.renderer import Fault, Frame, Renderer
from underdash.display.rgb565 import pack, unpack
from underdash.display.round import Face
from underdash.display.writer import ImageWriter
from underdash.signals.store import Rank
from underdash.wiring.assembly import Assembly
from underdash.wiring.building import assembled
from underdash_round_panel.controller import begun
from underdash_round_panel.settings import Settings

SIZE = 240, 240
SOON_S = 30.0
CONFIG = """
format = 1
[car]
name = "{car}"
[plugins]
enabled = ["{car}", "boost", "temperatures", "ignition_timing", "battery", "traction_battery"]
[power]
supply = "switched"
"""
CARS = {"tarn": ("boost", "temperatures", "ignition_timing", "battery"), "loris": ("traction_battery",)}


class Module(NamedTuple):
    """A panel as it is made and as it is met by settings."""

    model: Callable[[], PanelModel]
    driver: Callable[[PanelModel], WiredPanel]
    turn: float = 0.0


def round_panel(model: PanelModel, settings: Settings) -> WiredPanel:
    return WiredPanel(SIZE, model.wire, lambda wire: begun(wire, settings))


def swapped() -> PanelModel:
    """A module whose glass has red and blue the other way about."""
    return PanelModel(SIZE, inverting=True, turned=True)


MODULES = {
    "GC9A01, A": Module(PanelModel.gc9a01, lambda model: round_panel(model, Settings())),
    "GC9A01, B, turned": Module(PanelModel.gc9a01, lambda model: round_panel(model, Settings(variant="B")), 90.0),
    "GC9A01, bgr, upside down": Module(swapped, lambda model: round_panel(model, Settings(bgr=True)), 180.0),
    "ILI9341": Module(
        PanelModel.ili9341,
        lambda model: lcd_panel(LcdSettings(device="ili9341"), (320, 240), opened=lambda _: model.wire()),
    ),
    "ILI9341, turned": Module(
        PanelModel.ili9341,
        lambda model: lcd_panel(LcdSettings(device="ili9341"), (320, 240), opened=lambda _: model.wire()),
        270.0,
    ),
}


def pages() -> list[tuple[Assembly, Page]]:
    """The bundled pages with cars that have values for them."""
    found = []
    for car, names in CARS.items():
        assembly = assembled(parse_config(CONFIG.format(car=car)))
        found += [(assembly, page) for page in assembly.pages if page.name in names]
    return found


def give(assembly: Assembly, page: Page, now: float) -> None:
    """Put in what the page shows, a little above the middle of what each can be."""
    for name in page.signals:
        signal = assembly.catalogue[name]
        if signal.low is not None and signal.high is not None:
            value = signal.low + (signal.high - signal.low) * 0.6
            assembly.store.slot(name, f"given at {now}", Rank.GIVEN, period_s=0.1).put(value, Quality.GOOD, now)


@pytest.mark.parametrize("name", MODULES)
def test_every_bundled_page_arrives_by_day_and_by_night(name: str) -> None:
    module, faults = MODULES[name], list[Fault]()
    model = module.model()
    device = TurnedPanel(module.driver(model), module.turn)
    size = device.size
    writer = ImageWriter(device, lambda sentence: faults.append(Fault(None, sentence, off=False)))
    renderer = Renderer(writer, Painter(Face(*size)), faults.append)
    shown = []
    for n, ((assembly, page), dark) in enumerate(product(pages(), (False, True))):
        palette = night(32.0) if dark else DAY
        # twice, a second apart, so that bands have come to rest
        for now in (1.0 + 2.0 * n, 2.0 + 2.0 * n):
            give(assembly, page, now)
            snapshot = assembly.snapshot(now, night=dark)
            assert any(snapshot.reading(name).value is not None for name in page.signals)
            renderer.show(Frame(page, snapshot, palette))
        assert writer.settled(SOON_S)
        wanted = unpack(pack(draw_page(page, snapshot, size=size, palette=palette)), size)
        turned = wanted.rotate(-module.turn, expand=True) if module.turn else wanted
        seen = model.seen() if model.seen().size == turned.size else model.seen().rotate(90, expand=True)
        shown.append((page.name, dark, seen.tobytes() == turned.tobytes()))
    writer.close()
    assert not faults
    assert len(shown) == 10
    assert all(equal for *_, equal in shown), [each for each in shown if not each[2]]
