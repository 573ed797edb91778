"""The drawing kit: paints pictures, and only what changed since the last one.

What stands still is painted once into a static layer. Of the moving parts each says which boxes its change touches;
a box is restored from the static layer and everything that reaches into it is painted again, so overlapping parts
come out right. Boxes are cut down to the pixels that really differ before they are handed out.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from PIL import Image, ImageChops

from ..contract.pages import Page, Scale
from ..contract.signals import Snapshot
from ..contract.words import Words
from .columns import ColumnsPart
from .elements import Picture
from .figure import FigurePart
from .fonts import Fonts
from .lamps import paint_lamp
from .layout import Layout, Line, arrange
from .palettes import DAY, Palette
from .recorder import record
from .ring import FramePart, RingPart
from .round import Box, Face, merged
from .rows import RowsPart
from .strip import StripPart
from .sweep import SweepPart

BAND_ROWS = 24


class Part(Protocol):
    """Something that moves on a page."""

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of it lies in `box` onto `tile`, whose upper left corner is the box's."""


class Painter:
    """Paints the pictures of one panel one after the other.

    Args:
        face: the panel's size and shape.
        palette: colours to begin with.
        fonts: lettering; shared between painters if handed in.
    """

    def __init__(self, face: Face, palette: Palette = DAY, fonts: Fonts | None = None) -> None:
        self.face = face
        self.fonts = fonts or Fonts()
        self._palette = palette
        self._mask = face.mask()
        self._frame = Image.new("RGB", (face.width, face.height))
        self._static = self._frame.copy()
        self._parts: list[Part] = []
        self._key: object = None
        self._before = Picture()
        self._sweep: tuple[object, SweepPart] | None = None

    @property
    def palette(self) -> Palette:
        """The colours in force."""
        return self._palette

    def use(self, palette: Palette) -> None:
        """Change the colours from the next picture on."""
        self._palette = palette

    def forget(self) -> None:
        """Hand out the whole panel as changed next time, because what it shows is not known."""
        self._key = None

    def paint(self, picture: Picture) -> tuple[Image.Image, list[Box]]:
        """Paint a picture.

        Returns:
            The whole image, which the next call paints on, and the boxes in which it differs from the last one.
        """
        key = (self._palette, still(picture))
        if key != self._key:
            boxes = self._anew(picture)
            self._key = key
        else:
            boxes = self._again(picture)
        self._before = picture
        return self._frame, boxes

    def _again(self, picture: Picture) -> list[Box]:
        wanted = [box for part in self._parts for box in part.boxes(self._before, picture)]
        changed = []
        for box in merged(wanted):
            inside = max(box[0], 0), max(box[1], 0), min(box[2], self.face.width), min(box[3], self.face.height)
            if inside[0] >= inside[2] or inside[1] >= inside[3]:
                continue
            tile = self._tile(inside, picture)
            differs = ImageChops.difference(tile, self._frame.crop(inside)).getbbox()
            if differs is None:
                continue
            x, y = inside[0], inside[1]
            self._frame.paste(tile, (x, y))
            changed.append((x + differs[0], y + differs[1], x + differs[2], y + differs[3]))
        return changed

    def _anew(self, picture: Picture) -> list[Box]:
        layout = arrange(picture, self.face, self.fonts)
        self._parts = self._made(picture, layout)
        self._static = self._still_layer(picture, layout)
        fresh = self._tile(self.face.box, picture)
        boxes = _differing(fresh, self._frame) if self._key is not None else [self.face.box]
        self._frame = fresh
        return boxes

    def _tile(self, box: Box, picture: Picture) -> Image.Image:
        tile = self._static.crop(box)
        for part in self._parts:
            part.paint(tile, box, picture)
        return tile

    def _made(self, picture: Picture, layout: Layout) -> list[Part]:
        parts: list[Part] = []
        if picture.card:
            return parts
        if layout.ring is not None and picture.sweep is not None:
            key: tuple[object, Scale, Palette] = layout.ring, picture.sweep.scale, self._palette
            if self._sweep is None or self._sweep[0] != key:
                self._sweep = key, SweepPart(layout.ring, picture.sweep.scale, self._palette)
            parts.append(self._sweep[1])
        if layout.columns:
            parts.append(ColumnsPart(layout.columns, self._palette, self.fonts))
        if layout.strip is not None:
            parts.append(StripPart(layout.strip, self._palette, 1.75 * self.face.unit))
        if layout.rows:
            parts.append(RowsPart(layout.rows, self._palette, self.fonts))
        if layout.figure is not None:
            parts.append(FigurePart(layout.figure, self._palette, self.fonts))
        parts.append((RingPart if self.face.round else FramePart)(self.face, self._palette))
        return parts

    def _still_layer(self, picture: Picture, layout: Layout) -> Image.Image:
        palette = self._palette
        if picture.card:
            from .card import paint_card

            return paint_card(self.face, self.fonts)
        image = Image.new("RGB", (self.face.width, self.face.height), palette.ground)
        if layout.ring is not None and self._sweep is not None:
            self._sweep[1].paint_static(image)
        for part in self._parts:
            if isinstance(part, ColumnsPart):
                part.paint_static(image, picture)
        for spot, lamp in zip(layout.lamps, picture.lamps, strict=False):
            paint_lamp(image, spot, lamp, palette, self.fonts)
        if picture.banner is not None and layout.banner_top is not None:
            colour = palette.of(picture.banner.role) if palette.filled else palette.ground
            image.paste(colour, (0, layout.banner_top, self.face.width, self.face.height))
            rule = max(2, round(2 * self.face.unit))
            image.paste(
                palette.of(picture.banner.role), (0, layout.banner_top, self.face.width, layout.banner_top + rule)
            )
        for line in layout.lines:
            self._write(image, line, picture)
        if self._mask is not None:
            image = Image.composite(image, Image.new("RGB", image.size), self._mask)
        return image

    def _write(self, image: Image.Image, line: Line, picture: Picture) -> None:
        mask = self.fonts.line(line.weight, line.px, line.text)
        left = round(line.x - mask.width / 2) if line.centred else round(line.x)
        if line.role is not None:
            colour = self._palette.of(line.role)
        elif picture.banner is not None and not self._palette.filled:
            colour = self._palette.of(picture.banner.role)
        else:
            colour = self._palette.ground
        image.paste(colour, (left, line.top), mask)


