"""Whatever is configured, described, plugged in and whatever happens: no frame gets out that is not allowed.

Random cars, plug-ins and events run through the real sending side on buses in memory. What each frame is held against
is a second reading of the rules that is written out here and shares no code with the guard.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf, nan
from types import SimpleNamespace
from typing import Any

import pytest
import structlog
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from underdash.bus.caps import Caps
from underdash.bus.frames import Frame
from underdash.bus.link import Link
from underdash.bus.memory import MemoryBus, MemoryPort
from underdash.bus.vetting import MakerEvidence
from underdash.contract.buttons import GoQuiet, Refresh
from underdash.contract.cars import BusDescription, CarDescription, Exchange, ExpectedFrame, IgnitionEvidence
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.pages import Page
from underdash.contract.plugin import PluginInfo
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, Protocol, SingleFrameFormat
from underdash.contract.sources import Derived, Result
from underdash.diagnostics.options import Options
from underdash.loading import Loaded, LoadedPlugin
from underdash.pace import PacedLoop, paced_loop
from underdash.power.ignition import Seen
from underdash.power.states import Power, PowerOptions, Supply
from underdash.service.control import Conversation
from underdash.wiring.assembly import assemble
from underdash.wiring.control import Desk
from underdash.wiring.daemon import Daemon
from underdash.wiring.sending import Sending, make_guard

# --- the rules, read a second time --------------------------------------------------------------------------------

READS = {0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x17, 0x18, 0x19, 0x1A, 0x21, 0x22, 0x24}
NEVER = {0x04, 0x08, 0x10, 0x11, 0x14, 0x23, *range(0x27, 0x3F), 0x83, 0x84, 0x85, 0x86, 0x87, *range(0xA0, 0xBF)}
SETTLE_S, STEP_BACK_S, GAP_S, CONFIRM_S = 2.0, 30.0, 0.005, 0.05
KEY_LIFETIME_S, SILENCE_S, VOUCHED_S = 1.0, 5.0, 600.0
POSITIONS = ("LOCK", "OFF", "ACC", "ON", "START")
KEY_ID, ENGINE_ID, STEADY_ID, ALIVE_ID = 0x0C4A1020, 0x08F1A210, 0x0C4B2031, 0x321
A_HAIR = 1e-9

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
UNITS = (
    ENGINE,
    ControlUnit("gearbox", "drive", 0x7E1, 0x7E9, gap_s=0.02),
    ControlUnit("seat", "comfort", 0x6E2, 0x6EA, padding=None),
    ControlUnit("charge_air", "drive", 0x1F000100, 0x1F000200, extended=True, address=0x51),
    ControlUnit("exhaust", "drive", 0x1F000100, 0x1F000200, extended=True, address=0x53, padding=0xAA),
    ControlUnit("seat_behind", "comfort", 0x6E4, 0x6EC, address=0x02),
)
ODD_UNITS = (
    ControlUnit("engine_again", "drive", 0x7E0, 0x7E8),
    ControlUnit("engine_elsewhere", "drive", 0x7E0, 0x7EC),
    ControlUnit("engine_behind", "drive", 0x7E0, 0x7E8, address=0x10),
    ControlUnit("answers_alike", "drive", 0x7E5, 0x7E9),
    ControlUnit("charge_air_again", "drive", 0x1F000100, 0x1F000200, extended=True, address=0x51),
    ControlUnit("as_the_key", "comfort", KEY_ID, 0x1F000300, extended=True),
    ControlUnit("as_a_steady_frame", "drive", STEADY_ID, 0x1F000301, extended=True),
    ControlUnit("as_the_sign_of_life", "comfort", ALIVE_ID, 0x6F0),
    ControlUnit("as_an_answer", "drive", 0x7E8, 0x6F1),
    ControlUnit("everybody", "drive", 0x7DF, 0x7EF),
    ControlUnit("hasty", "drive", 0x7E3, 0x7EB, gap_s=0.0),
    ControlUnit("never_waits", "drive", 0x7E4, 0x7EE, gap_s=nan),
)
NEVER_ASKED = {"as_the_key", "as_a_steady_frame", "as_the_sign_of_life", "as_an_answer"}
"""Units whose request id the car itself sends."""

SIGNALS = (
    "engine.speed", "engine.coolant_temperature", "engine.oil_temperature", "gearbox.oil_temperature",
    "engine.manifold_pressure", "exhaust.temperature", "engine.load", "engine.throttle", "vehicle.ignition",
)  # fmt: skip
FORMATS = tuple(
    SingleFrameFormat(
        f"maker_{command:02x}",
        command,
        (Part(PartKind.COUNT, value=0x90), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2),
         Part(PartKind.MODE, value=0x05)),
        (Part(PartKind.COUNT, value=0x90), Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER, 2),
         Part(PartKind.DATA)),
    )
    for command in (0xB4, 0xBB, 0x22, 0x2E, 0x31, 0x04, 0x3B)
)  # fmt: skip


class Turncoat(bytes):
    """Shows one thing to whoever iterates over it and is another."""

    def __iter__(self) -> Iterator[int]:
        return iter(b"\x03\x22\xf1\x90\x00\x00\x00\x00")


SPELT: tuple[Any, ...] = (
    b"\x03\x22\xf1\x90", b"\x02\xb4\x01", b"\x02\x2e\x01", b"\x04\x2f\x01\x02\x03", b"\x10\x0a\x2e\xf1\x90\x01\x02\x03",
    b"", b"\x02\x11\x01" * 4, b"\x02\xb4\x01\x00\x00\x00\x00\x00\x00", b"\x01\x04", b"\x51\x02\x31\x01",
    b"\x30\x00\x00",
    bytearray(b"\x02\xb4\x01\x00\x00\x00\x00\x00"), Turncoat(b"\x02\x2e\x01\x00\x00\x00\x00\x00"), "\x02\xb4", None, 3,
    SystemExit("away"), ValueError("no"),
)  # fmt: skip


@dataclass
class Spelling:
    """What a plug-in's `encode` gives, call by call; it keeps what it gave and changes it later where it can."""

    gives: list[Any]
    gave: list[Any] = field(default_factory=list)

    def __call__(self, unit: ControlUnit, identifier: int) -> Any:
        one = self.gives[min(len(self.gave), len(self.gives) - 1)]
        one = bytearray(one) if isinstance(one, bytearray) else one
        self.gave.append(bytes(one) if isinstance(one, bytes | bytearray) and not isinstance(one, Turncoat) else None)
        self.last = one
        if isinstance(one, BaseException):
            raise one
        return one

    def turn(self) -> None:
        """Change what was handed over."""
        if isinstance(getattr(self, "last", None), bytearray):
            self.last[:] = b"\x02\x2e\x01\x00\x00\x00\x00\x00"


