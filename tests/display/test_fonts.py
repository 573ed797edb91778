from __future__ import annotations

from pathlib import Path

import pytest

from underdash.contract.pages import Page
from underdash.contract.signals import Snapshot
from underdash.display.fonts import BOLD, REGULAR, FontError, Fonts, cap_px
from underdash.display.kit import draw_page


@pytest.mark.parametrize("weight", [BOLD, REGULAR])
def test_the_shipped_fonts_load_and_their_digits_share_one_width(weight: str) -> None:
    fonts = Fonts()
    assert len({fonts.width(weight, 60, digit) for digit in "0123456789"}) == 1
    assert fonts.findings == []


def test_a_digit_is_as_high_as_the_layout_counts_with() -> None:
    box = Fonts().glyph(BOLD, 60, "0").getbbox()
    assert box is not None
    assert box[3] - box[1] == pytest.approx(cap_px(60), abs=2)


def test_a_missing_font_is_one_sentence_with_file_and_remedy(empty_folder: Path) -> None:
    with pytest.raises(FontError, match=r"B612-Bold\.otf.*Install underdash again"):
        Fonts(empty_folder).load(BOLD, 20)


def test_a_damaged_font_is_told_the_same_way(empty_folder: Path) -> None:
    (empty_folder / "B612-Bold.otf").write_bytes(b"no font")
    with pytest.raises(FontError, match="missing or damaged"):
        Fonts(empty_folder).load(BOLD, 20)


def test_without_fonts_the_page_is_still_drawn_and_a_finding_says_so(empty_folder: Path) -> None:
    found: list[str] = []
    fonts = Fonts(empty_folder)
    page = Page("p", "p", lambda canvas, snapshot: canvas.title("boost"), ())
    image = draw_page(page, Snapshot(0.0, {}), fonts=fonts, finding=found.append)
    assert image.getbbox() is not None
    assert len(found) == 1
    assert "B612-Regular.otf" in found[0]


def test_text_that_does_not_fit_shrinks_and_then_is_cut() -> None:
    fonts = Fonts()
    assert fonts.fit(REGULAR, 20, "boost", 200.0, 12) == (20, "boost")
    px, text = fonts.fit(REGULAR, 20, "gearbox oil", 80.0, 12)
    assert px < 20
    assert text == "gearbox oil"
    px, text = fonts.fit(REGULAR, 20, "traction battery inlet", 60.0, 12)
    assert px == 12
    assert text.endswith("…")
    assert fonts.width(REGULAR, px, text) <= 60.0


def test_small_thin_letters_are_as_bright_as_large_ones() -> None:
    fonts = Fonts()
    assert {fonts.line(REGULAR, px, "%").getextrema()[1] for px in (8, 10, 13, 25)} == {255}
    assert fonts.line(REGULAR, 10, " ").getextrema() == (0, 0)
