"""The format of requests and answers of one command: each place it may have is tried, and what speaks best is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...bus.services import Kind, service
from ...contract.requests import SingleFrameFormat
from ...diagnostics import single_frame
from ...diagnostics.negative import NEGATIVE
from ..heard import Integers, Stream
from .asked import FIRST_S, Exchange
from .maker import Maker
from .maker_rest import unexplained
from .messages import message_of
from .one_frame import USUAL_ADDS, commands, repeats, work_out
from .one_frame_checks import checksum_of
from .one_frame_pairs import LEAST_ANSWERS, LOOK_BACK, Pairing, by_themselves, steady, uneven
from .one_frame_parts import SURE, Place, Worked
from .senders import Sender

ENOUGH_REQUESTS = 3
"""Different requests that show a format where a reply adds 40 to the command, as makers do; two frames that repeat each
other by themselves rarely do so in three ways (a choice)."""
FEW = "it was asked for two values only; record the tester while it shows a third one too"
MANY_REQUESTS = 5
"""Different requests from which on one is told that could not be worked out (a choice)."""
MOST_PLACES = 12
"""Places for the command that are tried (for speed)."""


def best_format(pairing: Pairing, command: Place | None = None) -> Maker | None:
    """Return the format for which most speaks, or one without `form` that says why there is none; None for nothing.

    Args:
        pairing: requests and answers of one command.
        command: its place, None where that is not known.
    """
    found = commands(pairing.requests, pairing.replies)[:MOST_PLACES]
    pairing, modes = _once(pairing, found)
    same = repeats(pairing.requests, pairing.replies)
    tried: list[tuple[int, Maker]] = []
    why_not: list[str] = []
    for place in found if command is None else [command]:
        worked = work_out(pairing, place, same)
        weak = pairing.by_time or not worked.repeats
        if weak and service(int(pairing.requests[0, place[0]])).kind is not Kind.MAKER:
            continue
        usual = place[2] == USUAL_ADDS
        if worked.form is None or single_frame.mistakes(worked.form):
            why_not += worked.why_not if _tells(pairing, worked, usual=usual) else []
            continue
        made = _made(pairing, worked, modes)
        good = made.spelt >= SURE and not by_themselves(pairing, worked.data_at, worked.groups)
        if not good or not _brings_values(made):
            continue
        refused = len(_refusals(pairing, place)) > 0
        if _enough(pairing, worked, usual=usual, refused=refused):
            _add_refusals(made, pairing, place)
            tried.append((4 * refused + 2 * usual + (worked.count_at is not None) + worked.near, made))
        elif usual and worked.repeats:
            why_not.append(FEW)
    if tried:
        return max(tried, key=lambda each: each[0])[1]
    return _untold(pairing, why_not[0]) if why_not else None


def with_checksum(pairing: Pairing) -> Maker | None:
    """Return what is told of requests that end in a checksum; None where they do not."""
    requests, replies = pairing.requests, pairing.replies
    moving = [i for i in range(requests.shape[1]) if (requests[:, i] != requests[0, i]).any()]
    same = repeats(requests, replies)
    computed = checksum_of(requests, [i for i in moving if not same[i]])
    if computed is None:
        return None
    return _untold(pairing, f"{computed}, which no request format of a description has; a plug-in's protocol can")


def _untold(pairing: Pairing, why_not: str) -> Maker:
    told = f"something seems to be asked and answered here, in a format that could not be worked out: {why_not}"
    frames = f"not understood: {unexplained((pairing.to, pairing.by))}"
    return Maker(*_ends(pairing), exchanges=_exchanges(pairing), remarks=[told, frames])


def _enough(pairing: Pairing, worked: Worked, *, usual: bool, refused: bool) -> bool:
    """Say whether enough speaks for a tester: refusals, a count that moves, or how many requests there are and when."""
    if refused or (worked.count_moves and worked.repeats):
        return True
    if worked.different < ENOUGH_REQUESTS:
        return False
    if usual and worked.repeats:
        return True
    # a command right in front of what it names, asked at times that are no beat
    return worked.near and not steady(pairing) and (worked.repeats or usual)


def _tells(pairing: Pairing, worked: Worked, *, usual: bool) -> bool:
    """Say whether so much speaks for a tester that its format should be missed."""
    enough = worked.different >= (MANY_REQUESTS if usual else ENOUGH_REQUESTS)
    return enough and worked.repeats and (uneven(pairing.to) or (usual and not pairing.by_time))


def _brings_values(made: Maker) -> bool:
    """Say whether answers carry something, and not always the same for all that is asked."""
    values = [answer.data for one in made.exchanges if (answer := made.read(one)[2]) is not None]
    return len(set(values)) > 1 and all(values)


def _once(pairing: Pairing, places: Sequence[Place]) -> tuple[Pairing, list[str]]:
    """Keep the requests of one mode where another one brings several answers: the one that brings a single one."""
    requests, replies = pairing.requests, pairing.replies
    first = min((place[0] for place in places), default=0)
    behind, same = range(first + 1, requests.shape[1]), repeats(requests, replies)
    moving = [i for i in behind if (requests[:, i] != requests[0, i]).any()]
    columns = [
        i for i in moving if not any(i == place[0] for place in places) and not same[i]
    ]  # fmt: skip
    if len(columns) != 1 or columns == moving:  # of what moves behind the command, something has to be an identifier
        return pairing, []
    mode = requests[:, columns[0]]
    asked, times = np.unique(pairing.asked, return_counts=True)
    often: dict[int, tuple[bool, int]] = {}
    for value in np.unique(mode).tolist():
        mine = np.isin(asked, pairing.asked[mode == value])
        often[value] = (bool(np.mean(times[mine]) < 1.5), int(mine.sum()))
    chosen = max(often, key=lambda value: often[value])
    others = [value for value in often if value != chosen]
    several = any(not often[value][0] for value in others)
    if not several or not often[chosen][0] or often[chosen][1] < LEAST_ANSWERS:
        return pairing, []
    text = ", ".join(
        f"{value:02X} ({often[value][1]} requests{', which bring several answers each' if not often[value][0] else ''})"
        for value in others
    )
    remark = (
        f"byte {columns[0]} of its requests is pinned to {chosen:02X}, which brings one answer; others seen: {text}"
    )
    rows = mode == chosen
    return replace(pairing, asked=pairing.asked[rows], said=pairing.said[rows]), [remark]


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
        if answer is not None and answer.identifier in (None, identifier):
            good += made.spells(exchange.request.data)
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


def _exchanges(pairing: Pairing) -> list[Exchange]:
    to, by = _ends(pairing)
    _, first = np.unique(pairing.asked, return_index=True)
    return [
        Exchange(to, by, message_of(pairing.to, int(pairing.asked[n])), message_of(pairing.by, int(pairing.said[n])))
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
                    Exchange(made.to, made.by, message_of(pairing.to, asked), message_of(pairing.by, row))
                )
                break
    made.exchanges.sort(key=lambda each: each.request.at if each.request is not None else 0.0)
