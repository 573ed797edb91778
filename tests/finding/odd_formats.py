"""Made-up one-frame formats of many kinds, spelt here by hand, with what their unit answers: the truth to a search."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from underdash.bus.frames import Frame
from underdash.finding.heard import Heard

from .tester_traces import Wire

COUNT_BASES = {"none": None, "plain": 0x00, "above a constant": 0x90, "below 0": 0xFD}
CHECKSUMS = ("exclusive or", "sum")


@dataclass(frozen=True)
class Kind:
    """How a format is made, and how somebody asks in it.

    Attributes:
        count: where counts start, one of `COUNT_BASES`.
        address: "none", "in front of the command" or "behind it"; `units` of them share the ids.
        identifier: "1 byte", "2 bytes, the upper one fixed" or "2 bytes".
        mode: requests end in a byte that is always the same.
        repeats: "all", "all but the address", "all but the identifier", or "shifted" by a byte in front.
        adds: what a reply adds to the command.
        checksum: at the end of each frame, "none" or one of `CHECKSUMS`.
        wide: 29-bit ids.
        padding: None for short frames.
        asks: "8 in turn", "3 in turn" or "one at a time".
        lost: share of the frames that were not recorded.
        others: frames of other ids beside.
    """

    count: str
    address: str
    units: int
    identifier: str
    mode: bool
    repeats: str
    adds: int
    checksum: str
    wide: bool
    padding: int | None
    asks: str
    lost: float
    others: int


def kind_of(seed: int) -> Kind:
    """Return a kind by chance; the plain ones come more often, as they do in cars."""
    rng = Random(f"odd format {seed}")
    address = rng.choice(("none", "in front of the command", "in front of the command", "behind it"))
    repeats = rng.choice(("all", "all", "all", "all but the address", "all but the identifier", "shifted"))
    if address == "none" and repeats == "all but the address":
        repeats = "all"
    return Kind(
        rng.choice(tuple(COUNT_BASES)), address, 1 if address == "none" else rng.choice((1, 1, 2)),
        rng.choice(("1 byte", "2 bytes, the upper one fixed", "2 bytes")), rng.random() < 0.3, repeats,
        rng.choice((0x40, 0x40, 0x40, 0x80, 0x20, 0x01)), rng.choice(("none",) * 8 + CHECKSUMS), rng.random() < 0.3,
        rng.choice((None, 0x00, 0x55, 0xAA, 0xFF)), rng.choice(("8 in turn", "3 in turn", "one at a time")),
        rng.choice((0.0, 0.0, 0.05)), rng.choice((0, 12, 30)),
    )  # fmt: skip


class Odd:
    """One format with its values, and a trace of it.

    Attributes:
        kind: what it is like.
        ids: of requests and answers.
        truth: by the time of each request: its data, the answer's, and the bytes of the value in that.
    """

    def __init__(self, seed: int) -> None:
        self.kind = kind_of(seed)
        self.ids = (0x0B20C0A1, 0x0B20C0A2) if self.kind.wide else (0x6A1, 0x6B2)
        self.truth: dict[float, tuple[bytes, bytes, bytes]] = {}
        self._rng = rng = Random(f"trace of odd format {seed}")
        self._command = rng.randrange(0xA0, 0xBF)
        self._addresses = rng.sample(range(0x10, 0xF0), self.kind.units)
        upper = [rng.randrange(1, 0xF0) for _ in range(3 if self.kind.identifier == "2 bytes" else 1)]
        lower = rng.sample(range(1, 0xF0), 8 if self.kind.asks == "8 in turn" else 3 if "3" in self.kind.asks else 5)
        wide = self.kind.identifier != "1 byte"
        self._identifiers = [
            bytes((upper[n % len(upper)], low)) if wide else bytes((low,)) for n, low in enumerate(lower)
        ]
        self._sizes = [rng.choice((1, 1, 2, 2, 3)) for _ in lower]

    def spelt(self, number: int, value: bytes | None = None) -> bytes:
        """Return the frame that asks for a value, or that answers with it."""
        kind, address = self.kind, bytes((self._addresses[number % self.kind.units],))
        repeats = "all" if value is None else kind.repeats
        named = b"" if kind.address == "none" or repeats == "all but the address" else address
        command = bytes((self._command + (0 if value is None else kind.adds) & 0xFF,))
        body = named + command if kind.address == "in front of the command" else command + named
        body = (b"\x0d" if repeats == "shifted" else b"") + body
        body += b"" if repeats == "all but the identifier" else self._identifiers[number]
        body += (b"\x05" if kind.mode else b"") if value is None else value
        check = kind.checksum != "none"
        base = COUNT_BASES[kind.count]
        body = body if base is None else bytes((base + len(body) + check & 0xFF,)) + body
        if check:
            total = 0
            for byte in body:
                total = total ^ byte if kind.checksum == "exclusive or" else total + byte & 0xFF
            body += bytes((total,))
        return body

    def heard(self) -> Heard:
        """Return a trace in which all of it is asked for, and keep the truth."""
        rng, kind = self._rng, self.kind
        wire = Wire([], rng)
        at, number, span = 1.0, 0, 12.0 if kind.asks == "one at a time" else 0.0
        while at < 1.0 + (span * len(self._identifiers) or 25.0):
            number = int((at - 1.0) / span) if span else (number + 1) % len(self._identifiers)
            self._ask(wire, at, number)
            at += 0.1 * rng.uniform(0.8, 1.3)
        wire.talk(0.0, at, how_many=kind.others)
        wire.log = [one for one in wire.log if one[1].id not in self.ids or rng.random() >= kind.lost]
        return wire.heard()

    def _ask(self, wire: Wire, at: float, number: int) -> None:
        room = 8 - len(self.spelt(number, b""))
        size = min(room, self._sizes[number])
        moves = 0.45 + 0.4 * math.sin(at / (3 + number) + number)
        value = int(moves * 256 ** min(size, 2)).to_bytes(size)
        request, answer = (self._filled(data) for data in (self.spelt(number), self.spelt(number, value)))
        self.truth[at] = request, answer, value
        to, by = self.ids
        wire.log.append((wire.bus, Frame(to, request, self.kind.wide, at)))
        wire.log.append((wire.bus, Frame(by, answer, self.kind.wide, at + self._rng.uniform(0.005, 0.025))))

    def _filled(self, data: bytes) -> bytes:
        return data if self.kind.padding is None else data.ljust(8, bytes((self.kind.padding,)))
