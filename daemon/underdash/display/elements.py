"""What a page put on the canvas, as values that can be compared with those of the last frame.

`Recorder` is the canvas a page gets. It keeps only what can be seen, checks it, and paints nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, isfinite

from ..contract.content import Words
from ..contract.errors import UnderdashError
from ..contract.pages import Page, Role, Scale
from ..contract.signals import Age, Quality, Reading, Snapshot

STRIP_COLUMNS = 60
MOST_ROWS = 4
MOST_CHARACTERS = 48
MOST_SENTENCE = 96
TURN_S = 4.0


@dataclass(frozen=True, slots=True)
class Sweep:
    """A band along the rim; value and peak in the scale's unit, None where there is none."""

    value: float | None
    scale: Scale
    peak: float | None
    age: Age


@dataclass(frozen=True, slots=True)
class Figure:
    """The main value: its digits, the sign and mark that hang to their left, its unit."""

    digits: str
    sign: str
    mark: str
    unit: str
    age: Age
    signed: bool
    decimals: int


@dataclass(frozen=True, slots=True)
class Strip:
    """Recent history: a value for each of `STRIP_COLUMNS` equal stretches of time, oldest first."""

    columns: tuple[float | None, ...]
    scale: Scale


@dataclass(frozen=True, slots=True)
class Row:
    """One of several values."""

    label: str
    text: str
    unit: str
    role: Role
    age: Age


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything on a panel at one moment."""

    sweep: Sweep | None = None
    figure: Figure | None = None
    title: str = ""
    strip: Strip | None = None
    rows: tuple[Row, ...] = ()
    remark: Words | None = None
    banner: Words | None = None
    ring: float = 0.0
    sentence: Words | None = None


class Recorder:
    """The canvas handed to a page.

    Args:
        size: of the panel in pixels.
        now: the snapshot's time; history lies on fixed stretches of it, so that its line stands still in between.
    """

    def __init__(self, size: tuple[int, int], now: float = 0.0) -> None:
        self._size = size
        self._now = now
        self._sweep: Sweep | None = None
        self._figure: Figure | None = None
        self._title = ""
        self._strip: Strip | None = None
        self._rows: tuple[Row, ...] = ()
        self._remark: Words | None = None
        self._sentence: Words | None = None

    @property
    def width(self) -> int:
        """Pixels across."""
        return self._size[0]

    @property
    def height(self) -> int:
        """Pixels down."""
        return self._size[1]

    def sweep(self, reading: Reading, scale: Scale, *, peak: float | None = None) -> None:
        """Draw a band along the rim that grows from the scale's zero; values in the shown unit."""
        _once(self._sweep, "sweep")
        self._sweep = Sweep(_number(reading.shown), _checked(scale, "sweep"), _number(peak), reading.age)

    def figure(self, reading: Reading, *, signed: bool = False) -> None:
        """Draw the page's main value: its digits, its unit below."""
        _once(self._figure, "figure")
        digits, sign, mark = _split(reading, signed)
        self._figure = Figure(digits, sign, mark, _short(reading.unit), reading.age, signed, reading.digits)

    def title(self, text: str) -> None:
        """Name what the page shows, in lower case."""
        self._title = _short(text)

    def strip(self, points: tuple[tuple[float, float], ...], scale: Scale, *, seconds: float) -> None:
        """Draw recent history as one thin line of (seconds ago, value in the shown unit)."""
        _once(self._strip, "strip")
        if not seconds > 0:
            raise UnderdashError(f"strip: seconds is {seconds!r}; it must be more than 0")
        self._strip = Strip(_columns(points, seconds, self._now), _checked(scale, "strip"))

    def rows(self, rows: tuple[tuple[str, Reading, Role], ...]) -> None:
        """Draw up to four values one under the other: label, value with its unit, role of the value."""
        if len(rows) > MOST_ROWS:
            raise UnderdashError(f"rows: {len(rows)} rows; a page holds {MOST_ROWS} at most, for one glance")
        self._rows = tuple(
            Row(_short(label), _short(reading.text), _short(reading.unit), Role(role), reading.age)
            for label, reading, role in rows
        )

    def sentence(self, text: str, role: Role = Role.INK) -> None:
        """Say a whole sentence of up to four lines, in place of a main value; smaller rows fit below it."""
        _once(self._sentence or self._figure, "sentence beside a figure")
        self._sentence = Words(_short(text, MOST_SENTENCE), Role(role))

    def remark(self, text: str, role: Role = Role.CAUTION) -> None:
        """Say a doubt about the value in a few words ("reference assumed")."""
        self._remark = Words(_short(text), Role(role))

    def picture(self, *, note: str = "", banner: Words | None = None, ring: float = 0.0) -> Picture:
        """Return what was recorded, with what the core adds to every page."""
        share = min(max(ring, 0.0), 1.0) if isfinite(ring) else 0.0
        said = [words for words in (self._remark, Words(_short(note), Role.SOFT)) if words is not None and words.text]
        # a doubt and a note take turns: both at once would be too small to read
        turn = floor(self._now / TURN_S) % len(said) if said else 0
        return Picture(
            self._sweep,
            self._figure,
            self._title,
            self._strip,
            self._rows,
            said[turn] if said else None,
            banner,
            round(share * 90) / 90,
            self._sentence,
        )


