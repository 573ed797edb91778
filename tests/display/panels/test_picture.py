from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from underdash.contract.errors import UnderdashError
from underdash.display.panels import Panel
from underdash.display.panels.picture import PicturePanel, scaled

RED = Image.new("RGB", (240, 240), (200, 0, 0))


def test_it_is_a_panel() -> None:
    panel: Panel = PicturePanel()
    assert panel.size == (240, 240)


def test_only_the_boxes_are_taken_over() -> None:
    panel = PicturePanel()
    panel.show(RED, [(10, 20, 30, 40)])
    assert panel.seen().getbbox() == (10, 20, 30, 40)
    assert (panel.frames, panel.pixels) == (1, 400)


def test_the_file_is_there_whole_after_every_change(tmp_path: Path) -> None:
    file = tmp_path / "panel.png"
    panel = PicturePanel(file=file)
    panel.show(RED, [(0, 0, 240, 240)])
    with Image.open(file) as image:
        assert image.convert("RGB").getpixel((5, 5)) == (200, 0, 0)
    panel.dim(0.5)
    with Image.open(file) as image:
        assert image.convert("RGB").getpixel((5, 5)) == (146, 0, 0)
    assert list(tmp_path.iterdir()) == [file]
    panel.close()
    assert file.exists()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    panel = PicturePanel(file=tmp_path / "nowhere" / "panel.png")
    with pytest.raises(UnderdashError, match=r"nowhere.*cannot be written"):
        panel.show(RED, [(0, 0, 1, 1)])


@pytest.mark.parametrize(("level", "expected"), [(1.0, 200), (0.5, 146), (0.1, 70), (0.0, 0)])
def test_light_scales_colours_by_its_root(level: float, expected: int) -> None:
    assert scaled(RED, level).getpixel((0, 0)) == (expected, 0, 0)


def test_light_beyond_its_ends_is_cut() -> None:
    panel = PicturePanel()
    panel.dim(7.0)
    assert panel.level == 1.0
    panel.dim(-1.0)
    assert panel.level == 0.0
