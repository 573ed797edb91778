from __future__ import annotations

from PIL import Image

from underdash.display.panels.lit import BacklitPanel, ScaledPanel
from underdash.display.panels.picture import PicturePanel

RED = Image.new("RGB", (240, 240), (200, 0, 0))
WHOLE = (0, 0, 240, 240)


class Lamp:
    def __init__(self, broken: bool = False) -> None:
        self.levels: list[float | None] = []
        self._broken = broken

    def set(self, level: float) -> None:
        self.levels.append(level)

    def close(self) -> None:
        if self._broken:
            raise OSError("gone")
        self.levels.append(None)


class Closing(PicturePanel):
    closed = False

    def close(self) -> None:
        self.closed = True


def test_the_light_is_set_behind_the_panel_and_the_picture_stays_as_it_is() -> None:
    panel, lamp = Closing(), Lamp()
    lit = BacklitPanel(panel, lamp)
    lit.show(RED, [WHOLE])
    lit.dim(0.4)
    lit.close()
    assert (lit.size, lamp.levels, panel.closed) == ((240, 240), [0.4, None], True)
    assert panel.seen().getpixel((0, 0)) == (200, 0, 0)


def test_a_lamp_that_is_gone_does_not_keep_the_panel_open() -> None:
    panel = Closing()
    BacklitPanel(panel, Lamp(broken=True)).close()
    assert panel.closed


def test_colours_are_scaled_and_nothing_shows_before_there_is_light() -> None:
    panel = Closing()
    scaled = ScaledPanel(panel)
    scaled.show(RED, [(0, 0, 10, 10)])
    assert panel.seen().getbbox() is None
    scaled.dim(0.5)
    assert panel.seen().getpixel((5, 5)) == (146, 0, 0)
    assert panel.seen().getpixel((20, 20)) == (0, 0, 0)
    scaled.show(RED, [(10, 0, 30, 30)])
    assert panel.seen().getpixel((20, 20)) == (146, 0, 0)
    scaled.dim(1.0)
    assert panel.seen().getpixel((20, 20)) == (200, 0, 0)
    scaled.close()
    assert panel.seen().getbbox() is None
    assert panel.closed
