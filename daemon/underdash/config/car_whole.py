"""What is wrong with a car as a whole: parts that are each without mistakes and do not go together."""

from __future__ import annotations

from ..broadcast.bits import LayoutError
from ..broadcast.decoder import shortest_frame
from ..bus.frames import id_text, key_of
from ..bus.lanes import keys_sent, mixed_up
from ..bus.legislated import own_id
from ..contract.cars import CarDescription
from ..contract.requests import Part
from ..diagnostics.obd import with_fields
from .car_layout import Context
from .mistakes import MISSING, Words


def check_whole(car: CarDescription, context: Context) -> None:
    """Collect the mistakes that only show once all parts are there."""
    if not car.buses and not context.buses:  # one with mistakes of its own is there too
        context.mistakes.add(("bus",), MISSING, "at least one [bus.<role>]")
    _check_ignition(car, context)
    _check_units(car, context)
    _check_answers(car, context)
    _check_formats(car, context)
    _check_fingerprint(car, context)


def _check_ignition(car: CarDescription, context: Context) -> None:
    heard = {f.signal for b in car.broadcasts for f in b.fields}
    asked = {f.signal for p in car.polls for f in with_fields(p).fields} - heard
    for index, evidence in enumerate(car.ignition):
        if evidence.signal in asked:
            allowed = "a signal that is broadcast or wired, since nothing is asked before the ignition is known"
            context.mistakes.add(("ignition", index, "signal"), evidence.signal, allowed)


def _check_units(car: CarDescription, context: Context) -> None:
    """Units that nobody can tell apart, and those asked on an id that the car itself sends."""
    add = context.mistakes.add
    for name, why in mixed_up(car.units).items():
        add(
            ("unit", name),
            Words(f"a unit that {why.split(';')[0]}"),
            "ids of its own, or for each an address of its own; of one that is asked with all, an answer on the "
            "standard's ids (7E8 to 7EF, 18DAF1xx)",
        )
    sent = keys_sent(car)
    for unit in car.units:
        ids = (one for one in (unit.request_id, own_id(unit)) if one is not None)
        used = [key for one in ids if (unit.bus, key := key_of(one, unit.extended)) in sent]
        for key in used[:1]:
            what = sent[unit.bus, key]
            add(
                ("unit", unit.name, "request"),
                Words(f"{id_text(key)}, which is {what}"),
                "an id that the car never sends",
            )


def _check_answers(car: CarDescription, context: Context) -> None:
    """Answers on an id that carries something else as well, which would be taken for them."""
    others = {(b.bus, key_of(b.id, b.extended)): "a broadcast" for b in car.broadcasts}
    for unit in car.units:
        key = key_of(unit.response_id, unit.extended)
        if (unit.bus, key) in others:
            found = Words(f"{id_text(key)}, which is {others[unit.bus, key]} too")
            context.mistakes.add(("unit", unit.name, "response"), found, "an id on which nothing but answers is sent")


def _check_formats(car: CarDescription, context: Context) -> None:
    """Two formats whose replies look the same, both used with one unit: nobody could say whose reply it is."""
    formats = {one.name: one for one in car.formats}
    seen: dict[tuple[str, int, tuple[Part, ...]], str] = {}
    told: set[str] = set()
    for poll in car.polls:
        form = formats.get(poll.protocol)
        if form is None:
            continue
        first = seen.setdefault((poll.unit, form.command + form.reply_adds, form.reply), form.name)
        if first != form.name and form.name not in told:
            told.add(form.name)
            found = Words(f"a reply of {poll.unit} that could be one of {first} too")
            allowed = "replies that differ, or one format for both"
            context.mistakes.add(("request_format", form.name, "reply"), found, allowed)


def _check_fingerprint(car: CarDescription, context: Context) -> None:
    """A frame has one length, and it is long enough for what is read from it."""
    needed: dict[tuple[str, int], int] = {}
    for listener in car.broadcasts:
        try:
            key = listener.bus, key_of(listener.id, listener.extended)
            needed[key] = max(needed.get(key, 0), shortest_frame(listener))
        except LayoutError:
            continue  # told where its fields stand
    lengths: dict[tuple[str, int], int] = {}
    for index, frame in enumerate(car.fingerprint):
        key = frame.bus, key_of(frame.id, frame.extended)
        where = ("fingerprint", index, "length")
        if frame.length < needed.get(key, 0):
            allowed = f"at least {needed[key]}, which the [[broadcast]] of {id_text(key[1])} reads"
            context.mistakes.add(where, frame.length, allowed)
        elif lengths.setdefault(key, frame.length) != frame.length:
            allowed = f"one length a frame; {id_text(key[1])} has {lengths[key]} bytes above"
            context.mistakes.add(where, frame.length, allowed)
