"""Declared requests become polls that can be sent and read: equal ones merged, mistakes listed, templates drawn."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import inf

from ..broadcast.bits import LayoutError
from ..broadcast.fields import compile_fields, field_length, length_of
from ..bus.frames import Frame, id_text, key_of
from ..bus.legislated import speaks_to_all
from ..bus.templates import Template
from ..contract.cars import CarDescription
from ..contract.errors import GivenError
from ..contract.layout import Field
from ..contract.requests import ControlUnit, PollRequest, Protocol
from ..contract.signals import Signal
from ..signals.catalogue import CATALOGUE
from ..signals.searching import hint, nearest
from ..signals.store import Rank, Slot, Store
from .isotp import FRAME_BYTES
from .obd import MASKS, with_fields
from .parameters import PARAMETERS
from .permits import limited, templates_of
from .polls import CompiledPoll
from .speech import SERVICE_01, Speech, speeches

FULL_SCALES = (0x4F, 0x50)
"""Parameters of service 01 that say how others are scaled."""

HELPER = "asked because another request needs it"
BY_HAND = "asked by hand"
"""Notes of requests that need not feed a signal."""


@dataclass(slots=True)
class Compiled:
    """What came of the declared requests; what a problem names is left out, the rest runs.

    Attributes:
        polls: what was declared.
        helpers: what nobody declared and service 01 needs: support masks, and parameters that scale others.
        templates: what the guard lets out of both.
        problems: sentences.
    """

    polls: list[CompiledPoll] = field(default_factory=list)
    templates: list[Template] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    helpers: list[CompiledPoll] = field(default_factory=list)

    def slots(self) -> list[Slot]:
        """Return the slots that were made, for taking them out of the store again."""
        return [slot for poll in (*self.polls, *self.helpers) for slot in poll.slots.values()]


def compile_polls(
    car: CarDescription,
    polls: Iterable[PollRequest],
    protocols: Iterable[Protocol],
    store: Store,
    signals: Mapping[str, Signal] = CATALOGUE,
) -> Compiled:
    """Compile requests of a car's description and of plug-ins.

    Args:
        car: its units, buses and formats.
        polls: all requests, the car's own among them; those of service 01 without fields get the standard's.
        protocols: what plug-ins bring.
        store: gets a slot for every signal of every request.
        signals: everything that is declared, by name.
    """
    found = Compiled()
    known, found.problems = speeches(car.formats, protocols)
    builder = _Builder(car, known, store, signals, found.problems)
    drafts = [draft for request in _merged(polls, builder) if (draft := builder.draft(request)) is not None]
    helpers = [draft for request in _helpers(drafts, signals) if (draft := builder.draft(request)) is not None]
    everything = [*drafts, *helpers]
    made = limited([poll for draft in everything if (poll := builder.finish(draft, everything)) is not None])
    found.polls = [poll for poll in made if not poll.helper]
    found.helpers = [poll for poll in made if poll.helper]
    found.templates, refused = templates_of(made)
    found.problems += refused
    return found


def compile_by_hand(
    car: CarDescription, request: PollRequest, store: Store, signals: Mapping[str, Signal] = CATALOGUE
) -> CompiledPoll:
    """Compile one request that a person asks for, in a protocol of a standard or in a maker's format of the car.

    Args:
        car: its units, buses and formats.
        request: with the fields that are known of it; none are needed.
        store: gets a slot for every signal of its fields.
        signals: everything that is declared, by name.

    Raises:
        GivenError: it cannot be asked; the message says why.
    """
    known, problems = speeches(car.formats, ())
    builder = _Builder(car, known, store, signals, problems)
    draft = builder.draft(replace(request, note=BY_HAND))
    poll = None if draft is None else builder.finish(draft, [draft])
    if poll is None:
        raise GivenError("; ".join(problems))
    return poll


@dataclass(frozen=True, slots=True)
class _Draft:
    """A poll before its fields are compiled: they may refer to slots of other requests of the unit."""

    name: str
    request: PollRequest
    unit: ControlUnit
    speech: Speech
    payload: bytes
    frame: Frame
    slots: dict[str, Slot]

    @property
    def mask(self) -> bool:
        """It asks for a support mask."""
        return self.request.protocol == SERVICE_01.name and self.request.identifier in MASKS

    @property
    def helper(self) -> bool:
        """Nobody declared it."""
        return self.request.note == HELPER

    @property
    def useful(self) -> bool:
        """There is somebody to get its answer."""
        return bool(self.slots) or (self.helper and self.mask) or self.request.note == BY_HAND


@dataclass(frozen=True, slots=True)
class _Builder:
    car: CarDescription
    speeches: Mapping[str, Speech]
    store: Store
    signals: Mapping[str, Signal]
    problems: list[str]

    def name(self, request: PollRequest) -> str:
        speech = self.speeches.get(request.protocol)
        if speech is None:
            return f"{request.unit} {request.protocol} {request.identifier:X}"
        return f"{request.unit} {speech.short} {request.identifier:0{2 * speech.identifier_bytes}X}"

    def draft(self, request: PollRequest) -> _Draft | None:
        name = self.name(request)
        wrong = self._unusable(request)
        if wrong:
            self.problems.append(f"request {name}: {wrong}")
            return None
        unit = self._unit(request.unit)
        speech = self.speeches[request.protocol]
        try:
            data = speech.encode(unit, request.identifier)
        except Exception as exc:  # a plug-in's encode may raise anything
            self.problems.append(f"request {name}: it cannot be spelt: {exc}")
            return None
        if not 1 <= len(data) <= FRAME_BYTES:
            self.problems.append(f"request {name}: it has {len(data)} bytes, a frame holds 1 to {FRAME_BYTES}")
            return None
        frame = Frame(unit.request_id, _padded(data, unit.padding), unit.extended)
        slots = {signal: self._slot(signal, name, request) for signal in self._known_signals(request, name)}
        draft = _Draft(name, request, unit, speech, data, frame, slots)
        return draft if draft.useful else None

    def finish(self, draft: _Draft, drafts: list[_Draft]) -> CompiledPoll | None:
        request, unit = draft.request, draft.unit
        fields = tuple(one for one in request.fields if one.signal in draft.slots)
        references = frozenset(one.full_scale_from for one in fields if one.full_scale_from is not None)
        slots = {
            signal: slot
            for other in drafts
            if other.unit == unit
            for signal, slot in other.slots.items()
            if signal in references
        } | draft.slots
        try:
            # a field that one plug-in puts too far out must not cost another one its value
            read = compile_fields(fields, slots, shortest=min(map(field_length, fields), default=0))
        except LayoutError as exc:
            self.store.drop(draft.slots.values())
            self.problems.append(f"request {draft.name}: {exc}")
            return None
        return CompiledPoll(
            draft.name, unit, draft.speech, request.identifier, draft.payload, draft.frame,
            key_of(unit.response_id, unit.extended), fields, draft.slots, references, read, length_of(fields),
            request.period_s, request.once, mask=draft.mask, helper=draft.helper,
        )  # fmt: skip

    def _unit(self, name: str) -> ControlUnit:
        return next(unit for unit in self.car.units if unit.name == name)

    def _unusable(self, request: PollRequest) -> str | None:
        """Say why a request can never be asked, None if it can."""
        names = [unit.name for unit in self.car.units]
        if request.unit not in names:
            return f"the car {self.car.name!r} has no unit {request.unit!r}{_hint(request.unit, names)}"
        unit = self._unit(request.unit)
        roles = [bus.role for bus in self.car.buses]
        if unit.bus not in roles:
            return f"unit {unit.name!r} is on bus {unit.bus!r}, which the car does not have{_hint(unit.bus, roles)}"
        speech = self.speeches.get(request.protocol)
        if speech is None:
            return f"protocol {request.protocol!r} is not known{_hint(request.protocol, self.speeches)}"
        largest = (1 << 8 * speech.identifier_bytes) - 1
        if not 0 <= request.identifier <= largest:
            return f"identifier {request.identifier:X} is outside 0 to {largest:X}"
        if not 0 < request.period_s < inf:
            return f"its period is {request.period_s:g} s; it has to be more than 0"
        return _to_all(unit, speech) or self._too_long(request, unit, speech)

    def _too_long(self, request: PollRequest, unit: ControlUnit, speech: Speech) -> str | None:
        try:
            needed = speech.sizes.get(request.identifier) or length_of(request.fields)
        except LayoutError as exc:
            return str(exc)
        room = speech.room(unit)
        if needed <= room:
            return None
        return f"its answer has {needed} bytes and {'a message' if speech.over_isotp else 'one frame'} holds {room}"

    def _known_signals(self, request: PollRequest, name: str) -> list[str]:
        known = []
        for signal in dict.fromkeys(one.signal for one in request.fields):
            if signal in self.signals:
                known.append(signal)
            else:
                self.problems.append(f"request {name}: signal {signal!r} is not known; {hint(signal, self.signals)}")
        if not request.fields and request.note not in (HELPER, BY_HAND):
            self.problems.append(f"request {name}: it feeds no signal; give it a field")
        return known

    def _slot(self, signal: str, name: str, request: PollRequest) -> Slot:
        # what is asked once a journey does not age
        period = inf if request.once else request.period_s
        return self.store.slot(signal, f"poll {name}", Rank.POLL, period_s=period, elastic=not request.once)


def _helpers(drafts: Iterable[_Draft], signals: Mapping[str, Signal]) -> list[PollRequest]:
    """Return what the declared requests of service 01 need: masks up to the highest parameter, and full scales."""
    declared: dict[str, dict[int, PollRequest]] = {}
    for draft in drafts:
        if draft.speech is SERVICE_01:
            declared.setdefault(draft.unit.name, {})[draft.request.identifier] = draft.request
    helpers: list[PollRequest] = []
    for unit, requests in declared.items():
        scaled = {one.full_scale_from for request in requests.values() for one in request.fields}
        scales = [pid for pid in FULL_SCALES if pid not in requests and _gives(pid, scaled & set(signals))]
        highest = max((*requests, *scales))
        masks = [pid for pid in MASKS if pid not in requests and pid < highest]
        helpers += [
            PollRequest(unit, SERVICE_01.name, pid, _of_those(pid, scaled & set(signals)), 1.0, True, HELPER)
            for pid in (*masks, *scales)
        ]
    return helpers


def _gives(pid: int, wanted: Collection[str | None]) -> bool:
    return bool(_of_those(pid, wanted))


def _of_those(pid: int, wanted: Collection[str | None]) -> tuple[Field, ...]:
    """Return the fields of a parameter that give what is wanted."""
    return tuple(one for one in PARAMETERS[pid].fields if one.signal in wanted)


def _merged(polls: Iterable[PollRequest], builder: _Builder) -> list[PollRequest]:
    """Make one request of equal ones: all their fields, the shortest period, once only if all say so."""
    groups: dict[tuple[str, str, int], list[PollRequest]] = {}
    for request in map(with_fields, polls):
        groups.setdefault((request.unit, request.protocol, request.identifier), []).append(request)
    merged = []
    for (unit, protocol, identifier), group in groups.items():
        fields = _one_each(dict.fromkeys(one for request in group for one in request.fields), builder, group[0])
        period = min(request.period_s for request in group)
        once = all(request.once for request in group)
        merged.append(PollRequest(unit, protocol, identifier, fields, period, once))
    return merged


def _one_each(fields: Iterable[Field], builder: _Builder, request: PollRequest) -> tuple[Field, ...]:
    kept: dict[str, Field] = {}
    for one in fields:
        first = kept.setdefault(one.signal, one)
        if first is not one:
            builder.problems.append(
                f"request {builder.name(request)}: two fields feed {one.signal}, at byte {first.bits.byte} and at byte"
                f" {one.bits.byte}; the first one counts, take the other one out"
            )
    return tuple(kept.values())


def _to_all(unit: ControlUnit, speech: Speech) -> str | None:
    """Say why a request must not go to all units at once."""
    if speech.over_isotp or not speaks_to_all(unit):
        return None
    text = id_text(key_of(unit.request_id, unit.extended))
    return f"{text} speaks to all units, and {speech.name!r} is no standard's protocol; ask on the unit's own id"


def _padded(data: bytes, padding: int | None) -> bytes:
    """Fill a request up to eight bytes, or leave it as it is with None; 0 is a padding too."""
    return data if padding is None else data + bytes((padding,)) * (FRAME_BYTES - len(data))


def _hint(found: str, allowed: Iterable[str]) -> str:
    near = nearest(found, allowed)
    return f"; did you mean {near!r}?" if near else ""
