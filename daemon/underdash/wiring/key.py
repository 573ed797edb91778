"""The ignition key: evidence from listening and wires, handed to the guard at once; and whether this is the car."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf

import structlog

from ..bus.fingerprint import Fingerprint
from ..bus.frames import EXTENDED, Handler
from ..bus.guard import Guard
from ..bus.health import BusState
from ..bus.link import BusStatus
from ..bus.table import Table
from ..contract.errors import UnderdashError
from ..contract.signals import Age
from ..power.doubt import Doubt
from ..power.ignition import Ignition, IgnitionState, Position
from ..power.states import Supply
from ..signals.store import Rank, Slot
from .assembly import Assembly

_log = structlog.get_logger()

ENGINE = "engine.speed"
HEARD = (Rank.BROADCAST, Rank.INPUT)
"""Only listening and wires may say that the ignition is on; never a poll or something computed."""
TALKS_S = 0.5
STOOD_STILL_S = 0.5
"""The daemon looks at the key at least every quarter of a second; longer than this it stood still (stopped, swapped
out, held up by a card), and frames that queued up meanwhile get the time at which they are read."""
LARGEST_STANDARD = 0x7FF


class Key:
    """Adds up what is known about the ignition and about which car this is.

    Args:
        assembly: whose signals are evidence.
        guard: is told each change in the very call that brought it, so that OFF ends sending at once.
    """

    def __init__(self, assembly: Assembly, guard: Guard) -> None:
        self.ignition = Ignition(assembly.car.ignition)
        self.fingerprint = Fingerprint.of(assembly.car)
        #: sentences about wires that cannot be right, by name
        self.doubts: dict[str, str] = {}
        self.state: IgnitionState = self.ignition.state(0.0)
        self._guard, self._store, self._doubt = guard, assembly.store, Doubt()
        self._looked_at = inf
        self._wires = {one.wire for one in assembly.car.ignition if one.wire}
        self._alive_with = {one.alive_with for one in assembly.car.ignition if one.alive_with is not None}
        for signal in dict.fromkeys(one.signal for one in assembly.car.ignition):
            assembly.store.watch(signal, self._sample)

    def connect(self, tables: Mapping[str, Table]) -> None:
        """Hear the frames that keep evidence alive, and those by which the car is recognised."""
        for role, key, handler in self.fingerprint.handlers():
            if role in tables:
                tables[role].add(key, handler)
        for bus, can_id in self._alive_with:
            # an id alone does not say its length; a short one may be either
            keys = (can_id, can_id | EXTENDED) if can_id <= LARGEST_STANDARD else (can_id | EXTENDED,)
            for key in keys if bus in tables else ():
                tables[bus].add(key, self._alive(bus, can_id))

    def take_over(self, before: Key, *, evidence: bool) -> None:
        """Go on with what another one knows of the same frames, and of the ignition where its evidence is the same."""
        if evidence:
            self.ignition = before.ignition
        if self.fingerprint.same(before.fingerprint):
            self.fingerprint = before.fingerprint

    def vouch(self, now: float) -> IgnitionState:
        """Take a person's word, given at a keyboard beside the standing car, that the ignition is on.

        Raises:
            UnderdashError: what is heard says otherwise, or nothing is heard whose silence would end it.
        """
        state = self.ignition.state(now)
        if state.position in (Position.OFF, Position.START):
            raise UnderdashError(f"a person's word cannot count now: {state.why}")
        if not self.ignition.talking(now):
            raise UnderdashError("a person's word cannot count now: the buses are silent; switch the ignition on first")
        self.ignition.vouch(now)
        return self._tell(now)

    def tick(self, buses: Sequence[BusStatus], now: float) -> IgnitionState:
        """Look at what time and silence do to the evidence; returns the newest state."""
        self._notice(now)
        self._looked_at = now
        ages = [status.last_heard_s for status in buses if status.last_heard_s is not None]
        if ages:
            heard_at = now - min(ages)
            self.ignition.heard(heard_at)
            if min(ages) < TALKS_S:
                self.fingerprint.talks(heard_at)
            elif not self.ignition.talking(now):
                self.fingerprint.forget()
        self._guard.fingerprint = self.fingerprint.verdict(now)
        self._doubt_wires(buses, now)
        return self._tell(now)

    def position_for(self, supply: Supply) -> Position:
        """Return what a power table goes by: unknown where only a wire says ON that is not believed in any more.

        A supply that the car itself cuts drains nothing, and a bus can be lost on the road: there the wire counts.
        """
        doubted = self._doubt.unbelieved and self.state.position is Position.ON
        return Position.UNKNOWN if doubted and supply is not Supply.SWITCHED else self.state.position

    def _doubt_wires(self, buses: Sequence[BusStatus], now: float) -> None:
        if not self._wires:
            return
        ages = [status.last_heard_s for status in buses if status.last_heard_s is not None]
        if any(status.state is BusState.ABSENT for status in buses):
            ages.clear()  # nobody knows what goes on there
        speed = self._store.read(ENGINE, now)
        rpm = speed.value if isinstance(speed.value, float) and speed.age is Age.FRESH else None
        before, self.doubts = self.doubts, self._doubt.look(self.ignition.wires(now), min(ages, default=None), rpm, now)
        for name in self.doubts.keys() - before.keys():
            _log.warning("ignition_doubted", text=self.doubts[name])

    def _notice(self, at: float) -> None:
        """Notice that this program stood still, before anything heard after that is believed."""
        still_s = at - self._looked_at
        if still_s <= STOOD_STILL_S:
            return
        self._looked_at = at
        self.ignition.stood_still(at)
        if still_s > self.ignition.options.silence_s:
            # nobody knows what the buses did meanwhile, or to which car they belong now
            self.fingerprint.forget()
            self.ignition.end_vouching()
        self._tell(at)

    def _sample(self, slot: Slot) -> None:
        if slot.rank not in HEARD or slot.value is None:
            return
        self._notice(slot.at)
        if slot.rank == Rank.BROADCAST:
            self.ignition.heard(slot.at)
        wire = slot.source if slot.source in self._wires else ""
        self.ignition.sample(slot.signal.name, slot.value, slot.at, wire)
        self._tell(slot.at)

    def _alive(self, bus: str, can_id: int) -> Handler:
        def alive(data: bytes, at: float) -> None:
            self._notice(at)
            self.ignition.heard(at)
            self.ignition.alive(bus, can_id, at)

        return alive

    def _tell(self, now: float) -> IgnitionState:
        self.state = self._guard.ignition = self.ignition.state(now)
        self._guard.ignition_seen = self.ignition.seen_both
        return self.state
