"""One strip of a picture: a field over time, as steps between named levels or as a line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import floor, log10

import numpy as np
from PIL import ImageDraw

from ..contract.units import UNITS
from ..display.palettes import DAY, Colour
from .found import Candidate
from .heard import Floats, Integers
from .like.reference import Reference
from .series import Series

SCALE = 2
"""Pixels of the pen for one of the finished picture."""
MOST_LEVELS = 6
"""A field that takes more values than these is drawn as a number."""
STEP_PX, LEAST_PX, JUMP_PX, LINE_PX, INSET_PX = 6, 3, 2, 3, 10
POINT_PX, MOST_POINTS = 3.5, 300
"""Radius of a reference's points; where it has more than so many, they lie below the line, which they would hide."""
SILENT_PERIODS, SILENT_S = 10.0, 0.5
"""A strip is empty where nothing came for so many periods, and so long at least."""


@dataclass(frozen=True, slots=True)
class Span:
    """The time that is drawn, and between which of the pen's columns."""

    begin: float
    end: float
    left: float
    right: float

    def x(self, at: float) -> float:
        """Return the column of a time, the nearest end for one outside."""
        length = self.end - self.begin
        share = (at - self.begin) / length if length > 0 else 0.0
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))


@dataclass(frozen=True, slots=True)
class Box:
    """Where a strip is, in finished pixels."""

    left: float
    top: float
    right: float
    bottom: float


def pen_width(px: float) -> int:
    """Return the pen's width for a width in finished pixels."""
    return max(1, round(SCALE * px))


def draw_strip(
    pen: ImageDraw.ImageDraw, span: Span, box: Box, series: Series, candidate: Candidate,
    *, reference: Reference | None = None,
) -> list[tuple[float, str]]:  # fmt: skip
    """Draw a field, and the points of what it follows; returns what is to be written beside it, and at which height."""
    good = np.isfinite(series.value)
    series = Series(series.at[good], series.value[good], series.period_s)
    if not len(series):
        return [((box.top + box.bottom) / 2, "no number")]
    count = len(np.unique(series.value))
    if count == 1 or (count <= MOST_LEVELS and reference is None):
        return _steps(pen, span, box, series, candidate)
    return _line(pen, span, box, series, candidate, reference=reference)


def pieces(series: Series) -> list[slice]:
    """Return the stretches between long silences."""
    allowed = max(SILENT_S, SILENT_PERIODS * (series.period_s or 0.0))
    cuts = [0, *(np.flatnonzero(np.diff(series.at) > allowed) + 1).tolist(), len(series)]
    return [slice(first, last) for first, last in pairwise(cuts)]


def _steps(
    pen: ImageDraw.ImageDraw, span: Span, box: Box, series: Series, candidate: Candidate
) -> list[tuple[float, str]]:
    levels = np.unique(series.value)
    room = box.bottom - box.top - 2 * INSET_PX
    share = np.linspace(1.0, 0.0, len(levels)) if len(levels) > 1 else np.array([0.5])
    heights = {float(level): box.top + INSET_PX + room * part for level, part in zip(levels, share, strict=True)}
    for y in heights.values():
        pen.line((span.left, SCALE * y, span.right, SCALE * y), DAY.track, pen_width(1))
    runs = [run for piece in pieces(series) for run in _runs(series, piece)]
    rest = None if candidate.where.comes else _rest(runs)
    for begin, end, value, before in sorted(runs, key=lambda run: run[2] != rest):
        y, colour = SCALE * heights[value], DAY.muted if value == rest else DAY.accent
        left, right = span.x(begin), max(span.x(end), span.x(begin) + pen_width(LEAST_PX))
        if before is not None:
            pen.line((left, SCALE * heights[before], left, y), DAY.muted, pen_width(JUMP_PX))
        half = pen_width(STEP_PX) / 2
        pen.rectangle((left, y - half, right, y + half), fill=colour)
    return [(y, _level_text(value, candidate)) for value, y in heights.items()]


Run = tuple[float, float, float, float | None]
"""From when until when, at which value, and the value before where it joins one."""


def _runs(series: Series, piece: slice) -> list[Run]:
    at, value = series.at[piece], series.value[piece]
    starts = np.concatenate(([0], np.flatnonzero(np.diff(value)) + 1))
    ends = np.append(at[starts[1:]], at[-1])
    before = [None, *value[starts[:-1]].tolist()]
    return list(zip(at[starts].tolist(), ends.tolist(), value[starts].tolist(), before, strict=True))


