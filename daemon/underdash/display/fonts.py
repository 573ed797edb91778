"""The lettering: B612 (OFL, made for cockpit screens), shipped beside this file.

A missing font file must not cost the driver the gauge: Pillow's own lettering stands in and `findings` says so.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import cast

from PIL import Image, ImageDraw, ImageFont

from ..contract.errors import UnderdashError

BOLD = "Bold"
REGULAR = "Regular"
CAP_HEIGHT = 0.76
"""Height of a digit or capital letter as a share of the size, measured from the font's outlines."""

KEPT_LINES = 64

Lettering = ImageFont.FreeTypeFont | ImageFont.ImageFont


class FontError(UnderdashError):
    """A font file that belongs to this program is not there or cannot be read."""


class Fonts:
    """Lettering by weight and size, with what was drawn of it kept as masks.

    Args:
        folder: where the font files are; the ones shipped if None.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder if folder is not None else Path(__file__).with_name("fonts")
        self._bytes: dict[str, bytes] = {}
        self._faces: dict[tuple[str, int], Lettering] = {}
        self._glyphs: dict[tuple[str, int, str], Image.Image] = {}
        self._lines: dict[tuple[str, int, str], Image.Image] = {}
        self.findings: list[str] = []

    def load(self, weight: str, px: int) -> ImageFont.FreeTypeFont:
        """Return a font from its file.

        Args:
            weight: "Bold" or "Regular".
            px: size in pixels.

        Raises:
            FontError: the file is missing or is no font.
        """
        file = self._folder / f"B612-{weight}.otf"
        try:
            if weight not in self._bytes:
                self._bytes[weight] = file.read_bytes()
            return ImageFont.truetype(BytesIO(self._bytes[weight]), px)
        except OSError as exc:
            raise FontError(
                f"drawing: the font file {file} is missing or damaged ({exc}); underdash brings it. "
                "Install underdash again, or put B612 (package fonts-b612) there."
            ) from exc

    def face(self, weight: str, px: int) -> Lettering:
        """Return a font of this size, Pillow's own if the file fails; that becomes a finding."""
        key = weight, px
        if key not in self._faces:
            try:
                self._faces[key] = self.load(weight, px)
            except FontError as exc:
                if str(exc) not in self.findings:
                    self.findings.append(str(exc))
                self._faces[key] = ImageFont.load_default(px)
        return self._faces[key]

    def width(self, weight: str, px: int, text: str) -> float:
        """Return how wide a line of text is, in pixels."""
        return self.face(weight, px).getlength(drawable(text))

    def glyph(self, weight: str, px: int, char: str) -> Image.Image:
        """Return one character as a mask with its baseline `CAP_HEIGHT` of the size below the upper edge."""
        key = weight, px, char
        if key not in self._glyphs:
            self._glyphs[key] = self._drawn(*key)
        return self._glyphs[key]

    def line(self, weight: str, px: int, text: str) -> Image.Image:
        """Return a line of text as a mask, as `glyph` does; the newest few are kept."""
        key = weight, px, text
        if key not in self._lines:
            if len(self._lines) >= KEPT_LINES:
                self._lines.pop(next(iter(self._lines)))
            self._lines[key] = self._drawn(*key)
        return self._lines[key]

    def _drawn(self, weight: str, px: int, text: str) -> Image.Image:
        face, text = self.face(weight, px), drawable(text)
        size = max(1, round(face.getlength(text)) + 1), round(px * 1.05) + 1
        image = Image.new("L", size)
        draw = ImageDraw.Draw(image)
        if isinstance(face, ImageFont.FreeTypeFont):
            draw.text((0, cap_px(px)), text, fill=255, font=face, anchor="ls")
        else:
            draw.text((0, 0), text, fill=255, font=face)
        return _lifted(image)

    def fit(self, weight: str, px: int, text: str, width: float, least_px: int) -> tuple[int, str]:
        """Return the largest size up to `px` in which a line fits, and the line, cut short where none does."""
        for size in range(px, least_px - 1, -1):
            if self.width(weight, size, text) <= width:
                return size, text
        cut = text
        while cut and self.width(weight, least_px, cut + "…") > width:
            cut = cut[:-1].rstrip()
        return least_px, cut + "…" if cut else ""


def _lifted(mask: Image.Image) -> Image.Image:
    """Return a mask whose strongest pixel is full: small thin strokes cover no pixel whole and would look too dark."""
    most = max(1, cast("tuple[int, int]", mask.getextrema())[1])
    return mask if most == 255 else mask.point([min(255, round(level * 255 / most)) for level in range(256)])


def drawable(text: str) -> str:
    """Return a text without what no font can draw, such as control characters and half of a pair."""
    return text if text.isprintable() else "".join(char for char in text if char.isprintable())


def cap_px(px: int) -> int:
    """Return the height of a digit in pixels at this font size."""
    return round(px * CAP_HEIGHT)
