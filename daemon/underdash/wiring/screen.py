"""A panel with its pages: which is on show, in which light, and what becomes of a page that fails."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

import structlog

from ..contract.pages import Page
from ..contract.signals import Snapshot
from ..contract.words import Words
from ..display.cold import Cold
from ..display.deck import Deck
from ..display.dimming import Dimming, DimmingInputs, DimmingOptions
from ..display.kit import Painter
from ..display.palettes import DAY, NIGHT_HUE, night
from ..display.panels import Panel, SelfDrawing
from ..display.renderer import Fault, Frame, Renderer
from ..display.round import Face
from ..display.writer import writer

_log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Look:
    """How a panel looks: dimming, its night's hue in degrees, whether it is round, the degC below which it is cold, and
    how high digits have to be to be read (None where that is not known)."""

    dimming: DimmingOptions
    hue_deg: float = NIGHT_HUE
    round: bool = True
    cold_below: float | None = None
    least_px: int | None = None


class Screen:
    """One panel, its deck and its renderer.

    Attributes:
        wall_gap_s: least time between two pictures on the clock on the wall, for loops that run faster than that.

    Args:
        name: of the panel in the configuration.
        panel: the device.
        deck: its pages.
        look: how it looks.
        loop: faults come back on it.
        turned: called after another page came on show, so that its values are asked for.
        level: light that the panel is in already, from which it fades.
    """

    def __init__(
        self,
        name: str,
        panel: Panel | SelfDrawing,
        deck: Deck,
        look: Look,
        *,
        loop: asyncio.AbstractEventLoop,
        turned: Callable[[], None],
        level: float = 0.0,
    ) -> None:
        self.name = name
        self.deck = deck
        self.faults: list[str] = []
        self._loop = loop
        self._turned = turned
        self._dimming = Dimming(look.dimming)
        self.dimmed = self._dimming.start(level)
        self._cold = Cold(look.cold_below)
        self._was_cold = False
        self.wall_gap_s = 0.0
        self._submitted_at = -inf
        self._night = night(look.hue_deg)
        # one that was lit early may fail already, and says so at once
        self._panel = writer(panel, lambda sentence: self._faulty(Fault(None, sentence, off=False)))
        face = Face(*panel.size, look.round, look.least_px)
        self.renderer = Renderer(self._panel, Painter(face, DAY), self._faulty)

    def start(self) -> None:
        """Begin to draw."""
        self.renderer.start()

    def update(self, snapshot: Snapshot, banner: Words | None, now: float, *, lit: bool = True) -> None:
        """Hand the newest values to the renderer; a panel that is not lit is dark."""
        self._look_after(time.monotonic())
        self.dimmed = self._dimming.step(self.dimmed, DimmingInputs.read(snapshot), now)
        if self.wall_gap_s:
            wall = time.monotonic()
            if wall - self._submitted_at < self.wall_gap_s:
                return
            self._submitted_at = wall
        level = self.dimmed.level if lit else 0.0
        seen = replace(snapshot, night=self.dimmed.night)
        palette = self._night if self.dimmed.night else DAY
        cold = self._cold.step(snapshot)
        if cold is not self._was_cold:
            self._was_cold = cold
            _log.info("cold_form", panel=self.name, on=cold, decided_by=self._cold.signal)
        self.renderer.submit(Frame(self.deck.current, seen, palette, level, banner, cold))

    def settled(self, timeout_s: float) -> bool:
        """Wait until what was handed over is in the panel; return False if that took too long."""
        return self.renderer.wait_idle(timeout_s) and self._panel.settled(timeout_s)

    def turn(self, step: int) -> None:
        """Go so many pages on."""
        self.deck.turn(step)
        self._turned()

    def show(self, name: str) -> None:
        """Show a page; raises `UnknownPage` if the deck does not have it."""
        self.deck.show(name)
        self._turned()

    def put_up(self, name: str) -> None:
        """Put a page over the one on show, if the deck has it."""
        if self.deck.put_up(name):
            self._turned()

    def take_down(self) -> None:
        """Go back to the page that was on show before `put_up`, unless somebody turned since."""
        if self.deck.take_down():
            self._turned()

    def pages(self) -> tuple[Page, list[Page]]:
        """Return the page on show and those that are not."""
        current = self.deck.current
        return current, [page for page in self.deck.pages if page is not current]

    def exchange(self, deck: Deck, dimming: DimmingOptions) -> None:
        """Have another deck, and go on with the page that is on show where it has one of that name."""
        deck.take_over(self.deck)
        self.deck, self._dimming = deck, Dimming(dimming)

    def stop(self) -> None:
        """End the renderer and give the panel back."""
        if not self.renderer.stop():
            _log.error("renderer_hangs", panel=self.name)
        try:
            self._panel.close()
        except Exception as exc:
            _log.warning("panel_not_closed", panel=self.name, error=repr(exc))

    def _look_after(self, now: float) -> None:
        self.renderer.abandon(now)
        stuck = self._panel.stuck(now)
        if stuck:
            self._take(Fault(None, stuck, off=False))

    def _faulty(self, fault: Fault) -> None:
        self._loop.call_soon_threadsafe(self._take, fault)

    def _take(self, fault: Fault) -> None:
        sentence = fault.sentence if fault.page is not None else f"panel {self.name}: {fault.sentence}"
        # a loose plug fails again and again; the latest stands last, and once
        self.faults = [*(one for one in self.faults if one != sentence), sentence]
        _log.warning("display_fault", panel=self.name, page=fault.page, sentence=fault.sentence)
        if fault.off and fault.page is not None:
            self.deck.take_off(fault.page, fault.sentence)
            self._turned()
