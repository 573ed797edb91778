from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from PIL import Image

from underdash.cli import main
from underdash.contract.pages import Page
from underdash.contract.signals import Snapshot
from underdash.display.card import BARS, CARD
from underdash.display.deck import Deck, UnknownPageError
from underdash.display.kit import Painter
from underdash.display.recorder import record
from underdash.display.round import Face

CONFIG = """
format = 1
[car]
name = "tarn"
[plugins]
enabled = ["tarn", "boost"]
[power]
supply = "switched"
[panel.main]
driver = "picture"
deck = ["boost"]
size = [240, 240]
[panel.main.settings]
file = "panel.png"
"""


def card(width: int, height: int, *, is_round: bool) -> Image.Image:
    picture = record(CARD, Snapshot(0.0, {}), (width, height))
    return Painter(Face(width, height, is_round)).paint(picture)[0]


@pytest.mark.parametrize(("size", "is_round"), [((240, 240), True), ((320, 240), False), ((128, 160), False)])
def test_bars_are_pure_and_in_order_and_the_arrow_is_above(size: tuple[int, int], is_round: bool) -> None:
    image = card(*size, is_round=is_round)
    u = min(size) / 240
    places = [(round(size[0] / 2 + (n - 1) * 46 * u), round(size[1] / 2 - 20 * u)) for n in range(3)]
    assert [image.getpixel(place) for place in places] == [colour for _, colour in BARS]
    assert image.getpixel((size[0] // 2, round(size[1] / 2 - 70 * u))) == (255, 255, 255)


def test_its_line_runs_along_the_very_edge() -> None:
    square = card(240, 240, is_round=False)
    assert all(square.getpixel(p) == (255, 255, 255) for p in ((0, 0), (239, 0), (0, 239), (239, 239), (120, 0)))
    dial = card(240, 240, is_round=True)
    assert dial.getpixel((0, 0)) == (0, 0, 0)
    assert max(dial.getpixel((120, 0))) > 100  # type: ignore[arg-type]


@pytest.mark.parametrize("size", [(1, 1), (16, 16), (40, 3)])
def test_a_tiny_panel_has_one_too(size: tuple[int, int]) -> None:
    assert card(*size, is_round=False).size == size


def test_the_command_draws_it_in_a_shape(tmp_path: Path) -> None:
    out = tmp_path / "card.png"
    assert main(["page", "test-card", "--out", str(out), "--size", "240x240", "--shape", "square"]) == 0
    assert Image.open(out).getpixel((0, 0)) == (255, 255, 255)


def test_without_a_daemon_the_command_opens_the_panel_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr("sys.stdin", StringIO("\n"))
    file = tmp_path / "underdash.toml"
    file.write_text(CONFIG)
    assert main(["page", "test-card", "--config", str(file), "--panel", "main"]) == 0
    assert "until Enter is pressed" in capsys.readouterr().out
    assert Image.open(tmp_path / "panel.png").getpixel((120 - 46, 100)) == (255, 0, 0)


@pytest.mark.parametrize(
    ("more", "says"), [([], "--out F.png"), (["--config", "{}", "--panel", "rear"], "its panels are: main")]
)
def test_what_is_missing_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], more: list[str], says: str
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    file = tmp_path / "underdash.toml"
    file.write_text(CONFIG)
    assert main(["page", "test-card", *(one.format(file) for one in more)]) == 2
    assert says in capsys.readouterr().err


def test_a_deck_shows_it_until_the_driver_turns_on() -> None:
    pages = [Page(name, name, lambda canvas, snapshot: None, ()) for name in ("a", "b")]
    deck = Deck(pages, None, "x", None, (CARD,))
    deck.turn()
    assert deck.show("test-card") is CARD
    assert deck.names == ["a", "b"]
    assert deck.turn().name == "b"
    deck.show("test-card")
    assert deck.show("a").name == "a"
    with pytest.raises(UnknownPageError):
        Deck(pages).show("test-card")
