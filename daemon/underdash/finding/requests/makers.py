"""Makers' one-frame formats in a trace: which pairs of ids speak one, what it is, and all that was said in it.

A format counts as found once it spells and reads every frame from which it was worked out, with the code that the
daemon itself asks with. One pair of ids may speak several: what the first does not explain is looked at again, and
what none explains is told.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from ...bus.services import Kind, service
from ...contract.requests import SingleFrameFormat
from ..heard import Flags, Stream
from ..reading import Progress
from .maker import Maker
from .maker_formats import best_format, with_checksum
from .maker_rest import Rest, rest_of
from .one_frame import USUAL_ADDS, commands
from .one_frame_pairs import LEAST_ANSWERS, Pairing, uneven
from .who_asks import pair, pairings

MOST_FORMATS = 6
"""On one pair of ids (a choice)."""
MOST_COMMANDS = 6
"""Values of a byte that may tell commands apart (a choice)."""
NEARLY_ALL = 0.95
"""Where a format explains so many of the exchanges, no byte is looked for that tells several apart."""


def makers(heard: Iterable[Stream], progress: Progress | None = None) -> list[Maker]:
    """Find all one-frame formats in what speaks nothing else; `progress` is told how far it is, 0 to 1."""
    found: list[Maker] = []
    for pairing in pairings(heard, progress):
        found += _spoken(pairing)
    found = _one_way(found)
    names: dict[SingleFrameFormat, str] = {}
    for one in found:
        if one.form is not None:
            bare = replace(one.form, name="")
            one.form = replace(one.form, name=names.setdefault(bare, _name(bare, names)))
    return found


def _one_way(found: Sequence[Maker]) -> list[Maker]:
    """Leave out what is no format where its ids speak one, or are understood better the other way about.

    The next request follows an answer as well, and what answers repeat it may repeat.
    """
    speaking = {end for one in found if one.form is not None for end in (one.to, one.by)}
    told = [one for one in found if one.form is None and not {one.to, one.by} & speaking]
    quick = {id(one): _latency_s(one) for one in told}
    kept: list[Maker] = []
    for one in sorted(told, key=lambda one: quick[id(one)]):
        if not any({one.to, one.by} & {other.to, other.by} for other in kept):
            kept.append(one)
    return [one for one in found if one.form is not None or any(one is other for other in kept)]


def _latency_s(one: Maker) -> float:
    return float(np.median([exchange.latency_s or 0.0 for exchange in one.exchanges]))


def _name(form: SingleFrameFormat, names: Collection[SingleFrameFormat]) -> str:
    same = sum(other.command == form.command for other in names)
    return f"maker_{form.command:02x}" + (f"_{same + 1}" if same else "")


def _spoken(pairing: Pairing) -> list[Maker]:
    """Return the formats of one pair of ids; what the first ones leave is looked at again, and at last told."""
    found = _formats(pairing)
    formed = [one for one in found if one.form is not None]
    if not formed:
        return found[:1]
    rest = rest_of(pairing.to, pairing.by, formed)
    while len(formed) < MOST_FORMATS and (again := _again(rest)):
        formed += again
        rest = rest_of(pairing.to, pairing.by, formed)
    rest.add_to(formed)
    return formed


def _again(rest: Rest) -> list[Maker]:
    if rest.to is None or rest.by is None:
        return []
    pairing = pair(rest.to, rest.by)
    return [] if pairing is None else [one for one in _formats(pairing) if one.form is not None]


def _formats(pairing: Pairing) -> list[Maker]:
    """Return the formats that explain most: one for all requests, or one for each value of some byte."""
    told = with_checksum(pairing) if uneven(pairing.to) else None
    if told is not None:
        return [told] if _asked_for(pairing) else []
    whole = list(_by_command(pairing))
    best, most = whole, _explained(whole)
    if most < NEARLY_ALL * len(pairing.asked) and uneven(pairing.to):  # beats are no tester's, and there are many
        for column in range(pairing.requests.shape[1]):
            parts = [part for part in _parts(pairing, column) if len(part.asked) >= LEAST_ANSWERS]
            found = [one for part in parts if (one := best_format(part)) is not None]
            if _explained(found) > most:
                best, most = found, _explained(found)
    return best


def _asked_for(pairing: Pairing) -> bool:
    """Say whether frames with a checksum are requests: with a maker's command, or repeated."""
    usual = [
        int(pairing.requests[0, i]) for i, _, adds in commands(pairing.requests, pairing.replies) if adds == USUAL_ADDS
    ]
    by_maker = any(service(number).kind is Kind.MAKER for number in usual)
    return by_maker or not pairing.by_time


def _explained(found: Sequence[Maker]) -> int:
    return sum(len(one.exchanges) for one in found if one.form is not None)


def _by_command(pairing: Pairing) -> Iterator[Maker]:
    """Yield a format for each command, where one and the same place has all of them."""
    places = commands(pairing.requests, pairing.replies)
    moving = next((place for place in places if _moves(pairing, place[0])), None)
    parts = [pairing] if moving is None else _parts(pairing, moving[0])
    for part in parts:
        if moving is None or len(part.asked) >= LEAST_ANSWERS:
            found = best_format(part, moving)
            if found is not None:
                yield found


def _parts(pairing: Pairing, column: int) -> list[Pairing]:
    """Return the exchanges for each value of a byte of the requests; none where it takes one or many."""
    values = np.unique(pairing.requests[:, column])
    if not 2 <= len(values) <= MOST_COMMANDS:
        return []
    return [_part(pairing, pairing.requests[:, column] == value) for value in values]


def _moves(pairing: Pairing, column: int) -> bool:
    return bool((pairing.requests[:, column] != pairing.requests[0, column]).any())


def _part(pairing: Pairing, rows: Flags) -> Pairing:
    return replace(pairing, asked=pairing.asked[rows], said=pairing.said[rows])
