"""Frames a simulated car sends by itself: those its description explains, and those nobody has explained yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from random import Random

from ..broadcast.bits import Place, place_of
from ..broadcast.checks import checksum_writer
from ..broadcast.decoder import shortest_frame
from ..broadcast.encoder import encode_fields
from ..bus.frames import key_of
from ..contract.cars import CarDescription
from ..contract.layout import BroadcastListener
from ..contract.signals import Value
from ..signals.catalogue import CATALOGUE

USUAL_PERIOD_S = 0.1
JITTER_SHARE = 0.05
JITTER_AT_MOST_S = 0.002
DRIVE_FRAMES_S = 300.0
OTHER_FRAMES_S = 100.0
_PERIODS_S = (0.01, 0.02, 0.02, 0.05, 0.1, 0.1, 0.2, 0.5, 1.0)
_VARIANTS = 64


class Source:
    """One id that is sent again and again, on the car's clock."""

    __slots__ = ("_base_s", "bus", "extended", "id", "jitter_s", "period_s")

    def __init__(self, bus: str, can_id: int, extended: bool, period_s: float) -> None:
        self.bus = bus
        self.id = can_id
        self.extended = extended
        self.period_s = period_s
        self.jitter_s = min(JITTER_SHARE * period_s, JITTER_AT_MOST_S)
        self._base_s = 0.0

    def wake(self, at_s: float, random: float) -> float:
        """Return when the first frame is due; control units do not wake in step, so `random` is 0..1 of a period."""
        self._base_s = at_s + 0.02 + self.period_s * random
        return self._base_s

    def move_on(self, random: float) -> float:
        """Return when the next frame is due; jitter (0..1 of it) does not add up."""
        self._base_s += self.period_s
        return self._base_s + self.jitter_s * random

    def data(self, values: Mapping[str, Value]) -> bytes:
        """Return the next frame's bytes."""
        raise NotImplementedError


class Described(Source):
    """A broadcast of the description, with its counter and checksum.

    Args:
        listener: the declaration.
        size: bytes of the frame; None means as many as its fields need.
    """

    __slots__ = (
        "_body",
        "_check",
        "_count",
        "_counter",
        "_given",
        "_seen",
        "_size",
        "_units",
        "listener",
        "names",
    )

    def __init__(self, listener: BroadcastListener, size: int | None = None) -> None:
        super().__init__(listener.bus, listener.id, listener.extended, listener.period_s or USUAL_PERIOD_S)
        self.listener = listener
        self.names = tuple(dict.fromkeys(field.signal for field in listener.fields))
        self._units = stored_units(listener)
        self._size = size or shortest_frame(listener)
        self._counter = place_of(listener.counter.bits) if listener.counter else None
        self._check = checksum_writer(listener.checksum) if listener.checksum else None
        self._count = 0
        self._given: Mapping[str, Value] | None = None
        self._seen: list[Value | None] | None = None
        self._body = b""

    def changed(self, values: Mapping[str, Value]) -> bool:
        """Say whether the values differ from those last spelt, and spell them if so.

        The same mapping is taken to hold the same values: a model makes a new one every step.
        """
        if values is self._given:
            return False
        self._given = values
        seen = [values.get(name) for name in self.names]
        if self._seen == seen:
            return False
        self._seen = seen
        self._body = encode_fields(self.listener.fields, values, self._size, units=self._units)
        return True

    def forget(self) -> None:
        """Take the next values for changed ones, as after waking."""
        self._given = self._seen = None

    def data(self, values: Mapping[str, Value]) -> bytes:
        """Return the next frame's bytes; fields are spelt again only when a value has moved."""
        if values is not self._given:
            self.changed(values)
        if self._counter is None and self._check is None:
            return self._body
        data = bytearray(self._body)
        if self._counter is not None:
            self._count_up(data, self._counter)
        if self._check is not None:
            self._check(data)
        return bytes(data)

    def _count_up(self, data: bytearray, at: Place) -> None:
        here = slice(at.first, at.last + 1)
        number = int.from_bytes(data[here], at.order) & ~(at.mask << at.shift)
        data[here] = (number | (self._count & at.mask) << at.shift).to_bytes(at.last + 1 - at.first, at.order)
        self._count += 1


