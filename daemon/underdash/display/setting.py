"""Setting text and values on a part of a panel: what fits where, in which size.

Heights are offsets from the field's middle in units, the pixels of a panel that is 240 pixels high; they grow with it.
Lettering that informs is at least 25 units, 19 of digit height, as far as the panel allows (`legibility.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import sqrt

from ..contract.content import Lamp
from ..contract.pages import Role
from .columns import ColumnSpot
from .elements import Column, Picture, Row
from .figure import TIGHT, UNIT_SHARE, FigureSpot, size_for
from .fonts import BOLD, CAP_HEIGHT, REGULAR, Fonts
from .lamps import LampSpot, said
from .round import Box
from .rows import RowSpot
from .sweep import Ring

INFORMS_PX = 25
LEAST_SHARE = 0.62
LEAST_LABEL = 0.8
LEAST_UNIT = 0.72
SENTENCE_LINES = 4
LOW = 96.0
"""Columns that are not higher than this, in units, need all of it and have no values in digits."""
SLIGHT = 1.06
"""Words may be this much too wide before another cut is looked for: a pixel less in size cannot be seen."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text that stands still: middle of its digits or left end, baseline side up.

    `part` says what it belongs to where it informs ("sentence", "remark", "list"); an alert's has no role.
    """

    text: str
    weight: str
    px: int
    x: float
    top: int
    role: Role | None
    centred: bool = True
    part: str = ""


@dataclass(slots=True)
class Layout:
    """Places of everything on a page."""

    ring: Ring | None = None
    figure: FigureSpot | None = None
    strip: Box | None = None
    rows: tuple[RowSpot, ...] = ()
    columns: tuple[ColumnSpot, ...] = ()
    lamps: tuple[LampSpot, ...] = ()
    lines: list[Line] = field(default_factory=list)
    banner_top: int | None = None


@dataclass(frozen=True, slots=True)
class Field:
    """A part of a panel.

    Attributes:
        x, y: its middle in pixels.
        unit: pixels a unit.
        half: pixels to either side of the middle.
        circle: radius of the round panel around the middle, None where there is none.
        clear: height of the middle and radius of the circle inside which a sweep leaves room.
    """

    x: float
    y: float
    unit: float
    half: float
    circle: float | None = None
    clear: tuple[float, float] | None = None

    def room(self, y: float, px: float, *, inside: bool = False) -> float:
        """Return how far from the middle a line of `px` units at height `y` may reach, in pixels."""
        reach = px * CAP_HEIGHT / 2 * self.unit
        return self.room_between(self.y + y * self.unit - reach, self.y + y * self.unit + reach, inside=inside)

    def room_between(self, top: float, bottom: float, *, inside: bool = False) -> float:
        """Return the same between two heights in pixels."""
        half = self.half
        if self.circle is not None:
            half = min(half, _chord(self.circle, max(abs(top - self.y), abs(bottom - self.y))))
        if inside and self.clear is not None:
            middle, radius = self.clear
            half = min(half, _chord(radius, max(abs(top - middle), abs(bottom - middle))))
        return half

    def px(self, px: float) -> int:
        """Return a font size in pixels."""
        return max(7, round(px * self.unit))


class Setter:
    """Sets the parts of a picture into a field; what it placed is in `layout`."""

    def __init__(self, picture: Picture, fonts: Fonts, field: Field, layout: Layout) -> None:
        self.picture = picture
        self.fonts = fonts
        self.field = field
        self.layout = layout

    def elsewhere(self, field: Field) -> Setter:
        """Return one for another field of the same panel."""
        return Setter(self.picture, self.fonts, field, self.layout)

    # --- text ---------------------------------------------------------------------------------------------------

    def line(
        self,
        text: str,
        px: float,
        y: float,
        role: Role | None,
        *,
        weight: str = REGULAR,
        inside: bool = False,
        part: str = "",
    ) -> None:
        """Set one line around the middle, smaller or cut short where it is too wide."""
        room = 2 * self.field.room(y, px, inside=inside)
        size, fitted = self.fonts.fit(weight, self.field.px(px), text, room, self.field.px(px * LEAST_SHARE))
        self._place(fitted, weight, size, y, role, part)

    def left(self, text: str, px: int, x: float, y: float) -> None:
        """Set a line of `px` pixels in soft colour from a place on."""
        self.layout.lines.append(Line(text, REGULAR, px, x, self._top(y, px), Role.SOFT, False))

    def lines(
        self,
        text: str,
        px: float,
        y: float,
        role: Role | None,
        *,
        pitch: float,
        weight: str = REGULAR,
        inside: bool = False,
        part: str = "",
    ) -> None:
        """Set words on one line if they fit, else on two, cut where they can be largest."""
        if self.fits(text, px, y, weight=weight, inside=inside):
            self.line(text, px, y, role, weight=weight, inside=inside, part=part)
            return
        size = self.field.px(px)
        words = text.split(" ")
        cuts = [(" ".join(words[:i]), " ".join(words[i:])) for i in range(1, len(words))] or [(text, "")]
        heights = y - pitch / 2, y + pitch / 2
        rooms = [max(2 * self.field.room(at, px, inside=inside), 1.0) for at in heights]
        least = self.field.px(px * LEAST_SHARE)

        def loss(cut: tuple[str, str]) -> tuple[float, float]:
            wide = [self.fonts.width(weight, size, half) for half in cut]
            return max(SLIGHT, wide[0] / rooms[0], wide[1] / rooms[1]), max(wide)

        best = min(cuts, key=loss)
        both = min(self.fonts.fit(weight, size, half, room, least)[0] for half, room in zip(best, rooms, strict=True))
        for half, room, at in zip(best, rooms, heights, strict=True):
            if half:
                self._place(self.fonts.fit(weight, both, half, room, both)[1], weight, both, at, role, part)

    def fits(self, text: str, px: float, y: float, *, weight: str = REGULAR, inside: bool = False) -> bool:
        """Say whether a line needs to be neither smaller nor shorter."""
        return self.fonts.width(weight, self.field.px(px), text) <= 2 * self.field.room(y, px, inside=inside)

    def wrapped(self, text: str, px: float, middle: float, *, whole: bool = True) -> list[str] | None:
        """Break a text into as few lines as hold it around a height; None if four do not and it has to be whole."""
        size, pitch = self.field.px(px), px * 1.1
        for count in range(1, SENTENCE_LINES + 1):
            heights = [middle + pitch * (n - (count - 1) / 2) for n in range(count)]
            rooms = [2 * self.field.room(at, px) - 14 * self.field.unit for at in heights]
            lines, words = [""], text.split(" ")
            while words:
                longer = f"{lines[-1]} {words[0]}".strip()
                if self.fonts.width(REGULAR, size, longer) <= rooms[len(lines) - 1]:
                    lines[-1] = longer
                    words.pop(0)
                elif lines[-1] and len(lines) < count:
                    lines.append("")
                else:
                    break
            if not words:
                return lines
        return None if whole else [*lines[:-1], f"{lines[-1]} {' '.join(words)}"]

    def sentence(self, text: str, role: Role, middle: float, most: float) -> None:
        """Set a sentence around a height in the largest size in which it is at most so many units high."""
        for px in range(25, 13, -1):
            lines = self.wrapped(text, px, middle)
            if lines is not None and len(lines) * px * 1.1 <= most:
                break
        else:
            px = 14
            lines = self.wrapped(text, px, middle, whole=False) or []
        top = middle - px * 1.1 * (len(lines) - 1) / 2
        for number, line in enumerate(lines):
            self.line(line, px, top + px * 1.1 * number, role, part="sentence")

    def _place(self, text: str, weight: str, px: int, y: float, role: Role | None, part: str) -> None:  # noqa: PLR0917
        self.layout.lines.append(Line(text, weight, px, self.field.x, self._top(y, px), role, part=part))

    def _top(self, y: float, px: int) -> int:
        return round(self.field.y + y * self.field.unit - px * CAP_HEIGHT / 2)

    # --- values -------------------------------------------------------------------------------------------------

    def figure(self, y: float, most_px: float, *, unit_px: float | None = None, grouped: bool = False) -> None:
        """Set the main value around a height.

        Args:
            most_px: size that is not exceeded.
            unit_px: size of its unit, which then hangs beside it whatever it is.
            grouped: centre the digits together with a unit beside them, where there is little room.
        """
        figure, field, u = self.picture.figure, self.field, self.field.unit
        if figure is None:
            return
        beside = figure.unit if figure.beside or unit_px is not None else ""
        most, middle = max(round(most_px * u), 7), field.y + y * u
        corner, sign = (
            field.room_between(middle - reach * u, middle + reach * u, inside=True) - 2 * u
            for reach in (most_px * CAP_HEIGHT / 2, 8.0)
        )
        scale = self.picture.sweep.scale if self.picture.sweep else None
        share = UNIT_SHARE if unit_px is None else unit_px / most_px
        hung = self.fonts.width(REGULAR, 100, beside) / 100 * share + 0.1 if beside and figure.beside else 0.0
        shifted = hung / 2 if grouped else 0.0
        px = size_for(figure, scale, most, (corner, sign - 5 * u), hung - shifted)
        x = field.x - shifted * px
        self.layout.figure = FigureSpot(x, middle, px, max(corner, 1.0))
        if beside:
            size = max(7, round(px * share)) if unit_px is None else field.px(unit_px)
            half = TIGHT * self.fonts.width(BOLD, px, figure.digits) / 2
            top = (middle - px * CAP_HEIGHT / 2 + size * CAP_HEIGHT / 2 - field.y) / u
            self.left(beside, size, x + half + px * 0.08, top)

    def banner(self, top: float) -> None:
        """Begin the alert's ground at a height."""
        self.layout.banner_top = round(self.field.y + top * self.field.unit)

    def rows(
        self, ys: Sequence[float], px: float, label_px: float, *, most_half: float = 84.0, free: float = 48.0
    ) -> None:
        """Set rows at these heights.

        Args:
            px, label_px: sizes of values and labels; smaller where they are too wide, all of them alike.
            most_half: units to either side of the middle that are enough.
            free: from this height on there is no sweep.
        """
        if len(ys) > 1:
            px = min(px, (ys[1] - ys[0]) * 1.1)
        rows = self.picture.rows[: len(ys)]
        u = self.field.unit
        half = min(self.field.room(y, px, inside=abs(y) < free) for y in ys[: len(rows)]) - 4 * u
        half = max(min(half, most_half * u), 8 * u)
        figure = self.picture.figure
        shared = figure is not None and {row.unit for row in rows} == {figure.unit}
        plans = [_RowPlan(self, row, 2 * half, "" if shared else row.unit, (px, label_px)) for row in rows]
        label, unit, size = (min(getattr(plan, what) for plan in plans) for what in ("label", "unit", "size"))
        spots = []
        for plan, y in zip(plans, ys, strict=False):
            right = self.field.x + half
            if plan.said_unit:
                wide = self.fonts.width(REGULAR, unit, plan.said_unit)
                self.left(plan.said_unit, unit, right - wide, y)
                right -= wide + 5 * u
            top = round(self.field.y + y * u - size * CAP_HEIGHT / 2)
            spots.append(RowSpot(round(right), top, size, right - (self.field.x - half)))
            room = right - self.fonts.width(BOLD, size, max(plan.row.text, "000", key=len)) - 6 * u
            text = self.fonts.fit(REGULAR, label, plan.row.label, room - (self.field.x - half), label)[1]
            self.left(text, label, self.field.x - half, y)
        self.layout.rows = tuple(spots)

    def columns(self, top: float, bottom: float, half: float) -> None:
        """Set columns between two heights, `half` units to either side of the middle, values above, labels below."""
        columns, u = self.picture.columns, self.field.unit
        pitch = 2 * half / len(columns)
        width = min(pitch * 0.6, 26.0)
        room = (pitch - 4) * u
        label, size = self._column_sizes(columns, room)
        if bottom - top < LOW:
            size = 0
        digits = size * CAP_HEIGHT / u + 8 if size else 0.0
        names = label * CAP_HEIGHT / u + 8 if any(column.label for column in columns) else 0.0
        spots = []
        for number, column in enumerate(columns):
            x = self.field.x + (pitch * (number + 0.5) - half) * u
            upper, lower = self.field.y + (top + digits) * u, self.field.y + (bottom - names) * u
            left, over = round(x - width / 2 * u), round(upper)
            box = left, over, max(round(x + width / 2 * u), left + 1), max(round(lower), over + 1)
            spots.append(ColumnSpot(box, x, round(self.field.y + top * u), size, u))
            text = self.fonts.fit(REGULAR, label, column.label, room, label)[1] if column.label else ""
            wide = self.fonts.width(REGULAR, label, text)
            self.left(text, label, x - wide / 2, bottom - label * CAP_HEIGHT / 2 / u)
        self.layout.columns = tuple(spots)

    def _column_sizes(self, columns: tuple[Column, ...], room: float) -> tuple[int, int]:
        """Return the sizes of labels and of values; 0 for values that would be too small to read."""
        labels = [self.fonts.fit(REGULAR, self.field.px(17), c.label, room, self.field.px(13))[0] for c in columns]
        size = self.field.px(20)
        widest = max((_widest(column) for column in columns), key=len)
        while size > 7 and self.fonts.width(BOLD, size, widest) > room:
            size -= 1
        return min(labels), size if size >= self.field.px(12) else 0

    def lamps(self, ys: Sequence[float], px: float) -> None:
        """Set lamps in as many lines as there are heights; one under the other they are all as wide as the widest."""
        lamps, u = self.picture.lamps, self.field.unit
        a_line = -(-len(lamps) // len(ys))
        height, gap, frame = px * 1.35 * u, 6 * u, px * u
        groups = [lamps[n : n + a_line] for n in range(0, len(lamps), a_line)]
        rooms = [2 * self.field.room(y, px * 1.35 / CAP_HEIGHT) - 4 * u for y in ys]
        frees = [room - (gap + frame) * len(group) + gap for group, room in zip(groups, rooms, strict=False)]
        size, least = self.field.px(px), self.field.px(px * 0.7)
        while size > least and any(self._lit(g, size) > free for g, free in zip(groups, frees, strict=True)):
            size -= 1
        widest = max(self._lit((lamp,), size) for lamp in lamps) if a_line == 1 else 0.0
        spots = []
        for y, group, free in zip(ys, groups, frees, strict=False):
            squeezed = min(1.0, max(free, 1.0) / self._lit(group, size))
            widths = [max(widest, self._lit((lamp,), size)) * squeezed + frame for lamp in group]
            left = self.field.x - (sum(widths) + gap * (len(group) - 1)) / 2
            top = self.field.y + y * u - height / 2
            for lamp, width in zip(group, widths, strict=True):
                text = self.fonts.fit(BOLD, size, said(lamp), width - frame * 0.7, size)[1]
                right, bottom = max(round(left + width), round(left) + 1), max(round(top + height), round(top) + 1)
                spots.append(LampSpot((round(left), round(top), right, bottom), size, text))
                left += width + gap
        self.layout.lamps = tuple(spots)

    def _lit(self, lamps: tuple[Lamp, ...], px: int) -> float:
        """Return how wide the texts of lamps are."""
        return sum(max(self.fonts.width(BOLD, px, said(lamp)), px * 1.5) for lamp in lamps)

    def listed(self, top: float, bottom: float, *, inside: bool = False) -> None:
        """Set the short lines of a list between two heights, as large as all of them fit."""
        listed = self.picture.lines
        pitch = min((bottom - top) / len(listed), INFORMS_PX * 1.3)
        first = (top + bottom - pitch * (len(listed) - 1)) / 2
        most = min(INFORMS_PX, pitch / 1.15)
        places = [(words, first + pitch * number) for number, words in enumerate(listed)]
        rooms = [2 * self.field.room(y, most, inside=inside) for _, y in places]
        size, least = self.field.px(most), self.field.px(most * LEAST_SHARE)
        size = min(
            self.fonts.fit(REGULAR, size, words.text, room, least)[0] for words, room in zip(listed, rooms, strict=True)
        )
        for (words, y), room in zip(places, rooms, strict=True):
            self._place(self.fonts.fit(REGULAR, size, words.text, room, size)[1], REGULAR, size, y, words.role, "list")

    def strip(self, top: float, bottom: float, half: float) -> None:
        """Give the history a box."""
        u = self.field.unit
        upper = round(self.field.y + top * u)
        box = round(self.field.x - half * u), upper, round(self.field.x + half * u), round(upper + (bottom - top) * u)
        if box[0] < box[2] and box[1] < box[3]:
            self.layout.strip = box


class _RowPlan:
    """How large the parts of a row can be: label and unit shrink a little before the value does."""

    def __init__(self, setter: Setter, row: Row, width: float, unit: str, sizes: tuple[float, float]) -> None:
        self.row, self.said_unit = row, unit
        fonts, field = setter.fonts, setter.field
        px, label_px = sizes
        least = field.px(label_px * LEAST_LABEL)
        for share in (1.0, 0.9, 0.8, 0.7):
            self.size = field.px(px * share)
            value = fonts.width(BOLD, self.size, max(row.text, "000", key=len)) + 6 * field.unit
            for unit_share in (1.0, LEAST_UNIT):
                self.unit = field.px(label_px * unit_share)
                used = value + (fonts.width(REGULAR, self.unit, unit) + 5 * field.unit if unit else 0.0)
                self.label, text = fonts.fit(REGULAR, field.px(label_px), row.label, width - used, least)
                if text == row.label:
                    return
        # a label that is too long anyway is cut; only a value that leaves no room for it stays small
        if used < width * 0.7:
            self.size = field.px(px * 0.8)


def _widest(column: Column) -> str:
    scale = column.sweep.scale
    ends = [f"{end:.{len(column.text.partition('.')[2])}f}" for end in (scale.low, scale.high)]
    return max([column.text, *(end for end in ends if len(end) <= 9)], key=len)


def _chord(radius: float, reach: float) -> float:
    return sqrt(max(radius * radius - reach * reach, 0.0))
