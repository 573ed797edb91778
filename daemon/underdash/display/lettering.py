"""Setting text into a field: what fits where, in which size.

Lettering that informs is at least 25 units, 19 of digit height, as far as the panel allows (`legibility.py`).
"""

from __future__ import annotations

from ..contract.pages import Role
from .fonts import CAP_HEIGHT, REGULAR, Fonts
from .places import Field, Layout, Line

INFORMS_PX = 25
LEAST_SHARE = 0.62
SENTENCE_LINES = 4
SLIGHT = 1.06
"""Words may be this much too wide before another cut is looked for: a pixel less in size cannot be seen."""


class Lettering:
    """Sets lines of text into a field; what it placed is in `layout`."""

    def __init__(self, fonts: Fonts, field: Field, layout: Layout) -> None:
        self.fonts = fonts
        self.field = field
        self.layout = layout

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

    def sentence(self, text: str, role: Role, middle: float, most: float, most_px: int = INFORMS_PX) -> None:
        """Set a sentence around a height in the largest size in which it is at most so many units high."""
        for px in range(most_px, 13, -1):
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
