"""The figure: the page's main value.

The digits are centred by themselves; sign and mark hang to their left, so that a change of sign moves nothing. Its
size follows from the scale's ends and not from the value of the moment.
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from PIL import Image, ImageDraw

from ..contract.pages import Scale
from ..contract.signals import Age
from .elements import MOST_DIGITS, Figure, Picture
from .fonts import BOLD, Fonts, cap_px
from .palettes import Colour, Palette
from .round import Box, common, union

TIGHT = 0.94
"""Share of the font's own advance that is kept: its wide spacing is made for small sizes."""

DIGIT_EM = 0.65 * TIGHT
POINT_EM = 0.30 * TIGHT
SIGN_EM = 0.34
MARK_EM = 0.52
LEAST_PX = 7
UNIT_SHARE = 0.36
"""Size of a unit that hangs beside the digits, as a share of theirs."""

Cell = tuple[str, Box]


class FigureSpot(NamedTuple):
    """Where the figure is: middle of the digits, the font size in pixels, and the room to either side of the middle."""

    x: float
    y: float
    px: int
    room: float = inf


def size_for(
    figure: Figure,
    scale: Scale | None,
    most_px: int,
    rooms: tuple[float, float],
    right_em: float = 0.0,
    *,
    left_em: float = 0.0,
) -> int:
    """Return the font size in which the widest value of the scale fits.

    Args:
        figure: the figure as it is now; it counts too, since a value may leave its scale.
        scale: the scale it is shown against, if there is one.
        most_px: size that is not exceeded.
        rooms: pixels to either side of the middle, at the digits' corners and (wider) at the height of the sign.
        right_em: what hangs to the right of the digits, as a share of the font size.
        left_em: how far the digits are moved to the left of the middle, as a share of it.
    """
    texts = [figure.digits]
    if scale is not None:
        ends = [f"{abs(end):.{figure.decimals}f}" for end in (scale.low, scale.high)]
        texts += [end for end in ends if len(end) <= MOST_DIGITS]
    widest = max(DIGIT_EM, *(sum(_em(char) for char in text) for text in texts))
    right, left = widest / 2 + right_em - left_em, widest / 2 + hung_em(figure, scale) + left_em
    return max(LEAST_PX, min(most_px, int(min(rooms[0] / right, rooms[1] / left))))


def hung_em(figure: Figure, scale: Scale | None) -> float:
    """Return what may hang to the left of the digits, as a share of the font size."""
    signed = scale is not None and (figure.signed or scale.low < 0)
    hangs = signed or bool(figure.sign) or bool(figure.mark)
    return (MARK_EM if figure.mark and figure.sign else 0.0) + (SIGN_EM + 0.07 if hangs else 0.0)


def _em(char: str) -> float:
    return POINT_EM if char in ".,:" else DIGIT_EM


class FigurePart:
    """Paints the figure, character by character."""

    def __init__(self, spot: FigureSpot, palette: Palette, fonts: Fonts) -> None:
        self._spot = spot
        self._palette = palette
        self._fonts = fonts
        self._widths: dict[str, float] = {}
        self._laid: tuple[Figure, list[Cell]] | None = None

    def boxes(self, before: Picture, after: Picture) -> list[Box]:
        """Return what must be painted again between two pictures."""
        old, new = before.figure, after.figure
        if old is None or new is None or old == new:
            return []
        cells = self.cells(old), self.cells(new)
        if old.age is not new.age or len(cells[0]) != len(cells[1]):
            return [_around([*cells[0], *cells[1]])]
        return [union(a[1], b[1]) for a, b in zip(*cells, strict=True) if a != b]

    def cells(self, figure: Figure) -> list[Cell]:
        """Return each character with its box: the hung ones first (one cell each, maybe blank), then the digits."""
        if self._laid is None or self._laid[0] != figure:
            self._laid = figure, self._lay(figure)
        return self._laid[1]

    def _lay(self, figure: Figure) -> list[Cell]:
        digits = self._cut(figure.digits)
        px, left = self._spot.px, self._spot.x - self._width(digits) / 2
        top = round(self._spot.y - cap_px(px) / 2)
        height = round(px * 1.05) + 1
        found: list[Cell] = []
        edge = left - 0.05 * px
        for char, em in ((figure.sign, SIGN_EM), (figure.mark, MARK_EM)):
            start = edge - (em * px if char else 0.0)
            found.append((char, (round(start), top, round(edge), top + height)))
            edge = start
        for char in digits:
            own, wide = self._own(char), self._advance(char)
            start = round(left - (own - wide) / 2)
            found.append((char, (start, top, start + round(own) + 1, top + height)))
            left += wide
        return found

    def paint(self, tile: Image.Image, box: Box, picture: Picture) -> None:
        """Paint what of the figure lies in `box` onto `tile`."""
        figure = picture.figure
        if figure is None:
            return
        colour = self._palette.ink if figure.age is Age.FRESH else self._palette.soft
        for index, (char, place) in enumerate(self.cells(figure)):
            if not char or common(box, place) is None:
                continue
            moved = place[0] - box[0], place[1] - box[1], place[2] - box[0], place[3] - box[1]
            if index == 0 or char == "-":
                bars(tile, moved, self._spot.px, char, colour)
            elif index == 1:
                px = round(self._spot.px * 0.62)
                drop = (cap_px(self._spot.px) - cap_px(px)) // 2
                glyph = self._fonts.glyph(BOLD, px, char)
                tile.paste(self._palette.caution, (moved[2] - glyph.width, moved[1] + drop), glyph)
            else:
                tile.paste(colour, moved[:2], self._fonts.glyph(BOLD, self._spot.px, char))

    def _cut(self, text: str) -> str:
        """Return what of a text there is room for."""
        if self._width(text) <= 2 * self._spot.room:
            return text
        cut = text
        while cut and self._width(cut + "…") > 2 * self._spot.room:
            cut = cut[:-1]
        return cut + "…"

    def _own(self, char: str) -> float:
        """Return the width of a character as the font has it."""
        if char not in self._widths:
            sign = char == "-"
            self._widths[char] = 0.65 * self._spot.px if sign else self._fonts.width(BOLD, self._spot.px, char)
        return self._widths[char]

    def _advance(self, char: str) -> float:
        return TIGHT * self._own(char)

    def _width(self, text: str) -> float:
        return sum(self._advance(char) for char in text)


def bars(tile: Image.Image, cell: Box, px: int, char: str, colour: Colour | int) -> None:
    """Draw a sign as whole-pixel bars: crisp at any size, and narrower than the font's."""
    draw = ImageDraw.Draw(tile)
    thick = max(2, round(px * 0.105))
    arm = max(thick + 2, round(px * 0.29))
    middle_x, middle_y = (cell[0] + cell[2]) // 2, cell[1] + round(cap_px(px) * 0.56)
    left, top = middle_x - arm // 2, middle_y - thick // 2
    draw.rectangle((left, top, left + arm - 1, top + thick - 1), fill=colour)
    if char == "+":
        x, y = middle_x - thick // 2, middle_y - arm // 2
        draw.rectangle((x, y, x + thick - 1, y + arm - 1), fill=colour)


def _around(cells: list[Cell]) -> Box:
    whole = cells[0][1]
    for _, box in cells[1:]:
        whole = union(whole, box)
    return whole
