"""``underdash car show CAR [ID]``: where the fields of a frame sit, or which frames a description has."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ..contract.errors import GivenError

if TYPE_CHECKING:
    from ..contract.cars import CarDescription
    from ..contract.layout import BroadcastListener, Field


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("car", metavar="CAR", help="a description (.toml), or the car of an installed plug-in")
    parser.add_argument("id", metavar="ID", nargs="?", help="an id in hex digits; else the frames are listed")
    parser.add_argument("--variant", metavar="V", help="which variant of the car, where it has any")


def run(arguments: argparse.Namespace) -> int:
    """Show it."""
    from ..wiring.assembly import load_bundled
    from ..wiring.installed import car_of_any

    car, _ = car_of_any(arguments.car, load_bundled(), variant=arguments.variant)
    if arguments.id is None:
        print("\n".join(overview(car)))
        return 0
    frames = [one for one in _frames(car) if _name(one[0]) == _wanted(arguments.id)]
    if not frames:
        there = ", ".join(dict.fromkeys(_name(one[0]) for one in _frames(car))) or "none"
        raise GivenError(f"{car.name} describes no frame {arguments.id}; its frames are: {there}")
    print("\n\n".join("\n".join(drawn(frame, car)) for frame in frames))
    return 0


def overview(car: CarDescription) -> list[str]:
    """List the frames of a car by bus, each with what it carries, then what can be asked for."""
    lines = [f"{car.title or car.name}"]
    for bus in car.buses:
        lines.append(f"{bus.role}, {bus.bitrate // 1000} kbit/s" + (f": {bus.meaning}" if bus.meaning else ""))
        for frame in (one for one in _frames(car) if one[0].bus == bus.role):
            signals = ", ".join(dict.fromkeys(field.signal for one in frame for field in one.fields))
            lines.append(f"  {_name(frame[0]):8}  {_often(frame[0]):15}  {signals}")
    return [*lines, "asked for:", *_asked(car)] if car.polls else lines


def _asked(car: CarDescription) -> Iterator[str]:
    """Yield what can be asked for, each with whom, how and how often."""
    from ..diagnostics.parameters import PARAMETERS

    for poll in car.polls:
        number = f"{poll.identifier:X}"
        number = number.zfill(len(number) + len(number) % 2)
        often = "once" if poll.once else f"every {poll.period_s:g} s"
        standard = PARAMETERS.get(poll.identifier) if poll.protocol == "service_01" else None
        fields = poll.fields or (standard.fields if standard is not None else ())
        names = ", ".join(field.signal for field in fields) or "as the standard has it"
        yield f"  {poll.unit} {poll.protocol} {number}, {often}: {names}"


def drawn(frame: Sequence[BroadcastListener], car: CarDescription) -> list[str]:
    """Draw one frame: a row a byte with a letter a field, then what each letter is."""
    from ..broadcast.diagram import SEVERAL, diagram

    first = frame[0]
    lengths = [one.length for one in car.fingerprint if (one.bus, one.id, one.extended) == _key(first)]
    made = diagram(frame, lengths[0] if lengths else None)
    lines = [f"{first.bus} {_name(first)}, {_often(first)}, {len(made.rows)} bytes", "", "         7 6 5 4 3 2 1 0"]
    lines += [f"byte {at}   {' '.join(row)}" for at, row in enumerate(made.rows)]
    lines.append("")
    fields = {field.signal: field for one in frame for field in one.fields}
    notes = [one.note for one in frame if one.note]
    for part in made.parts:
        field = fields.get(part.name)
        lines.append(f"  {part.letter}  {part.name}{'' if field is None else ': ' + _reads(field)}")
    if any(SEVERAL in row for row in made.rows):
        lines.append(f"  {SEVERAL}  bits of several of these")
    return lines + [f"  {note}" for note in notes]


def _reads(field: Field) -> str:
    """Say how a field's raw number becomes its value."""
    from ..finding.found import bits_text

    where = bits_text(field.bits) + ("" if field.coding == "unsigned" else f", {field.coding}")
    if field.values:
        return (
            where
            + "; "
            + ", ".join(
                f"{raw} is {str(value).lower() if isinstance(value, bool) else value}" for raw, value in field.values
            )
        )
    if field.points:
        return f"{where}; by {len(field.points)} points from {field.points[0][0]:g} to {field.points[-1][0]:g}"
    scaled = "raw" if field.scale == 1.0 else f"raw x {field.scale:g}"
    offset = "" if not field.offset else f" {'+' if field.offset > 0 else '-'} {abs(field.offset):g}"
    return where + ("" if scaled == "raw" and not offset else f"; {scaled}{offset}")


def _frames(car: CarDescription) -> list[list[BroadcastListener]]:
    found: dict[tuple[str, int, bool], list[BroadcastListener]] = {}
    for one in car.broadcasts:
        found.setdefault(_key(one), []).append(one)
    return [found[key] for key in sorted(found)]


def _key(one: BroadcastListener) -> tuple[str, int, bool]:
    return one.bus, one.id, one.extended


def _name(one: BroadcastListener) -> str:
    from ..bus.frames import id_text, key_of

    return id_text(key_of(one.id, one.extended))


def _wanted(text: str) -> str:
    bare = text.removeprefix("0x").removeprefix("0X").upper()
    if not bare or any(digit not in "0123456789ABCDEF" for digit in bare) or len(bare) > 8:
        raise GivenError(f"ID {text!r}: an id in hex digits is wanted, three for 11 bits or eight for 29")
    return bare.zfill(3 if len(bare) <= 3 else 8)


def _often(one: BroadcastListener) -> str:
    if one.on_change:
        return "on change"
    return "now and then" if one.period_s is None else f"every {one.period_s * 1000:g} ms"
