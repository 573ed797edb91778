"""The guard: the one gate in front of every send. A frame goes out only if every rule here holds.

Facts about the world (is the rate proven, is the ignition on, is this the car) are handed in by the wiring; frames are
compared with templates that were compiled and vetted at start-up. Whatever is not let out has a reason that is counted
and a sentence with the remedy. The guard owns no socket and no clock: the link asks `verdict`, sends, and reports
`sent`; what is heard on our request ids comes in through `heard`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from math import inf

from ..power.ignition import NEVER_KNOWN, IgnitionState, Position
from .bus_facts import BusFacts, closed
from .caps import Caps, Lane, Meter
from .fingerprint import Fit, FitVerdict
from .frames import Frame, fits, id_text
from .legislated import FUNCTIONAL
from .long_requests import LongRequest, allowed_by
from .refusals import Reason, Refusal
from .templates import Template, indexed
from .vetting import MakerEvidence, vet, vet_flow

STEP_BACK_S = 30.0
ANSWER_DUE_S = 6.0
"""How long after a request its answer may need flow control: five seconds pending (ISO 14229-2 P2*) and one more."""


@dataclass(frozen=True, slots=True)
class FlowControl:
    """Leave to send one flow control frame for an answer we asked for (ISO 15765-2, clause 9.6.5).

    Args:
        bus: role.
        frame: the very frame.
        unit: the control unit that sends the answer.
        until: monotonic s, the end of the leave.
    """

    bus: str
    frame: Frame
    unit: str
    until: float


@dataclass(frozen=True, slots=True)
class Refused:
    """A declared request that is never let out."""

    template: Template
    refusal: Refusal


class Guard:
    """Decides about every frame.

    Attributes set by the wiring:
        ignition: newest state; it also carries until when it counts.
        ignition_seen: the ignition field was seen on and not on while a bus was awake, on this journey or before.
        fingerprint: newest verdict.
        quiet: somebody asked for no sending.

    Args:
        templates: of the declared polls.
        caps: limits of each bus.
        evidence: what speaks for makers' command bytes.
        in_use: (bus, key) that the car itself sends.
    """

    def __init__(
        self,
        templates: Iterable[Template],
        *,
        caps: Caps | None = None,
        evidence: MakerEvidence | None = None,
        in_use: Collection[tuple[str, int]] = frozenset(),
    ) -> None:
        self.ignition: IgnitionState = NEVER_KNOWN
        self.ignition_seen = False
        self.fingerprint = FitVerdict(Fit.WAITING, "recognising the car")
        self.quiet = False
        self.recorded: frozenset[str] = frozenset()
        """Buses that play a recorded drive."""
        self.counts: Counter[Reason] = Counter()
        self.passed = 0
        self._caps = caps or Caps()
        self._evidence = evidence or MakerEvidence()
        self._facts: dict[str, BusFacts] = {}
        self._meters: dict[str, Meter] = {}
        self._others: dict[tuple[str, int, int | None], float] = {}
        self._asked: dict[tuple[str, str], float] = {}
        self._leaves: list[tuple[FlowControl, Template]] = []
        self._long: dict[tuple[str, str], tuple[LongRequest, Template, int]] = {}
        self.reload(templates, in_use)

    # --- facts --------------------------------------------------------------------------------------------------

    def reload(
        self,
        templates: Iterable[Template],
        in_use: Collection[tuple[str, int]] = frozenset(),
        evidence: MakerEvidence | None = None,
    ) -> None:
        """Take the templates of a reloaded description, and its evidence where there is any news of that.

        `refused` says which may not be used, and why; `flows_refused` has one template of each unit whose long answers
        cannot be taken, since the flow control that its description gives them is never let out.
        """
        self.refused: tuple[Refused, ...] = ()
        self._declared: tuple[Template, ...] = ()
        self._in_use = in_use
        self._evidence = evidence or self._evidence
        # what is under way was vetted with the description that is gone
        self._long.clear()
        self._leaves.clear()
        for one in templates:
            refusal = vet(one, self._evidence, in_use)
            if refusal is not None:
                self.refused += (Refused(one, refusal),)
            else:
                self._declared += (one,)
        held = {one.unit: Refused(one, why) for one in self._declared if (why := vet_flow(one)) is not None}
        self.flows_refused = tuple(held.values())
        self.lend(None)

    def lend(self, one: Template | None) -> Refusal | None:
        """Let a request that a person asks for pass beside the declared ones, until the next call; returns why not.

        Args:
            one: its template, held against the same rules as a declared one; None takes back what was lent.
        """
        refusal = None if one is None else vet(one, self._evidence, self._in_use)
        lent = () if one is None or refusal is not None else (one,)
        self._templates, self._flows = indexed((*self._declared, *lent))
        return refusal

    def set_bus(self, bus: str, facts: BusFacts) -> None:
        """Take what is known about a bus."""
        self._facts[bus] = facts
        # what was sent stays counted: an adapter that comes back must not bring fresh caps with it
        self._meter(bus).bitrate = facts.bitrate

    def bus(self, bus: str) -> BusFacts:
        """Return what is known about a bus."""
        return self._facts.get(bus, BusFacts())

    def prove(self, bus: str, proven: bool = True, trial: bool = False) -> None:
        """Take note that the rate of a bus is proven, or not any more, or may be proven by one request."""
        self.set_bus(bus, replace(self.bus(bus), proven=proven, trial=trial))

    def keys(self, bus: str) -> frozenset[int]:
        """Return the keys whose frames `heard` must get: our request ids and those that speak to all units."""
        ours = {key for role, key in (*self._templates, *self._flows) if role == bus}
        return frozenset(ours | set(FUNCTIONAL)) if ours else frozenset()

    # --- questions ----------------------------------------------------------------------------------------------

    def verdict(self, bus: str, frame: Frame, now: float) -> Refusal | None:
        """Say why a frame may not go out now, and count that; None lets it out.

        Args:
            bus: role.
            frame: what is to be sent.
            now: monotonic seconds.
        """
        refusal = self._verdict(bus, frame, now)
        if refusal is not None:
            self.counts[refusal.reason] += 1
        return refusal

    def standing(self, bus: str, now: float) -> Refusal | None:
        """Say why nothing at all may go out on a bus now; counts nothing."""
        refusal = closed(bus, self.bus(bus), quiet=self.quiet, recorded=bus in self.recorded) or self._about_ignition(
            bus, now
        )
        if refusal is None and not self.fingerprint.may_send:
            return Refusal(Reason.WRONG_CAR, f"{bus}: {self.fingerprint.sentence}")
        return refusal

    def blocked(self, bus: str, now: float) -> bool:
        """Say whether the last frame on a bus was not confirmed in time."""
        meter = self._meters.get(bus)
        return meter is not None and meter.blocked(now)

    # --- reports ------------------------------------------------------------------------------------------------

    def sent(self, bus: str, frame: Frame, now: float) -> None:
        """Take note of a frame that was let out and handed to the interface."""
        self.passed += 1
        found = self._template(bus, frame)
        leave = self._leave(bus, frame, now)
        part = self._part(bus, frame, now)
        if found is None and part is not None:
            long, template, index = part
            self._long[bus, long.unit] = long, template, index + 1
            found = template if index == 0 else None
        elif found is None and leave is not None:
            self._leaves.remove(leave)
        for unit in () if found is None else self._units(bus, frame, found):
            self._asked[bus, unit] = now
        self._meter(bus).sent(frame, lane(found) if found else None, now)

    def heard(self, bus: str, key: int, data: bytes, now: float) -> bool:
        """Take a frame heard on one of `keys`; returns whether it is our own coming back, else it is a tester's."""
        meter = self._meters.get(bus)
        if meter is not None and meter.confirms(key, data, now):
            return True
        ways = (*self._templates.get((bus, key), ()), *self._flows.get((bus, key), ()))
        # on an id of which nothing is known, whoever speaks may speak to any unit
        places = {one.address_at for one in ways} or {None}
        for place in places:
            address = None if place is None else data[place] if place < len(data) else None
            self._others[bus, key, address] = now
        return False

    def given_up(self, bus: str, now: float) -> None:
        """Take note that nobody waits any longer for the unconfirmed frame of a blocked bus, which unblocks it."""
        self._meter(bus).given_up(now)

    def expect_flow_control(self, leave: FlowControl, now: float) -> Refusal | None:
        """Let one flow control frame of an answer we asked for pass; returns why not.

        Args:
            leave: the very frame, and until when it may pass.
            now: monotonic seconds.
        """
        asked = self._asked.get((leave.bus, leave.unit), -inf)
        if now - asked > ANSWER_DUE_S:
            return self._count(Reason.NO_ANSWER_DUE, f"{leave.unit}: nothing was asked that it could be answering")
        found = self._flow_of(leave)
        if found is None:
            sentence = f"{leave.unit}: {leave.frame} is not the flow control that its description gives it"
            return self._count(Reason.NO_ANSWER_DUE, sentence)
        refusal = vet_flow(found)
        if refusal is not None:
            return self._count(refusal.reason, refusal.sentence)
        self._leaves = [(one, its) for one, its in self._leaves if one.until >= now and one.unit != leave.unit]
        self._leaves.append((leave, found))
        return None

    def _flow_of(self, leave: FlowControl) -> Template | None:
        """Return a template of the unit whose answers may need this very flow control."""
        spelt = leave.frame.key, leave.frame.data
        ours = self._flows.get((leave.bus, leave.frame.key), ())
        return next((one for one in ours if one.unit == leave.unit and spelt in one.flow), None)

    def _units(self, bus: str, frame: Frame, found: Template) -> set[str]:
        """Return the units that answer a request: those of whom it is declared, if it went to all."""
        ours = self._templates[bus, frame.key] if frame.key in FUNCTIONAL else ()
        return {found.unit, *(one.unit for one in ours if one.matches(frame))}

    def expect_long(self, request: LongRequest) -> Refusal | None:
        """Let the frames of a declared request that takes several pass, once and in their order; returns why not."""
        ours = self._templates.get((request.bus, request.frames[0].key), ()) if request.frames else ()
        found = allowed_by(request, ours)
        if found is None:
            sentence = f"{request.unit}: its frames are not exactly those of declared requests put together"
            return self._count(Reason.NO_TEMPLATE, sentence)
        self._long[request.bus, request.unit] = request, found, 0
        return None

    def report(self) -> Mapping[str, int]:
        """Return how many frames passed and were refused, by reason."""
        return {"passed": self.passed, **{reason.value: count for reason, count in self.counts.items()}}

    # --- inside -------------------------------------------------------------------------------------------------

    def _verdict(self, bus: str, frame: Frame, now: float) -> Refusal | None:
        whole = type(frame.data) is bytes and type(frame.id) is int and fits(frame.id, frame.extended)
        if frame.fd or frame.error or frame.remote or not whole:
            # other kinds of bytes could change, or show one thing here and another to the interface; so do other ids
            return Refusal(Reason.NOT_CLASSIC, f"{bus}: only classic data frames are sent")
        meter = self._meter(bus)
        found = self._template(bus, frame)
        if found is not None:
            other = self._other(bus, frame.key, found.address, now)
            mine = meter.over(frame, lane(found), found.gap_s, now)
        elif (leave := self._leave(bus, frame, now)) is not None:
            other = self._other(bus, frame.key, leave[1].address, now)
            mine = meter.over_load(frame, now)
        elif (part := self._part(bus, frame, now)) is not None:
            long, template, index = part
            other = self._other(bus, frame.key, None, now)
            begins = meter.over(frame, lane(template), template.gap_s, now) if index == 0 else None
            mine = begins or meter.over_load(frame, now, long.frames[index + 1 :])
        else:
            return self._stranger(bus, frame)
        return self.standing(bus, now) or other or meter.waits(now) or mine

    def _about_ignition(self, bus: str, now: float) -> Refusal | None:
        ignition = self.ignition
        if not ignition.may_send or ignition.position is not Position.ON:
            return Refusal(Reason.IGNITION, f"{bus}: {ignition.why}")
        if not now <= ignition.until:
            return Refusal(Reason.IGNITION, f"{bus}: the evidence for the ignition ran out; nothing newer was heard")
        if self.ignition_seen or ignition.attended:
            return None
        return Refusal(
            Reason.IGNITION_UNSEEN,
            f"{bus}: the description's ignition field has not been seen both on and off while the bus was awake; "
            "turn the key on and off once and leave the accessory running",
        )

    def _stranger(self, bus: str, frame: Frame) -> Refusal:
        for one in self.refused:
            if one.template.bus == bus and one.template.matches(frame):
                return one.refusal
        return Refusal(
            Reason.NO_TEMPLATE,
            f"{bus}: {frame} is no declared request; only what a description or plug-in declares as a poll is sent",
        )

    def _template(self, bus: str, frame: Frame) -> Template | None:
        return next((one for one in self._templates.get((bus, frame.key), ()) if one.matches(frame)), None)

    def _leave(self, bus: str, frame: Frame, now: float) -> tuple[FlowControl, Template] | None:
        for leave in self._leaves:
            one = leave[0]
            if one.bus == bus and now <= one.until and one.frame.key == frame.key and one.frame.data == frame.data:
                return leave
        return None

    def _part(self, bus: str, frame: Frame, now: float) -> tuple[LongRequest, Template, int] | None:
        """Return the request in several frames whose next one this is, the template that allows it, and the place."""
        for (role, _), (long, template, index) in self._long.items():
            if role == bus and now <= long.until and index < len(long.frames):
                following = long.frames[index]
                if following.key == frame.key and following.data == frame.data:
                    return long, template, index
        return None

    def _other(self, bus: str, key: int, address: int | None, now: float) -> Refusal | None:
        # whoever speaks to one unit is in the way of a request to all of them, and the other way round
        at = [self._others.get((bus, key, one), -inf) for one in {address, None}]
        at += [self._others.get((bus, one, None), -inf) for one in FUNCTIONAL]
        if key in FUNCTIONAL:
            at += [seen for (role, _, _), seen in self._others.items() if role == bus]
        seen = max(at)
        left = seen + STEP_BACK_S - now
        if left <= 0:
            return None
        return Refusal(
            Reason.OTHER_TESTER,
            f"{bus}: another tester uses {id_text(key)}; we step back for {left:.0f} s more and decode its answers",
        )

    def _meter(self, bus: str) -> Meter:
        if bus not in self._meters:
            self._meters[bus] = Meter(self._caps, bus, self.bus(bus).bitrate)
        return self._meters[bus]

    def _count(self, reason: Reason, sentence: str) -> Refusal:
        self.counts[reason] += 1
        return Refusal(reason, sentence)


def lane(one: Template) -> Lane:
    """Return who gets a request, as the bus sees it: two names for one control unit are one."""
    return one.key, one.address
