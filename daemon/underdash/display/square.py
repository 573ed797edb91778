"""A page on a square panel: the sweep is an arch over its width, so that its corners and its foot hold values too.

Heights are units from the panel's middle, as on a wide one; what stands beside the figure there stands below it here.
"""

from __future__ import annotations

from .fonts import BOLD, REGULAR
from .lettering import INFORMS_PX
from .setting import Setter
from .wide import Wide

BODY_SHARE = 0.66
"""Most of the height below the arch that rows, columns or a list take from the figure."""
ROWS_HIGH = {1: 44.0, 2: 78.0, 3: 102.0}
ELSE_HIGH = 118.0
UNIT_PX = 20.0
LINE_PITCH = 25.0


class Square(Wide):
    """Sets a page.

    Args:
        setter: with the field of the whole panel.
    """

    def __init__(self, setter: Setter) -> None:
        super().__init__(setter, setter.field, setter.field, long=False)

    def _main(self, top: float, bottom: float) -> None:
        picture, setter = self._picture, self._set
        if picture.figure is None:
            self._body(setter, top, bottom)
        elif not (picture.rows or picture.columns or picture.lines):
            self._figure(setter, top, bottom, 100.0, grouped="all")
        else:
            high = ROWS_HIGH.get(len(picture.rows), ELSE_HIGH)
            middle = bottom - min(high, BODY_SHARE * (bottom - top))
            setter.figure((top + middle) / 2, min((middle - top - 6.0) / 0.8, 92.0), unit_px=UNIT_PX, grouped="all")
            self._body(setter, middle, bottom)

    def _beside(self) -> bool:
        return False

    def _foot_height(self) -> float:
        picture = self._picture
        words = picture.banner or picture.remark
        if words is not None:
            weight = BOLD if picture.banner else REGULAR
            one = self._set.fits(words.text, INFORMS_PX, self._bottom - LINE_PITCH, weight=weight)
            return 38.0 if one else 62.0
        if picture.lamps and (picture.figure is not None or picture.rows or picture.columns or picture.lines):
            return 40.0 if len(picture.lamps) < 3 else 74.0
        return 50.0 if picture.strip is not None else 0.0

    def _foot(self, top: float) -> None:
        """Fill what was kept free below: an alert, else a doubt or a note, else lamps, else the history."""
        setter, picture, middle = self._set, self._picture, (top + self._bottom) / 2
        if picture.banner is not None:
            setter.banner(top + 2.0)
            setter.lines(picture.banner.text, INFORMS_PX, middle + 4.0, None, pitch=LINE_PITCH, weight=BOLD)
        elif picture.remark is not None:
            role = picture.remark.role
            setter.lines(picture.remark.text, INFORMS_PX, middle + 2.0, role, pitch=LINE_PITCH, part="remark")
        elif len(picture.lamps) > 2 and not setter.layout.lamps and top < self._bottom:
            setter.lamps((middle - 16.0, middle + 18.0), INFORMS_PX)
        else:
            super()._foot(top)
