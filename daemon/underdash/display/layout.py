"""Where things go: a pure function of what a page shows and the panel's face.

The order of importance: the figure first; a doubt or an alert takes the foot from the history; the title steps back.
Sizes are for 240 pixels and grow with the panel. Lettering that informs is at least 25 px, 19 px of digit height, as
far as the panel allows (`legibility.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from ..contract.content import Words
from ..contract.pages import Role
from .elements import Picture
from .figure import FigureSpot, size_for
from .fonts import BOLD, CAP_HEIGHT, REGULAR, Fonts
from .round import Box, Face
from .rows import RowSpot
from .sweep import Ring

INFORMS_PX = 25
LEAST_SHARE = 0.62
SENTENCE_LINES = 4
SLIGHT = 1.06
"""Words may be this much too wide before another cut is looked for: a pixel less in size cannot be seen."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text that stands still: middle of its digits or left end, baseline side up."""

    text: str
    weight: str
    px: int
    x: float
    top: int
    role: Role | None
    centred: bool = True


@dataclass(slots=True)
class Layout:
    """Places of everything on a page."""

    ring: Ring | None = None
    figure: FigureSpot | None = None
    strip: Box | None = None
    rows: tuple[RowSpot, ...] = ()
    lines: list[Line] = field(default_factory=list)
    banner_top: int | None = None


def arrange(picture: Picture, face: Face, fonts: Fonts) -> Layout:
    """Return where the elements of a picture go."""
    return _Arranger(picture, face, fonts).done()


