"""Pages and what they are drawn with.

A page describes, it does not paint: `draw` is called with a canvas and names the elements that should be seen. The
core compares them with those of the last frame and paints what changed, so a page is a pure function.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol as TypingProtocol

from .signals import Reading, Snapshot


class Role(StrEnum):
    """A colour by what it says; the palette in force knows which one that is.

    `CAUTION` is amber (look into it soon) and `WARNING` red (danger, act now), as on a dashboard (ISO 2575): they are
    for values and words that say so, never for decoration.
    """

    INK = "ink"
    SOFT = "soft"
    ACCENT = "accent"
    CAUTION = "caution"
    WARNING = "warning"


ALARMS = (Role.CAUTION, Role.WARNING)
"""The roles that ask something of the driver, and are never decoration."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch of a scale, in the scale's own unit, and the role it takes there."""

    low: float
    high: float
    role: Role


@dataclass(frozen=True, slots=True)
class Scale:
    """The ends of a scale in the shown unit, where its band starts (`zero`), and its zones.

    Shown means: as the owner chose. Limits that a plug-in or its settings have in the stored unit are brought there by
    ``snapshot.shown(signal, limit)``, so make the scale where there is a snapshot: in `draw`.
    """

    low: float
    high: float
    zero: float
    zones: tuple[Zone, ...] = ()


class Canvas(TypingProtocol):
    """What a page can put on a panel; sizes follow from the panel."""

    @property
    def width(self) -> int:
        """Pixels across."""

    @property
    def height(self) -> int:
        """Pixels down."""

    def sweep(self, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None) -> None:
        """Draw a band along the rim that grows from the scale's zero; scale and marks are in the shown unit.

        `Snapshot.shown` brings a limit in the stored unit there, `Snapshot.peak` is there already.
        """

    def figure(self, reading: Reading, *, signed: bool = False) -> None:
        """Draw the page's main value: its digits and its unit."""

    def column(
        self, label: str, reading: Reading, scale: Scale, *, peak: float | None = None, average: float | None = None
    ) -> None:
        """Draw a value on an upright scale; up to four stand side by side, such as cylinders or cells."""

    def lamp(self, text: str, lit: Reading | bool | None, role: Role = Role.INK) -> None:
        """Name a state that is lit in its role or not, and with dashes where nobody knows; up to four."""

    def list(self, lines: tuple[tuple[str, Role], ...]) -> None:
        """Say up to six short lines, such as a status; not for use while driving."""

    def title(self, text: str) -> None:
        """Name what the page shows, in lower case."""

    def strip(self, points: tuple[tuple[float, float], ...], scale: Scale, *, seconds: float) -> None:
        """Draw recent history as one thin line of (seconds ago, value in the shown unit): `Snapshot.history`."""

    def rows(self, rows: tuple[tuple[str, Reading, Role], ...]) -> None:
        """Draw up to four values one under the other: label, value with its unit, role of the value."""

    def sentence(self, text: str, role: Role = Role.INK) -> None:
        """Say a whole sentence of up to four lines, in place of a main value; smaller rows fit below it."""

    def remark(self, text: str, role: Role = Role.CAUTION) -> None:
        """Say a doubt about the value in a few words ("reference assumed")."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page of the panel.

    Args:
        name: unique, such as "boost".
        title: for lists and pictures.
        draw: (canvas, snapshot) -> None; synchronous, pure, called on every change.
        needs: signals it cannot do without; they are asked for while it is on the panel.
        uses: signals it shows where somebody provides them; asked for too, and not missed.
        period_s: how often their values are wanted.
        peaks: signals whose peak is held for it; asked for as those it `uses`. `Snapshot.peak` gives it.
        histories: (signal, seconds) kept for it; asked for as those it `uses`. `Snapshot.history` gives it.
    """

    name: str
    title: str
    draw: Callable[[Canvas, Snapshot], None]
    needs: tuple[str, ...]
    uses: tuple[str, ...] = ()
    period_s: float = 0.1
    peaks: tuple[str, ...] = ()
    histories: tuple[tuple[str, float], ...] = ()

    @property
    def signals(self) -> tuple[str, ...]:
        """All signals that are asked for while it is on the panel, each once, those it needs first."""
        kept = (name for name, _ in self.histories)
        return tuple(dict.fromkeys((*self.needs, *self.uses, *self.peaks, *kept)))


@dataclass(frozen=True, slots=True)
class Alert:
    """A condition worth the driver's eyes, raised once until acknowledged.

    Args:
        name: unique.
        signal: a number.
        text: what the panel says, a few words. It stands still: nothing blinks.
        above, below: limit in the stored unit (one of the two).
        clears_by: hysteresis in the stored unit.
        delay_s: how long the limit must be passed.
        role: caution (amber: soon) or warning (red: now), as ISO 2575 has the colours; no other role.
        only_while: (switch or choice signal, value) that must hold, e.g. only while the engine runs.
        page: name of the page that is put on the panel once when the alert comes, where that panel has it in its deck.
            Once acknowledged or over, the page that was on show comes back unless the driver turned away himself.
    """

    name: str
    signal: str
    text: str
    above: float | None = None
    below: float | None = None
    clears_by: float = 0.0
    delay_s: float = 0.0
    role: Role = Role.CAUTION
    only_while: tuple[str, str] | None = None
    page: str | None = None


@dataclass(frozen=True, slots=True)
class PanelDriver:
    """A kind of panel.

    A device has `size`, pixels across and down; `dim(level)`, level 0 (dark) to 1 in linear light; and `close()`. One
    that takes pixels has `show(image, boxes)`: a Pillow image of which only the boxes differ from the last. One that
    draws by itself has `tell(content)` instead and gets a `Content` on every change. Both are called one after the
    other, never at once, and may raise an `UnderdashError` with a sentence; then everything is shown again as soon as
    they work. A device that has to be looked after has `tend()`, called often while there is nothing new to show.

    Args:
        name: what the configuration calls it.
        opened: takes the panel's table of the configuration (`size`, `rotation`, and the keys of its `settings`)
            and returns the device. It must come back at once.
        settings: a dataclass whose fields are the keys of ``[panel.<name>.settings]``; the table is checked against
            it, and `opened` finds the instance under "settings" instead of the keys. None leaves them unchecked.
        check: for ``underdash check``: takes what `opened` takes, looks without opening anything, and returns a
            sentence about what keeps this machine from showing anything there, "" if nothing does.
        turns: whether the device itself turns what it shows by `rotation`; if not, it gets images that are turned.
        dims: whether it has a light of its own; if not, the core lights it by ``[panel.<name>.backlight]``, or scales
            its colours, and `dim` is not called.
    """

    name: str
    opened: Callable[[dict[str, object]], object]
    settings: type | None = None
    check: Callable[[dict[str, object]], str] | None = None
    turns: bool = False
    dims: bool = True