def worst_bits(frame: Frame) -> int:
    return (80 if frame.extended else 55) + 10 * len(frame.data)


def readings(data: bytes) -> set[int]:
    """Services a control unit can find in a frame, whether or not it has an address byte."""
    found = set()
    for start in (0, 1):
        kind = data[start] if len(data) > start + 1 else 0
        if 1 <= kind <= 7 - start:
            found.add(data[start + 1])
        elif kind >> 4 == 1 and len(data) > start + 2:
            found.add(data[start + 2])
    return found


@dataclass
class Law:
    """What may be on a bus, by what the test itself did.

    Attributes:
        told: (time, position) of the key frames that were put on the bus.
        lived: time of the last sign of life, where the key frame is sent on change.
        others: time of the last frame of another tester by (bus, key, address); None speaks to all.
        ours: (time, frame, lane) of what went out, by bus.
        open: our unconfirmed frame by bus.
        by_hand: (unit, protocol, identifier) that a person asked for.
        anybody: (bus, request id) at which a person asked who is there.
    """

    units: tuple[ControlUnit, ...] = ()
    polls: list[PollRequest] = field(default_factory=list)
    spellings: dict[str, Spelling] = field(default_factory=dict)
    permitted: dict[str, set[int]] = field(default_factory=dict)
    shown: set[tuple[str, str]] = field(default_factory=set)
    transmit: set[str] = field(default_factory=set)
    bitrates: dict[str, int | None] = field(default_factory=dict)
    requests_per_s: float = 40.0
    on_change: bool = False
    seen: bool = True
    attended: bool = False
    started_at: float = 0.0
    quiet: bool = False
    told: list[tuple[float, str]] = field(default_factory=list)
    lived: float = -inf
    talked: float = 0.0
    vouched: bool = True
    unfit_since: float = -inf
    steady: list[float] = field(default_factory=list)
    errors_at: dict[str, float] = field(default_factory=dict)
    others: dict[tuple[str, int, int | None], float] = field(default_factory=dict)
    ours: dict[str, list[tuple[float, Frame, Any]]] = field(default_factory=dict)
    open: dict[str, tuple[float, Frame] | None] = field(default_factory=dict)
    by_hand: list[tuple[str, str, int]] = field(default_factory=list)
    anybody: list[tuple[str, str]] = field(default_factory=list)
    starts: dict[tuple[str, int], float] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)

    # --- what happened

    def key(self, position: str, now: float) -> None:
        self.talk(now)
        self.told.append((now, position))
        if position in ("LOCK", "OFF", "ACC"):
            self.vouched = False

    def talk(self, now: float) -> None:
        if now - self.talked > SILENCE_S:
            self.vouched = False
            self.steady.clear()
        self.talked = now

    # --- the verdict

    def judge(self, bus: str, frame: Frame, now: float) -> None:
        """Hold a frame that was put on a bus against every rule."""
        wrong = [text for text, holds in self._rules(bus, frame, now) if not holds]
        self.broken += [f"{frame} on {bus} at {now - self.started_at:.3f} s: {text}" for text in wrong]
        self.ours.setdefault(bus, []).append((now, frame, self._lane(frame)))
        self.open[bus] = (now, frame)

    def _rules(self, bus: str, frame: Frame, now: float) -> list[tuple[str, bool]]:
        sent = self.ours.get(bus, [])
        second = [one for at, one, _ in sent if now - at < 1.0 - A_HAIR]
        requests = [one for one in second if not self._is_flow_control(one)]
        lane = self._lane(frame)
        last = max((at for at, one, other in sent if other == lane and not self._is_flow_control(one)), default=-inf)
        opened = self.open.get(bus)
        control = self._is_flow_control(frame)
        bitrate = self.bitrates[bus]
        bits = sum(map(worst_bits, second)) + worst_bits(frame)
        return [
            ("is no classic data frame", not (frame.fd or frame.error or frame.remote) and len(frame.data) <= 8),
            ("its bytes are not plain", type(frame.data) is bytes),
            (
                "nobody declared it",
                control
                or any(self._declared(u, frame) for u in self.units if u.bus == bus)
                or self._asks_who_is_there(bus, frame),
            ),
            ("it can be read as a service that does more than read", self._harmless(frame)),
            ("sending is not allowed on this bus", bus in self.transmit),
            ("somebody asked for quiet", not self.quiet),
            ("the key is not on", self._key_is_on(now)),
            ("the starter turned a moment ago", self._settled(now)),
            ("the key was not seen on and off", self.seen or self._vouched(now) or self._saw_both()),
            ("this is not the car", not now - 0.05 > self.unfit_since > -inf and len(self.steady) >= 5),
            ("its rate is not proven", bitrate is None or now - self.errors_at.get(bus, -inf) >= 1.0 - A_HAIR),
            ("another tester is there", not self._other(bus, frame, now)),
            ("too many requests", control or len(requests) + 1 <= self.requests_per_s),
            ("too much load", bitrate is None or bits <= 0.03 * bitrate),
            ("the unit got no pause", control or now - last >= GAP_S - A_HAIR),
            ("the last frame is unconfirmed", opened is None or now - opened[0] > CONFIRM_S - A_HAIR),
            ("nobody answers in several frames", not control or self._flow_control_due(bus, frame, now)),
        ]

    def _is_flow_control(self, frame: Frame) -> bool:
        return frame.data[:1] in (b"\x30", b"\x32") or (frame.data[1:2] in (b"\x30", b"\x32") and frame.data[0] >= 0x10)

    def _flow_control_due(self, bus: str, frame: Frame, now: float) -> bool:
        return now - self.starts.get((bus, frame.key), -inf) <= 6.0

    def _lane(self, frame: Frame) -> Any:
        shared = {u.address for u in self.units if u.request_id == frame.id and u.extended == frame.extended}
        place = 1 if frame.data[:1] >= b"\x90" else 0
        address = frame.data[place] if len(frame.data) > place and frame.data[place] in shared else None
        return frame.key, address

    def _declared(self, unit: ControlUnit, frame: Frame) -> bool:
        if (unit.request_id, unit.extended) != (frame.id, frame.extended):
            return False
        if unit.name in NEVER_ASKED and (self.on_change or unit.name != "as_the_sign_of_life"):
            return False
        if any(alike(unit, other) for other in self.units):
            return False
        data = frame.data
        if unit.padding is not None and len(data) != 8:
            return False
        polls = [poll for poll in self.polls if poll.unit == unit.name]
        by_hand = [
            PollRequest(name, protocol, number, ()) for name, protocol, number in self.by_hand if name == unit.name
        ]
        return any(self._spells(unit, poll.protocol, polls, data) for poll in polls) or any(
            one.protocol != "code" and self._spells(unit, one.protocol, [one], data) for one in by_hand
        )

    def _asks_who_is_there(self, bus: str, frame: Frame) -> bool:
        usual = 0x7E0 <= frame.id <= 0x7E7 if not frame.extended else frame.id & 0x1FFF00FF == 0x18DA00F1
        text = f"{frame.id:08X}" if frame.extended else f"{frame.id:03X}"
        return usual and (bus, text) in self.anybody and frame.data == b"\x02\x01\x00\x00\x00\x00\x00\x00"

    def _spells(self, unit: ControlUnit, protocol: str, polls: list[PollRequest], data: bytes) -> bool:
        known = {poll.identifier for poll in polls if poll.protocol == protocol}
        fill = b"" if unit.padding is None else bytes((unit.padding,)) * 8
        if protocol in self.spellings:
            given = [one for one in self.spellings[protocol].gave if one is not None]
            commands = {one[1] for one in given if len(one) > 1}
            permitted = commands & self.permitted.get(unit.name, set()) and (protocol, unit.name) in self.shown
            return bool(permitted) and any(data == (one + fill)[: max(len(one), len(data))] for one in given)
        if protocol.startswith("maker_"):
            command = int(protocol[6:], 16)
            head = bytes((0x95, unit.address or 0, command))
            spelt = {head + number.to_bytes(2, "big") + b"\x05" for number in known if number < 1 << 16}
            reads = command in self.permitted.get(unit.name, set()) and (protocol, unit.name) in self.shown
            return reads and unit.address is not None and data in {(one + fill)[: len(data)] for one in spelt}
        body = data if unit.address is None else data[1:]
        if unit.address is not None and data[:1] != bytes((unit.address,)):
            return False
        size, service = STANDARDS[protocol]
        length = body[0] if body else 0
        used = body[1 : 1 + length]
        known |= set(range(0, 0x100, 0x20)) if service == 1 else set()  # what it supports is asked first
        asked = [int.from_bytes(used[i : i + size], "big") for i in range(1, len(used), size)]
        rest = body[1 + length :]
        return (
            1 + size <= length <= 7 and len(used) == length and used[0] == service and (length - 1) % size == 0
            and set(asked) <= known and len(asked) == len(set(asked)) <= 6 and rest == fill[: len(rest)]
        )  # fmt: skip

    def _harmless(self, frame: Frame) -> bool:
        standard = 0x7E0 <= frame.id <= 0x7E7 or frame.id == 0x7DF
        found = readings(frame.data[:2]) | readings(frame.data[:3]) if standard else readings(frame.data)
        maker = set().union(*self.permitted.values()) if self.permitted else set()
        if standard and any(u.request_id == frame.id and u.address is not None for u in self.units):
            found = readings(frame.data)
        elif standard:
            found = {frame.data[1]} if 1 <= frame.data[0] <= 7 else set()
        return not (found - (maker & set(range(0xA0, 0xBF)))) & NEVER

    def _key_is_on(self, now: float) -> bool:
        if self.told:
            at, position = self.told[-1]
            fresh = now - (max(at, self.lived) if self.on_change else at) <= KEY_LIFETIME_S + A_HAIR
            if fresh:
                return position == "ON"
        return self._vouched(now)

    def _vouched(self, now: float) -> bool:
        lasts = now - self.started_at <= VOUCHED_S and now - self.talked <= SILENCE_S + A_HAIR
        return self.attended and self.vouched and lasts

    def _settled(self, now: float) -> bool:
        started = max((at for at, position in self.told if position == "START"), default=-inf)
        if started == -inf:
            return True
        after = [at for at, position in self.told if at > started and position == "ON"]
        ended = any(at > started and position in ("LOCK", "OFF", "ACC") for at, position in self.told)
        on = after[0] if after and not ended else started
        return now - max(on, started) >= SETTLE_S - A_HAIR

    def _saw_both(self) -> bool:
        positions = {position for _, position in self.told}
        return "ON" in positions and bool(positions & {"LOCK", "OFF", "ACC"})

    def _other(self, bus: str, frame: Frame, now: float) -> bool:
        key, address = self._lane(frame)
        seen = (at for (role, k, a), at in self.others.items()
                if role == bus and (key in (k, 0x7DF) or k == 0x7DF) and a in (None, address))  # fmt: skip
        return now - max(seen, default=-inf) < STEP_BACK_S - A_HAIR


