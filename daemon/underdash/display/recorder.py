"""The canvas a page gets: it keeps what can be seen, checks it, and paints nothing."""

from __future__ import annotations

from math import floor, inf, isfinite

from ..contract.errors import UnderdashError
from ..contract.pages import Page, Role, Scale
from ..contract.signals import Quality, Reading, Snapshot
from ..contract.words import Lamp, Words
from .elements import MOST_DIGITS, STRIP_COLUMNS, Column, Figure, Picture, Row, Strip, Sweep
from .fonts import drawable

MOST_ROWS = 4
MOST_COLUMNS = 4
MOST_LAMPS = 4
ROWS_WITH_LAMPS = 2
MOST_LINES = 6
MOST_CHARACTERS = 48
MOST_SENTENCE = 96
LEAST_STRIP_S = 0.1
TURN_S = 4.0


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
        self._columns: tuple[Column, ...] = ()
        self._lamps: tuple[Lamp, ...] = ()
        self._lines: tuple[Words, ...] = ()
        self._card = False

    @property
    def width(self) -> int:
        """Pixels across."""
        return self._size[0]

    @property
    def height(self) -> int:
        """Pixels down."""
        return self._size[1]

    def sweep(self, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None) -> None:
        """Draw a band along the rim that grows from the scale's zero; values in the shown unit."""
        _once(self._sweep, "sweep")
        self._sweep = _sweep(reading, _checked(scale, "sweep"), peak, average)

    def figure(self, reading: Reading, *, signed: bool = False) -> None:
        """Draw the page's main value: its digits and its unit."""
        _once(self._figure, "figure")
        digits, sign, mark = _split(reading, signed)
        self._figure = Figure(digits, sign, mark, _short(reading.unit), reading.age, signed, reading.digits)

    def title(self, text: str) -> None:
        """Name what the page shows, in lower case."""
        self._title = _short(text)

    def strip(self, points: tuple[tuple[float, float], ...], scale: Scale, *, seconds: float) -> None:
        """Draw recent history as one thin line of (seconds ago, value in the shown unit)."""
        _once(self._strip, "strip")
        if not LEAST_STRIP_S <= seconds < inf:
            raise UnderdashError(f"strip: seconds is {seconds!r}; it is a finite number, {LEAST_STRIP_S:g} at least")
        self._strip = Strip(_binned(points, seconds, self._now), _checked(scale, "strip"))

    def column(
        self, label: str, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None
    ) -> None:
        """Draw a value on an upright scale; up to four stand side by side, such as cylinders or cells."""
        _few(len(self._columns) + 1, MOST_COLUMNS, "columns")
        sweep = _sweep(reading, _checked(scale, "column"), peak, average)
        self._columns += (Column(_short(label), sweep, _text(reading), _short(reading.unit)),)

    def rows(self, rows: tuple[tuple[str, Reading, Role], ...]) -> None:
        """Draw up to four values one under the other: label, value with its unit, role of the value."""
        _few(len(rows), MOST_ROWS, "rows")
        self._rows = tuple(
            Row(_short(label), _text(reading), _short(reading.unit), Role(role), reading.age)
            for label, reading, role in rows
        )

    def lamp(self, text: str, lit: Reading | bool | None, role: Role = Role.INK) -> None:
        """Name a state that is lit in its role or not, and with dashes where nobody knows; up to four."""
        _few(len(self._lamps) + 1, MOST_LAMPS, "lamps")
        if isinstance(lit, Reading):
            known = None if lit.value is None else lit.value is True
            self._lamps += (Lamp(_short(text), known, Role(role), lit.age),)
        else:
            self._lamps += (Lamp(_short(text), lit, Role(role)),)

    def list(self, lines: tuple[tuple[str, Role], ...]) -> None:
        """Say up to six short lines, such as a status; not for use while driving."""
        _few(len(lines), MOST_LINES, "lines")
        self._lines = tuple(Words(_short(text), Role(role)) for text, role in lines)

    def sentence(self, text: str, role: Role = Role.INK) -> None:
        """Say a whole sentence of up to four lines, in place of a main value; smaller rows fit below it."""
        _once(self._sentence or self._figure, "sentence beside a figure")
        self._sentence = Words(_short(text, MOST_SENTENCE), Role(role))

    def remark(self, text: str, role: Role = Role.CAUTION) -> None:
        """Say a doubt about the value in a few words ("reference assumed")."""
        self._remark = Words(_short(text), Role(role))

    def card(self) -> None:
        """Show the test card; the core's own page for it does."""
        self._card = True

    def picture(self, *, note: str = "", banner: Words | None = None, ring: float = 0.0) -> Picture:
        """Return what was recorded, with what the core adds to every page.

        Raises:
            UnderdashError: the page has more than can be read in one glance.
        """
        self._check_glance()
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
            self._columns,
            self._lamps,
            self._lines,
            self._card,
        )

    def _check_glance(self) -> None:
        kinds = {"rows": self._rows, "columns": self._columns, "list": self._lines}
        there = [name for name, found in kinds.items() if found]
        if len(there) > 1:
            raise UnderdashError(
                f"{there[0]} beside {there[1]}: a page has one of rows, columns and list, for one glance"
            )
        if self._lamps and len(self._rows) > ROWS_WITH_LAMPS:
            raise UnderdashError(
                f"rows: {len(self._rows)} rows beside lamps; a page with lamps holds {ROWS_WITH_LAMPS}, for one glance"
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


def _few(count: int, most: int, kind: str) -> None:
    if count > most:
        raise UnderdashError(f"{kind}: {count} {kind}; a page holds {most} at most, for one glance")


def _sweep(reading: Reading, scale: Scale, peak: float | None, average: float | None) -> Sweep:
    return Sweep(_number(reading.shown), scale, _number(peak), reading.age, _number(average))


def _number(value: float | None) -> float | None:
    return value if value is not None and isfinite(value) else None


def _short(text: str, most: int = MOST_CHARACTERS) -> str:
    """Return a text on one line, without what no font can draw."""
    line = drawable(" ".join(str(text).split()))
    return line if len(line) <= most else line[: most - 1] + "…"


def _checked(scale: Scale, what: str) -> Scale:
    if not (isfinite(scale.low) and isfinite(scale.high) and scale.low < scale.high):
        raise UnderdashError(f"{what}: the scale goes from {scale.low} to {scale.high}; low must be less than high")
    if not scale.low <= scale.zero <= scale.high:
        raise UnderdashError(f"{what}: the band starts at {scale.zero}, outside {scale.low} to {scale.high}")
    return scale


def _text(reading: Reading) -> str:
    """Return a reading as a row shows it."""
    if reading.shown is None and not isinstance(reading.value, float):
        return _short(reading.text)
    digits, sign, mark = _split(reading, False)
    return f"{mark}{sign}{digits}"


def _split(reading: Reading, signed: bool) -> tuple[str, str, str]:
    """Return a reading as digits, sign and mark."""
    mark = {Quality.ABOVE: ">", Quality.BELOW: "<"}.get(reading.quality, "")
    number = _number(reading.shown)
    if reading.value is None or (reading.shown is not None and number is None):
        return "--", "", ""
    if number is None:
        return _short(str(reading.value)), "", ""
    digits = f"{abs(number):.{reading.digits}f}" if abs(number) < 10**MOST_DIGITS else f"{abs(number):.0e}"
    if float(digits) == 0:
        return digits, "", mark
    if number < 0:
        return digits, "-", mark
    return digits, "+" if signed and not mark else "", mark


def _binned(points: tuple[tuple[float, float], ...], seconds: float, now: float) -> tuple[float | None, ...]:
    """Return the mean of each finished stretch of time; the one still running is left out."""
    a_second = STRIP_COLUMNS / seconds
    first = floor(now * a_second) - STRIP_COLUMNS
    sums = [0.0] * STRIP_COLUMNS
    counts = [0] * STRIP_COLUMNS
    for ago_s, value in points:
        if not (isfinite(value) and -seconds <= ago_s <= 2 * seconds):
            continue
        column = floor((now - ago_s) * a_second) - first
        if 0 <= column < STRIP_COLUMNS:
            sums[column] += value
            counts[column] += 1
    return tuple(total / count if count else None for total, count in zip(sums, counts, strict=True))
