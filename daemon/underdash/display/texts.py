"""Every text on a painted page: what it says, how high its digits are and which pixels it covers.

For judging what was drawn: whether it can be read (`legibility.py`) and how it stands out (`contrast.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image, ImageChops

from .elements import Picture
from .figure import FigurePart, bars
from .fonts import BOLD, Fonts, cap_px
from .lamps import lettered
from .layout import Layout
from .palettes import DAY
from .round import Box, union
from .rows import RowsPart

VALUE, ROW, COLUMN, LAMP, LIST, ALERT, NAME = "main value", "row", "column", "lamp", "list", "alert", "name"


@dataclass(frozen=True, slots=True)
class Text:
    """One text.

    Attributes:
        part: "main value", "row", "column", "lamp", "list", "sentence", "remark" or "alert", which inform, or
            "name": a title, label or unit.
        text: what it says.
        height_px: of its digits and capital letters.
        box: where it is.
        mask: its pixels in that box, 8 bits.
    """

    part: str
    text: str
    height_px: int
    box: Box
    mask: Image.Image

    @property
    def informs(self) -> bool:
        """Whether it is more than a name that never changes."""
        return self.part != NAME


def texts_of(picture: Picture, layout: Layout, fonts: Fonts) -> list[Text]:
    """Return the texts of a picture as the layout places them, the main value first."""
    found = []
    if picture.figure is not None and layout.figure is not None:
        found.append(_figure(picture, layout, fonts))
    rows = RowsPart(layout.rows, DAY, fonts)
    for spot, row in zip(layout.rows, picture.rows, strict=False):
        mask = rows.mask(spot, row)
        box = spot.right - mask.width, spot.top, spot.right, spot.top + mask.height
        found.append(Text(ROW, row.text, cap_px(spot.px), box, mask))
    for column, place in zip(picture.columns, layout.columns, strict=False):
        if place.px and column.text:
            mask = fonts.line(BOLD, place.px, column.text)
            left = round(place.x - mask.width / 2)
            box = left, place.top, left + mask.width, place.top + mask.height
            found.append(Text(COLUMN, column.text, cap_px(place.px), box, mask))
    for lamp, field in zip(picture.lamps, layout.lamps, strict=False):
        mask, box = lettered(field, lamp, fonts)
        found.append(Text(LAMP, field.text, cap_px(field.px), box, mask))
    for line in layout.lines:
        mask = fonts.line(line.weight, line.px, line.text)
        left = round(line.x - mask.width / 2) if line.centred else round(line.x)
        box = left, line.top, left + mask.width, line.top + mask.height
        part = ALERT if line.role is None else line.part or NAME
        found.append(Text(part, line.text, cap_px(line.px), box, mask))
    return [text for text in found if text.mask.getbbox() is not None]


def _figure(picture: Picture, layout: Layout, fonts: Fonts) -> Text:
    figure, spot = picture.figure, layout.figure
    if figure is None or spot is None:
        raise ValueError("there is no figure")
    # sign and mark hang outside; the digits are what has to be read
    cells = [cell for cell in FigurePart(spot, DAY, fonts).cells(figure)[2:] if cell[0]]
    whole = cells[0][1]
    for _, box in cells[1:]:
        whole = union(whole, box)
    mask = Image.new("L", (whole[2] - whole[0], whole[3] - whole[1]))
    for char, box in cells:
        place = box[0] - whole[0], box[1] - whole[1]
        if char == "-":
            bars(mask, (*place, box[2] - whole[0], box[3] - whole[1]), spot.px, char, 255)
            continue
        glyph = fonts.glyph(BOLD, spot.px, char)
        there = place[0], place[1], place[0] + glyph.width, place[1] + glyph.height
        mask.paste(ImageChops.lighter(mask.crop(there), glyph), there)
    text = figure.mark + figure.sign + figure.digits
    return Text(VALUE, text, cap_px(spot.px), whole, mask)
