"""What was asked for, one entry for each value of each control unit: how often, what came back, and what it means."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...bus.services import Kind, Service, service
from ...diagnostics import obd
from ...diagnostics.identified import read
from ..found import Plain
from .asked import Exchange
from .beginnings import NEGATIVE
from .maker import Maker
from .messages import Message
from .one_frame_length import PADDINGS
from .senders import Sender, speaks_to_all
from .testers import Dialogue

PROTOCOLS = {
    0x01: ("service_01", 1), 0x09: ("service_09", 1), 0x22: ("identifier_22", 2), 0x21: ("identifier_21", 1),
    0x1A: ("identifier_1A", 1),
}  # fmt: skip
"""What a description can ask for, by service, and the bytes of its identifiers."""


@dataclass(frozen=True, slots=True)
class Whom:
    """A control unit as the trace shows it: ids of requests and answers, each None where none was heard.

    Attributes:
        to: the id that asks it.
        by: the id it answers on.
        address: its address byte, in a maker's format that has one.
        maker: it is asked in a maker's format.
    """

    to: Sender | None
    by: Sender | None
    address: int | None = None
    maker: bool = False

    @property
    def bus(self) -> str:
        """The bus they are on."""
        one = self.to or self.by
        return "" if one is None else one.bus

    def __str__(self) -> str:
        """Write as a person reads it: ``drive 7E0 asks, 7E8 answers``."""
        asks = f"{self.to} asks" if self.to is not None else "requests not recorded"
        if self.to is not None and speaks_to_all(self.to):
            asks = f"{self.to} asks all"
        answer = f"{self.by} answers" if self.by is not None else "nobody answers"
        return f"{self.bus} {asks}, {answer}" + ("" if self.address is None else f", address byte {self.address:02X}")


@dataclass(slots=True)
class Asked:
    """One value, or one kind of request, of one control unit.

    Attributes:
        whom: the unit.
        protocol: what a description calls the way of asking; "" for what no description can ask.
        service: number of the service, or the maker's command.
        identifier: what is asked for; None where the request has none, or several.
        digits: hex digits of an identifier.
        request: the request as a message, or a maker's whole frame; the first bytes of the answer where it is missing.
        exchanges: each time, in order.
        values: (seconds, bytes) that came for it, without service and identifier.
    """

    whom: Whom
    protocol: str
    service: int
    identifier: int | None
    digits: int
    request: bytes
    exchanges: list[Exchange] = field(default_factory=list)
    values: list[tuple[float, bytes]] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Service and identifier as a person writes them: ``22 F190``, ``B4 1A04``, ``19 02 FF``."""
        if self.identifier is None:
            return self.request.hex(" ").upper()
        return f"{self.service:02X} {self.identifier:0{self.digits}X}"

    @property
    def known(self) -> Service:
        """What is known of the service."""
        return service(self.service)

    @property
    def reads(self) -> bool:
        """Whether the service is known to read only."""
        return not self.whom.maker and self.known.kind is Kind.READS

    @property
    def times(self) -> int:
        """How often it was asked for, as far as that was recorded."""
        return sum(one.request is not None for one in self.exchanges)

    @property
    def different(self) -> int:
        """How many different values came."""
        return len({data for _, data in self.values})

    @property
    def refusals(self) -> Counter[int]:
        """Codes of refusals, how often each."""
        return Counter(one.refused for one in self.exchanges if one.refused is not None)

    @property
    def pending(self) -> int:
        """How often the unit said that it is still working."""
        return sum(one.pending for one in self.exchanges)

    @property
    def broken(self) -> Counter[str]:
        """How answers broke, how often each."""
        ends = (one.broken.broken for one in self.exchanges if one.broken is not None)
        return Counter(broken.fault.value for broken in ends if broken is not None)

    @property
    def silent(self) -> int:
        """Requests that nothing at all came of."""
        return sum(one.answer is None and one.broken is None and not one.pending for one in self.exchanges)

    @property
    def asked_at(self) -> list[float]:
        """When it was asked for; when it was answered where that was not recorded."""
        return [message.at for one in self.exchanges if (message := one.request or one.answer or one.broken)]

    @property
    def period_s(self) -> float | None:
        """Median time between requests, None with fewer than three."""
        at = self.asked_at
        return float(np.median(np.diff(at))) if len(at) >= 3 else None

    @property
    def latency_s(self) -> float | None:
        """Median time to the answer."""
        found = [one.latency_s for one in self.exchanges if one.latency_s is not None]
        return float(np.median(found)) if found else None

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        lengths = sorted({len(data) for _, data in self.values})
        return {
            "request": self.request.hex().upper(),
            "protocol": self.protocol,
            "service": f"{self.service:02X}",
            "service_name": "" if self.whom.maker else self.known.name,
            "reads": self.reads,
            "identifier": None if self.identifier is None else f"{self.identifier:0{self.digits}X}",
            "times": self.times,
            "answers": len(self.values),
            "different_answers": self.different,
            "lengths": [*lengths],
            "refusals": {f"{code:02X}": times for code, times in self.refusals.items()},
            "pending": self.pending,
            "broken": dict(self.broken),
            "unanswered": self.silent,
            "period_s": self.period_s,
            "latency_s": self.latency_s,
        }


