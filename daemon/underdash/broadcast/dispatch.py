"""Which frame goes to which decoder: listeners get slots in the store and entries in the tables of their buses."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import inf

from ..bus.frames import fits, id_text, key_of
from ..bus.table import Table
from ..contract.layout import BroadcastListener, Field, Select
from ..contract.signals import Signal
from ..signals.searching import hint
from ..signals.store import Rank, Slot, Store
from .bits import LayoutError
from .counts import Counts
from .decoder import Decoder, compile_listener
from .fields import compile_fields, wanted_with_references


@dataclass(slots=True)
class Broadcasts:
    """What was registered, and what could not be.

    Attributes:
        decoders: in the order of their listeners.
        slots: where they put what they read.
        problems: sentences; what a problem names is left out, everything else runs.
    """

    decoders: list[Decoder] = field(default_factory=list)
    slots: list[Slot] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def keys(self, bus: str) -> list[int]:
        """Return the keys listened for on a bus, for the kernel's filter."""
        return sorted({decoder.key for decoder in self.decoders if decoder.listener.bus == bus})

    def counts(self) -> dict[str, Counts]:
        """Return the counts by frame, such as "drive 0B4"; two listeners to one frame are told apart by a number."""
        found: dict[str, Counts] = {}
        for decoder in self.decoders:
            name = _frame(decoder.listener)
            same = sum(1 for key in found if key.split(" (")[0] == name)
            found[f"{name} ({same + 1})" if same else name] = decoder.counts
        return found

    def bus_silent(self, bus: str) -> None:
        """Forget what a bus last said about signals that are sent on change only.

        Their age says nothing while the bus talks; once it is silent, it says everything.
        """
        for slot, decoder in self._fed():
            if decoder.listener.bus == bus and decoder.listener.on_change:
                slot.clear()

    def take_over(self, before: Broadcasts) -> Iterator[Slot]:
        """Go on with what was heard before of what is read in the same way; yields the slots that do."""
        known = {(slot.source, slot.signal.name): (slot, one.listener) for slot, one in before._fed()}
        for slot, decoder in self._fed():
            name = slot.signal.name
            old, listener = known.get((slot.source, name), (None, None))
            if old is None or listener is None or old.signal != slot.signal:
                continue
            if _fields_of(name, listener) == _fields_of(name, decoder.listener):
                slot.take_over(old)
                yield slot

    def remove(self, store: Store, tables: Mapping[str, Table]) -> None:
        """Take everything out again, when a description is reloaded or a plug-in suspended."""
        for decoder in self.decoders:
            tables[decoder.listener.bus].remove(decoder.key, decoder.handle)
        store.drop(self.slots)
        self.decoders.clear()
        self.slots.clear()

    def _fed(self) -> Iterator[tuple[Slot, Decoder]]:
        return zip(self.slots, (decoder for decoder in self.decoders for _ in decoder.wanted), strict=True)


def register(
    listeners: Iterable[BroadcastListener],
    store: Store,
    tables: Mapping[str, Table],
    signals: Mapping[str, Signal],
    wanted: Collection[str] | None = None,
) -> Broadcasts:
    """Compile listeners and put them into the tables of their buses.

    Args:
        listeners: of the car and of the plug-ins.
        store: gets a slot for every wanted signal of every listener.
        tables: by role of the bus.
        signals: everything that is declared, by name.
        wanted: signals somebody looks at; None means all. A listener with none of them is not registered.
    """
    found = Broadcasts()
    taken: dict[tuple[str, int], list[Field]] = {}
    for listener in listeners:
        fields = _sound_fields(listener, tables, signals, taken, found.problems)
        sound = replace(listener, fields=fields)
        names = {one.signal for one in fields}
        looked_at = names if wanted is None else names & wanted_with_references(fields, wanted)
        if looked_at:
            _register(sound, looked_at, store, tables, found)
    return found


def _register(
    listener: BroadcastListener,
    names: Collection[str],
    store: Store,
    tables: Mapping[str, Table],
    found: Broadcasts,
) -> None:
    selected = {one.signal for one in listener.fields if one.select is not None}
    source = f"broadcast {_frame(listener)}"
    slots: dict[str, Slot] = {}
    try:
        for name in dict.fromkeys(one.signal for one in listener.fields):
            if name in names:
                # what a multiplexer selects comes less often than the frame
                usual = None if name in selected else listener.period_s
                period = inf if listener.on_change else usual
                slots[name] = store.slot(name, source, Rank.BROADCAST, period_s=period, elastic=period is None)
        decoder = compile_listener(listener, slots)
        tables[listener.bus].add(decoder.key, decoder.handle)
    except (LayoutError, ValueError) as exc:
        store.drop(slots.values())
        found.problems.append(f"{_frame(listener)}: {exc}")
        return
    found.decoders.append(decoder)
    found.slots.extend(slots.values())


# --- vetting ----------------------------------------------------------------------------------------------------


def _sound_fields(
    listener: BroadcastListener,
    tables: Mapping[str, Table],
    signals: Mapping[str, Signal],
    taken: dict[tuple[str, int], list[Field]],
    problems: list[str],
) -> tuple[Field, ...]:
    """The fields that can be used; each of the others leaves a sentence in `problems`."""
    if listener.bus not in tables:
        problems.append(
            f"{_frame(listener)}: bus {listener.bus!r} is not connected; those that are: "
            f"{', '.join(sorted(tables)) or 'none'}"
        )
        return ()
    if not fits(listener.id, listener.extended):
        bits = 29 if listener.extended else 11
        problems.append(f"{_frame(listener)}: {listener.id:X} is no id of {bits} bits; correct it")
        return ()
    before = taken.setdefault((listener.bus, key_of(listener.id, listener.extended)), [])
    carried = {one.signal for one in listener.fields}
    sound: list[Field] = []
    for one in listener.fields:
        problem = _problem(one, signals, before, carried)
        if problem is None:
            sound.append(one)
            before.append(one)
        else:
            problems.append(f"{_frame(listener)}: {problem}")
    return tuple(sound)


def _problem(
    one: Field, signals: Mapping[str, Signal], before: Iterable[Field], carried: Collection[str]
) -> str | None:
    """Why a field cannot be used, None if it can."""
    signal = signals.get(one.signal)
    if signal is None:
        return f"signal {one.signal!r} is not declared; {hint(one.signal, signals)}"
    if any(other.signal == one.signal and not _exclusive(other.select, one.select) for other in before):
        return f"two fields of this frame feed {one.signal!r}; the first is kept, take one of them out"
    reference = signals.get(one.full_scale_from or "")
    if one.full_scale_from is not None and (reference is None or one.full_scale_from not in carried):
        return f"{one.signal!r} takes its full scale from {one.full_scale_from!r}, which this frame does not carry"
    trial = {each.name: Slot(each, "", 0, None, False) for each in (signal, reference) if each is not None}
    try:
        compile_fields((one,), trial)
    except LayoutError as exc:
        return str(exc)
    return None


def _exclusive(one: Select | None, other: Select | None) -> bool:
    """Whether two fields can never be in one frame, since one multiplexer cannot read two values."""
    return any(
        a.bits == b.bits and not set(a.values) & set(b.values) for a in _levels(one) for b in _levels(other)
    )  # fmt: skip


def _levels(select: Select | None) -> Iterable[Select]:
    while select is not None:
        yield select
        select = select.within


def _fields_of(signal: str, listener: BroadcastListener) -> list[Field]:
    return [one for one in listener.fields if one.signal == signal]


def _frame(listener: BroadcastListener) -> str:
    return f"{listener.bus} {id_text(key_of(listener.id, listener.extended))}"
