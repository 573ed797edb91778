"""Drawing what a tester asked: a row for each value, a stroke for each exchange, over time, with what was on show."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image

from ...display.palettes import DAY, Colour
from ..heard import Heard
from ..marks import Mark
from ..picture import AXIS, BETWEEN, HEAD, LEFT, RIGHT, WIDTH, WORDS, Sheet, placed_words
from ..picture_strip import SCALE, Box, Span, pen_width
from .asked import Exchange
from .asked_for import Asked
from .search import Requests

ROW, INSET, LABEL = 30, 4, 16
MOST_ROWS = 24
STROKE_PX = 2
LEGEND = 34


def draw(heard: Heard, found: Requests, marks: Sequence[Mark] = ()) -> Image.Image:
    """Draw up to `MOST_ROWS` values, those answered most often, 1200 pixels wide."""
    often = sorted(found.asked, key=lambda one: (-len(one.values), -len(one.exchanges)))[:MOST_ROWS]
    rows = [one for one in found.asked if any(one is other for other in often)]
    spans = [(mark.begin, mark.last, mark.word) for mark in marks if mark.end is not None]
    span = Span(heard.begin, heard.end, SCALE * LEFT, SCALE * (WIDTH - RIGHT))
    words = placed_words(spans, span)
    top = HEAD + LEGEND + WORDS * max([1, *(line + 1 for _, line, _ in words)])
    below = top + max(1, len(rows)) * (ROW + BETWEEN // 3) + BETWEEN
    sheet = Sheet(below + AXIS, span)
    sheet.head("requests" if rows else "requests: nobody asks anything here", heard)
    _legend(sheet)
    for x, line, word in words:
        sheet.text(x, HEAD + LEGEND + WORDS * line + WORDS // 2, word, soft=True)
    sheet.marks(spans, Box(LEFT, top, WIDTH - RIGHT, below - BETWEEN))
    named = {id(best.asked): one.word for one in found.shown if (best := one.best) is not None}
    for place, one in enumerate(rows):
        _row(sheet, top + place * (ROW + BETWEEN // 3), one, named.get(id(one), ""))
    if len(found.asked) > len(rows):
        sheet.text(LEFT, below - BETWEEN // 2, f"and {len(found.asked) - len(rows)} asked less often", soft=True)
    sheet.axis(below)
    return sheet.image.reduce(SCALE)


def _legend(sheet: Sheet) -> None:
    x = float(LEFT)
    for text, colour in (("answered", DAY.accent), ("refused", DAY.warning), ("no whole answer", DAY.muted)):
        y = SCALE * (HEAD + LEGEND // 2)
        sheet.pen.line((SCALE * x, y - SCALE * 8, SCALE * x, y + SCALE * 8), colour, pen_width(2 * STROKE_PX))
        x += 12 + sheet.text(x + 10, HEAD + LEGEND // 2, text, soft=True) + 24


def _row(sheet: Sheet, top: int, one: Asked, word: str) -> None:
    middle = top + ROW / 2
    by = one.whom.by or one.whom.to
    who = f"{by}" + ("" if one.whom.address is None else f" {one.whom.address:02X}")
    sheet.text(LEFT - 14, middle, word or f"{who}: {one.name}", anchor="rm", most=LEFT - 24, px=LABEL)
    sheet.pen.line((sheet.span.left, SCALE * (top + ROW), sheet.span.right, SCALE * (top + ROW)), DAY.track, SCALE)
    drawn: set[tuple[int, Colour]] = set()
    for exchange in one.exchanges:
        message = exchange.request or exchange.answer
        x = round(sheet.span.x(message.at)) if message is not None else 0
        colour = _colour(exchange)
        if (x, colour) not in drawn:
            drawn.add((x, colour))
            box = (x, SCALE * (top + INSET), x, SCALE * (top + ROW - INSET))
            sheet.pen.line(box, colour, pen_width(STROKE_PX))


def _colour(exchange: Exchange) -> Colour:
    if exchange.refused is not None:
        return DAY.warning
    return DAY.accent if exchange.answer is not None else DAY.muted
