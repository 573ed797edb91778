"""Working out a maker's one-frame format from many requests and their answers: which byte is what.

What a byte is shows in how it moves. A byte that varies from request to request and stands again in the reply is part
of the identifier, or the unit's address; one that the reply does not repeat says how to answer (the mode). The command
stands in the reply with a constant added. A count moves with the length of what follows. What never moves is named by
its place, and where that leaves a choice the choice makes no difference to any frame that was heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..contract.requests import Part, PartKind, SingleFrameFormat
from .heard import Bytes, Flags
from .one_frame_length import Lengths, count_of, lengths_of
from .one_frame_pairs import Pairing, as_numbers

SURE = 0.98
"""Of the rows so many have to agree; the rest are frames that were mixed up."""
MOST_IDENTIFIER = 4
USUAL_ADDS = 0x40
LEAST_DIFFERENT = 3
"""A byte that is the same in answers to so many identifiers belongs to none of them (a choice)."""

Place = tuple[int, int, int]
"""Where the command may be: byte of the request, byte of the reply, what the reply adds to it."""


@dataclass(slots=True)
class Worked:
    """A format as far as it shows.

    Attributes:
        form: None where something in it cannot be told or cannot be described.
        address_at: the request's byte that tells units apart, None where there is none.
        identifier_at, identifier_bytes: where the identifier is in a request.
        data_at: where the value begins in a reply.
        count_at, count_from: where a reply counts, and from what; None where it does not.
        count_moves: answers of different lengths were counted, so that it is no byte that happens to fit.
        groups: the rows of each request that differs from others.
        why_not: sentences that say what is missing.
        ties: sentences about what could be read otherwise as well.
    """

    form: SingleFrameFormat | None = None
    address_at: int | None = None
    identifier_at: int = 0
    identifier_bytes: int = 0
    data_at: int = 0
    count_at: int | None = None
    count_from: int = 0
    count_moves: bool = False
    groups: list[Flags] = field(default_factory=list)
    why_not: list[str] = field(default_factory=list)
    ties: list[str] = field(default_factory=list)

    @property
    def different(self) -> int:
        """How many different requests there were."""
        return len(self.groups)


@dataclass(slots=True)
class _Rows:
    """Requests and replies side by side, and what is known of their bytes so far."""

    requests: Bytes
    replies: Bytes
    same: dict[int, list[int]]
    lengths: Lengths

    def varies(self, column: int) -> bool:
        return bool((self.requests[:, column] != self.requests[0, column]).any())

    def constant(self, column: int) -> bool:
        values = self.replies[:, column]
        return bool(np.bincount(values).max() >= SURE * len(values))

    def usual(self, column: int) -> int:
        return int(np.bincount(self.replies[:, column]).argmax())


def commands(requests: Bytes, replies: Bytes) -> list[Place]:
    """Return where the command may be, what is likely first."""
    found = []
    for i in range(requests.shape[1]):
        for j in range(replies.shape[1]):
            adds = replies[:, j].astype(np.int64) - requests[:, i] & 0xFF
            usual = int(np.bincount(adds).argmax())
            if usual and (adds == usual).mean() >= SURE and np.bincount(replies[:, j]).max() >= 1:
                found.append((i, j, usual, bool((requests[:, i] != requests[0, i]).any())))
    # one that moves with the request's is certain; of constants 40 is what makers use, then the nearest pair of places
    found.sort(key=lambda one: (not one[3], one[2] != USUAL_ADDS, abs(one[0] - one[1]), one[0]))
    return [one[:3] for one in found]


def work_out(pairing: Pairing, command: Place) -> Worked:
    """Work a format out of requests and answers of one command, which is in one of the places of `commands`."""
    requests, replies = pairing.requests, pairing.replies
    lengths = pairing.to.length[pairing.asked].astype(np.int64), pairing.by.length[pairing.said].astype(np.int64)
    result = Worked()
    same = {i: _repeated(requests, replies, i) for i in range(requests.shape[1])}
    moving = [i for i in range(requests.shape[1]) if (requests[:, i] != requests[0, i]).any()]
    groups = _groups(requests, [i for i in moving if same[i]])
    result.groups = groups
    rows = _Rows(requests, replies, same, lengths_of(requests, lengths[0], replies, lengths[1], groups))
    if not _identify(rows, command, [i for i in moving if same[i]], result):
        return result
    unrepeated = [i for i in moving if not same[i] and i != command[0]]
    if unrepeated:
        result.why_not.append(f"byte {unrepeated[0]} of its requests varies and no answer repeats it")
        return result
    places = _places(rows, command, result)
    _count(rows, command, places, result)
    request = _request(rows, command, places, result)
    reply = _reply(rows, command, places, result)
    result.ties = _ties(rows, command, result, request)
    if not result.why_not:
        number = int(requests[0, command[0]])
        result.form = SingleFrameFormat("", number, tuple(request), tuple(reply), command[2])
    return result


def _repeated(requests: Bytes, replies: Bytes, column: int) -> list[int]:
    return [j for j in range(replies.shape[1]) if (requests[:, column] == replies[:, j]).mean() >= SURE]


def _groups(requests: Bytes, columns: Sequence[int]) -> list[Flags]:
    """Return the rows of each identifier of each unit."""
    _, which = np.unique(as_numbers(requests[:, list(columns)]), return_inverse=True)
    return [which == number for number in range(int(which.max()) + 1)]


def _identify(rows: _Rows, command: Place, moving: list[int], result: Worked) -> bool:
    """Find the identifier and the address among the bytes that move and are repeated."""
    blocks: list[list[int]] = []
    for column in moving:
        if blocks and blocks[-1][-1] == column - 1 and column - 1 != command[0]:
            blocks[-1].append(column)
        else:
            blocks.append([column])
    after = [block for block in blocks if block[0] > command[0]]

    def different(block: list[int]) -> int:
        return len(np.unique(as_numbers(rows.requests[:, block])))

    if not blocks:
        result.why_not.append("all its requests are the same; record the tester while it shows other values too")
        return False
    chosen = max(after or blocks, key=different)
    others = [block for block in blocks if block is not chosen]
    if len(chosen) > MOST_IDENTIFIER or len(others) > 1 or any(len(block) > 1 for block in others):
        text = ", ".join(str(column) for block in blocks for column in block)
        result.why_not.append(f"too many bytes of its requests vary ({text}) to tell identifier and address apart")
        return False
    first = chosen[0]
    # the upper byte of an identifier often stays the same; it is repeated right in front of the lower one
    while first - 1 > command[0] and len(chosen) < 2 and _follows(rows, first - 1, first):
        first -= 1
        chosen = [first, *chosen]
    result.identifier_at, result.identifier_bytes = first, len(chosen)
    result.address_at = others[0][0] if others else None
    return True


def _follows(rows: _Rows, column: int, after: int) -> bool:
    return any(j + 1 in rows.same[after] for j in rows.same[column])


def _places(rows: _Rows, command: Place, result: Worked) -> dict[int, int]:
    """Return where in a reply each byte of a request stands again, for command, address and identifier."""
    places = {command[0]: command[1]}
    identifier = range(result.identifier_at, result.identifier_at + result.identifier_bytes)
    starts = [
        j for j in rows.same[identifier[0]] if all(j + n in rows.same[i] for n, i in enumerate(identifier))
    ]  # fmt: skip
    starts = [j for j in starts if not j <= command[1] < j + len(identifier)]
    if not starts:
        result.why_not.append("the bytes of its identifier do not stand together in the answers")
        return places
    places |= {i: starts[0] + n for n, i in enumerate(identifier)}
    if result.address_at is not None:
        free = [j for j in rows.same[result.address_at] if j not in places.values()]
        if free:
            places[result.address_at] = free[0]
    return places


def _count(rows: _Rows, command: Place, places: dict[int, int], result: Worked) -> None:
    """Find a count among the reply's bytes in front of the value."""
    result.data_at = max(places.values()) + 1
    for j in range(result.data_at):
        if j not in places.values():
            base = count_of(rows.lengths, rows.replies, rows.requests, j)
            if base is not None:
                result.count_at, result.count_from = j, base
                result.count_moves = not rows.constant(j)
                return


