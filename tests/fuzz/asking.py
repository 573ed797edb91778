"""Whole conversations with several units of every protocol, coverage-guided; run by `make fuzz`.

    pip install atheris
    python tests/fuzz/asking.py -max_total_time=60

`World` holds what must be so whatever is heard; `test_conversations.py` drives it with rules as well.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import chain
from typing import Any

if __name__ == "__main__":
    import atheris

    with atheris.instrument_imports(include=["underdash.diagnostics"]):
        import underdash.diagnostics.asking  # noqa: F401  # loaded here, so that what follows is what is watched

from underdash.bus.frames import Frame
from underdash.bus.refusals import Reason, Refusal
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, SingleFrameFormat
from underdash.contract.signals import Signal
from underdash.diagnostics.asking import Asking, Wish
from underdash.diagnostics.batches import Request
from underdash.diagnostics.options import Options
from underdash.diagnostics.pci import consecutive, first, single
from underdash.diagnostics.polls import CompiledPoll, Lane
from underdash.diagnostics.requests import compile_polls
from underdash.signals.store import Store
from underdash.signals.wants import Want, WantKind

PAUSES_S = (0.0, 0.001, 0.005, 0.02, 0.13, 0.3, 1.0, 5.0, 31.0)
MESSAGE_BYTES = 4100
"""More than a unit may have under way in one message of twelve-bit length."""
FORGOTTEN_S = 75.0
"""Longest a wanted request may go unasked: 30 s of pending, 30 s of back-off, and its turn."""
_HEAD = (Part(PartKind.COUNT, value=0x90), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2))
FORM = SingleFrameFormat("made_up", 0xA3, (*_HEAD, Part(PartKind.MODE, value=1)), (*_HEAD, Part(PartKind.DATA)))
PLAIN = SingleFrameFormat(
    "plain", 0xA1, (Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER)), (Part(PartKind.COMMAND), Part(PartKind.DATA))
)
CHARGE = ControlUnit("charge", "drive", 0x0F00, 0x0F01, extended=True, address=0x5C)
UNITS = (
    ControlUnit("engine", "drive", 0x7E0, 0x7E8),
    ControlUnit("gearbox", "drive", 0x7E1, 0x7E9, padding=None, answer_within_s=0.1),
    ControlUnit("battery", "drive", 0x18DA1DF1, 0x18DAF11D, extended=True, padding=0xCC),
    CHARGE,
    replace(CHARGE, name="exhaust", address=0x67),
    ControlUnit("maker", "comfort", 0x6A0, 0x6A1),
)
ASKED: tuple[tuple[str, str, tuple[int, ...]], ...] = (
    ("engine", "service_01", (0x04, 0x05, 0x0C, 0x0D, 0x0F, 0x11, 0x33)),
    ("engine", "identifier_22", tuple(range(0x1000, 0x100C))),
    ("engine", "service_09", (0x02,)),
    ("gearbox", "identifier_21", (0x01, 0x02, 0x80)),
    ("gearbox", "identifier_1A", (0x90,)),
    ("battery", "identifier_22", (0x2100, 0x2101, 0x2102, 0x2103)),
    ("charge", "made_up", (0x1A04, 0x1A05)),
    ("charge", "identifier_22", (0x3000, 0x3001)),
    ("exhaust", "made_up", (0x1A04,)),
    ("maker", "plain", (0x10, 0x11)),
)
WIDTHS = {"service_01": 1, "identifier_22": 2, "service_09": 1, "identifier_21": 1, "identifier_1A": 1}
SERVICES = {"service_01": 0x01, "identifier_22": 0x22, "service_09": 0x09, "identifier_21": 0x21, "identifier_1A": 0x1A}
KEYS = tuple(dict.fromkeys((unit.bus, unit.response_id | unit.extended << 31) for unit in UNITS))


def check(condition: object, what: str) -> None:
    """Stop with what does not hold."""
    if not condition:
        raise AssertionError(what)


def signal_of(unit: str, protocol: str, identifier: int) -> str:
    """Return the signal a request feeds."""
    return f"{unit}.{protocol}_{identifier:x}"


class World:
    """All units, `Asking`, and what is watched from outside, with a time that is handed in."""

    def __init__(self, most_a_request: int = 12) -> None:
        names = [signal_of(unit, protocol, n) for unit, protocol, numbers in ASKED for n in numbers]
        self.signals = {name: Signal(name, "", "made up") for name in names}
        requests = [
            PollRequest(unit, protocol, n, (Field(signal_of(unit, protocol, n), Bits(0)),), 0.1)
            for unit, protocol, numbers in ASKED
            for n in numbers
        ]
        buses = (BusDescription("drive", 500_000), BusDescription("comfort", 125_000))
        car = CarDescription("any", "Any", buses, UNITS, formats=(FORM, PLAIN))
        self.store = Store(self.signals)
        made = compile_polls(car, requests, (), self.store, self.signals)
        check(not made.problems, f"{made.problems}")
        self.now = 1.0
        self.asking = Asking(
            made.polls, Options(requests_per_s=None, most_a_request=most_a_request), helpers=made.helpers
        )
        self.asking.reply = self._reply
        self.everything: tuple[CompiledPoll, ...] = (*made.polls, *made.helpers)
        self.obeys = True
        self.answering = False
        self.value = 77
        self.last: list[Request] = []
        self._asked_at: dict[Lane, float] = {}
        self._free: dict[Lane, bool] = {}
        self._long: dict[str, tuple[int, bytes]] = {}
        self._rest: dict[str, list[bytes]] = {}
        self._long_until = 0.0
        self._heard_at: dict[str, float] = {}
        self.footprint = self.size()
        self.want(True)

    # --- what may happen --------------------------------------------------------------------------------------------

    def want(self, everything: bool) -> None:
        """Want every signal, or none."""
        wants = {name: Want(WantKind.PAGE, 0.1) for name in self.signals} if everything else {}
        self.asking.demand(wants, self.now)

    def hear(self, key: tuple[str, int], data: bytes) -> None:
        """Hear a frame on the id of an answer."""
        for poll in self.everything:
            if (poll.bus, poll.response_key) == key:
                self._free[poll.lane] = True
        self.asking.handle(*key, data, self.now)
        self.turn()

    def wait(self, seconds: float) -> None:
        """Let time pass, turn by turn."""
        until = self.now + seconds
        for _ in range(30):
            self.turn()
            due = self.asking.deadline(self.now)
            if due is None or due >= until:
                break
            self.now = max(due, self.now + 0.001)
        self.now = max(self.now, until)
        self.turn()

    def turn(self) -> None:
        """Send what is due, if the guard lets it."""
        for bus, frame in self.asking.parts(self.now):
            if self.obeys:
                self._see(bus, frame)
                self.asking.part_sent(frame, self.now)
            else:
                self.asking.part_refused(frame, Refusal(Reason.IGNITION, "not on"), self.now)
                self._free |= {lane: True for lane in self._free if lane[1] == frame.key}
        for request in self.asking.due(self.now):
            if not self.obeys:
                self.asking.refused(request, Refusal(Reason.IGNITION, "not on"), self.now)
                continue
            self._one_at_a_time(request)
            self._see(request.bus, request.frame)
            self.asking.sent(request, self.now)
            self.last = [*self.last[-7:], request]
            self._answer(request.frame, request)

    # --- what must be so --------------------------------------------------------------------------------------------

    def _one_at_a_time(self, request: Request) -> None:
        """Nobody is asked while an answer is owed: a frame of the unit was heard since, or its time is over."""
        lane, before = request.lane, self._asked_at.get(request.lane)
        over = before is not None and self.now >= before + request.unit.answer_within_s - 1e-9
        check(before is None or over or self._free.get(lane), f"{request.name}: a second request is open on its lane")
        self._asked_at[lane], self._free[lane] = self.now, False

    def _see(self, bus: str, frame: Frame) -> None:
        """Every frame is explained by a declared request."""
        units = [
            unit for unit in UNITS if (unit.bus, unit.request_id, unit.extended) == (bus, frame.id, frame.extended)
        ]
        check(any(self._explained(unit, frame.data) for unit in units), f"{bus} {frame}: no declared request says this")

    def _explained(self, unit: ControlUnit, data: bytes) -> bool:
        mine = [poll for poll in self.everything if poll.unit.name == unit.name]
        if any(poll.frame.data == data for poll in mine):
            return True
        if unit.address is not None:
            if data[:1] != bytes((unit.address,)):
                return False
            data = data[1:]
        kind = data[0] >> 4
        if kind == 0:
            return self._declared(mine, data[1 : 1 + data[0]])
        if kind == 1:
            self._long[unit.name] = (data[0] & 15) << 8 | data[1], data[2:]
            return True
        if kind == 2:
            length, so_far = self._long[unit.name]
            so_far += data[1:]
            self._long[unit.name] = length, so_far
            return len(so_far) < length or self._declared(mine, so_far[:length])
        return data[0] in (0x30, 0x32)

    def _declared(self, mine: list[CompiledPoll], message: bytes) -> bool:
        service = next((name for name, number in SERVICES.items() if message[:1] == bytes((number,))), "")
        known = {poll.identifier for poll in mine if poll.speech.name == service}
        width = WIDTHS.get(service, 1)
        asked = [int.from_bytes(message[at : at + width]) for at in range(1, len(message), width)]
        return bool(asked) and len(message) == 1 + width * len(asked) and set(asked) <= known

    def size(self) -> int:
        """Count what is kept: the lengths of all containers that hang on the asking."""
        seen: set[int] = set()
        todo: list[Any] = [self.asking]
        total = 0
        while todo:
            one = todo.pop()
            if id(one) in seen or isinstance(one, (str, int, float, type(None), type)):
                continue
            seen.add(id(one))
            if isinstance(one, (bytes, bytearray)):
                total += len(one)
                continue
            if isinstance(one, dict):
                todo += chain(one.keys(), one.values())
            elif isinstance(one, (list, tuple, set, frozenset)) or type(one).__name__ == "deque":
                todo += one
            elif type(one).__module__.startswith("underdash"):
                slots = chain.from_iterable(getattr(kind, "__slots__", ()) for kind in type(one).__mro__)
                todo += [getattr(one, name) for name in slots if hasattr(one, name)]
                todo += vars(one).values() if hasattr(one, "__dict__") else ()
                continue
            else:
                continue
            total += len(one)
        return total

    def bounded(self) -> None:
        """Nothing grows without end: messages under way, 256 batches, what is learned of each identifier."""
        room = MESSAGE_BYTES * len(UNITS) * 2 + 256 * 200 + 20 * len(self.everything) + 500
        check(self.size() <= self.footprint + room, f"{self.size()} things are kept, {self.footprint} at the start")

    def nobody_is_forgotten(self) -> None:
        """What is wanted and not parked is asked for within a while, however broken all was before."""
        counts = self.asking.counts
        before, self.obeys = counts.sent, True
        self.want(True)
        self.wait(FORGOTTEN_S)
        waiting = [one for one in self.asking.status(self.now) if one.wanted and not one.parked]
        check(not waiting or counts.sent > before, f"nothing is asked any more: {[one.sentence for one in waiting]}")

    def usable(self) -> None:
        """On the next journey every value arrives from units that behave."""
        self.obeys = self.answering = True
        self.value += 1
        self.asking.new_journey(self.now)
        self._asked_at.clear()
        self.want(True)
        for _ in range(3000):
            self.wait(0.02)
            if not self._missing():
                break
        self.answering = False
        check(not self._missing(), f"after all that {self._missing()} do not arrive")
        self.bounded()

    def _missing(self) -> list[str]:
        return [name for name in self.signals if self.store.read(name, self.now).value != self.value]

    # --- units that behave ------------------------------------------------------------------------------------------

    def answer(self, request: Request) -> bytes:
        """Return what a unit that behaves says to a request: a message, or a frame of a maker's format."""
        form, poll = request.speech.name, request.polls[0]
        number, value = poll.identifier, bytes((self.value,))
        if form == "made_up":
            return bytes((0x95, request.unit.address or 0, 0xE3)) + number.to_bytes(2) + value
        if form == "plain":
            return b"\xe1" + value
        body = b""
        for one in request.polls:
            size = request.speech.sizes.get(one.identifier, 2 if form == "identifier_22" else 9)
            data = b"\xff" * size if one.mask else value.ljust(size, b"\0")
            body += one.identifier.to_bytes(WIDTHS[form]) + data
        return bytes((SERVICES[form] + 0x40,)) + body

    def frames(self, request: Request, message: bytes) -> list[bytes]:
        """Cut an answer into frames."""
        address, room = request.unit.address, 7 - (request.unit.address is not None)
        if not request.speech.over_isotp or not message:
            return [message]
        if len(message) <= room:
            return [single(message, address)]
        rest = message[room - 1 :]
        cut = [rest[at : at + room] for at in range(0, len(rest), room)]
        return [first(message, address), *(consecutive(n, one, address) for n, one in enumerate(cut, 1))]

    def _answer(self, frame: Frame, request: Request) -> None:
        if not self.answering:
            return
        unit, key = request.unit, (request.bus, request.polls[0].response_key)
        prefix = b"" if unit.address is None else bytes((unit.address,))
        if len(request.frames) > 1:
            self.hear(key, prefix + b"\x30\0\0")
            for _ in range(20):
                for bus, part in self.asking.parts(self.now):
                    self._see(bus, part)
                    self.asking.part_sent(part, self.now)
        begun, *self._rest[unit.name] = self.frames(request, self.answer(request))
        self._free[request.lane] = True
        self.asking.handle(*key, begun, self.now)

    def _reply(self, wish: Wish, now: float) -> None:
        self._see(wish.bus, wish.frame)
        rest, self._rest[wish.unit] = self._rest.get(wish.unit, []), []
        key = next(poll.response_key for poll in self.everything if poll.unit.name == wish.unit)
        for data in rest if self.answering else ():
            self.asking.handle(wish.bus, key, data, now)