class Undescribed(Source):
    """Traffic that nobody has explained: a few of its bytes move, in a pattern that repeats."""

    __slots__ = ("_index", "_variants")

    def __init__(self, bus: str, can_id: int, extended: bool, period_s: float, variants: tuple[bytes, ...]) -> None:
        super().__init__(bus, can_id, extended, period_s)
        self._index = 0
        self._variants = variants

    def data(self, values: Mapping[str, Value]) -> bytes:
        """Return the next frame's bytes."""
        self._index += 1
        return self._variants[self._index % _VARIANTS]


def _payloads(length: int, rng: Random) -> tuple[bytes, ...]:
    data = bytearray(rng.choice((0, 0, 0xFF, rng.randrange(256))) for _ in range(length))
    counting = rng.randrange(length) if length and rng.random() < 0.5 else None
    wandering = rng.sample(range(length), min(length, rng.randrange(3)))
    variants = []
    for number in range(_VARIANTS):
        for place in wandering:
            data[place] = (data[place] + rng.randrange(-2, 3)) & 0xFF
        if counting is not None:
            data[counting] = number & 0x0F | data[counting] & 0xF0
        variants.append(bytes(data))
    return tuple(variants)


def stored_units(listener: BroadcastListener) -> dict[str, str]:
    """Return the stored units of those fields that are spelt in another one."""
    return {
        field.signal: CATALOGUE[field.signal].unit
        for field in listener.fields
        if field.unit is not None and field.signal in CATALOGUE
    }


def described(description: CarDescription) -> list[Described]:
    """Return a source for each broadcast; a frame is as long as the car's fingerprint says."""
    lengths = {(frame.bus, key_of(frame.id, frame.extended)): frame.length for frame in description.fingerprint}
    sources = []
    for listener in description.broadcasts:
        known = lengths.get((listener.bus, key_of(listener.id, listener.extended)), 0)
        sources.append(Described(listener, max(known, shortest_frame(listener))))
    return sources


def undescribed(description: CarDescription, rng: Random) -> list[Source]:
    """Return what else talks: the rest of the fingerprint, and as much unknown traffic as a car of its kind has."""
    taken = {(listener.bus, key_of(listener.id, listener.extended)) for listener in description.broadcasts}
    for unit in description.units:
        taken |= {(unit.bus, key_of(can_id, unit.extended)) for can_id in (unit.request_id, unit.response_id)}
    sources: list[Source] = []
    for frame in description.fingerprint:
        where = (frame.bus, key_of(frame.id, frame.extended))
        if where not in taken:
            taken.add(where)
            period_s = frame.period_s or USUAL_PERIOD_S
            sources.append(Undescribed(frame.bus, frame.id, frame.extended, period_s, _payloads(frame.length, rng)))
    for bus in description.buses:
        known = [listener for listener in description.broadcasts if listener.bus == bus.role]
        rate = sum(1.0 / (listener.period_s or USUAL_PERIOD_S) for listener in known)
        rate += sum(1.0 / source.period_s for source in sources if source.bus == bus.role)
        wanted = DRIVE_FRAMES_S if bus.role == "drive" else OTHER_FRAMES_S
        extended = any(listener.extended for listener in known)
        sources += _unknown(bus.role, extended, wanted - rate, taken, rng)
    return sources


def _unknown(bus: str, extended: bool, frames_s: float, taken: set[tuple[str, int]], rng: Random) -> Iterable[Source]:
    sources = []
    while frames_s > 1.0:
        period_s = rng.choice([period for period in _PERIODS_S if 1.0 / period <= frames_s])
        can_id = rng.randrange(0x0100_0000, 0x1800_0000) if extended else rng.randrange(0x080, 0x700)
        where = (bus, key_of(can_id, extended))
        if where not in taken:
            taken.add(where)
            frames_s -= 1.0 / period_s
            variants = _payloads(rng.choice((8, 8, 8, 7, 5, 4, 2)), rng)
            sources.append(Undescribed(bus, can_id, extended, period_s, variants))
    return sources
