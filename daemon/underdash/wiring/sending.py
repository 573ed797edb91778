"""The sending side: polls that are due go through the guard to their bus, and answers call for the next.

This is the only place that sends. Whatever the guard holds back is told to the scheduler with its reason.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from ..bus.bus_facts import BusFacts
from ..bus.caps import Caps
from ..bus.frames import Frame, Handler, key_of
from ..bus.guard import FlowControl, Guard
from ..bus.health import BusState
from ..bus.lanes import keys_sent
from ..bus.legislated import FUNCTIONAL
from ..bus.link import BusStatus, Link
from ..bus.long_requests import LongRequest
from ..bus.refusals import PASSING, Reason, Refusal
from ..bus.templates import Template
from ..bus.vetting import MakerEvidence
from ..contract.cars import CarDescription
from ..contract.layout import BroadcastListener
from ..diagnostics.asking import Wish
from ..diagnostics.batches import Request
from ..diagnostics.polls import CompiledPoll
from ..signals.wants import Want
from .assembly import Assembly

CLOSED = (BusState.ABSENT, BusState.BUS_OFF)

RETRY_S = 0.002
LONGEST_RETRY_S = 0.032
"""In between it doubles: what is in the way mostly is our own last frame, which ends within a millisecond, and else a
cap or a full queue, which do not."""
BLOCKED_S = (0.2, 1.0, 2.0, 5.0, 10.0, 30.0)
"""Pauses after frames that did not come back, one after the other. What waits in an interface's queue cannot be taken
back, so no more than a few may be added to it."""
LONGEST_PART_S = 1.0
"""How long a unit may take to let the next part of a request come (N_Bs of ISO 15765-2)."""
OVERDUE_S = 1.0
"""A request this late was forgotten; a loop that is merely busy is later than that only while it hangs as a whole."""


@dataclass(slots=True)
class Sending:
    """Sends what is due.

    Args:
        assembly: whose polls they are.
        guard: the gate.
        links: buses by role.
        loop: whose time counts and whose timers are used.

    Attributes:
        flow_held: called with flow control that does not go out and why, beside what the polls are told of it.
        paused: nothing that is wanted is asked for, since a person asks by hand.
        pumped: how often it was looked whether something is due.
    """

    assembly: Assembly
    guard: Guard
    links: Mapping[str, Link]
    loop: asyncio.AbstractEventLoop
    flow_held: Callable[[Wish, Refusal], None] = field(default=lambda wish, refusal: None, init=False)
    _timer: asyncio.TimerHandle | None = field(default=None, init=False)
    _replies: list[Wish] = field(default_factory=list, init=False)
    _retry_s: float = field(default=RETRY_S, init=False)
    _retry_at: float | None = field(default=None, init=False)
    _lost: dict[str, int] = field(default_factory=dict, init=False)
    _again_at: dict[str, float] = field(default_factory=dict, init=False)
    _wants: Mapping[str, Want] = field(default_factory=dict, init=False)
    paused: bool = field(default=False, init=False)
    pumped: int = field(default=0, init=False)
    _due_at: float | None = field(default=None, init=False)
    _heard: set[tuple[str, int]] = field(default_factory=set, init=False)

    def connect(self) -> None:
        """Hear our own requests, other testers and answers."""
        self._hear_requests()
        self.assembly.asking.reply = self.reply
        for role, key, _ in self.assembly.asking.handlers():
            if role in self.links:
                self.links[role].table.add(key, self._answered)

    def _hear_requests(self) -> None:
        for role, link in self.links.items():
            # once each: a frame of ours that is told twice would be taken for another tester's
            for key in self.guard.keys(role) | self._described(role):
                if (role, key) not in self._heard:
                    self._heard.add((role, key))
                    link.table.add(key, self._request_heard(role, key))

    def take_over(self, before: Sending) -> None:
        """Go on with the pauses of buses that take no frame: a description read anew fills no queue.

        Flow control that an answer waits for is announced anew, since the guard has other templates.
        """
        self._lost, self._again_at = before._lost, before._again_at
        for wish in before._replies:
            self.reply(wish, self.loop.time())

    def demand(self, wants: Mapping[str, Want]) -> None:
        """Ask for these signals from now on; with none nothing is asked any more."""
        self._wants = wants
        self.assembly.asking.demand({} if self.paused else wants, self.loop.time())
        self.pump()

    def pause(self, on: bool) -> None:
        """Leave the control units to a person who asks by hand; what was sent before is still answered."""
        if on is not self.paused:
            self.paused = on
            self.demand(self._wants)

    def pump(self) -> None:
        """Send everything that is due and may go out, and come back when something is due again."""
        asking = self.assembly.asking
        now = self.loop.time()
        self._continue(now)
        for request in asking.due(now):
            refusal = self._expect(request, now) or self._try(request.bus, request.frame, now)
            if refusal is None:
                asking.sent(request, now)
            else:
                asking.refused(request, refusal, now)
        later = [at for at in (asking.deadline(now), self._retry_at) if at is not None]
        self._come_back(min(later) if later else None, now)
        self.pumped += 1

    def overdue(self, now: float) -> bool:
        """Say whether something should have been looked at and was not, as after a `pump` that raised."""
        return self._due_at is not None and now - self._due_at > OVERDUE_S

    def reply(self, wish: Wish, now: float) -> None:
        """Send the flow control that an answer of ours needs, now or as soon as the last frame is confirmed."""
        leave = FlowControl(wish.bus, wish.frame, wish.unit, wish.until)
        refusal = self.guard.expect_flow_control(leave, now)
        if refusal is None:
            self._replies.append(wish)
            self._continue(now)
        else:
            self._hold_flow(wish, refusal)

    def _hold_flow(self, wish: Wish, refusal: Refusal) -> None:
        self.assembly.asking.flow_held(wish, refusal)
        self.flow_held(wish, refusal)

    def _described(self, role: str) -> frozenset[int]:
        """Return the request ids of all units on a bus: a person may ask any of them, and so may another tester."""
        car = self.assembly.car
        keys = {key_of(unit.request_id, unit.extended) for unit in car.units if unit.bus == role}
        keys -= {key for bus, key in keys_in_use(car) if bus == role}
        return frozenset(keys.union(FUNCTIONAL)) if keys else frozenset()

    def lend(self, template: Template | None) -> Refusal | None:
        """Let the guard know one request that a person asks for; returns why it may never go out."""
        refusal = self.guard.lend(template)
        self._hear_requests()
        return refusal

    def away(self, role: str, now: float) -> str:
        """Say why a bus can take no frame before somebody acts, "" if it can."""
        link = self.links.get(role)
        if link is None:
            return f"bus {role} is not connected; add [bus.{role}] to the configuration"
        return link.status(now).sentence if link.state in CLOSED else ""

    def by_hand(self, poll: CompiledPoll, now: float) -> Refusal | None:
        """Send what a person asks for if the guard lets it out; returns why it did not go."""
        return self._try(poll.bus, poll.frame, now)

    def _continue(self, now: float) -> None:
        """Go on with messages in several frames, ours and those that units send us: they do not wait for long.

        What the guard holds back for a moment is tried again; for a reason that lasts, the message is given up.
        """
        asking = self.assembly.asking
        waiting, self._replies = self._replies, []
        for wish in waiting:
            refusal = self._try(wish.bus, wish.frame, now)
            if refusal is not None and refusal.reason in PASSING and now < wish.until:
                self._replies.append(wish)
            elif refusal is not None:
                self._hold_flow(wish, refusal)
        parts_wait = False
        for bus, frame in asking.parts(now):
            refusal = self._try(bus, frame, now)
            if refusal is None:
                asking.part_sent(frame, now)
            elif refusal.reason in PASSING:
                parts_wait = True
            else:
                asking.part_refused(frame, refusal, now)
        self._try_later(now, parts_wait or bool(self._replies))

    def _try_later(self, now: float, waits: bool) -> None:
        """Say when what waits is tried again; also sooner, as soon as our last frame is confirmed."""
        if not waits:
            self._retry_s, self._retry_at = RETRY_S, None
        elif self._retry_at is None or now >= self._retry_at:
            self._retry_at = now + self._retry_s
            self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)

    def _expect(self, request: Request, now: float) -> Refusal | None:
        """Announce a request in several frames to the guard, which lets exactly these pass."""
        if len(request.frames) == 1:
            return None
        until = now + len(request.frames) * LONGEST_PART_S
        return self.guard.expect_long(LongRequest(request.bus, request.frames, request.unit.name, until))

    def _try(self, role: str, frame: Frame, now: float) -> Refusal | None:
        """Send a frame if the guard lets it out; returns why it did not go."""
        self._look(role, now)
        refusal = self.guard.verdict(role, frame, now) or self._send(role, frame, now)
        if refusal is None:
            self.guard.sent(role, frame, now)
        return refusal

    def _look(self, role: str, now: float) -> None:
        """Tell the guard at once, and not with the next look at the buses, whether a rate is proven."""
        link, known = self.links.get(role), self.guard.bus(role)
        if link is None:
            return
        proven, trial = link.proven(now), link.trial(now)
        if (proven, trial) != (known.proven, known.trial):
            self.guard.prove(role, proven, trial)

    def _send(self, role: str, frame: Frame, now: float) -> Refusal | None:
        """Hand a frame that the guard let out to its bus; returns why it was not taken."""
        link = self.links.get(role)
        if link is None or link.state in CLOSED:
            # trying again at once would keep the processor busy for as long as the adapter is away
            return Refusal(Reason.BLOCKED, f"{role}: {link.state.value if link else 'not connected'}")
        if not link.send(frame, now):
            return Refusal(Reason.UNCONFIRMED, f"{role}: the interface had no room for a frame")
        return None

    def check(self, now: float) -> None:
        """Take note of frames that did not come back, and try again after a pause that grows; called now and then."""
        for role, link in self.links.items():
            if not self.guard.blocked(role, now):
                self._again_at.pop(role, None)
                continue
            link.unconfirmed(now)
            if role not in self._again_at:
                times = self._lost.get(role, 0)
                self._lost[role] = times + 1
                self._again_at[role] = now + BLOCKED_S[min(times, len(BLOCKED_S) - 1)]
            elif now >= self._again_at[role]:
                del self._again_at[role]
                self.guard.given_up(role, now)

    def stop(self) -> None:
        """Send nothing more."""
        self._due_at = None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _come_back(self, deadline: float | None, now: float) -> None:
        self.stop()
        self._due_at = deadline
        if deadline is not None:
            self._timer = self.loop.call_at(max(deadline, now + 0.001), self.pump)

    def _answered(self, data: bytes, at: float) -> None:
        """An answer frees its unit: look at once what is next, after it was read."""
        self._continue(self.loop.time())
        self._come_back(at, at)

    def _request_heard(self, role: str, key: int) -> Handler:
        def heard(data: bytes, at: float) -> None:
            if self.guard.heard(role, key, data, at):
                self._lost.pop(role, None)
                self.links[role].heard_own()
                self._continue(self.loop.time())

        return heard


def make_guard(assembly: Assembly, *, evidence: MakerEvidence, caps: Caps | None = None) -> Guard:
    """Return the guard of a car; what it refuses for ever is added to the assembly's problems."""
    in_use = keys_in_use(assembly.car, [one for _, one in assembly.brought.broadcast_listeners])
    guard = Guard(assembly.compiled.templates, caps=caps, evidence=evidence, in_use=in_use)
    assembly.problems.extend(one.refusal.sentence for one in (*guard.refused, *guard.flows_refused))
    return guard


def keys_in_use(car: CarDescription, listeners: Iterable[BroadcastListener] = ()) -> frozenset[tuple[str, int]]:
    """Return (bus, key) of what the car itself sends, by its description and by what plug-ins listen for."""
    return frozenset(keys_sent(car, listeners))


def facts(status: BusStatus, transmit: bool, bitrate: int | None) -> BusFacts:
    """Return what the guard has to know about a bus."""
    setup = status.controller
    real = bitrate if setup is None or setup.bitrate is None else setup.bitrate
    return BusFacts(
        status.proven,
        transmit,
        status.virtual,
        None if status.virtual else real,
        listens=status.silent is True,
        trial=status.trial,
    )
