"""Simulated control units: what they answer, how late, and how they can be made to fail.

A unit answers what the description says can be asked, refuses other identifiers and other services, and does nothing
else: it cannot be written to. Each protocol has its own file; here they come together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import inf
from random import Random

from ..bus.legislated import speaks_to_all
from ..contract.layout import Field
from ..contract.requests import ControlUnit, PollRequest, SingleFrameFormat
from ..contract.signals import Value
from ..diagnostics.obd import with_fields
from .faults import LATE_BY_S, REFUSALS, Fault, pending_at_s
from .formats import OneFrame
from .identifier_22 import Identifier22
from .kwp import identifier_1a, identifier_21
from .manners import DEFAULT, Manners
from .service_01 import Service01
from .service_09 import Service09
from .spelling import PENDING, REPLY, SERVICE_UNKNOWN, UNSAID, Service, negative
from .transport import Replies, Transport, prefix_of

__all__ = ["Fault", "Replies", "SimulatedUnit"]

LATENCY_S = (0.005, 0.025)


class SimulatedUnit:
    """One control unit.

    Args:
        unit: its description.
        polls: what it can be asked; those of other units are left out.
        formats: the makers' single-frame formats.
        rng: for latencies.
        manners: how it behaves where the standards leave it a choice.

    Attributes:
        answered: how many requests it has answered or refused.
    """

    def __init__(
        self,
        unit: ControlUnit,
        polls: Iterable[PollRequest],
        formats: Iterable[SingleFrameFormat],
        rng: Random,
        manners: Manners = DEFAULT,
    ) -> None:
        self.unit = unit
        self.manners = manners
        self.answered = 0
        self._fault = Fault.NONE
        self._rng = rng
        self._busy_until = -inf
        known: dict[str, dict[int, tuple[Field, ...]]] = {}
        for poll in polls:
            if poll.unit == unit.name:
                known.setdefault(poll.protocol, {})[poll.identifier] = with_fields(poll).fields
        self._formats = [OneFrame(f, unit, known[f.name], manners.spills) for f in formats if f.name in known]
        self._services = _services(known, manners)
        # a unit with nothing to be asked is there all the same, and refuses
        self._standard = bool(self._services) or not self._formats
        self._transport = Transport(manners, prefix_of(unit.reply_prefix), prefix_of(unit.address))

    @property
    def fault(self) -> Fault:
        """What is wrong with it; may be changed at any time, and what was under way is forgotten then."""
        return self._fault

    @fault.setter
    def fault(self, fault: Fault) -> None:
        """Set it."""
        self._fault = fault
        self._busy_until = -inf
        self._transport.reset()

    @property
    def functional(self) -> bool:
        """Whether it answers when all units are asked: those of service 01 do, and those that are always asked so."""
        return Service01.number in self._services or speaks_to_all(self.unit)

    def answer(
        self, data: bytes, values: Mapping[str, Value], now: float = 0.0, *, functional: bool = False
    ) -> Replies:
        """Return what is sent because of a frame, given the true values: answers, flow control, or the next frames.

        Args:
            data: the frame's data, padding included.
            values: in stored units, by signal.
            now: monotonic seconds; answers in several frames need it.
            functional: all units were asked; a unit that does not have it says nothing then.
        """
        if self._fault is Fault.SILENT or now < self._busy_until:
            return []
        for form in () if functional else self._formats:
            identifier = form.asked(data)
            if identifier is not None:
                return self._by_format(form, identifier, values, now)
        if not self._standard:
            return []
        if functional and (not self.functional or (data[:1] and data[0] >> 4)):
            return []  # what is asked of all is asked in one frame
        heard = self._transport.hear(data, now, self._fault)
        if heard.message is None:
            return heard.replies
        return heard.replies + self._by_service(heard.message, values, now, functional)

    # --- what it says -----------------------------------------------------------------------------------------------

    def _by_format(self, form: OneFrame, identifier: int, values: Mapping[str, Value], now: float) -> Replies:
        self.answered += 1
        reply = REFUSALS.get(self._fault) or form.reply(identifier, values, self._fault)
        if isinstance(reply, int):
            return [(self._latency_s(), form.refusal(reply))]

        def say(after_s: float) -> Replies:
            return [(after_s + n * self.manners.frame_gap_s, frame) for n, frame in enumerate(reply)]

        return self._timed(say, form.refusal(PENDING), now)

    def _by_service(self, message: bytes, values: Mapping[str, Value], now: float, functional: bool) -> Replies:
        service = self._services.get(message[0])
        reply = SERVICE_UNKNOWN if service is None else service.reply(message[1:], values)
        reply = REFUSALS.get(self._fault, reply)
        if isinstance(reply, int) and functional and reply in UNSAID:
            return []
        self.answered += 1
        if service is None or isinstance(reply, int):
            code = reply if isinstance(reply, int) else SERVICE_UNKNOWN
            return [(self._latency_s(), self._transport.single(negative(message[0], code)))]
        answer = self._spoilt(bytes((service.number + REPLY,)) + reply, service.echoed)

        def say(after_s: float) -> Replies:
            return self._transport.begin(answer, now, after_s, self._fault)

        pending = self._transport.single(negative(service.number, PENDING))
        return self._timed(say, pending, now, sometimes=service.number == Identifier22.number)

    def _spoilt(self, answer: bytes, echoed: int) -> bytes:
        if self._fault is Fault.FOREIGN:
            return answer[:echoed] + bytes((answer[echoed] ^ 1,)) + answer[echoed + 1 :]
        return answer[:-1] if self._fault is Fault.WRONG_LENGTH else answer

    # --- when it says it --------------------------------------------------------------------------------------------

    def _timed(self, say: Callable[[float], Replies], pending: bytes, now: float, sometimes: bool = False) -> Replies:
        at_s, then_s = pending_at_s(self._fault)
        if at_s:
            self._busy_until = now + (at_s[-1] if then_s is None else then_s)
            words = [(after_s, pending) for after_s in at_s]
            return words if then_s is None else words + say(then_s)
        if sometimes and self._fault is Fault.NONE and self._rng.random() < self.manners.pending_share:
            return [(0.03, pending), *say(0.03 + self._rng.uniform(0.05, 0.2))]
        return say(self._latency_s())

    def _latency_s(self) -> float:
        if self._fault is Fault.SLOW:
            return 0.8 * self.unit.answer_within_s
        if self._fault is Fault.LATE:
            return self.unit.answer_within_s + LATE_BY_S
        return self._rng.uniform(*LATENCY_S)


def _services(known: Mapping[str, Mapping[int, tuple[Field, ...]]], manners: Manners) -> dict[int, Service]:
    """Return the services of a unit: those of which the description knows something to ask."""
    services: list[Service] = []
    if "service_01" in known:
        services.append(Service01(known["service_01"], manners))
    if "service_01" in known or "service_09" in known:
        services.append(Service09(known.get("service_09", {})))
    if "identifier_22" in known:
        services.append(Identifier22(known["identifier_22"], manners))
    if "identifier_21" in known:
        services.append(identifier_21(known["identifier_21"]))
    if "identifier_1A" in known:
        services.append(identifier_1a(known["identifier_1A"]))
    return {service.number: service for service in services}