def still(picture: Picture) -> object:
    """Return what of a picture decides on its layout and static layer; all else is painted over it."""
    figure, sweep = picture.figure, picture.sweep
    hangs = figure and (figure.unit, figure.signed, figure.decimals, bool(figure.mark), len(figure.digits))
    return (
        sweep and sweep.scale,
        hangs,
        bool(figure and figure.sign and not (sweep and sweep.scale.low < 0)),
        picture.title,
        picture.strip is not None,
        tuple((row.label, row.unit, max(len(row.text), 3)) for row in picture.rows),
        picture.remark,
        picture.sentence,
        picture.banner,
        tuple((c.label, c.sweep.scale, c.unit, len(c.text)) for c in picture.columns),
        picture.lamps,
        picture.lines,
        picture.card,
    )


def _differing(fresh: Image.Image, shown: Image.Image) -> list[Box]:
    """Return the differing boxes of two images, band by band."""
    difference = ImageChops.difference(fresh, shown)
    found = []
    for top in range(0, difference.height, BAND_ROWS):
        bottom = min(top + BAND_ROWS, difference.height)
        box = difference.crop((0, top, difference.width, bottom)).getbbox()
        if box is not None:
            found.append((box[0], top + box[1], box[2], top + box[3]))
    return found


def draw_page(
    page: Page,
    snapshot: Snapshot,
    *,
    size: tuple[int, int] = (240, 240),
    palette: Palette = DAY,
    round: bool = True,  # noqa: A002 - the panel's own word
    banner: Words | None = None,
    fonts: Fonts | None = None,
    finding: Callable[[str], None] | None = None,
) -> Image.Image:
    """Draw a page once, without a panel.

    Args:
        page: the page.
        snapshot: what it is shown.
        size: pixels across and down.
        palette: colours.
        round: whether the panel is round.
        banner: an alert to be shown on it.
        fonts: lettering; the shipped one if None.
        finding: called with each thing that is not as it should be, such as a missing font.

    Raises:
        Exception: whatever the page raises.
    """
    painter = Painter(Face(size[0], size[1], round), palette, fonts)
    image, _ = painter.paint(record(page, snapshot, size, banner))
    for sentence in painter.fonts.findings if finding else []:
        if finding is not None:
            finding(sentence)
    return image
