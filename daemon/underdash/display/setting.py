"""Setting the parts of a picture into a field: values, columns, lamps, lists and history."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..contract.pages import Role
from ..contract.words import Lamp
from .columns import ColumnSpot
from .elements import Column, Picture
from .figure import LEAST_PX, TIGHT, UNIT_SHARE, FigureSpot, hung_em, size_for
from .fonts import BOLD, CAP_HEIGHT, REGULAR, Fonts, cap_px
from .lamps import LampSpot, said
from .lettering import INFORMS_PX, LEAST_SHARE, Lettering
from .places import Field, Layout
from .row_plan import RowPlan
from .rows import RowSpot

CLOSE, GROWS = 1.1, 1.5
"""Size of rows over their distance at most, and how much larger they may become to be read."""
SHREDS = 3
"""A label of which no more than this is left, its dots included, is better left out."""
LOW = 96.0
"""Columns that are not higher than this, in units, need all of it and have no values in digits."""


class Setter(Lettering):
    """Sets the parts of a picture into a field; what it placed is in `layout`."""

    def __init__(self, picture: Picture, fonts: Fonts, field: Field, layout: Layout) -> None:
        super().__init__(fonts, field, layout)
        self.picture = picture

    def elsewhere(self, field: Field) -> Setter:
        """Return one for another field of the same panel."""
        return Setter(self.picture, self.fonts, field, self.layout)

    def figure(
        self, y: float, most_px: float, *, unit_px: float | None = None, grouped: str = "", below: bool = False
    ) -> None:
        """Set the main value around a height.

        Args:
            most_px: size that is not exceeded.
            unit_px: size of its unit, which then hangs beside it whatever it is.
            below: its unit goes below, and is not set here.
            grouped: "unit" centres the digits together with a unit beside them, "all" with a sign too, where there is
                little room; "" the digits alone.
        """
        figure, field, u = self.picture.figure, self.field, self.field.unit
        if figure is None:
            return
        beside = figure.unit if (figure.beside or unit_px is not None) and not below else ""
        most, middle = max(round(most_px * u), 7), field.y + y * u
        corner, sign = (
            field.room_between(middle - reach * u, middle + reach * u, inside=True) - 2 * u
            for reach in (most_px * CAP_HEIGHT / 2, 8.0)
        )
        scale = self.picture.sweep.scale if self.picture.sweep else None
        share = UNIT_SHARE if unit_px is None else unit_px / most_px
        hung = self.fonts.width(REGULAR, 100, beside) / 100 * share + 0.1 if beside and figure.beside else 0.0
        shifted = (hung - (hung_em(figure, scale) if grouped == "all" else 0.0)) / 2 if grouped else 0.0
        px = size_for(figure, scale, most, (corner, sign - 5 * u), hung, left_em=shifted)
        if beside and unit_px is not None:
            px = self._with_unit(beside, field.px(unit_px), px, middle)
        x = field.x - shifted * px
        self.layout.figure = FigureSpot(x, middle, px, max(corner, 1.0))
        if beside:
            size = max(7, round(px * share)) if unit_px is None else field.px(unit_px)
            half = TIGHT * self.fonts.width(BOLD, px, figure.digits) / 2
            self.left(beside, size, x + half + px * 0.08, (middle + self._raised(px, size) - field.y) / u)

    def _with_unit(self, unit: str, unit_px: int, px: int, middle: float) -> int:
        """Return the size, at most `px`, in which a unit of a fixed size beside the digits keeps clear of the sweep."""
        digits = self.picture.figure.digits if self.picture.figure else ""
        wide = self.fonts.width(REGULAR, unit_px, unit)
        while px > LEAST_PX:
            top = middle + self._raised(px, unit_px) - unit_px * CAP_HEIGHT / 2
            room = self.field.room_between(top, top + unit_px * CAP_HEIGHT, inside=True) - 2 * self.field.unit
            if TIGHT * self.fonts.width(BOLD, px, digits) / 2 + px * 0.08 + wide <= room:
                break
            px -= 1
        return px

    def _raised(self, px: int, unit_px: int) -> float:
        """Return how far below the digits' middle a unit beside them is: a sign of degrees hangs, others stand."""
        reach = (px - unit_px) * CAP_HEIGHT / 2
        return -reach if self.picture.figure is not None and self.picture.figure.beside else reach

    def banner(self, top: float) -> None:
        """Begin the alert's ground at a height."""
        self.layout.banner_top = round(self.field.y + top * self.field.unit)

    def legible_rows(
        self,
        heights: Callable[[int], Sequence[float]],
        px: float,
        label_px: float,
        *,
        most_half: float = 84.0,
        free: float = 48.0,
    ) -> None:
        """Set as many rows as can be read one under the other, larger if they have to be, and say how many are not.

        Only the room between lines decides, so that no row comes and goes with its value.

        Args:
            heights: where so many rows go.
            px, label_px, most_half, free: see `rows`.
        """
        rows, u = self.picture.rows, self.field.unit
        wanted = max(px, min((self.field.least + 0.5) / CAP_HEIGHT / u, px * GROWS))
        all_of_them = heights(len(rows))
        count = next((n for n in range(len(rows), 1, -1) if self._room_for(heights(n), wanted)), 1)
        ys = heights(count)
        count = min(count, len(ys))
        if count > 1:
            # what grew keeps its descenders clear of the next line
            wanted = max(px, min(wanted, ys[1] - ys[0]))
        self.rows(ys, wanted, label_px, most_half=most_half, free=free)
        # an alert takes the room of the last ones, which come back after it
        self.layout.dropped = tuple(row.label for row in rows[count:]) if self.picture.banner is None else ()
        if self.layout.dropped and not (self.picture.lamps or self.picture.remark):
            self.line(f"+{len(rows) - count} not shown", 15, max(ys[-1] + 30.0, all_of_them[-1]), Role.SOFT)

    def _room_for(self, ys: Sequence[float], px: float) -> bool:
        """Say whether rows at these heights can be read."""
        pitch = ys[1] - ys[0] if len(ys) > 1 else px
        return cap_px(self.field.px(min(px, pitch))) >= self.field.least

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
            px = min(px, (ys[1] - ys[0]) * CLOSE)
        rows = self.picture.rows[: len(ys)]
        u = self.field.unit
        half = min(self.field.room(y, px, inside=y < free) for y in ys[: len(rows)]) - 4 * u
        half = max(min(half, most_half * u), 8 * u)
        figure = self.picture.figure
        shared = figure is not None and {row.unit for row in rows} == {figure.unit}
        plans = [RowPlan(self, row, 2 * half, "" if shared else row.unit, (px, label_px)) for row in rows]
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
            if text.endswith("…") and len(text) <= SHREDS:
                continue
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
        height, gap, frame = px * 1.35 * u, 6 * u, px * 0.7 * u
        if len(ys) > 1:
            height = min(height, (ys[1] - ys[0] - 2.0) * u)
        groups = [lamps[n : n + a_line] for n in range(0, len(lamps), a_line)]
        rooms = [2 * self.field.room(y, height / CAP_HEIGHT / u) - 4 * u for y in ys]
        frees = [room - (gap + frame) * len(group) + gap for group, room in zip(groups, rooms, strict=False)]
        size, least = self.field.px(px), self.field.px(px * LEAST_SHARE)
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
                text = self.fonts.fit(BOLD, size, said(lamp), width - frame * 0.6, size)[1]
                right, bottom = max(round(left + width), round(left) + 1), max(round(top + height), round(top) + 1)
                spots.append(LampSpot((round(left), round(top), right, bottom), size, text))
                left += width + gap
        self.layout.lamps = tuple(spots)

    def _lit(self, lamps: tuple[Lamp, ...], px: int) -> float:
        """Return how wide the texts of lamps are."""
        return sum(max(self.fonts.width(BOLD, px, said(lamp)), px * 1.5) for lamp in lamps)

    def listed(self, top: float, bottom: float, *, inside: bool = False, most_px: float = INFORMS_PX) -> None:
        """Set the short lines of a list between two heights, as large as all of them fit, at most `most_px`."""
        listed = self.picture.lines
        pitch = min((bottom - top) / len(listed), most_px * 1.4)
        first = (top + bottom - pitch * (len(listed) - 1)) / 2
        most = min(most_px, pitch / 1.15)
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


def _widest(column: Column) -> str:
    scale = column.sweep.scale
    ends = [f"{end:.{len(column.text.partition('.')[2])}f}" for end in (scale.low, scale.high)]
    return max([column.text, *(end for end in ends if len(end) <= 9)], key=len)