def _rest(runs: list[Run]) -> float:
    held: dict[float, float] = {}
    for begin, end, value, _ in runs:
        held[value] = held.get(value, 0.0) + end - begin
    return max(held, key=lambda value: held[value])


def _level_text(value: float, candidate: Candidate) -> str:
    if candidate.where.comes:
        return "sent"
    word = candidate.meaning.get(int(value), "") if value == int(value) else ""
    return f"{word} {value:g}".strip()


def _line(
    pen: ImageDraw.ImageDraw, span: Span, box: Box, series: Series, candidate: Candidate,
    *, reference: Reference | None = None,
) -> list[tuple[float, str]]:  # fmt: skip
    value = series.value * candidate.figures.get("scale", 1.0) + candidate.figures.get("offset", 0.0)
    low, high = float(value.min()), float(value.max())
    top, bottom = box.top + INSET_PX, box.bottom - INSET_PX
    for y in (top, bottom):
        pen.line((span.left, SCALE * y, span.right, SCALE * y), DAY.track, pen_width(1))

    def placed(at: Floats, value: Floats) -> tuple[Floats, Floats]:
        y = bottom - (value - low) / (high - low) * (bottom - top)
        # what lies beyond the field's ends is seen to do so, but not how far
        x: Floats = np.interp(at, (span.begin, span.end), (span.left, span.right))
        return x, SCALE * np.clip(y, box.top, box.bottom)

    known = moved(reference, candidate, span) if reference is not None else None
    if known is not None and len(known) > MOST_POINTS:
        _points(pen, *placed(known.at, known.value))
    x_of, y_of = placed(series.at, value)
    for piece in pieces(series):
        kept = _telling(x_of[piece], y_of[piece])
        points = list(zip(x_of[piece][kept].tolist(), y_of[piece][kept].tolist(), strict=True))
        if len(points) > 1:
            pen.line(points, DAY.accent, pen_width(LINE_PX), joint="curve")
        if known is None:
            _dot(pen, points[-1], pen_width(LINE_PX) * 0.9, DAY.ink)
    if known is not None and len(known) <= MOST_POINTS:
        _points(pen, *placed(known.at, known.value))
    unit = f" {label_of(known.unit)}".rstrip() if known is not None else ""
    return [(bottom, _end_text(low, high - low) + unit), (top, _end_text(high, high - low) + unit)]


def label_of(unit: str) -> str:
    """Return a unit as it is shown, whether it is known or not."""
    return UNITS[unit].label if unit in UNITS else unit


def _end_text(value: float, span: float) -> str:
    """Write an end of a scale, to a hundredth of its length or finer; whole ones, such as raw numbers, as such."""
    decimals = 0 if value.is_integer() and span.is_integer() else min(9, max(0, 2 - floor(log10(span))))
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def _points(pen: ImageDraw.ImageDraw, x: Floats, y: Floats) -> None:
    for point in zip(x.tolist(), y.tolist(), strict=True):
        _dot(pen, point, SCALE * POINT_PX, DAY.ink)


def moved(reference: Reference, candidate: Candidate, span: Span) -> Reference:
    """Return a reference at the times at which a field that follows it carries what it held, where that is drawn."""
    lag_s, drift = candidate.figures.get("lag_s", 0.0), candidate.figures.get("drift", 0.0)
    middle = float(reference.at.mean()) if len(reference) else 0.0
    there = replace(reference, at=reference.at + lag_s + drift * (reference.at - middle))
    return there.only(np.flatnonzero((there.at >= span.begin) & (there.at <= span.end)))


def _telling(x: Floats, y: Floats) -> Integers:
    """Return which points are needed: of each column the first, last, lowest and highest."""
    column = np.floor(x).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(column)) + 1))
    if 4 * len(starts) >= len(x):
        return np.arange(len(x))
    group = np.cumsum(np.concatenate(([0], np.diff(column) != 0)))
    order = np.lexsort((y, group))
    return np.unique(np.concatenate((starts, np.append(starts[1:] - 1, len(x) - 1), order[starts],
                                     order[np.append(starts[1:] - 1, len(x) - 1)])))  # fmt: skip


def _dot(pen: ImageDraw.ImageDraw, middle: tuple[float, float], radius: float, colour: Colour) -> None:
    x, y = middle
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)
