"""``underdash find layout TRACE``: for each id how it is sent, and where its fields begin and end."""

from __future__ import annotations

import argparse
import json
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from ..contract.errors import GivenError
from . import find
from .find_recorded import add_live

if TYPE_CHECKING:
    from ..finding.found import Answer
    from ..finding.layout.laid import Found, Layout

NEVER = "·"
"""In the drawing: a bit that belongs to no field, since it never changed."""
MARKS = {"counter": "+", "checksum": "#", "multiplexer": "?"}
"""In the drawing: fields that serve the sending of the frame; the others have letters."""
TIMES = {0: "never", 1: "once", 2: "twice"}


def add(parser: argparse.ArgumentParser) -> None:
    """Add this question's arguments."""
    find.add_trace(parser)
    add_live(parser)
    parser.add_argument("--id", metavar="ID", help="only this id, in hex digits; --picture needs it")


def run(arguments: argparse.Namespace) -> int:
    """Answer it; returns 0 where any field was found, else 1."""
    from ..finding.layout.search import layouts

    if arguments.picture is not None and arguments.id is None:
        raise GivenError("--picture draws the fields of one id over time; say which with --id, such as --id 2C1")
    heard = find.heard(arguments)
    names = {stream.name for stream in heard}
    if arguments.id is not None:
        names = _only(names, arguments.id)
    # all ids, since what is usual among them says something of each
    found = [one for one in layouts(heard) if one.stream.name in names]
    if arguments.json:
        print(json.dumps([one.plain() for one in found], indent=2))
    else:
        print("\n\n".join("\n".join(lines) for lines in blocks(found)))
    find.picture(arguments, heard, answers(found))
    return 0 if any(one.fields for one in found) else 1


def _only(names: Collection[str], wanted: str) -> set[str]:
    """Return the names of one id, of which there may be one of 11 bits and one of 29."""
    bare = wanted.removeprefix("0x").removeprefix("0X").upper()
    kept = {name for name in names if bare and name.lstrip("0") == bare.lstrip("0")}
    if not kept:
        shown = sorted(names)
        there = ", ".join(shown[:20]) + (f" and {len(shown) - 20} more" if len(shown) > 20 else "")
        raise GivenError(f"--id {wanted}: no frame of this id is in the recording; there are {there}")
    return kept


def answers(found: Sequence[Layout]) -> list[Answer]:
    """Return the fields as answers for the picture: numbers first, those that serve the sending left out."""
    from ..finding.found import Answer

    fields = [field for one in found for field in one.fields if field.kind not in MARKS]
    fields.sort(key=lambda field: (field.kind != "number", -field.changes))
    return [Answer(field.kind, ((field.candidate(),),)) for field in fields]


def blocks(found: Sequence[Layout]) -> list[list[str]]:
    """Write one block for each id in which anything changed, and one for all the others together."""
    still = [one for one in found if not one.fields and not one.remarks]
    out = [block(one) for one in found if one not in still]
    for bus in dict.fromkeys(one.stream.bus for one in still):
        names = [one.stream.name for one in still if one.stream.bus == bus]
        out.append([f"{bus}: nothing ever changed in {', '.join(names)}"])
    return out


def block(one: Layout) -> list[str]:
    """Write what was found out about one id: how it is sent, its fields drawn, then each in words."""
    lengths = ", ".join(f"{_many(count, 'frame')} of {_many(n, 'byte')}" for n, count in one.rhythm.lengths)
    lines = [f"{one.stream}: {one.rhythm}, {lengths}"]
    contents: dict[tuple[int, ...], list[Found]] = {}
    for field in one.fields:
        contents.setdefault(field.where.select.values if field.where.select else (), []).append(field)
    always = contents.pop((), [])
    lines += _drawn(always, one) if not contents else [f"  {_letters(always)[at]}  {_words(field)}"
                                                         for at, field in enumerate(always)]  # fmt: skip
    for values, fields in contents.items():
        lines.append(f"  while the multiplexer is {', '.join(map(str, values))}:")
        lines += _drawn([*always, *fields], one, told=len(always))
    return lines + [f"  {remark}" for remark in one.remarks] + _declared(one)


def _declared(one: Layout) -> list[str]:
    """Write the counter and the checksum as the ``[[broadcast]]`` of a description declares them."""
    from ..broadcast.diagram import bits_of
    from ..config.spelling import bits_table, checksum_table
    from ..config.writing import value_text

    counter, checksum = one.protection.counter, one.protection.checksum
    if counter is not None and one.multiplexer is not None and bits_of(counter.bits) & bits_of(one.multiplexer):
        counter = None  # contents take turns, that is all it counts
    keys = {
        "counter": None if counter is None else bits_table(counter.bits),
        "checksum": None if checksum is None else checksum_table(checksum.declared()),
    }
    told = [f"  {key} = {value_text(table)}" for key, table in keys.items() if table is not None]
    return ["  in a description:", *told] if told else []


def _drawn(fields: Sequence[Found], one: Layout, told: int = 0) -> list[str]:
    """Draw the bytes in their order, each from its highest bit, a letter a field; then say what each is.

    Args:
        fields: from the start of the frame on.
        one: the layout they belong to.
        told: how many of the first are drawn but were put in words before.
    """
    from ..broadcast.diagram import bits_of

    if not fields:
        return []
    letters = _letters(fields)
    drawing = [NEVER] * (8 * one.rhythm.lengths[0][0])
    for letter, field in zip(letters, fields, strict=True):
        for bit in bits_of(field.where.bits):
            drawing[bit] = letter
    bytes_drawn = ("".join(reversed(drawing[at : at + 8])) for at in range(0, len(drawing), 8))
    words = [f"  {letter}  {_words(field)}" for letter, field in zip(letters, fields, strict=True)]
    return [f"  |{'|'.join(bytes_drawn)}|", *words[told:]]


def _letters(fields: Sequence[Found]) -> list[str]:
    from ..broadcast.diagram import LETTERS

    out: list[str] = []
    for field in fields:
        lettered = sum(letter in LETTERS for letter in out)
        out.append(MARKS.get(field.kind) or LETTERS[lettered % len(LETTERS)])
    return out


def _words(field: Found) -> str:
    """Say what a field is, and how sure that is."""
    from ..finding.found import bits_text

    text = f"{bits_text(field.where.bits)}: {_kind(field)}"
    return f"{text}; {find.how_sure(field.confidence)}"


def _kind(field: Found) -> str:
    changed = f"changed {TIMES.get(field.changes) or f'{field.changes} times'}"
    if field.kind == "flag":
        return f"flag, {changed}"
    if field.kind == "number":
        smooth = ", smooth" if field.smooth else ""
        return f"{field.where.coding} number, {field.lowest} to {field.highest} seen{smooth}, {changed}"
    if field.kind in ("choice", "multiplexer"):
        return f"{field.kind} of {field.values} values from {field.lowest} to {field.highest}, {changed}"
    return f"{field.kind}, {field.about}" if field.about else field.kind


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
