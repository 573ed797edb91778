"""Drawing what was found: each candidate as a strip over time, with the marks that a person set upon it.

Switches and choices are steps between named levels, dim at rest and bright otherwise; numbers are a line. Where an id
was silent for long, its strip stays empty. Everything is drawn larger and reduced, so that thin lines are smooth.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from PIL import Image, ImageDraw

from ..display.fonts import BOLD, REGULAR, Fonts
from ..display.palettes import DAY, Colour
from .found import Candidate, percent
from .heard import Heard
from .like.reference import Reference, within
from .picture_strip import LINE_PX, POINT_PX, SCALE, Box, Span, draw_strip, label_of, pen_width
from .series import series_of

WIDTH, LEFT, RIGHT = 1200, 190, 28
HEAD, WORDS, TITLE, BETWEEN, AXIS, LEGEND = 60, 26, 32, 18, 58, 34
WORD_ROWS, APART = 3, 10
STRIPS_HEIGHT, LEAST_HEIGHT, MOST_HEIGHT = 400, 62, 170
TALLER = 1.5
"""So much taller are strips in which a field is to be held against a reference."""
SHOWN = 5
BIG, NORMAL, LEAST_PX = 27, 19, 12
INTERVAL: Colour = (25, 32, 37)
MARK: Colour = (120, 130, 136)
MOST_TICKS = 10

Mark = tuple[float, float, str]
"""From when until when, in seconds, and a word; both times are the same for a moment."""


def draw(
    heard: Heard, candidates: Sequence[Candidate], marks: Sequence[Mark] = (), *, title: str = "",
    names: Sequence[str] = (), reference: Reference | None = None,
) -> Image.Image:  # fmt: skip
    """Draw up to `SHOWN` candidates below each other, 1200 pixels wide.

    Args:
        heard: what they were found in.
        candidates: best first.
        marks: what a person did when.
        title: what was asked.
        names: a word for each candidate, where they answer different questions.
        reference: what the candidates follow, whose points are drawn over each, in its unit.
    """
    shown = candidates[:SHOWN]
    height = min(MOST_HEIGHT, max(LEAST_HEIGHT, STRIPS_HEIGHT // max(1, len(shown))))
    height = height if reference is None else round(TALLER * height)
    span = Span(heard.begin, heard.end, SCALE * LEFT, SCALE * (WIDTH - RIGHT))
    words = placed_words(marks, span)
    first = HEAD
    if reference is not None:
        reference = within(reference, heard)
        first += LEGEND
    above = first + WORDS * max([int(reference is None), *(row + 1 for _, row, _ in words)])
    below = above + max(1, len(shown)) * (TITLE + height + BETWEEN)
    sheet = Sheet(below + AXIS, span)
    sheet.head(title, heard)
    if reference is not None and shown:
        sheet.legend(reference)
    for x, row, word in words:
        sheet.text(x, first + WORDS * row + WORDS // 2, word, soft=True)
    for place, candidate in enumerate(shown):
        top = above + place * (TITLE + height + BETWEEN)
        sheet.title(top, f"{place + 1}" if not names else names[place], candidate)
        box = Box(LEFT, top + TITLE, WIDTH - RIGHT, top + TITLE + height)
        sheet.marks(marks, box)
        series = series_of(heard, candidate.where)
        if series is None:
            sheet.text(LEFT, top + TITLE + height // 2, "not in this recording", soft=True)
            continue
        sheet.levels(draw_strip(sheet.pen, sheet.span, box, series, candidate, reference=reference))
    if not shown:
        sheet.text(LEFT, above + TITLE, "nothing found", soft=True)
    sheet.axis(below)
    return sheet.image.reduce(SCALE)


def ticks(seconds: float) -> list[float]:
    """Return round times from 0 to `seconds`, at most `MOST_TICKS` and one more."""
    step = 10.0**-6
    while seconds / step > MOST_TICKS:
        for factor in (2.0, 2.5, 2.0):
            step *= factor
            if seconds / step <= MOST_TICKS:
                break
    return [count * step for count in range(int(seconds / step + 1e-9) + 1)]


def _within(marks: Sequence[Mark], span: Span) -> list[Mark]:
    return sorted(mark for mark in marks if mark[1] >= span.begin and mark[0] <= span.end)


def placed_words(marks: Sequence[Mark], span: Span) -> list[tuple[float, int, str]]:
    """Find room for the marks' words: column, row and word; one that no row has room for is left out."""
    fonts, free, placed = Fonts(), [0.0] * WORD_ROWS, []
    for begin, _, word in _within(marks, span):
        x, wide = span.x(begin) / SCALE, fonts.width(REGULAR, NORMAL, word)
        row = next((row for row, at in enumerate(free) if at <= x), None)
        if row is not None and x + wide <= WIDTH:
            free[row] = x + wide + APART
            placed.append((x, row, word))
    return placed


