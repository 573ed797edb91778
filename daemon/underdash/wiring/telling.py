"""What a running daemon tells about itself: why a value is missing, and the status page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf
from typing import TYPE_CHECKING

from ..bus.health import BusState
from ..power.holds import sentence
from .chain import Chain
from .gathering import Deck, Gatherer
from .status import Status
from .status_page import NAME, StatusPage, news

if TYPE_CHECKING:
    from .daemon import Daemon

NEWS_S = 0.8
RATE_S = 2.0
CAPPED_SHARE = 0.9


class Telling:
    """Answers for a daemon.

    Args:
        daemon: which; it need not have begun.
        transmit: roles of the buses the owner lets us send on.
    """

    def __init__(self, daemon: Daemon, transmit: Iterable[str]) -> None:
        self.page = StatusPage()
        self._daemon = daemon
        self._gatherer = Gatherer(
            daemon.assembly,
            daemon.sending.guard,
            frozenset(daemon.links),
            frozenset(transmit),
            self._decks,
            lambda: daemon.buses,
            lambda: daemon.polling,
            lambda: daemon.sending.paused,
            self._capped,
            daemon.inputs.trouble,
        )
        self._news_at = -inf
        self._rate = 0.0
        self._sent = (0.0, 0)

    def why(self, signal: str, now: float) -> Chain:
        """Return the chain of a signal."""
        return self._gatherer.why(signal, now)

    def missing(self, now: float) -> list[Chain]:
        """Return the chains of all that the panels' pages need."""
        return self._gatherer.missing(now)

    def look(self, now: float) -> None:
        """Take note of what was dropped, and renew the status page while it is on show; called now and then."""
        self._gatherer.look(now)
        self._count(now)
        on_show = any(screen.deck.current.name == NAME for screen in self._daemon.screens)
        if on_show and now - self._news_at >= NEWS_S:
            self._news_at = now
            daemon = self._daemon
            chains = self._gatherer.missing(now)
            status = daemon.status()
            faults = (*(one.sentence for one in status.inputs if one.trouble.text), *status.faults)
            fault = daemon.past.remedy or (faults[-1] if faults else "")
            self.page.news = news(chains, daemon.buses, daemon.key.state.position.value, self._requests(now), fault)

    def status(self, now: float) -> Status:
        """Return how everything is."""
        daemon, guard = self._daemon, self._daemon.sending.guard
        screens = daemon.screens
        return Status(
            now=now,
            power=daemon.power.state,
            ignition=daemon.key.state,
            doubts=tuple(daemon.key.doubts.values()),
            car=daemon.past.no_car or guard.fingerprint.sentence,
            buses=daemon.buses,
            closed=tuple(self.closed(now)),
            guard=dict(guard.report()),
            asking=daemon.assembly.asking.counts,
            pages=tuple((screen.name, screen.deck.current.name) for screen in screens),
            rates=tuple((screen.name, rate) for screen in screens if (rate := daemon.acting.rates.of(screen.name))),
            faults=tuple(self._faults()),
            snapshot=daemon.snapshot(now),
            polls=tuple(daemon.assembly.asking.status(now)),
            quiet=guard.quiet,
            inputs=daemon.inputs.status(now),
            past=daemon.past.faults,
            hold=sentence(daemon.power.holding.by, daemon.power.holding.left_s(now)),
        )

    def notes(self) -> tuple[str, ...]:
        """Return what every page says in a few words, the worst first."""
        daemon = self._daemon
        notes = [*daemon.host.notes, *daemon.fingers.notes()]
        if daemon.past.note:
            notes.append(daemon.past.note)
        absent = [status.role for status in daemon.buses if status.state is BusState.ABSENT]
        notes += [f"bus {role} is absent" for role in absent]
        notes += [f"bus {status.role} is set up wrongly" for status in daemon.buses if status.warning]
        if daemon.sending.guard.quiet:
            notes.append("quiet")
        if daemon.sending.paused:
            notes.append("asking by hand")
        return (*notes, *self._stopped())

    def _faults(self) -> Iterator[str]:
        daemon = self._daemon
        for screen in daemon.screens:
            yield from screen.faults
        yield from self._stopped()
        yield from daemon.past.faults
        yield from daemon.key.doubts.values()
        yield from daemon.host.faults
        yield from (bus.warning for bus in daemon.buses if bus.warning)

    def _stopped(self) -> Iterator[str]:
        """Say which panel does not open, and which plug-ins are suspended."""
        daemon = self._daemon
        if daemon.panel_trouble:
            yield daemon.panel_trouble
        yield from (f"plug-in {name} suspended: {why}" for name, why in daemon.assembly.suspended.items())

    def closed(self, now: float) -> Iterator[str]:
        """Say why nothing is sent, of each bus on which there is something to ask."""
        guard = self._daemon.sending.guard
        for role in self._daemon.links:
            refusal = guard.standing(role, now) if guard.keys(role) else None
            if refusal is not None:
                yield refusal.sentence

    def _count(self, now: float) -> None:
        before_at, before = self._sent
        if now - before_at >= RATE_S:
            sent = self._daemon.assembly.asking.counts.sent
            self._rate = (sent - before) / (now - before_at) if before_at else 0.0
            self._sent = now, sent

    def _capped(self) -> bool:
        most = self._daemon.assembly.asking.scheduler.options.requests_per_s
        return most is not None and self._rate >= CAPPED_SHARE * most

    def _requests(self, now: float) -> str:
        daemon = self._daemon
        guard = daemon.sending.guard
        if guard.quiet:
            return "quiet"
        asked = [role for role in daemon.links if guard.keys(role)]
        if not asked:
            return "none"
        if all(guard.standing(role, now) is not None for role in asked):
            return "closed"
        if daemon.sending.paused:
            return "by hand"
        return f"{self._rate:.0f}/s" if daemon.polling else "stopped"

    def _decks(self) -> Iterator[Deck]:
        screens = self._daemon.screens
        for screen in screens:
            yield Deck(screen.name, screen.deck.pages, screen.deck.current.name, screen.deck.off)
        if not screens:
            yield Deck("no panel", tuple(self._daemon.assembly.pages))