def _request(rows: _Rows, command: Place, places: dict[int, int], result: Worked) -> list[Part]:
    first = rows.requests[0]
    count_at, length = _request_count(rows, command, places, result)
    parts: list[Part] = []
    _take_address(rows, command, places, result, count_at)
    column, mode = 0, True
    while column < length:
        value = int(first[column])
        if column == command[0]:
            parts.append(Part(PartKind.COMMAND))
        elif column == result.identifier_at:
            parts.append(Part(PartKind.IDENTIFIER, result.identifier_bytes))
            column += result.identifier_bytes - 1
        elif column == result.address_at:
            parts.append(Part(PartKind.ADDRESS))
        elif column == count_at:
            parts.append(Part(PartKind.COUNT, 1, result.count_from))
        else:
            is_mode = mode and column > result.identifier_at
            parts.append(Part(PartKind.MODE if is_mode else PartKind.FIXED, 1, value))
            mode = mode and not is_mode
        column += 1
    return parts


def _request_count(rows: _Rows, command: Place, places: dict[int, int], result: Worked) -> tuple[int | None, int]:
    """Return where a request counts, None where it does not, and how long it is then."""
    lengths = rows.lengths
    free = [i for i in range(command[0]) if i not in places and i != result.address_at and not rows.varies(i)]
    # mostly it stands where the reply's does
    for i in sorted(free, key=lambda i: i != result.count_at) if result.count_at is not None else ():
        length = i + 1 + (int(rows.requests[0, i]) - result.count_from & 0xFF)
        if lengths.request <= length <= lengths.request_most:
            return i, length
    return None, lengths.request