def alike(unit: ControlUnit, other: ControlUnit) -> bool:
    """Whether nobody can tell two control units apart: by what is sent to them, or by what they answer."""
    if unit is other or unit.bus != other.bus or unit.extended != other.extended:
        return False
    apart = None not in (unit.address, other.address) and unit.address != other.address
    return not apart and (unit.request_id == other.request_id or unit.response_id == other.response_id)


# --- the machine --------------------------------------------------------------------------------------------------


class WatchedPort(MemoryPort):
    """A port that tells of each frame it took, and of each that came back."""

    def __init__(
        self, bus: MemoryBus, law: Law, loop: PacedLoop, virtual: bool, answer: Callable[[str, Frame], None]
    ) -> None:
        super().__init__(bus)
        self._answer = answer
        self.virtual = virtual
        self._law, self._time = law, loop

    def send(self, frame: Frame) -> bool:
        role = self._bus.role
        before = self._law.open.get(role)
        now = self._time.time()
        judged = len(self._law.broken)
        self._law.judge(role, frame, now)
        taken = super().send(frame)
        if not taken:
            del self._law.broken[judged:]
            self._law.ours[role].pop()
            self._law.open[role] = before
        else:
            self._answer(role, frame)
        return taken

    def deliver(self, frame: Frame) -> None:
        super().deliver(frame)
        opened = self._law.open.get(self._bus.role)
        if opened is not None and (opened[1].key, opened[1].data) == (frame.key, frame.data) and self._loop:
            self._loop.call_soon(self._law.open.__setitem__, self._bus.role, None)