class Sheet:
    """The paper, in final pixels; the pen that it lends out is `SCALE` times as fine."""

    def __init__(self, height: int, span: Span) -> None:
        self.image = Image.new("RGB", (SCALE * WIDTH, SCALE * height), DAY.ground)
        self.pen = ImageDraw.Draw(self.image)
        self.span = span
        self._fonts = Fonts()

    def text(
        self, x: float, y: float, text: str, *, anchor: str = "lm", most: float = WIDTH, px: int = NORMAL,
        weight: str = REGULAR, soft: bool = False,
    ) -> float:  # fmt: skip
        """Write a line, smaller or cut where it would be wider than `most`; returns how wide it became."""
        size, text = self._fonts.fit(weight, SCALE * px, text, SCALE * most, SCALE * LEAST_PX)
        face = self._fonts.face(weight, size)
        self.pen.text((SCALE * x, SCALE * y), text, DAY.soft if soft else DAY.ink, face, anchor)
        return face.getlength(text) / SCALE

    def head(self, title: str, heard: Heard) -> None:
        """Write what was asked, and of which recording."""
        wide = self.text(RIGHT, HEAD // 2 + 4, title, px=BIG, weight=BOLD, most=0.6 * WIDTH)
        about = f"{heard.trace}, {heard.end - heard.begin:.1f} s, {heard.frames} frames".removeprefix(", ")
        self.text(WIDTH - RIGHT, HEAD // 2 + 4, about, anchor="rm", soft=True, most=WIDTH - wide - 3 * RIGHT)

    def legend(self, reference: Reference) -> None:
        """Say what is the field and what the reference."""
        y = HEAD + LEGEND // 2
        self.pen.line((SCALE * LEFT, SCALE * y, SCALE * (LEFT + 26), SCALE * y), DAY.accent, pen_width(LINE_PX))
        x = LEFT + 36 + self.text(LEFT + 36, y, "the field", soft=True) + 36
        radius = SCALE * POINT_PX
        self.pen.ellipse((SCALE * x - radius, SCALE * y - radius, SCALE * x + radius, SCALE * y + radius), DAY.ink)
        label = label_of(reference.unit)
        unit = f" in {label}" if label and label not in reference.name else ""
        text = f"{reference.name}{unit}, {len(reference)} values, each moved by the lag that was found"
        self.text(x + 16, y, text, soft=True, most=WIDTH - RIGHT - x - 16)

    def title(self, top: float, name: str, candidate: Candidate) -> None:
        """Write above a strip which place it is and how likely it is the right one."""
        sure = percent(candidate.confidence)
        wide = self.text(WIDTH - RIGHT, top + TITLE // 2, sure, anchor="rm", weight=BOLD)
        self.text(LEFT - 14, top + TITLE // 2, name, anchor="rm", weight=BOLD, most=LEFT - 24)
        self.text(LEFT, top + TITLE // 2, str(candidate.where), most=WIDTH - LEFT - wide - 2 * RIGHT)

    def levels(self, levels: Sequence[tuple[float, str]]) -> None:
        """Write the names of values at their heights, smaller where they stand close."""
        heights = sorted(y for y, _ in levels)
        room = min((below - above for above, below in pairwise(heights)), default=NORMAL)
        px = int(min(NORMAL, max(LEAST_PX, room)))
        for y, text in levels:
            self.text(LEFT - 14, y, text, anchor="rm", most=LEFT - 24, px=px, soft=True)

    def marks(self, marks: Sequence[Mark], box: Box) -> None:
        """Draw marks behind a strip: a moment as a line, an interval as a field between two."""
        top, foot = SCALE * (box.top - 2), SCALE * (box.bottom + BETWEEN - 4)
        for begin, end, _ in _within(marks, self.span):
            if end > begin:
                self.pen.rectangle((self.span.x(begin), top, self.span.x(end), foot), fill=INTERVAL)
        for at in {time for begin, end, _ in _within(marks, self.span) for time in (begin, end)}:
            self.pen.line((self.span.x(at), top, self.span.x(at), foot), MARK, pen_width(1))

    def axis(self, below: float) -> None:
        """Draw the seconds from the start of the recording."""
        y = SCALE * (below + 2)
        self.pen.line((self.span.left, y, self.span.right, y), DAY.track, pen_width(1))
        for at in ticks(self.span.end - self.span.begin):
            x = self.span.x(self.span.begin + at)
            self.pen.line((x, y, x, y + SCALE * 7), DAY.track, pen_width(1))
            self.text(x / SCALE, below + 24, f"{at:g}", anchor="mm", soft=True)
        self.text(LEFT - 14, below + 24, "seconds", anchor="rm", soft=True)
