"""The chain from a page down to the bus, with the link that is broken and what to do about it. Pure values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Cause(StrEnum):
    """What can be the matter with a value, the worst first: what costs most values stands above."""

    NOT_RUNNING = "no daemon runs"
    NOT_CONNECTED = "bus not connected"
    BUS_ABSENT = "bus absent"
    BUS_OFF = "bus off"
    WRONG_RATE = "bus hears errors only"
    BUS_SILENT = "bus silent"
    BLOCKED = "bus blocked"
    WRONG_CAR = "wrong car"
    PLUGIN_SUSPENDED = "plug-in suspended"
    PLUGIN_REFUSED = "plug-in refused"
    PAGE_OFF = "page off"
    QUIET = "quiet"
    IGNITION_UNSEEN = "ignition field not proven"
    IGNITION_UNKNOWN = "ignition unknown"
    TRANSMIT_OFF = "transmit off"
    RECORDED = "recorded drive"
    UNPROVEN = "rate not proven"
    LISTENS = "interface listens only"
    OTHER_TESTER = "another tester"
    UNIT_SILENT = "unit silent"
    CHECKSUM = "checksum fails"
    COUNTER = "counter stands still"
    FRAME_SHORT = "frame too short"
    NEVER_HEARD = "frame never heard"
    STOPPED = "not heard any more"
    INPUT_ABSENT = "input not there"
    SENDER = "sender out of range"
    IMPLAUSIBLE = "implausible"
    ANSWER_SHORT = "answer too short"
    ANSWER_BROKEN = "answer broke off"
    UNREADABLE = "answer unreadable"
    ENDLESS = "answer never comes"
    PROTOCOL_FAILS = "protocol fails"
    FLOW_HELD = "flow control held back"
    ANSWER_EMPTY = "answer without the value"
    MAKER_PERMISSION = "maker's command not permitted"
    MAKER_EVIDENCE = "maker's command not shown to read"
    LOOKS_LIKE = "looks like a denied service"
    NOT_A_READ = "service does not only read"
    ID_IN_USE = "request id in use"
    UNSUPPORTED = "parked"
    CAPPED = "cap reached"
    UNKNOWN = "no such signal"
    NO_SOURCE = "nobody provides it"
    NO_INPUT = "derived without input"
    NO_RESULT = "derived without result"
    UNAVAILABLE = "not available"
    CONDITIONS = "conditions not right"
    BUSY = "unit busy"
    PENDING = "pending"
    RECOGNISING = "recognising the car"
    STARTING = "engine is being started"
    IGNITION_OFF = "ignition off"
    ASLEEP = "not asking, parked"
    BY_HAND = "asked by hand"
    LATE = "late"
    WAITING = "waits for its turn"
    UNWANTED = "nobody wants it"
    ASSUMED = "reference assumed"
    DATED = "reference old"
    FINE = "fine"


THERE = frozenset({Cause.FINE, Cause.ASSUMED, Cause.DATED})
"""There is a value."""
ORDINARY = THERE | {
    Cause.IGNITION_OFF,
    Cause.ASLEEP,
    Cause.BY_HAND,
    Cause.STARTING,
    Cause.RECOGNISING,
    Cause.WAITING,
    Cause.UNWANTED,
    Cause.PENDING,
    Cause.LATE,
    Cause.BUSY,
}
"""Nothing is wrong: a person need not do anything, or knows already."""


class Kind(StrEnum):
    """A link's kind, in the order of a chain."""

    PAGE = "page"
    DERIVED = "derived"
    SIGNAL = "signal"
    INPUT = "input"
    FRAME = "frame"
    POLL = "poll"
    GUARD = "guard"
    BUS = "bus"


class State(StrEnum):
    """How a link is."""

    OK = "ok"
    BROKEN = "broken"
    WAITS = "waits"
    """Nothing is wrong with it but what stands below."""
    UNKNOWN = "not known"
    """No daemon runs that could tell."""


@dataclass(frozen=True, slots=True)
class Link:
    """A link of the chain: `name` is what it is, `text` how it is."""

    kind: Kind
    name: str
    state: State
    text: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is the matter.

    Args:
        cause: see there.
        short: in few words, for the panel.
        remedy: what to do, in few words; "" where there is nothing to do.
        text: at length, for a terminal; `short` if left out.
    """

    cause: Cause
    short: str
    remedy: str = ""
    text: str = ""

    @property
    def sentence(self) -> str:
        """One sentence for the panel."""
        return f"{self.short}: {self.remedy}" if self.remedy else self.short


@dataclass(frozen=True, slots=True)
class Chain:
    """Why a signal is as it is.

    Attributes:
        links: from the page down to the bus; at most one of them is broken.
        value: what it reads, "--" where there is nothing.
    """

    signal: str
    fault: Fault
    links: tuple[Link, ...] = ()
    value: str = "--"
    others: tuple[str, ...] = field(default=())
    """Sentences about its other sources."""

    @property
    def broken(self) -> Link | None:
        """The broken link, None if none is."""
        return next((link for link in self.links if link.state is State.BROKEN), None)

    @property
    def sentence(self) -> str:
        """One sentence for the panel."""
        return self.fault.sentence

    def lines(self) -> list[str]:
        """Return the chain for a terminal."""
        wide = max((len(link.name) for link in self.links), default=0)
        found = [f"{self.signal}  {self.value}", self.sentence if self.sentence.endswith("?") else f"{self.sentence}."]
        found += [
            f"  {link.state.value:<9} {link.kind.value:<8} {link.name:<{wide}}  {link.text}".rstrip()
            for link in self.links
        ]
        if self.fault.text not in ("", self.fault.short, *(link.text for link in self.links)):
            found.append(f"  {self.fault.text}")
        return [*found, *(f"  also: {other}" for other in self.others)]

    def table(self) -> dict[str, Any]:
        """Return the chain as a table for JSON."""
        fault = self.fault
        return {
            "signal": self.signal,
            "value": self.value,
            "cause": fault.cause.value,
            "short": fault.short,
            "remedy": fault.remedy,
            "text": fault.text,
            "links": [
                {"kind": one.kind.value, "name": one.name, "state": one.state.value, "text": one.text}
                for one in self.links
            ],
            "others": list(self.others),
        }

    @classmethod
    def of(cls, table: Mapping[str, Any]) -> Chain:
        """Read a chain from its table; raises KeyError, TypeError or ValueError if it is none."""
        fault = Fault(Cause(table["cause"]), str(table["short"]), str(table["remedy"]), str(table["text"]))
        links = tuple(Link(Kind(o["kind"]), str(o["name"]), State(o["state"]), str(o["text"])) for o in table["links"])
        return cls(str(table["signal"]), fault, links, str(table["value"]), tuple(map(str, table["others"])))


def worst(chains: Iterable[Chain]) -> Chain | None:
    """Return the chain that has most to say; of equals the first. None where there is none."""
    order = list(Cause)
    return min(chains, key=lambda chain: order.index(chain.fault.cause), default=None)
