"""Fields of one payload become one closure (data, at): for broadcast frames and for diagnostic answers alike."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from ..bus.frames import Handler
from ..contract.layout import Bits, Field, Select
from ..signals.store import Slot
from .bits import bytes_needed, unsigned
from .conversion import compile_field
from .counts import Counts


def compile_fields(
    fields: Sequence[Field], slots: Mapping[str, Slot], counts: Counts | None = None, *, shortest: int | None = None
) -> Handler:
    """Compile the fields that somebody wants.

    Args:
        fields: of one payload.
        slots: by signal; a signal that is not in it is wanted by nobody, and its fields cost nothing.
        counts: where short payloads and values not available are counted.
        shortest: bytes a payload must have; None means as many as `fields` need. A field that lies beyond a
            smaller number is read from the payloads that are long enough for it.

    Returns:
        A closure that puts what the payload says into the slots. A longer payload than needed is accepted.

    Raises:
        LayoutError: a field contradicts itself or does not fit its signal.
    """
    counted = Counts() if counts is None else counts
    least = length_of(fields) if shortest is None else shortest
    read = compile_unchecked(fields, slots, counted, least)

    def handle(data: bytes, at: float) -> None:
        if len(data) < least:
            counted.short += 1
        else:
            read(data, at)

    return handle


def compile_unchecked(fields: Iterable[Field], slots: Mapping[str, Slot], counts: Counts, least: int) -> Handler:
    """As `compile_fields`, for payloads that are known to have at least `least` bytes."""
    present: list[_Item] = []
    for field in fields:
        slot = slots.get(field.signal)
        if slot is None:
            continue
        handler = compile_field(field, slot, slots, counts)
        if field.present_if is not None:
            handler = _if_present(field.present_if, handler)
        needed = field_length(field)
        if needed > least:
            handler = _if_long_enough(needed, handler)
        present.append((tuple(_outermost_first(field.select)), handler))
    return _selected(present, least)


def wanted_with_references(fields: Iterable[Field], wanted: Collection[str]) -> set[str]:
    """Return the wanted signals and those that their fields take their full scale from."""
    references = {f.full_scale_from for f in fields if f.signal in wanted and f.full_scale_from is not None}
    return {*wanted, *references}


def field_length(field: Field) -> int:
    """Return how many bytes a payload must have for a field and the conditions on it."""
    places = [field.bits, *(level.bits for level in _outermost_first(field.select))]
    if field.present_if is not None:
        places.append(field.present_if)
    return max(map(bytes_needed, places))


def length_of(fields: Iterable[Field]) -> int:
    """Return how many bytes a payload must have for all of the fields."""
    return max(map(field_length, fields), default=0)


# --- conditions -------------------------------------------------------------------------------------------------

_Item = tuple[tuple[Select, ...], Handler]


def _outermost_first(select: Select | None) -> list[Select]:
    levels: list[Select] = []
    while select is not None:
        levels.insert(0, select)
        select = select.within
    return levels


def _selected(items: list[_Item], least: int) -> Handler:
    """Read each multiplexer once a payload and go on with what it selects, level by level."""
    handlers = [handler for levels, handler in items if not levels]
    by_multiplexer: dict[Bits, dict[int, list[_Item]]] = {}
    for levels, handler in items:
        if levels:
            branches = by_multiplexer.setdefault(levels[0].bits, {})
            for value in levels[0].values:
                branches.setdefault(value, []).append((levels[1:], handler))
    for bits, branches in by_multiplexer.items():
        table = {value: _selected(inner, least) for value, inner in branches.items()}
        switch = _multiplexed(bits, table)
        needed = bytes_needed(bits)
        handlers.append(_if_long_enough(needed, switch) if needed > least else switch)
    return _in_turn(handlers)


def _multiplexed(bits: Bits, table: dict[int, Handler]) -> Handler:
    read = unsigned(bits)
    find = table.get

    def handle(data: bytes, at: float) -> None:
        branch = find(read(data))
        if branch is not None:
            branch(data, at)

    return handle


def _if_present(bits: Bits, inner: Handler) -> Handler:
    read = unsigned(bits)

    def handle(data: bytes, at: float) -> None:
        if read(data):
            inner(data, at)

    return handle


def _if_long_enough(needed: int, inner: Handler) -> Handler:
    def handle(data: bytes, at: float) -> None:
        if len(data) >= needed:
            inner(data, at)

    return handle


def _in_turn(handlers: list[Handler]) -> Handler:
    """One closure for several; one or two are the common numbers and pay for no loop."""
    if not handlers:
        return lambda data, at: None
    if len(handlers) == 1:
        return handlers[0]
    if len(handlers) == 2:
        first, second = handlers

        def both(data: bytes, at: float) -> None:
            first(data, at)
            second(data, at)

        return both
    every = tuple(handlers)

    def handle(data: bytes, at: float) -> None:
        for one in every:
            one(data, at)

    return handle