def _take_address(rows: _Rows, command: Place, places: dict[int, int], result: Worked, count_at: int | None) -> None:
    """Take a constant in front of the command that the reply repeats for the address of the only unit."""
    if result.address_at is not None:
        return
    for i in range(command[0]):
        free = [j for j in rows.same[i] if j < result.data_at and j not in places.values() and j != result.count_at]
        if i != count_at and i not in places and free:
            result.address_at, places[i] = i, free[0]
            return


def _reply(rows: _Rows, command: Place, places: dict[int, int], result: Worked) -> list[Part]:
    at = {j: i for i, j in places.items()}
    parts: list[Part] = []
    column = 0
    while column < result.data_at or _belongs_to_none(rows, column):
        source = at.get(column)
        if source == command[0]:
            parts.append(Part(PartKind.COMMAND))
        elif source is not None and source == result.identifier_at:
            parts.append(Part(PartKind.IDENTIFIER, result.identifier_bytes))
            column += result.identifier_bytes - 1
        elif source is not None and source == result.address_at:
            parts.append(Part(PartKind.ADDRESS))
        elif column == result.count_at:
            parts.append(Part(PartKind.COUNT, 1, result.count_from))
        elif rows.constant(column):
            parts.append(Part(PartKind.FIXED, 1, rows.usual(column)))
        else:
            result.why_not.append(f"byte {column} of its answers moves, stands before the value and repeats nothing")
            return parts
        column += 1
    result.data_at = column
    return [*parts, Part(PartKind.DATA)]


def _ties(rows: _Rows, command: Place, result: Worked, request: list[Part]) -> list[str]:
    """Say what could be read otherwise as well, which makes no difference to any frame that was heard."""
    found = []
    if request and request[0].kind is PartKind.FIXED and command[0] > 0:
        found.append(
            f"byte 0 of its requests is always {request[0].value:02X}: the only unit's address, or just a constant"
        )
    first = int(rows.requests[0, result.identifier_at])
    if result.identifier_bytes > 1 and not rows.varies(result.identifier_at):
        found.append(f"all its identifiers begin with {first:02X}, which may be a byte of its own")
    if result.count_at is not None and not result.count_moves:
        found.append(f"byte {result.count_at} of its answers is taken for a count, though all were of one length")
    return found


def _belongs_to_none(rows: _Rows, column: int) -> bool:
    """Say whether a byte behind the identifier is the same in all answers and not 0, so that it is no value's."""
    enough = len(rows.lengths.ends) >= LEAST_DIFFERENT and column < min(rows.lengths.ends) - 1
    return enough and rows.constant(column) and rows.usual(column) != 0