class _Arranger:
    def __init__(self, picture: Picture, face: Face, fonts: Fonts) -> None:
        self._picture = picture
        self._face = face
        self._fonts = fonts
        self._layout = Layout()
        self._u = face.unit
        self._x, self._middle = face.centre
        self._clear: float | None = None

    def done(self) -> Layout:
        picture = self._picture
        if picture.sweep is not None:
            self._layout.ring = Ring.on(self._face)
            self._clear = self._layout.ring.clear
        if picture.sentence is not None:
            self._sentence_above_rows(picture.sentence)
        elif picture.rows and picture.figure is not None:
            self._figure_above_rows()
        elif picture.rows:
            self._rows_alone()
        elif picture.figure is not None:
            self._figure_alone()
        else:
            self._title(-64.0, 22)
            self._foot()
        return self._layout

    # offsets are counted from the middle of the panel, in pixels of a 240 pixel panel

    def _figure_alone(self) -> None:
        self._title(-60.0, 19)
        self._figure(-6.0, 72)
        figure = self._picture.figure
        if figure is not None and figure.unit:
            self._line(figure.unit, REGULAR, 22, 35.0, Role.SOFT, inside=True)
        self._foot()

    def _figure_above_rows(self) -> None:
        count = len(self._picture.rows)
        self._title(-67.0, 16)
        self._figure(-33.0, 50)
        figure = self._picture.figure
        spot = self._layout.figure
        if figure is not None and spot is not None and figure.unit:
            # beside the digits: the rows need the room below
            half = self._fonts.width(BOLD, spot.px, figure.digits) / 2
            self._left_line(figure.unit, 18, spot.x + half + 5 * self._u, (spot.y - self._middle) / self._u - 12.0)
        self._rows({1: (24.0,), 2: (14.0, 44.0)}.get(count, (7.0, 34.0, 61.0, 86.0)), INFORMS_PX, 17)
        self._foot(rows=True)

    def _rows_alone(self) -> None:
        count = len(self._picture.rows)
        self._title(-90.0 if count > 3 else -80.0, 18)
        pitch = {1: 0.0, 2: 52.0, 3: 42.0}.get(count, 36.0)
        first = -pitch * (count - 1) / 2 - 2.0
        self._rows(tuple(first + pitch * i for i in range(count)), 32 if count > 2 else 40, 19)
        self._foot(rows=True)

    def _sentence_above_rows(self, words: Words) -> None:
        rows = self._picture.rows
        self._title(-94.0, 15)
        middle, most = (-42.0, 80.0) if rows else (-8.0, 120.0)
        for px in range(25, 13, -1):
            pitch = px * 1.1
            lines = self._wrapped(words.text, px, middle, pitch)
            if lines is not None and len(lines) * pitch <= most:
                break
        else:
            px, pitch = 14, 15.4
            lines = self._wrapped(words.text, px, middle, pitch, whole=False) or []
        top = middle - pitch * (len(lines) - 1) / 2
        for number, line in enumerate(lines):
            self._line(line, REGULAR, px, top + pitch * number, words.role)
        if rows:
            # an alert takes the room of the last two
            self._rows((16.0, 39.0, 62.0, 85.0)[: 2 if self._picture.banner is not None else 4], 21, 17)
        if self._picture.banner is not None or not rows:
            self._foot()

    def _wrapped(self, text: str, px: int, middle: float, pitch: float, *, whole: bool = True) -> list[str] | None:
        """Break a text into as few lines as hold it around a height; None if four do not."""
        size = self._px(px)
        for count in range(1, SENTENCE_LINES + 1):
            rooms = [2 * self._room(middle + pitch * (n - (count - 1) / 2), px, inside=False) for n in range(count)]
            lines, words = [""], text.split(" ")
            while words:
                longer = f"{lines[-1]} {words[0]}".strip()
                if self._fonts.width(REGULAR, size, longer) <= rooms[len(lines) - 1] - 14 * self._u:
                    lines[-1] = longer
                    words.pop(0)
                elif lines[-1] and len(lines) < count:
                    lines.append("")
                else:
                    break
            if not words:
                return lines
        if not whole:
            return [*lines[:-1], f"{lines[-1]} {' '.join(words)}".strip()]
        return None

    def _figure(self, y: float, most_px: int) -> None:
        figure = self._picture.figure
        if figure is None:
            return
        middle = self._middle + y * self._u
        halves = most_px * CAP_HEIGHT / 2 * self._u, 8 * self._u
        corner, beside = (self._face.half_width(middle - h, middle + h, self._clear) - 2 * self._u for h in halves)
        scale = self._picture.sweep.scale if self._picture.sweep else None
        px = size_for(figure, scale, round(most_px * self._u), (corner, beside - 5 * self._u))
        self._layout.figure = FigureSpot(self._x, middle, px)

    def _title(self, y: float, px: int) -> None:
        title = self._picture.title
        if not title:
            return
        room = 2 * self._room(y, px, inside=True)
        if self._fonts.width(REGULAR, self._px(px), title) > room and " " in title:
            self._two_lines(title, REGULAR, px, y - px * 0.2, Role.SOFT, inside=True, pitch=px * 1.05)
        else:
            self._line(title, REGULAR, px, y, Role.SOFT, inside=True)

    def _foot(self, rows: bool = False) -> None:
        """Fill the part below the value: an alert, else a doubt or a note, else the history."""
        picture = self._picture
        if picture.banner is not None:
            self._layout.banner_top = round(self._middle + 50.0 * self._u)
            self._two_lines(picture.banner.text, BOLD, INFORMS_PX, 76.0, None)
            return
        words = picture.remark
        if words is not None:
            if rows:
                self._two_lines(words.text, REGULAR, 17, 93.0, words.role, pitch=18.0)
            else:
                self._two_lines(words.text, REGULAR, INFORMS_PX, 73.5, words.role, pitch=24.0)
        elif picture.strip is not None and not rows:
            half = 62.0 * self._u
            top = round(self._middle + 60.0 * self._u)
            self._layout.strip = round(self._x - half), top, round(self._x + half), round(top + 34.0 * self._u)

    def _rows(self, ys: tuple[float, ...], px: int, label_px: int) -> None:
        spots = []
        units = {row.unit for row in self._picture.rows}
        figure = self._picture.figure
        shared = figure is not None and units == {figure.unit}
        half = min(self._room(y, px, inside=abs(y) < 48) for y in ys[: len(self._picture.rows)]) - 4 * self._u
        half = min(half, 84.0 * self._u)
        for row, y in zip(self._picture.rows, ys, strict=False):
            size = self._px(px)
            top = round(self._middle + y * self._u - size * CAP_HEIGHT / 2)
            right = self._x + half
            if row.unit and not shared:
                wide = self._fonts.width(REGULAR, self._px(label_px), row.unit)
                self._left_line(row.unit, label_px, right - wide, y)
                right -= wide + 5 * self._u
            spots.append(RowSpot(round(right), top, size))
            value = self._fonts.width(BOLD, size, max(row.text, "000", key=len))
            room = right - value - 6 * self._u - (self._x - half)
            least = self._px(label_px * LEAST_SHARE)
            fitted, text = self._fonts.fit(REGULAR, self._px(label_px), row.label, room, least)
            self._layout.lines.append(self._placed(text, REGULAR, fitted, y, role=Role.SOFT, x=self._x - half))
        self._layout.rows = tuple(spots)

    def _two_lines(
        self, text: str, weight: str, px: int, y: float, role: Role | None, *, inside: bool = False, pitch: float = 25.0
    ) -> None:
        """Set words on one line if they fit, else on two, cut where they can be largest."""
        if self._fonts.width(weight, self._px(px), text) <= 2 * self._room(y, px, inside):
            self._line(text, weight, px, y, role, inside=inside)
            return
        words = text.split(" ")
        cuts = [(" ".join(words[:i]), " ".join(words[i:])) for i in range(1, len(words))] or [(text, "")]
        rooms = 2 * self._room(y - pitch / 2, px, inside), 2 * self._room(y + pitch / 2, px, inside)
        least = self._px(px * LEAST_SHARE)

        def size(cut: tuple[str, str]) -> tuple[float, float]:
            wide = [self._fonts.width(weight, self._px(px), part) for part in cut]
            return -max(SLIGHT, wide[0] / rooms[0], wide[1] / rooms[1]), -max(wide)

        upper, lower = max(cuts, key=size)
        both = min(
            self._fonts.fit(weight, self._px(px), part, room, least)[0]
            for part, room in ((upper, rooms[0]), (lower, rooms[1]))
        )
        for part, room, at in ((upper, rooms[0], y - pitch / 2), (lower, rooms[1], y + pitch / 2)):
            if part:
                fitted = self._fonts.fit(weight, both, part, room, both)[1]
                self._layout.lines.append(self._placed(fitted, weight, both, at, role=role))

    def _line(self, text: str, weight: str, px: int, y: float, role: Role | None, *, inside: bool = False) -> None:
        room = 2 * self._room(y, px, inside)
        size, fitted = self._fonts.fit(weight, self._px(px), text, room, self._px(px * LEAST_SHARE))
        self._layout.lines.append(self._placed(fitted, weight, size, y, role=role))

    def _left_line(self, text: str, px: int, x: float, y: float) -> None:
        self._layout.lines.append(self._placed(text, REGULAR, self._px(px), y, role=Role.SOFT, x=x))

    def _placed(self, text: str, weight: str, px: int, y: float, *, role: Role | None, x: float | None = None) -> Line:
        top = round(self._middle + y * self._u - px * CAP_HEIGHT / 2)
        return Line(text, weight, px, self._x if x is None else x, top, role, x is None)

    def _room(self, y: float, px: int, inside: bool) -> float:
        middle, half = self._middle + y * self._u, px * CAP_HEIGHT / 2 * self._u
        return self._face.half_width(middle - half, middle + half, self._clear if inside else None)

    def _px(self, px: float) -> int:
        return max(7, round(px * self._u))