# --- coverage-guided --------------------------------------------------------------------------------------------------


def spoilt(data: bytes, how: int, at: int, byte: int) -> bytes:
    """Return a frame with one thing wrong."""
    at = at % (len(data) or 1)
    match how % 5:
        case 0:
            return data
        case 1:
            return data[:at] + bytes((byte,)) + data[at + 1 :]
        case 2:
            return data[:at]
        case 3:
            return (data + bytes((byte,)) * 8)[:8]
    return data[:at] + bytes((data[at] ^ 1 << byte % 8,)) + data[at + 1 :] if data else data


def steps(world: World, number: Callable[[int], int], raw: Callable[[int], bytes]) -> Iterator[None]:
    """Do one thing after the other that numbers below a limit choose."""
    while True:
        match number(9):
            case 0:
                world.hear(KEYS[number(len(KEYS))], raw(number(9)))
            case 1:
                world.wait(PAUSES_S[number(len(PAUSES_S))])
            case 2:
                world.obeys = number(4) != 3
            case 3:
                world.want(number(6) != 5)
            case 4:
                world.asking.new_journey(world.now)
                world._asked_at.clear()
            case _ if world.last:
                request = world.last[number(len(world.last))]
                key = (request.bus, request.polls[0].response_key)
                message = world.answer(request)
                if number(3) == 2:
                    message = bytes((0x7F, request.speech.service, (0x78, 0x21, 0x31, 0x13, number(256))[number(5)]))
                frames = [b"\x30\0\0"] if number(5) == 4 else world.frames(request, message)
                for frame in frames[: 1 + number(8)]:
                    world.hear(key, spoilt(frame, number(5), number(8), number(256)))
            case _:
                world.turn()
        yield


def one_input(data: bytes) -> None:
    """Feed what the fuzzer made."""
    source = atheris.FuzzedDataProvider(data)
    world = World((1, 2, 6, 12)[source.ConsumeIntInRange(0, 3)])
    doing = steps(
        world, lambda below: source.ConsumeIntInRange(0, below - 1), lambda size: bytes(source.ConsumeBytes(size))
    )
    while source.remaining_bytes():
        next(doing)
    world.bounded()
    world.nobody_is_forgotten()
    world.usable()


if __name__ == "__main__":
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()
