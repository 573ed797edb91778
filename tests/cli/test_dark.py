"""``underdash dark``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.display import backlight

Typed = Callable[..., Any]

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost"]
[power]
supply = "switched"
[panel.first]
driver = "framebuffer"
deck = ["boost"]
settings = {{ device = "{folder}/fb9" }}
[panel.second]
driver = "picture"
deck = ["boost"]
backlight = {{ kind = "kernel" }}
"""


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "backlights" / "panel"
    folder.mkdir(parents=True)
    for name, text in (("max_brightness", "100"), ("brightness", "70")):
        (folder / name).write_text(text)
    monkeypatch.setattr(backlight, "BACKLIGHTS", folder.parent)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    return folder / "brightness"


def test_every_panel_is_put_out_even_where_one_fails(typed: Typed, tmp_path: Path, lamp: Path) -> None:
    config = tmp_path / "underdash.toml"
    config.write_text(CONFIG.format(folder=tmp_path))
    done = typed("dark", "--config", config)
    assert done.status == 1
    assert "panel first: framebuffer" in done.err
    assert "second" not in done.err
    assert lamp.read_text() == "0"


def test_a_daemon_keeps_its_panels(typed: Typed, tmp_path: Path, lamp: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    config = tmp_path / "underdash.toml"
    config.write_text(CONFIG.format(folder=tmp_path))
    monkeypatch.setattr("underdash.bus.runtime.any_held", lambda folder: True)
    done = typed("dark", "--config", config)
    assert (done.status, lamp.read_text()) == (1, "70")
    assert "its panels are its own" in done.err


def test_a_configuration_that_is_not_there(typed: Typed, tmp_path: Path) -> None:
    assert typed("dark", "--config", tmp_path / "nosuch.toml").status == 2
