"""A page on a wide panel: the sweep is an arch over its whole width, and what belongs beside the figure stands there.

Heights are units from the panel's middle; it is 240 units high, a long one 190.
"""

from __future__ import annotations

from ..contract.pages import Role
from .dial import spread
from .fonts import BOLD
from .lettering import INFORMS_PX
from .places import Field
from .setting import Setter

HIGH, LONG_HIGH = 240.0, 190.0
RISE, LONG_RISE = 44.0, 26.0
"""Units by which the middle of the arch lies above its ends."""
LONG = 1.9
"""Width over height from which a panel is long: even a short page is set in two halves."""
EDGE = 8.0
LEFT = 0.48
"""Share of the width that a figure takes with something beside it."""


class Wide:
    """Sets a page.

    Args:
        setter: with the field of the whole panel.
        left, right: fields of its halves.
        long: whether it is.
    """

    def __init__(self, setter: Setter, left: Field, right: Field, *, long: bool) -> None:
        self._set = setter
        self._long = long
        self._bottom = (LONG_HIGH if long else HIGH) / 2 - EDGE
        self._left, self._right = setter.elsewhere(left), setter.elsewhere(right)
        self._picture = setter.picture
        self._arched = self._picture.sweep is not None

    def arrange(self) -> None:
        """Place everything."""
        picture = self._picture
        bottom = self._bottom - self._foot_height()
        if picture.sentence is not None:
            self._sentence(bottom)
        else:
            self._title()
            top = (48.0 if self._long else 64.0) if self._arched else 32.0
            top -= self._bottom
            self._main(top, bottom)
        self._foot(bottom)

    def _main(self, top: float, bottom: float) -> None:
        if self._picture.figure is None:
            self._body(self._set, top, bottom)
        elif self._beside():
            self._figure(self._left, top, bottom, 100, grouped="all")
            self._body(self._right, top + 4.0, bottom)
        else:
            self._figure(self._set, top, bottom, 100, grouped="unit")

    def _beside(self) -> bool:
        """Say whether something stands beside the figure."""
        picture = self._picture
        if picture.rows or picture.columns or picture.lines or len(picture.lamps) > 2:
            return True
        return self._long and bool(picture.strip or picture.remark or picture.lamps)

    def _foot_height(self) -> float:
        picture = self._picture
        if picture.banner is not None:
            return 44.0
        if picture.figure is not None and self._beside() and not (picture.rows or picture.columns or picture.lines):
            return 0.0
        if picture.remark is not None:
            return 34.0
        if picture.lamps and (picture.figure is not None or picture.rows or picture.columns or picture.lines):
            return 36.0
        return 46.0 if picture.strip is not None and not self._beside() else 0.0

    def _title(self) -> None:
        # the arch leaves less room below its ends than below its middle
        y = (34.0 if self._long else 42.0) if self._arched else 14.0
        self._set.line(self._picture.title, 20, y - self._bottom, Role.SOFT, inside=True)

    def _figure(self, setter: Setter, top: float, bottom: float, most_px: float, *, grouped: str) -> None:
        """Set the figure between two heights, its unit below."""
        figure = self._picture.figure
        # beside something else there is no room to spare beside the digits, but for a sign of degrees
        hangs = figure is not None and (figure.unit == "°" if setter is self._left else figure.beside)
        below = figure is not None and bool(figure.unit) and not hangs
        kept = 30.0 if below else 0.0
        setter.figure(
            (top + bottom - kept) / 2,
            min(most_px, (bottom - top - kept) / 0.84),
            grouped=grouped,
            below=below,
        )
        spot = self._set.layout.figure
        if figure is not None and below and spot is not None:
            digits = (spot.y - setter.field.y + spot.px * 0.38) / setter.field.unit
            under = setter.elsewhere(setter.field._replace(x=spot.x))
            under.line(figure.unit, 24, digits + 20.0, Role.SOFT)

    def _body(self, setter: Setter, top: float, bottom: float) -> None:
        picture, half = self._picture, setter.field.half / setter.field.unit
        if picture.rows:
            rows = len(picture.rows)
            px = 26.0 if rows > 3 or setter is self._right else 32.0
            most_half, label_px = min(half, 170.0), 18 if px < 30 else 21
            setter.legible_rows(lambda n: spread(n, top, bottom, 46.0), px, label_px, most_half=most_half, free=top)
        elif picture.columns:
            setter.columns(top, bottom - 4.0, min(half, 60.0 * len(picture.columns)))
        elif picture.lines:
            setter.listed(top + 10.0, bottom - 10.0)
        elif picture.remark is not None and self._beside():
            setter.lines(
                picture.remark.text, INFORMS_PX, (top + bottom) / 2, picture.remark.role, pitch=27.0, part="remark"
            )
        elif picture.lamps:
            setter.lamps(spread(len(picture.lamps), top, bottom, 38.0), INFORMS_PX)
        elif picture.strip is not None and setter is self._right:
            middle = (top + bottom) / 2
            setter.strip(middle - 36.0, middle + 36.0, half * 0.9)

    def _sentence(self, bottom: float) -> None:
        setter, picture, words = self._set, self._picture, self._picture.sentence
        top, rows = 18.0 - self._bottom, len(picture.rows)
        setter.line(picture.title, 15, 10.0 - self._bottom, Role.SOFT)
        if not rows:
            middle, most = (top + bottom) / 2, bottom - top
        elif bottom - top > 170.0:
            middle, most = top + 42.0, 78.0
        else:
            middle, most = top + 26.0, 50.0
        if words is not None:
            setter.sentence(words.text, words.role, middle, most)
        start = middle + most / 2 + 2.0
        fitting = min(rows, max(int((bottom - start) / 21.0), 1))
        if rows:
            half = min(setter.field.half / setter.field.unit, 170.0)
            setter.rows(spread(fitting, start, bottom), 23, 18, most_half=half)

    def _foot(self, top: float) -> None:
        """Fill what was kept free below: an alert, else a doubt or a note, else lamps, else the history."""
        setter, picture = self._set, self._picture
        middle, kept = (top + self._bottom) / 2, self._bottom - top
        if picture.banner is not None:
            setter.banner(top + 2.0)
            setter.line(picture.banner.text, INFORMS_PX, middle + 4.0, None, weight=BOLD)
        elif kept <= 0.0:
            return
        elif picture.remark is not None:
            setter.line(picture.remark.text, INFORMS_PX, middle + 2.0, picture.remark.role, part="remark")
        elif picture.lamps and not setter.layout.lamps:
            setter.lamps([middle + 1.0], INFORMS_PX)
        elif picture.strip is not None:
            setter.strip(top + 4.0, self._bottom - 2.0, min(setter.field.half / setter.field.unit * 0.8, 200.0))


def halves(field: Field) -> tuple[Field, Field]:
    """Return the left and the right part of a wide field, with a gap between; rows on the right need more room."""
    gap, left, right = 3.0 * field.unit, field.half * LEFT, field.half * (1 - LEFT)
    return (
        field._replace(x=field.x - field.half + left, half=left - gap, clear=None),
        field._replace(x=field.x + field.half - right, half=right - gap, clear=None),
    )
