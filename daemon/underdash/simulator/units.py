"""Simulated control units: what they answer, how late, and how they can be made to fail.

Only answers that fit one frame are given. A unit answers what the description says can be asked, refuses other
identifiers and other services, and does nothing else: it cannot be written to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from random import Random

from ..broadcast.encoder import encode_fields
from ..broadcast.fields import length_of
from ..contract.layout import Field
from ..contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from ..contract.signals import Value
from ..diagnostics.obd import with_fields
from ..diagnostics.parameters import PARAMETERS
from ..signals.catalogue import CATALOGUE

SERVICE_01 = 0x01
READ_IDENTIFIER = 0x22
REPLY = 0x40
NEGATIVE = 0x7F
SERVICE_UNKNOWN = 0x11
WRONG_LENGTH = 0x13
TOO_LONG = 0x14
CONDITIONS = 0x22
OUT_OF_RANGE = 0x31
PENDING = 0x78
LATENCY_S = (0.005, 0.025)
PENDING_SHARE = 0.02
SINGLE_FRAME = 7

Replies = list[tuple[float, bytes]]
"""(seconds after the request, payload without padding), in the order of sending."""


class Fault(StrEnum):
    """What is wrong with a control unit."""

    NONE = "none"
    SILENT = "silent"
    """It does not answer."""
    SLOW = "slow"
    """It answers at the last moment that is still in time."""
    LATE = "late"
    """It answers after the time is up."""
    PENDING = "pending"
    """It says twice that the answer is pending, and answers after 4.5 s."""
    REFUSING = "refusing"
    """It refuses everything: conditions not correct."""
    FOREIGN = "foreign"
    """It answers something that was not asked."""


class SimulatedUnit:
    """One control unit.

    Args:
        unit: its description.
        polls: what it can be asked; those of other units are left out.
        formats: the makers' single-frame formats.
        rng: for latencies.

    Attributes:
        fault: what is wrong with it; may be changed at any time.
        answered: how many requests it has answered or refused.
    """

    def __init__(
        self,
        unit: ControlUnit,
        polls: Iterable[PollRequest],
        formats: Iterable[SingleFrameFormat],
        rng: Random,
    ) -> None:
        self.unit = unit
        self.fault = Fault.NONE
        self.answered = 0
        self._rng = rng
        self._known = {
            (poll.protocol, poll.identifier): with_fields(poll).fields for poll in polls if poll.unit == unit.name
        }
        used = {protocol for protocol, _ in self._known}
        self._formats = tuple(form for form in formats if form.name in used)
        self._standard = bool(used & {"service_01", "identifier_22"}) or not self._formats

    def answer(self, payload: bytes, values: Mapping[str, Value]) -> Replies:
        """Return what comes back for a request's bytes, given the true values."""
        if self.fault is Fault.SILENT:
            return []
        for form in self._formats:
            identifier = self._asked(form, payload)
            if identifier is not None:
                return self._by_format(form, identifier, values)
        if self._standard and self.unit.address is None:
            return self._by_standard(payload, values)
        return []

    # --- the makers' formats

    def _asked(self, form: SingleFrameFormat, payload: bytes) -> int | None:
        """The identifier asked for, None if these bytes are not a request to this unit."""
        identifier: int | None = None
        at = 0
        for part in form.request:
            piece = payload[at : at + part.size]
            if len(piece) < part.size:
                return None
            at += part.size
            number = int.from_bytes(piece)
            if part.kind is PartKind.IDENTIFIER:
                identifier = number
            elif number != self._pinned(form, part):
                return None
        return identifier

    def _pinned(self, form: SingleFrameFormat, part: Part) -> int:
        """What a part of a request must be for this unit to feel meant."""
        if part.kind is PartKind.COUNT:
            return part.value + _following(form.request, part)
        if part.kind is PartKind.ADDRESS:
            return -1 if self.unit.address is None else self.unit.address
        return form.command if part.kind is PartKind.COMMAND else part.value

    def _by_format(self, form: SingleFrameFormat, identifier: int, values: Mapping[str, Value]) -> Replies:
        self.answered += 1
        fields = self._known.get((form.name, identifier))
        if fields is None or self.fault is Fault.REFUSING:
            code = OUT_OF_RANGE if fields is None else CONDITIONS
            return [(self._latency_s(), self._refusal(form, code))]
        data = _spelt(fields, values)
        said = identifier ^ 1 if self.fault is Fault.FOREIGN else identifier
        reply = bytearray()
        for part in form.reply:
            if part.kind is PartKind.COUNT:
                reply.append((part.value + _following(form.reply, part, len(data))) & 0xFF)
            elif part.kind is PartKind.IDENTIFIER:
                reply += said.to_bytes(part.size)
            elif part.kind is PartKind.DATA:
                reply += data
            else:
                adds = form.reply_adds if part.kind is PartKind.COMMAND else 0
                reply += (self._pinned(form, part) + adds & 0xFF).to_bytes(part.size)
        if len(reply) > 8:
            return [(self._latency_s(), self._refusal(form, TOO_LONG))]
        return self._timed(bytes(reply), self._refusal(form, PENDING), form.name)

    def _refusal(self, form: SingleFrameFormat, code: int) -> bytes:
        """Say no as ISO 14229-1 does, in the place of the command (common practice, no source)."""
        reply = bytearray()
        command = next(index for index, part in enumerate(form.reply) if part.kind is PartKind.COMMAND)
        for part in form.reply[:command]:
            if part.kind is PartKind.COUNT:
                reply.append((part.value + _following(form.reply[: command + 1], part) + 2) & 0xFF)
            else:
                reply += self._pinned(form, part).to_bytes(part.size)
        return bytes(reply) + bytes((NEGATIVE, form.command, code))

    # --- service 01 and identifiers

    def _by_standard(self, payload: bytes, values: Mapping[str, Value]) -> Replies:
        length = payload[0] if payload else 0
        message = payload[1 : 1 + length]
        if not 1 <= length <= SINGLE_FRAME or len(message) < length:
            return []
        self.answered += 1
        service = message[0]
        if self.fault is Fault.REFUSING:
            return [(self._latency_s(), _negative(service, CONDITIONS))]
        if service == SERVICE_01:
            body = self._parameters(message[1:], values)
        elif service == READ_IDENTIFIER:
            body = self._identifiers(message[1:], values)
        else:
            body = SERVICE_UNKNOWN
        if isinstance(body, int):
            return [(self._latency_s(), _negative(service, body))]
        if len(body) + 1 > SINGLE_FRAME:
            return [(self._latency_s(), _negative(service, TOO_LONG))]
        answer = bytes((len(body) + 1, service + REPLY)) + body
        return self._timed(answer, _negative(service, PENDING), service)

    def _timed(self, answer: bytes, pending: bytes, service: int | str) -> Replies:
        if self.fault is Fault.PENDING:
            return [(0.02, pending), (2.0, pending), (4.5, answer)]
        if service == READ_IDENTIFIER and self.fault is Fault.NONE and self._rng.random() < PENDING_SHARE:
            return [(0.03, pending), (0.03 + self._rng.uniform(0.05, 0.2), answer)]
        return [(self._latency_s(), answer)]

    def _parameters(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        if not 1 <= len(asked) <= 6:
            return WRONG_LENGTH
        body = b""
        for pid in asked:
            data = self._parameter(pid, values)
            if data is not None:  # those it does not have are left out
                body += bytes((pid ^ 1 if self.fault is Fault.FOREIGN else pid,)) + data
        return body or OUT_OF_RANGE

    def _parameter(self, pid: int, values: Mapping[str, Value]) -> bytes | None:
        if pid % 0x20 == 0:
            return self._mask(pid)
        fields = self._known.get(("service_01", pid))
        if fields is None:
            return None
        parameter = PARAMETERS.get(pid)
        return _spelt(fields, values, parameter.size if parameter else 0)

    def _mask(self, pid: int) -> bytes | None:
        """Which of the next 32 parameters it has; the last of them says that there is a further mask."""
        have = {number for protocol, number in self._known if protocol == "service_01" and number > pid}
        if not have:
            return None
        bits = sum(1 << 31 - (number - pid - 1) for number in have if number <= pid + 0x20)
        further = any(number > pid + 0x20 for number in have)
        return (bits | (1 if further else 0)).to_bytes(4)

    def _identifiers(self, asked: bytes, values: Mapping[str, Value]) -> bytes | int:
        if not asked or len(asked) % 2:
            return WRONG_LENGTH
        body = b""
        for at in range(0, len(asked), 2):
            identifier = int.from_bytes(asked[at : at + 2])
            fields = self._known.get(("identifier_22", identifier))
            if fields is not None:
                said = identifier ^ 1 if self.fault is Fault.FOREIGN else identifier
                body += said.to_bytes(2) + _spelt(fields, values)
        return body or OUT_OF_RANGE

    def _latency_s(self) -> float:
        if self.fault is Fault.SLOW:
            return 0.8 * self.unit.answer_within_s
        if self.fault is Fault.LATE:
            return self.unit.answer_within_s + 0.1
        return self._rng.uniform(*LATENCY_S)


def _spelt(fields: tuple[Field, ...], values: Mapping[str, Value], at_least: int = 1) -> bytes:
    units = {f.signal: CATALOGUE[f.signal].unit for f in fields if f.unit is not None and f.signal in CATALOGUE}
    return encode_fields(fields, values, max(length_of(fields), at_least), units=units)


def _negative(service: int, code: int) -> bytes:
    return bytes((3, NEGATIVE, service, code))


def _following(parts: tuple[Part, ...], part: Part, data: int = 0) -> int:
    """Count the bytes after `part`, which stands for itself and not for its equals."""
    after = parts[next(index for index, other in enumerate(parts) if other is part) + 1 :]
    return sum(data if other.kind is PartKind.DATA else other.size for other in after)
