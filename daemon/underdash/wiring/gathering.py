"""Takes from an assembly, and from its daemon where one runs, what has to be known to say why there is no value."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from math import inf

from ..bus.fingerprint import Fit
from ..bus.guard import Guard
from ..bus.link import BusStatus
from ..bus.refusals import Refusal
from ..contract.pages import Page
from ..diagnostics.asking import PollStatus
from ..diagnostics.polls import CompiledPoll
from ..inputs.station import FINE, Ails, Trouble
from ..signals.searching import nearest
from ..signals.store import Rank, Slot
from ..signals.wants import expand
from ..signals.wants import gather as wanted
from .assembly import Assembly
from .chain import Chain
from .facts import Asked, BusFact, Computed, Drops, Facts, Heard, PageFact, SignalFact, Source, Wired
from .protocols import owners
from .why import why

LOOK_S = 1.0
DROPS = ("short", "checksum", "repeated", "unavailable")


class Rises:
    """Remembers when counts last rose, so that what happened long ago is not taken for what is the matter now."""

    def __init__(self) -> None:
        self._counts: dict[Hashable, int] = {}
        self._rose_at: dict[Hashable, float] = {}

    def look(self, counts: Iterable[tuple[Hashable, int]], now: float) -> None:
        """Compare counts with those of the last look."""
        for key, count in counts:
            if count > self._counts.get(key, 0):
                self._rose_at[key] = now
            self._counts[key] = count

    def ago(self, key: Hashable, now: float) -> float:
        """Return seconds since a count rose, inf if it never did."""
        return now - self._rose_at.get(key, -inf)


@dataclass(frozen=True, slots=True)
class Deck:
    """The pages of a panel: those in it, the one on show, and those taken off with the reason."""

    panel: str
    pages: tuple[Page, ...]
    shown: str = ""
    off: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Gatherer:
    """Gathers facts.

    Args:
        assembly: of the car.
        guard: its guard.
        connected: roles of the buses that the configuration connects.
        transmit: those of them that may be sent on.
        decks: the panels' pages, newest state.
        buses: newest states; none while no daemon runs.
        polling: whether requests are made at all.
        paused: whether polls pause for a person who asks by hand.
        capped: whether as many requests go out as the limit lets.
        troubles: what is the matter with an input, by its name as a source.
        live: a daemon runs.
    """

    assembly: Assembly
    guard: Guard
    connected: Collection[str]
    transmit: Collection[str]
    decks: Callable[[], Iterable[Deck]]
    buses: Callable[[], Iterable[BusStatus]] = tuple
    polling: Callable[[], bool] = lambda: True
    paused: Callable[[], bool] = lambda: False
    capped: Callable[[], bool] = lambda: False
    troubles: Callable[[str], Trouble] = lambda source: FINE
    live: bool = True
    _rises: Rises = field(default_factory=Rises)
    _looked_at: float = -inf

    def look(self, now: float) -> None:
        """Take note of what was dropped lately; to be called now and then."""
        if now - self._looked_at < LOOK_S:
            return
        self._looked_at = now
        self._rises.look(self._counts(), now)

    def why(self, signal: str, now: float) -> Chain:
        """Return the chain of a signal."""
        return why(signal, self.facts(signal, now))

    def missing(self, now: float) -> list[Chain]:
        """Return the chains of all that the panels' pages need."""
        names = dict.fromkeys(name for deck in self.decks() for page in deck.pages for name in page.needs)
        return [self.why(name, now) for name in names]

    def facts(self, signal: str, now: float) -> Facts:
        """Return what is known about a signal and all it is computed from."""
        self._rises.look(self._counts(), now)
        assembly, fit = self.assembly, self.guard.fingerprint
        known = signal in assembly.catalogue
        reasons = {**{one.name: one.reason for one in assembly.loaded.refused}, **assembly.suspended}
        return Facts(
            signals=self._signals(signal, now),
            known=known,
            near=None if known else nearest(signal, dict.fromkeys([*assembly.store.names(), *assembly.catalogue])),
            pages=tuple(self._pages(signal)),
            buses=self._buses(now),
            plugins=reasons,
            polling=self.polling(),
            paused=self.paused(),
            position=self.guard.ignition.position,
            recognising=fit.fit is Fit.WAITING,
            differs=fit.sentence if fit.fit is Fit.DIFFERS else "",
            capped=self.capped(),
            live=self.live,
        )

    # --- inside -----------------------------------------------------------------------------------------------------

    def _counts(self) -> Iterator[tuple[Hashable, int]]:
        for number, decoder in enumerate(self.assembly.broadcasts.decoders):
            counts = decoder.counts
            for kind in DROPS:
                yield (number, kind), getattr(counts, kind)
        for name in self.assembly.store.names():
            for slot in self.assembly.store.slots(name):
                yield (slot.source, name), slot.implausible

    def _signals(self, signal: str, now: float) -> dict[str, SignalFact]:
        heard, asked = self._heard(now), self._asked(now)
        found: dict[str, SignalFact] = {}
        todo = [signal]
        while todo:
            name = todo.pop()
            if name in found:
                continue
            sources = tuple(self._sources(name, heard, asked, now))
            found[name] = SignalFact(self.assembly.store.read(name, now), sources)
            todo += [one for source in sources if isinstance(source, Computed) for one in source.inputs]
        return found

    def _sources(
        self, name: str, heard: Mapping[int, Heard], asked: Mapping[int, Asked], now: float
    ) -> Iterator[Source]:
        owners = {owner: item for owner, item in self.assembly.brought.derived_signals if item.signal == name}
        for slot in self.assembly.store.slots(name):
            owner = slot.source.removeprefix("derived by ")
            if id(slot) in heard:
                yield heard[id(slot)]
            elif id(slot) in asked:
                yield asked[id(slot)]
            elif slot.rank == Rank.DERIVED and owner in owners:
                yield Computed(owner, owners[owner].inputs)
            else:
                trouble = self.troubles(slot.source)
                beyond = trouble.ails is Ails.BEYOND
                yield Wired(
                    slot.source,
                    _old(slot, now),
                    absent="" if beyond else trouble.text,
                    beyond=trouble.text if beyond else "",
                )
        for owner, item in owners.items():
            if owner in self.assembly.suspended:
                yield Computed(owner, item.inputs, self.assembly.suspended[owner])

    def _heard(self, now: float) -> dict[int, Heard]:
        """Return the frames by the slots they feed."""
        found = {}
        slots = iter(self.assembly.broadcasts.slots)
        for number, decoder in enumerate(self.assembly.broadcasts.decoders):
            listener = decoder.listener
            for signal, slot in zip(decoder.wanted, slots, strict=False):
                name = slot.source.removeprefix("broadcast ")
                ago = {kind: self._rises.ago((number, kind), now) for kind in DROPS}
                drops = Drops(**ago, implausible=self._rises.ago((slot.source, signal), now))
                found[id(slot)] = Heard(
                    name, listener.bus, slot.count, _old(slot, now), on_change=listener.on_change, drops=drops
                )
        return found

    def _asked(self, now: float) -> dict[int, Asked]:
        """Return the requests by the slots they feed."""
        found = {}
        for poll, status in zip(self.assembly.asking.polls, self.assembly.asking.status(now), strict=True):
            for signal, slot in poll.slots.items():
                found[id(slot)] = self._request(poll, status, slot, self._rises.ago((slot.source, signal), now), now)
        return found

    def _request(self, poll: CompiledPoll, status: PollStatus, slot: Slot, implausible: float, now: float) -> Asked:
        never = next(
            (
                one.refusal
                for one in self.guard.refused
                if one.template.bus == poll.bus and one.template.matches(poll.frame)
            ),
            None,
        )
        owner = owners(self.assembly.brought.request_protocols).get(poll.speech.name, "") if poll.speech.maker else ""
        return Asked(
            status.name,
            poll.unit.name,
            poll.bus,
            status.wanted,
            status.parked,
            status.told,
            status.answered_s,
            never,
            slot.count,
            _old(slot, now),
            Drops(implausible=implausible),
            self._flow(poll),
            owner,
            self.assembly.suspended.get(owner, ""),
        )

    def _flow(self, poll: CompiledPoll) -> Refusal | None:
        """Return why the flow control is never sent that a request's answer needs by its fields."""
        if not poll.in_several_frames:
            return None
        ours = (one for one in self.guard.flows_refused if one.template.unit == poll.unit.name)
        return next((one.refusal for one in ours), None)

    def _pages(self, signal: str) -> Iterator[PageFact]:
        derived = [item for _, item in self.assembly.brought.derived_signals]
        brought = {page.name: page for page in self.assembly.pages}
        for deck in self.decks():
            off = [brought[name] for name in deck.off if name in brought]
            for page in (*deck.pages, *off):
                if signal in expand(wanted([page]), derived):
                    yield PageFact(page.name, deck.panel, page.name == deck.shown, deck.off.get(page.name, ""))

    def _buses(self, now: float) -> dict[str, BusFact]:
        states = {status.role: status for status in self.buses()}
        return {
            bus.role: BusFact(
                bus.role,
                bus.role in self.connected,
                bus.role in self.transmit,
                bus.silent,
                bus.role in self.guard.recorded,
                states.get(bus.role),
                self.guard.standing(bus.role, now) if self.live else None,
            )
            for bus in self.assembly.car.buses
        }


def _old(slot: Slot, now: float) -> float | None:
    return None if slot.at == -inf else now - slot.at
