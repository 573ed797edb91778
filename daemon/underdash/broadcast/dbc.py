"""DBC files become broadcast listeners; whatever cannot be taken over is told by its line.

Signals are named ``<prefix>.<message>.<signal>`` in snake_case, or as our own export says. Comments give the meaning,
cycle times the period; raw numbers of a number that are labelled as not available are taken for that.
Ranges are not taken over: in files made by finding out, they are guesses, and a wrong one would hide good values.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from ..bus.frames import id_text, key_of
from ..contract.layout import Bits, BroadcastListener, ByteOrder, Coding, Field, Select
from ..contract.signals import Kind, Signal
from .bits import LayoutError, bytes_needed, number
from .dbc_lines import Statement, statements
from .dbc_names import (
    as_switch,
    means_no_quantity,
    means_not_available,
    ranges,
    restored,
    snake_case,
    unit_of,
    written_by_us,
)
from .dbc_parse import ParsedMessage, Problem, parse
from .decoder import CLASSIC_BYTES
from .diagram import bits_of

LARGEST = 1e12
"""Far more than the scale of anything in a car."""
__all__ = ["Imported", "Problem", "import_dbc"]


@dataclass(frozen=True, slots=True)
class Imported:
    """What a DBC file gave.

    Attributes:
        listeners: a message each.
        signals: what they feed.
        problems: by line; those that are `lost` name everything that was left out.
    """

    listeners: tuple[BroadcastListener, ...]
    signals: tuple[Signal, ...]
    problems: tuple[Problem, ...]


@dataclass(slots=True)
class _Import:
    bus: str
    prefix: str
    taken: set[str] = field(default_factory=set)
    signals: list[Signal] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def note(self, line: int, what: str) -> None:
        """Note something that was taken over all the same."""
        self.problems.append(Problem(line, what, lost=False))


def import_dbc(text: str, *, bus: str, prefix: str) -> Imported:
    """Read DBC text.

    Args:
        text: the file's content.
        bus: role of the bus its messages are on.
        prefix: first part of the signals' names.

    Raises:
        UnderdashError: cantools is not installed.
    """
    parsed = parse(text, statements(text))
    work = _Import(bus, prefix, problems=parsed.problems)
    listeners = [listener for one in parsed.messages if (listener := _listener(one, work)) is not None]
    problems = sorted(work.problems, key=lambda problem: problem.line)
    return Imported(tuple(listeners), tuple(work.signals), tuple(dict.fromkeys(problems)))


# --- messages ---------------------------------------------------------------------------------------------------


def _listener(one: ParsedMessage, work: _Import) -> BroadcastListener | None:
    message = one.message
    fields: list[Field] = []
    lines: list[int] = []
    if not message.signals:
        work.note(one.statements[0].line, f"message {message.name} has no signals")
    for signal in message.signals:
        line = _line_of(signal, one)
        try:
            made = _fields(signal, one, line, work)
        except LayoutError as exc:
            work.problems.append(Problem(line.line, f"signal {signal.name}: {exc}"))
            continue
        fields += made
        lines += [line.line] * len(made)
    _note_overlaps(fields, lines, work)
    if not fields:
        return None
    tight = any(bytes_needed(made.bits) > message.length for made in fields)
    return BroadcastListener(
        work.bus,
        message.frame_id,
        tuple(fields),
        extended=message.is_extended_frame,
        period_s=message.cycle_time / 1000.0 if message.cycle_time else None,
        shortest=message.length if tight else None,
        note=f"{message.name}, from a DBC file",
    )


def _line_of(signal: Any, one: ParsedMessage) -> Statement:
    """The line of a signal; two of one name are told apart by their place."""
    named = [s for s in one.statements if s.keyword == "SG_" and s.signal == signal.name]
    exact = [s for s in named if (s.start, s.length) == (signal.start, signal.length)]
    return (exact or named or list(one.statements))[0]


def _note_overlaps(fields: list[Field], lines: list[int], work: _Import) -> None:
    """Tell which signals share bits: one of the two definitions is a mistake, and only the car knows which."""
    plain = [(made, line, bits_of(made.bits)) for made, line in zip(fields, lines, strict=True) if not made.select]
    for (one, line_one, a), (other, line_other, b) in combinations(plain, 2):
        if a & b and line_one != line_other:
            work.note(max(line_one, line_other), f"{one.signal} and {other.signal} share bits; both are taken")


# --- signals ----------------------------------------------------------------------------------------------------


def _fields(signal: Any, one: ParsedMessage, line: Statement, work: _Import) -> list[Field]:
    """Return the field that a signal is, or those that our export made one of."""
    if signal.scale == 0:
        raise LayoutError("its scale is 0, so that it could only ever show one number; correct the definition")
    if not (abs(signal.scale) <= LARGEST and abs(signal.offset) <= LARGEST):
        raise LayoutError(
            f"its scale {signal.scale:g} and offset {signal.offset:g} are no numbers up to {LARGEST:g}; correct the "
            "definition"
        )
    _vet_multiplexer(signal, one, line)
    coding = Coding.FLOAT if signal.is_float else Coding.SIGNED if signal.is_signed else Coding.UNSIGNED
    bits = _placed(signal)
    number(bits, coding)
    if bytes_needed(bits) > CLASSIC_BYTES:
        raise LayoutError(f"it lies beyond the {CLASSIC_BYTES} bytes of a classic frame; others are not decoded")
    if bytes_needed(bits) > one.message.length:
        work.note(
            line.line,
            f"signal {signal.name} lies beyond the {one.message.length} bytes of message {one.message.name}; "
            "it is read where a frame is longer than that",
        )
    made = Field(
        "",
        bits,
        coding,
        scale=float(signal.scale),
        offset=float(signal.offset),
        select=_select(signal, one.message),
    )
    labels = {int(raw): str(label) for raw, label in (signal.choices or {}).items()}
    known = restored(made, signal, labels)
    if known:
        return known
    made = replace(made, signal=_unique_name(signal, one, line, work))
    return [_declared(made, signal, labels, one, work)]


def _vet_multiplexer(signal: Any, one: ParsedMessage, line: Statement, inside: tuple[str, ...] = ()) -> None:
    """Refuse a signal whose multiplexer was lost, since it would be read from frames it is not in."""
    if not line.selected.startswith("m"):
        return
    switches = {each.name: each for each in one.message.signals}
    declared = [s.text.split() for s in one.statements if s.keyword == "SG_MUL_VAL_" and s.signal == signal.name]
    named = declared[0][3] if declared and len(declared[0]) > 3 else signal.multiplexer_signal
    switch = switches.get(named)
    if not signal.multiplexer_ids or switch is None or signal.multiplexer_signal != named or named in inside:
        raise LayoutError(
            f"it is marked {line.selected}, but its multiplexer{f' {named}' if named else ''} cannot be read"
        )
    _vet_multiplexer(switch, one, _line_of(switch, one), (*inside, signal.name, named))


def _placed(signal: Any) -> Bits:
    order = ByteOrder.LITTLE if signal.byte_order == "little_endian" else ByteOrder.BIG
    return Bits(signal.start // 8, signal.length, signal.start % 8, order)


def _select(signal: Any, message: Any) -> Select | None:
    if not signal.multiplexer_ids or signal.multiplexer_signal is None:
        return None
    switch = message.get_signal_by_name(signal.multiplexer_signal)
    return Select(_placed(switch), tuple(signal.multiplexer_ids), _select(switch, message))


def _dotted(*parts: str) -> str:
    return ".".join(map(snake_case, parts))


def _unique_name(signal: Any, one: ParsedMessage, line: Statement, work: _Import) -> str:
    message = one.message
    name = plain = written_by_us(signal, work.prefix) or _dotted(work.prefix, message.name, signal.name)
    count = 1
    while name in work.taken:
        count += 1
        name = f"{plain}_{count}"
    work.taken.add(name)
    if name != plain:
        frame = id_text(key_of(message.frame_id, message.is_extended_frame))
        work.note(line.line, f"{plain} is taken already; signal {signal.name} of {frame} becomes {name}")
    return name


def _held(labels: dict[int, str], made: Field, one: ParsedMessage, work: _Import) -> dict[int, str]:
    """Return the labels of raw numbers that the bits can hold; others are told, since no frame ever has them."""
    length = made.bits.length
    first = -1 << length - 1 if made.coding is Coding.SIGNED else 0
    held = {raw: label for raw, label in labels.items() if first <= raw < first + (1 << length)}
    if held.keys() != labels.keys():
        line = next((s for s in one.statements if s.keyword == "VAL_"), one.statements[0])
        beyond = ", ".join(str(raw) for raw in sorted(labels.keys() - held.keys()))
        work.note(line.line, f"{made.signal}: its bits cannot hold {beyond}, so the labels of these are not used")
    return held


def _declared(made: Field, signal: Any, labels: dict[int, str], one: ParsedMessage, work: _Import) -> Field:
    """Declare the signal a field feeds, and give the field the values its kind needs."""
    unit = unit_of(signal.unit)
    whole = made.scale == 1.0 and made.offset == 0.0 and made.coding is not Coding.FLOAT
    # where each raw number has a label it is none, whatever the file says of a unit; nor is a single bit
    named = whole and (made.bits.length == 1 or len(labels) >= 1 << made.bits.length)
    only_gone = bool(labels) and not named and all(map(means_not_available, labels.values()))
    plain = whole and (named or not signal.unit) and not only_gone
    comment = (signal.comment or "").removeprefix(made.signal).removeprefix(": ")
    meaning = " ".join((comment or f"{signal.name} of {one.message.name}").split())
    if named:
        unit = None
    elif signal.unit and unit is None:
        meaning += f" (in {signal.unit})"
    kind = Kind.NUMBER
    choices: tuple[str, ...] = ()
    if not plain:
        made = _without_gone(made, signal, labels, one, work)
    elif switch := as_switch(labels):
        kind, made = Kind.SWITCH, replace(made, values=switch)
    elif labels := _held(labels, made, one, work):
        kind, choices = Kind.CHOICE, tuple(dict.fromkeys(labels.values()))
        made = replace(made, values=tuple(labels.items()))
    elif made.bits.length == 1:
        kind = Kind.SWITCH
    work.signals.append(Signal(made.signal, unit or "", meaning, kind, choices=choices))
    return made


def _without_gone(made: Field, signal: Any, labels: dict[int, str], one: ParsedMessage, work: _Import) -> Field:
    """Return a number that is not there where a label says so; of other labels it has no use, which is told."""
    whole = made.coding is not Coding.FLOAT
    gone = {raw: label for raw, label in labels.items() if whole and means_no_quantity(label)}
    if len(gone) < len(labels):
        line = next((s for s in one.statements if s.keyword == "VAL_" and s.signal == signal.name), one.statements[0])
        which = "its other labels" if gone else "its labels"
        what = f"{signal.name} is a number with a scale or unit; {which} are not used"
        work.problems.append(Problem(line.line, what))
    return replace(made, unavailable=ranges(_held(gone, made, one, work)))