def field_of(signal: str) -> Field:
    if signal == "vehicle.ignition":
        return Field(signal, Bits(0), values=tuple((number, "ON") for number in range(256)))
    return Field(signal, Bits(0))


STANDARDS = {"service_01": (1, 0x01), "service_09": (1, 0x09), "identifier_22": (2, 0x22), "identifier_21": (1, 0x21),
             "identifier_1A": (1, 0x1A)}  # fmt: skip
IDENTIFIERS = {"service_01": (0x05, 0x0C, 0x0F, 0x5C), "identifier_22": (0xF190, 0x21C7, 0x2EF1, 0x0400, 0x0231)}


@st.composite
def cars(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a car, what plug-ins bring, and the owner's configuration."""
    odd = draw(st.lists(st.sampled_from(ODD_UNITS), max_size=2, unique_by=lambda unit: unit.name))
    units = (*draw(st.permutations(UNITS)), *odd) if draw(st.booleans()) else (*odd, *UNITS)
    names = [unit.name for unit in units]
    protocols = [*IDENTIFIERS] * 3 + [form.name for form in FORMATS] + ["code"]
    polls = []
    for number, name in enumerate(
        [one.name for one in odd] + draw(st.lists(st.sampled_from(names), min_size=3, max_size=8))
    ):
        protocol = draw(st.sampled_from(protocols))
        identifier = draw(st.sampled_from(IDENTIFIERS.get(protocol, (0x01, 0x1A04, 0x2E01))))
        period = draw(st.sampled_from((0.02, 0.1, 1.0)))
        polls.append(PollRequest(name, protocol, identifier, (field_of(SIGNALS[number % 8]),), period))
    sound = [
        PollRequest("engine", "service_01", 0x0F, (field_of("engine.intake_temperature"),), 0.02),
        PollRequest("gearbox", "identifier_22", 0xF190, (field_of("fuel.pressure"),), 0.02),
        PollRequest("seat", "identifier_22", 0x21C7, (field_of("engine.ignition_timing"),), 0.02),
    ]
    polls += draw(st.permutations(sound))[: draw(st.sampled_from((0, 2, 3, 3)))]
    given = draw(st.lists(st.tuples(st.sampled_from(names), st.sampled_from((0xB4, 0xBB, 0x2E, 0x22))), max_size=6))
    shown = draw(
        st.lists(st.tuples(st.sampled_from([*(f.name for f in FORMATS), "code"]), st.sampled_from(names)), max_size=6)
    )
    return {
        "units": units,
        "polls": polls,
        "reads": [*given, ("charge_air", 0xB4)],
        "shown": [*shown, ("maker_b4", "charge_air"), ("code", "gearbox")],
        "transmit": draw(st.sampled_from([{"drive", "comfort"}] * 9 + [{"drive"}, {"comfort"}, set()])),
        "virtual": draw(st.booleans()),
        "requests_per_s": draw(st.sampled_from((40.0, 40.0, 5.0))),
        "on_change": draw(st.booleans()),
        "seen": draw(st.sampled_from((True, True, True, False))),
        "attended": draw(st.sampled_from((False, False, True))),
        "spelt": draw(st.lists(st.sampled_from(SPELT), min_size=1, max_size=3)),
        "lies": draw(st.sets(st.sampled_from(("broadcast", "derived", "poll")))),
        "answers": draw(st.sampled_from(("none", "good", "good", "refused", "pending", "broken", "late", "long"))),
    }


@st.composite
def queries(draw: st.DrawFn) -> dict[str, Any]:
    """Draw what somebody sends to the daemon's socket to have asked: good, odd and ill-meant."""
    names = st.sampled_from([unit.name for unit in (*UNITS, *UNITS, *UNITS, *ODD_UNITS)])
    number: Any = st.sampled_from((0x0C, 0x04, 0x2E, 0x31, 0x1A04, 0xF190, 0x2EF1, 0x0231, 0x3104)) | st.one_of(
        st.integers(0, 0xFF), st.integers(-1, 0x10001)
    )
    odd = st.none() | st.booleans() | st.text(max_size=6) | st.floats() | st.lists(st.integers(), max_size=2)
    protocol: Any = st.sampled_from([*STANDARDS, *STANDARDS, *(form.name for form in FORMATS), "code", "service_04"])
    ids = ("7E0", "7E1", "7E3", "7E5", "7E7", "7E8", "7DF", "18DA10F1", "18DB33F1", "0C4A1020", "6E2", "2E", "x", "")
    whole = {"what": names, "identifier": number, "protocol": protocol}
    return draw(
        st.fixed_dictionaries(whole)
        | st.fixed_dictionaries(whole)
        | st.fixed_dictionaries({"bus": st.sampled_from(("drive", "comfort", "x")), "request": st.sampled_from(ids)})
        | st.fixed_dictionaries({"what": st.sampled_from(SIGNALS)})
        | st.fixed_dictionaries(
            {},
            optional=dict.fromkeys(("what", "identifier", "protocol", "bus", "request", "service", "plan"), odd),
        )
        | st.fixed_dictionaries({**whole, "service": number, "command": number, "data": odd, "plan": odd})
    )


class Deaf:
    """A client that takes no answer."""

    def tell(self, reply: Any) -> None:
        """Take it."""


class Nothing(RuleBasedStateMachine):
    """A car, a configuration, plug-ins, and a driver with a bag full of faults."""

    @initialize(chosen=cars())
    def begin(self, chosen: dict[str, Any]) -> None:
        self.loop = paced_loop(inf)
        self.loop.set_exception_handler(lambda loop, context: self.failures.append(str(context.get("exception"))))
        self.failures: list[str] = []
        self.chosen = chosen
        self.position: str | None = "ON"
        self.fits, self.noise = True, True
        self.spelling = Spelling(chosen["spelt"])
        self.law = self._law(chosen)
        self.buses = {role: MemoryBus(role) for role in ("drive", "comfort")}
        self.daemon = self._daemon(chosen)
        self.desk = Desk(self.daemon, self.loop)
        self.daemon.start()
        self._traffic(0)
        self.run(0.5)
        if chosen["seen"]:
            self.run(4.5)

    def _law(self, chosen: dict[str, Any]) -> Law:
        law = Law(
            units=chosen["units"],
            polls=list(chosen["polls"]),
            spellings={"code": self.spelling},
            shown=set(chosen["shown"]),
            transmit=chosen["transmit"],
            bitrates={"drive": None, "comfort": None} if chosen["virtual"] else {"drive": 500_000, "comfort": 125_000},
            requests_per_s=chosen["requests_per_s"],
            on_change=chosen["on_change"],
            seen=chosen["seen"],
            attended=chosen["attended"],
            started_at=self.loop.time(),
            talked=self.loop.time(),
        )
        for unit, command in chosen["reads"]:
            law.permitted.setdefault(unit, set()).add(command)
        return law

    def _car(self, chosen: dict[str, Any]) -> CarDescription:
        key = Field("vehicle.ignition", Bits(0, 3, 2), values=tuple(enumerate(POSITIONS)))
        alive = ("comfort", ALIVE_ID) if chosen["on_change"] else None
        exchanges = []
        for name, unit_name in chosen["shown"]:
            unit = next(one for one in chosen["units"] if one.name == unit_name)
            form = next((one for one in FORMATS if one.name == name), None)
            command = form.command if form else 0
            request = bytes((0x95, unit.address or 0, command, 0x1A, 0x04, 0x05, 0, 0)) if form else b""
            spelt = [one for one in chosen["spelt"] if isinstance(one, bytes | bytearray)]
            for data in [request] if form else [bytes(memoryview(one)).ljust(8, b"\0")[:8] for one in spelt]:
                exchanges.append(Exchange(name, unit_name, data, 12, 5, "trace"))
        return CarDescription(
            "any", "any", (BusDescription("drive", 500_000), BusDescription("comfort", 125_000)),
            units=chosen["units"],
            formats=FORMATS,
            broadcasts=(
                BroadcastListener("comfort", KEY_ID, (key,), True, None if alive else 0.1, bool(alive)),
                BroadcastListener("drive", ENGINE_ID, (Field("vehicle.speed", Bits(0)),), True, 0.02),
            ),
            polls=tuple(poll for poll in chosen["polls"] if poll.protocol != "code"),
            ignition=(IgnitionEvidence("vehicle.ignition", ("ON",), ("LOCK", "OFF", "ACC"), ("START",), None,
                                       KEY_LIFETIME_S, alive),),
            fingerprint=(ExpectedFrame("drive", STEADY_ID, True, 4, None),),
            exchanges=tuple(exchanges),
        )  # fmt: skip

    def _plugin(self, chosen: dict[str, Any]) -> LoadedPlugin:
        """Return a plug-in that does what it can to get something out."""
        always = Field("vehicle.ignition", Bits(0), values=tuple((number, "ON") for number in range(256)))
        lies, polls = chosen["lies"], [poll for poll in chosen["polls"] if poll.protocol == "code"]
        if "poll" in lies:
            lie = PollRequest("engine", "service_01", 0x0C, (always,), 0.1)
            polls.append(lie)
            self.law.polls.append(lie)
        derived = Derived("vehicle.ignition", ("vehicle.speed",), lambda state, inputs, dt_s: (state, Result("ON")))
        wants = tuple(dict.fromkeys(one.signal for poll in self.law.polls for one in poll.fields))
        brings: dict[str, list[Any]] = {
            "poll_requests": polls,
            "request_protocols": [Protocol("code", self.spelling, lambda unit, data: None, (2,), 1)],
            "broadcast_listeners": [BroadcastListener("drive", ENGINE_ID, (always,), True, 0.02)]
            * ("broadcast" in lies),
            "derived_signals": [derived] * ("derived" in lies),
            "display_pages": [Page("all", "All", lambda canvas, snapshot: None, wants)],
        }
        calls: Any = {name: SimpleNamespace(function=returns(items), argnames=()) for name, items in brings.items()}
        return LoadedPlugin("odd", PluginInfo("odd"), None, "", 0.0, calls)

    def _daemon(self, chosen: dict[str, Any]) -> Daemon:
        options = Options(requests_per_s=None)  # the guard alone holds the caps
        self.assembly = assemble(self._car(chosen), Loaded((self._plugin(chosen),)), options=options)
        evidence = MakerEvidence(self.law.permitted, self.assembly.car.exchanges)
        caps = Caps(requests_per_s=chosen["requests_per_s"])
        guard = make_guard(self.assembly, evidence=evidence, caps=caps)
        links = {role: Link(role, self._port(bus), bitrate=500_000) for role, bus in self.buses.items()}
        for role, link in links.items():
            link.table = self.assembly.tables[role]
        power = Power(Supply.SWITCHED, PowerOptions(off_s=5.0))
        daemon = Daemon(
            self.assembly, links, Sending(self.assembly, guard, links, self.loop), power,
            transmit=chosen["transmit"], loop=self.loop, attended=chosen["attended"],
        )  # fmt: skip
        if chosen["seen"]:
            daemon.key.ignition.restore({"vehicle.ignition": Seen(True, True)})
        return daemon

    def _port(self, bus: MemoryBus) -> Callable[[], MemoryPort]:
        return lambda: WatchedPort(bus, self.law, self.loop, self.chosen["virtual"], self._answer)

    def _answer(self, role: str, frame: Frame) -> None:
        """Have the units of an id answer in the way that was drawn."""
        how = self.chosen["answers"]
        for unit in self.law.units if how != "none" else ():
            if (unit.bus, unit.request_id, unit.extended) != (role, frame.id, frame.extended):
                continue
            head = b"" if unit.address is None else bytes((unit.address,))
            body = frame.data[len(head) :]
            if len(body) < 3:
                continue
            said = {
                "refused": bytes((3, 0x7F, body[1], 0x31)),
                "pending": bytes((3, 0x7F, body[1], 0x78)),
                "broken": b"\x10",
                "long": bytes((0x10, 0x14, body[1] | 0x40)) + body[2:4],
            }.get(how, bytes((min(7, body[0] + 1), (body[1] + 0x40) & 0xFF)) + body[2 : 1 + body[0]] + b"\x20")
            answer = Frame(unit.response_id, (head + said)[:8], unit.extended)
            self.loop.call_later(0.6 if how == "late" else 0.008, self._say, role, answer, frame.key)

    def _say(self, role: str, answer: Frame, key: int) -> None:
        if self.buses[role].plugged:
            self.law.talk(self.loop.time())
            self.law.starts[role, key] = self.loop.time()
            self.buses[role].inject(answer)

    # --- the car goes on by itself

    def _traffic(self, beat: int) -> None:
        now = self.loop.time()
        if self.noise:
            for role, bus in self.buses.items():
                if bus.plugged:
                    self.law.talk(now)
                    bus.inject(Frame(ENGINE_ID if role == "drive" else 0x0AAAAAAA, bytes(8), True))
            if self.buses["drive"].plugged:
                self.law.unfit_since = (
                    self.law.unfit_since
                    if self.fits
                    else min(now, self.law.unfit_since)
                    if self.law.unfit_since > -inf
                    else now
                )
                self.law.steady.append(now)
                self.buses["drive"].inject(Frame(STEADY_ID, bytes(4 if self.fits else 5), True))
            if beat % 10 == 0 and self.buses["comfort"].plugged:
                if self.law.on_change:
                    at, _ = self.law.told[-1] if self.law.told else (-inf, "")
                    if now - max(at, self.law.lived) <= KEY_LIFETIME_S:
                        self.law.lived = now
                    self.buses["comfort"].inject(Frame(ALIVE_ID, b""))
                elif self.position is not None:
                    self._tell(self.position)
        self.loop.call_later(0.01, self._traffic, beat + 1)

    def _tell(self, position: str) -> None:
        if self.buses["comfort"].plugged:
            self.law.key(position, self.loop.time())
            self.buses["comfort"].inject(Frame(KEY_ID, bytes((POSITIONS.index(position),)), True))

    def run(self, seconds: float) -> None:
        self.loop.call_later(seconds, self.loop.stop)
        self.loop.run_forever()

    # --- what happens

    @rule(seconds=st.sampled_from((0.003, 0.06, 0.3, 1.5, 4.0)))
    def time_goes_by(self, seconds: float) -> None:
        self.run(seconds)

    @rule(position=st.sampled_from(("ON", "ON", "ON", *POSITIONS, None)))
    def the_key_is_turned(self, position: str | None) -> None:
        self.position = position
        if position is not None:
            self._tell(position)
        self.run(0.001)

    @rule()
    def the_starter_flickers(self) -> None:
        for position in ("START", "OFF", "START", "ACC", "ON"):
            self._tell(position)
            self.run(0.03)
        self.position = "ON"

    @rule(on=st.booleans())
    def the_car_goes_silent_or_wakes(self, on: bool) -> None:
        self.noise = on
        self.run(0.2)

    @rule(stays=st.sampled_from((False, False, True)))
    def somebody_wants_quiet(self, stays: bool) -> None:
        self.daemon.perform(GoQuiet(True))
        self.law.quiet = True
        self.run(1.2)
        if not stays:
            self.law.quiet = False
            self.daemon.perform(GoQuiet(False))

    @rule(signal=st.sampled_from(SIGNALS))
    def a_page_is_turned(self, signal: str) -> None:
        self.daemon.perform(Refresh(signal))
        self.daemon.ask()
        self.run(0.01)

    @rule(query=queries(), stays=st.sampled_from((0.003, 0.4, 1.2)), leaves=st.sampled_from((False, False, True)))
    def somebody_asks_by_hand(self, query: dict[str, Any], stays: float, leaves: bool) -> None:
        self.law.by_hand += self._meant(query)
        if isinstance(query.get("bus"), str) and isinstance(query.get("request"), str):
            self.law.anybody.append((query["bus"], query["request"].upper()))
            self.law.by_hand += [
                (unit.name, "service_01", 0)
                for unit in self.law.units
                if f"{unit.request_id:0{8 if unit.extended else 3}X}" == query["request"] and unit.address is None
            ]
        client: Any = Deaf()
        talk = Conversation(client, "ask", query, [])
        try:
            self.desk.handlers["ask"](talk)
        except UnderdashError:
            return
        self.run(stays)
        if leaves:
            talk.on_end(True)

    def _meant(self, query: dict[str, Any]) -> list[tuple[str, str, int]]:
        """Return what a query can mean at most."""
        number, name = query.get("identifier"), query.get("what")
        if not isinstance(name, str) or isinstance(number, bool) or not isinstance(number, int):
            return []
        asked = query.get("protocol")
        return [(name, one, number) for one in (*STANDARDS, *(form.name for form in FORMATS)) if asked in (None, one)]

    @rule(unit=st.sampled_from(UNITS), ours=st.booleans(), functional=st.booleans())
    def another_tester_speaks(self, unit: ControlUnit, ours: bool, functional: bool) -> None:
        data = bytes.fromhex("0201050000000000") if unit.address is None else bytes((unit.address, 2, 1, 5, 0, 0, 0, 0))
        opened = self.law.open.get(unit.bus)
        frame = Frame(0x7DF, data) if functional else Frame(unit.request_id, data, unit.extended)
        sent = [one for _, one, _ in self.law.ours.get(unit.bus, [])]
        if ours and sent and not functional:
            frame = sent[-1]
        if not self.buses[unit.bus].plugged or (opened and opened[1].data == frame.data):
            return  # nobody can tell these two apart
        if any(
            one.data == frame.data and self.loop.time() - at < 1.5
            for at, one, _ in self.law.ours.get(unit.bus, [])[-3:]
        ):
            return
        self.law.talk(self.loop.time())
        _, address = self.law._lane(frame)
        place = None if functional else address
        self.law.others[unit.bus, frame.key, place] = self.loop.time()
        self.buses[unit.bus].inject(replace(frame))
        self.run(4.0)

    @rule(role=st.sampled_from(("drive", "comfort")))
    def an_adapter_is_pulled_out_and_put_back(self, role: str) -> None:
        self.buses[role].unplug()
        if self.law.bitrates[role]:
            self.law.errors_at[role] = self.loop.time()
        self.run(0.3)
        self.buses[role].plug()
        self.run(1.0)

    @rule(role=st.sampled_from(("drive", "comfort")), number=st.integers(1, 30))
    def error_frames_come(self, role: str, number: int) -> None:
        for _ in range(number):
            self.buses[role].inject_error(0x88, bytes(8))
        self.run(0.0)
        if self.law.bitrates[role]:
            self.law.errors_at[role] = self.loop.time()
        self.run(0.2)
        self.run(2.5)

    @rule(role=st.sampled_from(("drive", "comfort")), how=st.sampled_from(("full", "dropping")))
    def nobody_acknowledges_for_a_while(self, role: str, how: str) -> None:
        setattr(self.buses[role], how, True)
        self.run(0.4)
        setattr(self.buses[role], how, False)
        self.run(0.2)

    @rule(hours=st.sampled_from((0.01, 1.0)))
    def time_jumps(self, hours: float) -> None:
        self.loop.call_later(0.0005, self.loop.stop)  # what is on its way arrives first
        self.loop.run_forever()
        self.loop.call_soon(self.loop.stop)
        self.loop.run_forever()
        pace: Any = self.loop._pace
        pace.now += 3600 * hours
        self.run(0.01)

    @precondition(lambda self: self.fits)
    @rule()
    def it_is_another_car(self) -> None:
        self.fits = False
        self.run(0.3)

    @rule(data=st.binary(max_size=8), unit=st.sampled_from(UNITS))
    def an_answer_comes_that_nobody_asked_for(self, data: bytes, unit: ControlUnit) -> None:
        if self.buses[unit.bus].plugged:
            self.law.talk(self.loop.time())
            self.law.starts[unit.bus, unit.request_id | (unit.extended << 31)] = self.loop.time()
            self.buses[unit.bus].inject(Frame(unit.response_id, data, unit.extended))
        self.run(0.002)

    @rule()
    def the_plug_in_changes_its_mind(self) -> None:
        self.spelling.turn()
        self.run(0.3)

    @invariant()
    def nothing_else_got_out(self) -> None:
        law = getattr(self, "law", None)
        assert law is None or not law.broken, "\n".join(law.broken[:5])
        assert not getattr(self, "failures", None), self.failures[:3]

    def teardown(self) -> None:
        if hasattr(self, "desk"):
            self.desk.close()
        if hasattr(self, "daemon"):
            self.daemon.stop()
        if hasattr(self, "loop"):
            self.loop.close()


def returns(items: list[Any]) -> Callable[[], list[Any]]:
    return lambda: items


@pytest.fixture(autouse=True)
def _no_logs() -> Iterator[None]:
    before = structlog.get_config()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    yield
    structlog.configure(**before)


OPEN: dict[str, Any] = {
    "units": UNITS, "polls": [], "reads": [("charge_air", 0xB4), ("exhaust", 0xBB)], "transmit": {"drive", "comfort"},
    "shown": [("maker_b4", "charge_air"), ("maker_2e", "charge_air"), ("maker_b4", "exhaust")], "virtual": True,
    "requests_per_s": 40.0, "on_change": False, "seen": True, "attended": False, "spelt": [b""], "lies": set(),
}  # fmt: skip
"""A car on which everything is open for requests, and nothing is described but its units."""


@pytest.mark.usefixtures("_no_logs")
@settings(
    max_examples=40,
    phases=(Phase.explicit, Phase.generate),
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.lists(queries(), min_size=8, max_size=16), st.sampled_from(("none", "good", "refused", "pending", "long")))
def test_where_all_is_open_only_what_reads_is_asked_by_hand(asked: list[dict[str, Any]], answers: str) -> None:
    one = Nothing()
    try:
        one.begin(chosen={**OPEN, "answers": answers})
        for query in asked:
            one.somebody_asks_by_hand(query=query, stays=1.3, leaves=False)
        one.nothing_else_got_out()
        requests = [
            at for sent in one.law.ours.values() for at, frame, _ in sent if not one.law._is_flow_control(frame)
        ]
        assert all(after - before >= 0.5 - A_HAIR for before, after in pairwise(sorted(requests)))
    finally:
        one.teardown()


def test_what_reads_is_asked_by_hand_where_all_is_open() -> None:
    one = Nothing()
    try:
        one.begin(chosen={**OPEN, "answers": "good"})
        for query in (
            {"what": "engine", "identifier": 0x0C, "protocol": "service_01"},
            {"what": "gearbox", "identifier": 0xF190, "protocol": "identifier_22"},
            {"what": "charge_air", "identifier": 0x1A04, "protocol": "maker_b4"},
            {"bus": "drive", "request": "7E3"},
        ):
            one.somebody_asks_by_hand(query=query, stays=1.3, leaves=False)
        one.nothing_else_got_out()
        sent = [frame.data.hex() for _, frame, _ in one.law.ours["drive"]]
        assert sent == ["02010c0000000000", "0322f19000000000", "9551b41a04050000", "0201000000000000"]
    finally:
        one.teardown()


NothingElseGetsOut = pytest.mark.usefixtures("_no_logs")(Nothing.TestCase)
Nothing.TestCase.settings = settings(
    max_examples=50,
    stateful_step_count=15,
    phases=(Phase.explicit, Phase.generate),  # making a failure small takes minutes; take the phase out to look at one
    database=None,
    print_blob=False,
    report_multiple_bugs=False,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)
