"""A page on a round or an upright panel: the sweep along the rim, the rest inside it.

An upright panel has the dial in its upper part, and rows, columns, history or remarks below it. Heights are units from
the dial's middle.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..contract.pages import Role
from .fonts import BOLD, REGULAR
from .lettering import INFORMS_PX
from .setting import Setter

ROW_PX, LABEL_PX = 25, 17
LARGE_PX, LARGE_LABEL_PX = 32, 20
LAST = 88.0
"""Height of the lowest line that is wide enough for a word."""
OPEN = 60.0
"""From here on down the sweep leaves the panel's whole width."""


def spread(count: int, top: float, bottom: float, most: float = 40.0) -> Sequence[float]:
    """Return the heights of so many lines between two, at most so far apart."""
    pitch = min((bottom - top) / count, most)
    return [(top + bottom) / 2 + pitch * (n - (count - 1) / 2) for n in range(count)]


class Dial:
    """Sets a page.

    Args:
        setter: with the field of the dial.
        end: where the panel ends, in units below the dial's middle; more than 120 on an upright panel.
    """

    def __init__(self, setter: Setter, end: float) -> None:
        self._set = setter
        self._picture = setter.picture
        self._end = end
        self._upright = end > 140.0

    def arrange(self) -> None:
        """Place everything."""
        picture = self._picture
        if picture.sentence is not None:
            self._sentence()
        elif picture.figure is None:
            self._without_figure()
        elif self._body and not self._upright:
            self._figure_above_body()
        elif self._many_lamps and not self._upright:
            self._figure_above_lamps()
        else:
            self._figure_alone()

    @property
    def _body(self) -> bool:
        return bool(self._picture.rows or self._picture.columns or self._picture.lines)

    @property
    def _footed(self) -> bool:
        return bool(self._picture.banner or self._picture.remark or self._picture.lamps)

    def _figure_alone(self) -> None:
        setter, figure = self._set, self._picture.figure
        self._title(-60.0, 19)
        setter.figure(-6.0, 72)
        if figure is not None and figure.unit and not figure.beside:
            setter.line(figure.unit, 22, 35.0, Role.SOFT, inside=True)
        if not self._upright:
            self._foot()
            return
        end = self._end - 8.0
        if self._body:
            foot = self._foot_height()
            self._set_body(OPEN, end - (foot + 8.0 if foot else 0.0), 112.0)
            if foot:
                self._upright_foot(end - foot, end)
        else:
            self._upright_foot(OPEN + 6.0, end)

    def _foot_height(self) -> float:
        """Return the height below a body on an upright panel that is kept for what stands at its foot."""
        if not self._footed:
            return 0.0
        words = self._picture.banner or self._picture.remark
        if words is None:
            return 72.0 if self._many_lamps else 36.0
        bold = BOLD if self._picture.banner else REGULAR
        return 38.0 if self._set.fits(words.text, INFORMS_PX, self._end - 26.0, weight=bold) else 62.0

    def _set_body(self, top: float, bottom: float, half: float) -> None:
        setter, picture = self._set, self._picture
        if picture.rows:
            setter.legible_rows(
                lambda n: spread(n, top, bottom, 60.0), LARGE_PX, LARGE_LABEL_PX, most_half=half, free=OPEN
            )
        elif picture.columns:
            setter.columns(top + 4.0, bottom, half)
        else:
            setter.listed(top + 12.0, bottom - 12.0, most_px=LARGE_PX)

    def _figure_above_body(self) -> None:
        setter, picture = self._set, self._picture
        two = " " in picture.title and not setter.fits(picture.title, 16, -67.0, inside=True)
        if two:
            setter.lines(picture.title, 15, -73.0, Role.SOFT, pitch=15.5, inside=True)
        else:
            self._title(-71.0, 16)
        setter.figure(-30.0 if two else -33.0, 44 if two else 50, unit_px=18)
        if picture.rows:
            setter.legible_rows(self._below_figure, ROW_PX, LABEL_PX)
        elif picture.columns:
            setter.columns(-4.0, self._free(82.0), 66.0)
        else:
            setter.listed(-2.0, self._free(74.0), inside=picture.sweep is not None)
        self._foot(body=True)

    def _figure_above_lamps(self) -> None:
        setter = self._set
        self._title(-82.0, 15)
        setter.figure(-47.0, 46, unit_px=17)
        setter.lamps(spread(len(self._picture.lamps), -23.0, 101.0, 36.0), INFORMS_PX)

    def _below_figure(self, count: int) -> Sequence[float]:
        if self._picture.banner is not None or (self._footed and not self._brief):
            # an alert, a remark or lamps take the room of the last ones
            if self._many_lamps:
                return (4.0,) if count == 1 else (-1.0, 25.0)
            return (14.0,) if count == 1 else (6.0, 33.0)
        most = (7.0, 34.0, 61.0) if self._brief else (7.0, 34.0, 61.0, 86.0)
        return {1: (24.0,), 2: (14.0, 44.0), 3: (7.0, 34.0, 61.0)}.get(count, most)

    @property
    def _many_lamps(self) -> bool:
        """Whether there are more lamps than fit side by side, and nothing takes their place."""
        picture = self._picture
        return len(picture.lamps) > 2 and picture.banner is None and picture.remark is None

    @property
    def _brief(self) -> bool:
        """Whether a remark is all there is at the foot and fits on one line there."""
        picture = self._picture
        alone = picture.remark is not None and picture.banner is None
        return alone and self._set.fits(picture.remark.text if picture.remark else "", INFORMS_PX, LAST)

    def _free(self, bottom: float) -> float:
        """Return where what stands above the foot has to end, `bottom` if there is none."""
        if self._picture.banner is not None:
            return 46.0
        return 33.0 if self._many_lamps else 54.0 if self._footed else bottom

    def _without_figure(self) -> None:
        setter, picture = self._set, self._picture
        if self._upright and (self._body or picture.lamps):
            self._upright_without_figure()
            return
        if picture.rows:
            count = len(picture.rows)
            crowded = bool(picture.banner or picture.remark or self._many_lamps)
            self._title(-90.0 if count > 3 or crowded else -80.0, 18)
            if crowded:
                end = 16.0 if self._many_lamps else 74.0 if self._brief else 48.0
                top = -74.0 if picture.sweep is None else -52.0
                setter.legible_rows(lambda n: spread(n, top, end, 52.0), LARGE_PX, 19, most_half=94.0)
            else:
                setter.legible_rows(self._around_middle, 32 if count > 2 else 40, 19, most_half=94.0)
        elif picture.columns:
            self._title(-84.0, 18)
            half = 68.0 if picture.sweep is not None else 78.0 if setter.field.circle else 104.0
            setter.columns(-64.0, self._free(74.0), half)
        elif picture.lines:
            self._title(-92.0, 17)
            setter.listed(-76.0, self._free(82.0), inside=picture.sweep is not None)
        elif picture.lamps:
            self._title(-84.0, 19)
            end, px = (48.0, 18) if picture.banner else (80.0, INFORMS_PX)
            setter.lamps(spread(len(picture.lamps), -66.0, end, 38.0), px)
            if picture.banner is None:
                return
        else:
            self._title(-64.0, 22)
        self._foot(body=self._body)

    def _around_middle(self, count: int) -> Sequence[float]:
        pitch = {1: 0.0, 2: 52.0, 3: 42.0}.get(count, 36.0)
        middle = -14.0 if self._picture.lamps else -2.0
        return [middle + pitch * (i - (count - 1) / 2) for i in range(count)]

    def _upright_without_figure(self) -> None:
        setter, picture, end = self._set, self._picture, self._end - 8.0
        self._title(-98.0, 20)
        top = -60.0 if picture.sweep is not None else -78.0
        if not self._body:
            setter.lamps(spread(len(picture.lamps), top, end, 52.0), LARGE_PX)
            return
        foot = self._foot_height()
        self._set_body(top, end - (foot + 8.0 if foot else 0.0), 80.0 if picture.sweep is not None else 112.0)
        if foot:
            self._upright_foot(end - foot, end)

    def _sentence(self) -> None:
        setter, picture = self._set, self._picture
        self._title(-94.0, 15)
        words, rows = picture.sentence, picture.rows
        end = self._end - 10.0
        if words is not None and self._upright and not rows:
            top = self._end - 70.0 if picture.banner else end
            setter.sentence(words.text, words.role, (top - 80.0) / 2, top + 70.0, LARGE_PX)
        elif words is not None:
            setter.sentence(words.text, words.role, -42.0 if rows else -8.0, 80.0 if rows else 120.0)
        if rows and self._upright and picture.banner is None:
            setter.rows(spread(len(rows), 10.0, end, 46.0), LARGE_PX, LARGE_LABEL_PX, most_half=112.0, free=0.0)
        elif rows:
            # an alert takes the room of the last two, and strokes keep clear of its edge
            ys = (16.0, 39.0, 62.0, 85.0) if picture.banner is None else (13.0, 35.0)
            setter.rows(ys, 21, LABEL_PX)
        if picture.banner is not None or not rows:
            self._foot()

    def _title(self, y: float, px: float) -> None:
        title, setter = self._picture.title, self._set
        if not title:
            return
        if " " in title and not setter.fits(title, px, y, inside=True):
            setter.lines(title, px, y - px * 0.2, Role.SOFT, pitch=px * 1.05, inside=True)
        else:
            setter.line(title, px, y, Role.SOFT, inside=True)

    def _foot(self, *, body: bool = False) -> None:
        """Fill the part below the value: an alert, else a doubt or a note, else lamps, else the history."""
        setter, picture = self._set, self._picture
        if picture.banner is not None:
            setter.banner(50.0)
            setter.lines(picture.banner.text, INFORMS_PX, 76.0, None, pitch=25.0, weight=BOLD)
        elif picture.remark is not None:
            y = LAST if self._brief and body else 76.0 if body else 73.5
            setter.lines(picture.remark.text, INFORMS_PX, y, picture.remark.role, pitch=24.0, part="remark")
        elif picture.lamps:
            full = picture.figure and (len(picture.rows) > 1 or picture.columns or picture.lines)
            two = [50.0, 79.0] if full else [40.0, 71.0]
            setter.lamps(two if self._many_lamps else [72.0], INFORMS_PX)
        elif picture.strip is not None and not body:
            setter.strip(60.0, 94.0, 62.0)

    def _upright_foot(self, top: float, end: float) -> None:
        """Fill what is left under a dial."""
        setter, picture, middle = self._set, self._picture, (top + end) / 2
        if picture.banner is not None:
            setter.banner(top - 4.0)
            setter.lines(picture.banner.text, INFORMS_PX, middle, None, pitch=25.0, weight=BOLD)
        elif picture.remark is not None:
            setter.lines(picture.remark.text, INFORMS_PX, middle, picture.remark.role, pitch=25.0, part="remark")
        elif picture.lamps:
            lines = 2 if len(picture.lamps) > 2 and end - top > 60.0 else 1
            setter.lamps(spread(lines, top, end, 38.0), INFORMS_PX)
        elif picture.strip is not None:
            half = min((end - top) / 2 - 6.0, 56.0)
            setter.strip(middle - half, middle + half, 100.0)