def record(page: Page, snapshot: Snapshot, size: tuple[int, int], banner: Words | None = None) -> Picture:
    """Have a page drawn and return what it put on the canvas; raises what the page raises."""
    canvas = Recorder(size, snapshot.now)
    page.draw(canvas, snapshot)
    note = snapshot.notes[0] if snapshot.notes else ""
    return canvas.picture(note=note, banner=banner, ring=snapshot.hold)


def _once(before: object, what: str) -> None:
    if before is not None:
        raise UnderdashError(f"{what}: drawn twice on one page; a page has one, other values go into rows")


def _number(value: float | None) -> float | None:
    return value if value is not None and isfinite(value) else None


def _short(text: str, most: int = MOST_CHARACTERS) -> str:
    line = " ".join(str(text).split())
    return line if len(line) <= most else line[: most - 1] + "…"


def _checked(scale: Scale, what: str) -> Scale:
    if not (isfinite(scale.low) and isfinite(scale.high) and scale.low < scale.high):
        raise UnderdashError(f"{what}: the scale goes from {scale.low} to {scale.high}; low must be less than high")
    if not scale.low <= scale.zero <= scale.high:
        raise UnderdashError(f"{what}: the band starts at {scale.zero}, outside {scale.low} to {scale.high}")
    return scale


def _split(reading: Reading, signed: bool) -> tuple[str, str, str]:
    """Return a reading as digits, sign and mark."""
    mark = {Quality.ABOVE: ">", Quality.BELOW: "<"}.get(reading.quality, "")
    number = _number(reading.shown)
    if reading.value is None or (reading.shown is not None and number is None):
        return "--", "", ""
    if number is None:
        return _short(str(reading.value)), "", ""
    digits = f"{abs(number):.{reading.digits}f}"
    if float(digits) == 0:
        return digits, "", mark
    if number < 0:
        return digits, "-", mark
    return digits, "+" if signed and not mark else "", mark


def _columns(points: tuple[tuple[float, float], ...], seconds: float, now: float) -> tuple[float | None, ...]:
    """Return the mean of each finished stretch of time; the one still running is left out."""
    a_second = STRIP_COLUMNS / seconds
    first = floor(now * a_second) - STRIP_COLUMNS
    sums = [0.0] * STRIP_COLUMNS
    counts = [0] * STRIP_COLUMNS
    for ago_s, value in points:
        column = floor((now - ago_s) * a_second) - first
        if 0 <= column < STRIP_COLUMNS and isfinite(value):
            sums[column] += value
            counts[column] += 1
    return tuple(total / count if count else None for total, count in zip(sums, counts, strict=True))
