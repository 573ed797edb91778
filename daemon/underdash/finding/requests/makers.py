"""Makers' one-frame formats in a trace: which pairs of ids speak one, what it is, and all that was said in it.

A format counts as found once it spells and reads every frame from which it was worked out, with the code that the
daemon itself asks with.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ...contract.requests import Answer, ControlUnit, PartKind, SingleFrameFormat
from ...diagnostics import single_frame
from ...diagnostics.negative import NEGATIVE
from ..heard import Flags, Heard, Integers, Stream
from ..reading import Progress
from .asked import FIRST_S, Exchange
from .messages import Message
from .one_frame import USUAL_ADDS, commands, work_out
from .one_frame_pairs import LEAST_ANSWERS, LOOK_BACK, Pairing, by_themselves, pairings
from .one_frame_parts import SURE, Place, Worked
from .senders import Sender

ENOUGH_REQUESTS = 3
"""Different requests that show a format where a reply adds 40 to the command, as makers do; two frames that repeat each
other by themselves rarely do so in three ways (a choice)."""
FEW = "it was asked for two values only; record the tester while it shows a third one too"
MANY_REQUESTS = 5
"""Different requests from which on one is told that could not be worked out (a choice)."""
MOST_COMMANDS = 12
"""Places for the command that are tried (for speed)."""


@dataclass(slots=True)
class Maker:
    """A one-frame format and its use on one pair of ids.

    Attributes:
        to, by: the ids, without an address byte.
        form: the format; None where one is spoken that could not be worked out.
        padding: what requests are filled with, None where they are not.
        units: addresses that were asked; None for a format without.
        exchanges: all that was asked in it, and what came of it; an answer to a request in another mode is left out.
        spelt: share of the exchanges that the format spells and reads to the byte.
        remarks: sentences: what else the format could be, why it is none.
    """

    to: Sender
    by: Sender
    form: SingleFrameFormat | None = None
    padding: int | None = None
    units: tuple[int | None, ...] = ()
    exchanges: list[Exchange] = field(default_factory=list)
    spelt: float = 0.0
    remarks: list[str] = field(default_factory=list)

    def unit(self, address: int | None) -> ControlUnit:
        """Return the control unit with an address."""
        return ControlUnit(
            "", self.to.bus, self.to.id, self.by.id, self.to.extended, address=address, padding=self.padding
        )

    def read(self, exchange: Exchange) -> tuple[int | None, int | None, Answer | None]:
        """Return the address and the identifier that were asked for, and the answer, each None where there is none."""
        assert self.form is not None
        assert exchange.request is not None
        data, at = exchange.request.data, 0
        address = identifier = None
        for part in self.form.request:
            number = int.from_bytes(data[at : at + part.size])
            at += part.size
            if part.kind is PartKind.ADDRESS:
                address = number
            elif part.kind is PartKind.IDENTIFIER:
                identifier = number
        said = exchange.answer and single_frame.decode(self.form, self.unit(address), exchange.answer.data)
        return address, identifier, said if isinstance(said, Answer) else None


def makers(heard: Heard, known: Collection[tuple[str, int, bool]], progress: Progress | None = None) -> list[Maker]:
    """Find all one-frame formats; see `pairings` for the arguments."""
    found: list[Maker] = []
    for pairing in pairings(heard, known, progress):
        found += _spoken(pairing)
    names: dict[SingleFrameFormat, str] = {}
    for one in found:
        if one.form is not None:
            bare = replace(one.form, name="")
            one.form = replace(one.form, name=names.setdefault(bare, _name(bare, names)))
    return found


def _name(form: SingleFrameFormat, names: Collection[SingleFrameFormat]) -> str:
    same = sum(other.command == form.command for other in names)
    return f"maker_{form.command:02x}" + (f"_{same + 1}" if same else "")


def _spoken(pairing: Pairing) -> Iterator[Maker]:
    """Yield the formats of one pair of ids, one for each command."""
    places = commands(pairing.requests, pairing.replies)[:MOST_COMMANDS]
    moving = [place for place in places if _moves(pairing, place[0])]
    if not moving:
        found = _best(pairing, places)
        if found is not None:
            yield found
        return
    column = moving[0][0]
    for command in np.unique(pairing.requests[:, column]):
        part = _part(pairing, pairing.requests[:, column] == command)
        found = _best(part, [moving[0]]) if len(part.asked) >= LEAST_ANSWERS else None
        if found is not None:
            yield found


def _moves(pairing: Pairing, column: int) -> bool:
    return bool((pairing.requests[:, column] != pairing.requests[0, column]).any())


def _part(pairing: Pairing, rows: Flags) -> Pairing:
    return replace(pairing, asked=pairing.asked[rows], said=pairing.said[rows])


def _best(pairing: Pairing, places: Sequence[Place]) -> Maker | None:
    """Try each place for the command, and return the format for which most speaks; None where too little does."""
    pairing, modes = _once(pairing, commands(pairing.requests, pairing.replies)[:MOST_COMMANDS])
    tried: list[tuple[int, Maker]] = []
    why_not: list[str] = []
    for place in places:
        worked = work_out(pairing, place)
        usual = place[2] == USUAL_ADDS
        if worked.form is None or single_frame.mistakes(worked.form):
            why_not += worked.why_not if usual and worked.different >= MANY_REQUESTS else []
            continue
        made = _made(pairing, worked, modes)
        refused = len(_refusals(pairing, place)) > 0
        enough = refused or worked.count_moves or (usual and worked.different >= ENOUGH_REQUESTS)
        alone = by_themselves(pairing, worked.data_at, worked.groups)
        good = made.spelt >= SURE and not alone and _brings_values(made)
        if good and usual and not enough:
            why_not.append(FEW)
        if good and enough:
            _add_refusals(made, pairing, place)
            near = place[0] == worked.identifier_at - 1
            tried.append((4 * refused + 2 * usual + (worked.count_at is not None) + near, made))
    if tried:
        return max(tried, key=lambda each: each[0])[1]
    if not why_not:
        return None
    remarks = [f"something seems to be asked and answered here, in a format that could not be worked out: {why_not[0]}"]
    return Maker(*_ends(pairing), exchanges=_exchanges(pairing), remarks=remarks)


def _brings_values(made: Maker) -> bool:
    """Say whether answers carry something, and not always the same for all that is asked."""
    values = [answer.data for one in made.exchanges if (answer := made.read(one)[2]) is not None]
    return len(set(values)) > 1 and all(values)


def _once(pairing: Pairing, places: Sequence[Place]) -> tuple[Pairing, list[str]]:
    """Keep the requests of one mode where they have several: the one that brings a single answer, and most often."""
    requests, replies = pairing.requests, pairing.replies
    columns = [
        i
        for i in range(requests.shape[1])
        if _moves(pairing, i)
        and not any(i == place[0] for place in places)
        and not any((requests[:, i] == replies[:, j]).mean() >= SURE for j in range(replies.shape[1]))
    ]
    if len(columns) != 1:
        return pairing, []
    mode = requests[:, columns[0]]
    asked, times = np.unique(pairing.asked, return_counts=True)
    often: dict[int, tuple[bool, int]] = {}
    for value in np.unique(mode).tolist():
        mine = np.isin(asked, pairing.asked[mode == value])
        often[value] = (bool(np.mean(times[mine]) < 1.5), int(mine.sum()))
    chosen = max(often, key=lambda value: often[value])
    if not often[chosen][0] or often[chosen][1] < LEAST_ANSWERS:
        return pairing, []
    others = [value for value in often if value != chosen]
    text = ", ".join(
        f"{value:02X} ({often[value][1]} requests{', which bring several answers each' if not often[value][0] else ''})"
        for value in others
    )
    remark = (
        f"byte {columns[0]} of its requests is pinned to {chosen:02X}, which brings one answer; others seen: {text}"
    )
    return _part(pairing, mode == chosen), [remark]


def _made(pairing: Pairing, worked: Worked, remarks: Sequence[str]) -> Maker:
    """Put together what was found, and let the format spell and read everything again."""
    assert worked.form is not None
    to, by = _ends(pairing)
    made = Maker(to, by, worked.form, _padding(pairing, worked.form), remarks=[*remarks, *worked.ties])
    made.exchanges = _exchanges(pairing)
    units: dict[int | None, None] = {}
    good = 0
    for exchange in made.exchanges:
        assert exchange.request is not None
        address, identifier, answer = made.read(exchange)
        units[address] = None
        if answer is None or answer.identifier not in (None, identifier) or identifier is None:
            continue
        unit = made.unit(address)
        spelt = single_frame.encode(worked.form, unit, identifier)
        whole = spelt if made.padding is None else spelt.ljust(8, bytes((made.padding,)))
        good += whole == exchange.request.data
    made.units = tuple(sorted(units, key=lambda address: -1 if address is None else address))
    made.spelt = good / max(1, len(made.exchanges))
    return made


def _padding(pairing: Pairing, form: SingleFrameFormat) -> int | None:
    size = sum(part.size for part in form.request)
    lengths = pairing.to.length[pairing.asked]
    return int(pairing.requests[0, size]) if int(lengths.min()) > size else None


def _ends(pairing: Pairing) -> tuple[Sender, Sender]:
    return _sender(pairing.to), _sender(pairing.by)


def _sender(stream: Stream) -> Sender:
    return Sender(stream.bus, stream.id, stream.extended)


def _message(stream: Stream, row: int) -> Message:
    at = float(stream.at[row])
    return Message(at, at, stream.data[row, : stream.length[row]].tobytes())


def _exchanges(pairing: Pairing) -> list[Exchange]:
    to, by = _ends(pairing)
    _, first = np.unique(pairing.asked, return_index=True)
    return [
        Exchange(to, by, _message(pairing.to, int(pairing.asked[n])), _message(pairing.by, int(pairing.said[n])))
        for n in first
    ]


def _refusals(pairing: Pairing, place: Place) -> Integers:
    """Return rows of `by` that say no: 7F where the command would be, the command, then the code."""
    data, (i, j, _) = pairing.by.data, place
    if j + 2 >= pairing.by.width:
        return np.array([], dtype=np.int64)
    command = int(pairing.requests[0, i])
    refused = (data[pairing.rest, j] == NEGATIVE) & (data[pairing.rest, j + 1] == command)
    found: Integers = pairing.rest[refused]
    return found


def _add_refusals(made: Maker, pairing: Pairing, place: Place) -> None:
    """Add the refusals, each to the request before it."""
    taken = {exchange.request.at for exchange in made.exchanges if exchange.request is not None}
    for row in _refusals(pairing, place).tolist():
        at = float(pairing.by.at[row])
        latest = int(np.searchsorted(pairing.to.at, at, side="right")) - 1
        for asked in range(latest, max(-1, latest - LOOK_BACK), -1):
            began = float(pairing.to.at[asked])
            if at - began <= FIRST_S and began not in taken:
                taken.add(began)
                made.exchanges.append(
                    Exchange(made.to, made.by, _message(pairing.to, asked), _message(pairing.by, row))
                )
                break
    made.exchanges.sort(key=lambda each: each.request.at if each.request is not None else 0.0)