def asked_for(dialogue: Dialogue, makers: Sequence[Maker]) -> list[Asked]:
    """Sum up all exchanges, by unit and by what was asked for."""
    found: dict[tuple[object, ...], Asked] = {}
    partner = _partners(dialogue.exchanges)
    for exchange in dialogue.exchanges:
        by = exchange.by if exchange.by is not None or exchange.to is None else partner.get(exchange.to)
        for one in _in_message(exchange, Whom(exchange.to, by)):
            _add(found, one, exchange)
    for maker in makers:
        for exchange in maker.exchanges if maker.form is not None else ():
            _add(found, _in_format(maker, exchange), exchange)
    for one in found.values():
        if one.whom.maker:
            one.values = _unpadded(one.values)
    return sorted(found.values(), key=_order)


def _unpadded(values: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
    """Cut off what frames are filled with, where no count says how long a value is: an end that never moves."""
    length = max((len(data) for _, data in values), default=0)
    if any(len(data) != length for _, data in values):
        return values
    while length > 1 and len(ends := {data[length - 1] for _, data in values}) == 1 and ends <= set(PADDINGS):
        length -= 1
    return [(at, data[:length]) for at, data in values]


def _partners(exchanges: Iterable[Exchange]) -> dict[Sender, Sender]:
    """Who is meant by requests without an answer: whoever else answers that id, if it is only one."""
    answering: dict[Sender, set[Sender]] = {}
    for one in exchanges:
        if one.to is not None and one.by is not None:
            answering.setdefault(one.to, set()).add(one.by)
    return {to: next(iter(by)) for to, by in answering.items() if len(by) == 1 and not speaks_to_all(to)}


def _add(found: dict[tuple[object, ...], Asked], one: Asked, exchange: Exchange) -> None:
    key = (one.whom, one.protocol, one.service, one.identifier, one.request if one.identifier is None else b"")
    entry = found.setdefault(key, one)
    entry.exchanges.append(exchange)
    if entry is not one:
        entry.values += one.values


def _in_message(exchange: Exchange, whom: Whom) -> list[Asked]:
    """Split an exchange in ISO-TP into the values that it is about."""
    message = exchange.request or exchange.answer or exchange.broken
    assert message is not None
    number = message.service
    protocol, width = PROTOCOLS.get(number, ("", 0))
    asked = _identifiers(exchange, message, width)
    answer = exchange.answer
    if answer is not None and answer.data[0] == NEGATIVE:
        answer = None
    said = {} if answer is None or not width else _said(answer, number, width, asked)
    if not asked or (len(asked) > 1 and answer is not None and not set(said) & set(asked)):
        data = message.data if exchange.request is not None or width else message.data[:1]
        values = [] if answer is None else [(answer.at, answer.data[1:])]
        return [Asked(whom, "", number, None, 0, data, values=values)]
    return [
        Asked(
            whom, protocol, number, identifier, 2 * width, message.data,
            values=[(answer.at, said[identifier])] if answer is not None and identifier in said else [],
        )
        for identifier in asked
    ]  # fmt: skip


def _identifiers(exchange: Exchange, message: Message, width: int) -> tuple[int, ...]:
    data = message.data
    if not width or len(data) < 1 + width or data[0] == NEGATIVE:
        return ()
    if exchange.request is None:
        return (int.from_bytes(data[1 : 1 + width]),)
    return tuple(int.from_bytes(data[at : at + width]) for at in range(1, len(data) - width + 1, width))


def _said(answer: Message, number: int, width: int, asked: tuple[int, ...]) -> dict[int, bytes]:
    sizes = obd.SIZES if number == obd.SERVICE else {}
    found = read(answer.data, number, width, sizes, asked)
    return {one.identifier: one.data for one in found if one.identifier is not None} if isinstance(found, tuple) else {}


def _in_format(maker: Maker, exchange: Exchange) -> Asked:
    assert maker.form is not None
    assert exchange.request is not None
    address, identifier, answer = maker.read(exchange)
    size = sum(part.size for part in maker.form.request if part.kind == "identifier")
    values = []
    if answer is not None and answer.refused is None and exchange.answer is not None:
        values = [(exchange.answer.at, answer.data)]
    elif answer is not None and answer.refused is not None and exchange.answer is not None:
        exchange.code = answer.refused
    return Asked(
        Whom(maker.to, maker.by, address, maker=True), maker.form.name, maker.form.command, identifier, 2 * size,
        exchange.request.data, values=values,
    )  # fmt: skip


def _order(one: Asked) -> tuple[str, int, int, int, int, int]:
    to, by = one.whom.to, one.whom.by
    sender = to or by
    assert sender is not None
    return (
        sender.bus, sender.id, -1 if by is None else by.id, one.whom.address or 0, one.service,
        -1 if one.identifier is None else one.identifier,
    )  # fmt: skip
