"""The parts of a maker's one-frame format, one by one, once it is known where its command and identifier are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ...contract.requests import Part, PartKind, SingleFrameFormat
from ..heard import Bytes, Flags
from .one_frame_length import Lengths, count_of

SURE = 0.98
"""Of the rows so many have to agree; the rest are frames that were mixed up."""
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
        repeats: answers repeat the identifier.
        near: the command stands right in front of identifier or address, in requests and in answers.
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
    repeats: bool = True
    near: bool = False
    count_moves: bool = False
    groups: list[Flags] = field(default_factory=list)
    why_not: list[str] = field(default_factory=list)
    ties: list[str] = field(default_factory=list)

    @property
    def different(self) -> int:
        """How many different requests there were."""
        return len(self.groups)


@dataclass(slots=True)
class Rows:
    """Requests and replies side by side, and what is known of their bytes so far.

    Attributes:
        requests, replies: payloads, row by row.
        command: where the command is.
        same: where in a reply each byte of a request stands again.
        lengths: how long they are.
        places: of what was told by now, which byte of a request stands in which of a reply.
    """

    requests: Bytes
    replies: Bytes
    command: Place
    same: Mapping[int, list[int]]
    lengths: Lengths
    places: dict[int, int] = field(default_factory=dict)

    def varies(self, column: int) -> bool:
        """Say whether a byte of the requests moves."""
        return bool((self.requests[:, column] != self.requests[0, column]).any())

    def constant(self, column: int) -> bool:
        """Say whether a byte of the replies stays."""
        values = self.replies[:, column]
        return bool(np.bincount(values).max() >= SURE * len(values))

    def usual(self, column: int) -> int:
        """Return what a byte of the replies mostly is."""
        return int(np.bincount(self.replies[:, column]).argmax())


def place(rows: Rows, result: Worked) -> None:
    """Find where in a reply command, identifier and address stand again."""
    places = rows.places
    places[rows.command[0]] = rows.command[1]
    if result.repeats:
        _place_identifier(rows, result)
    if result.address_at is not None:
        free = [j for j in rows.same[result.address_at] if j not in places.values()]
        if free:
            places[result.address_at] = free[0]


def _place_identifier(rows: Rows, result: Worked) -> None:
    places = rows.places
    identifier = range(result.identifier_at, result.identifier_at + result.identifier_bytes)
    starts = [
        j for j in rows.same[identifier[0]] if all(j + n in rows.same[i] for n, i in enumerate(identifier))
    ]  # fmt: skip
    starts = [j for j in starts if not j <= rows.command[1] < j + len(identifier)]
    if not starts:
        result.why_not.append("the bytes of its identifier do not stand together in the answers")
        return
    places |= {i: starts[0] + n for n, i in enumerate(identifier)}


def count(rows: Rows, result: Worked) -> None:
    """Find a count among the reply's bytes in front of the value."""
    result.data_at = max(rows.places.values()) + 1
    for j in range(result.data_at):
        if j not in rows.places.values():
            base = count_of(rows.lengths, rows.replies, rows.requests, j)
            if base is not None:
                result.count_at, result.count_from = j, base
                result.count_moves = not rows.constant(j)
                return


def request_parts(rows: Rows, result: Worked) -> list[Part]:
    """Return what each byte of a request is."""
    first = rows.requests[0]
    count_at, length = _request_count(rows, result)
    parts: list[Part] = []
    _take_address(rows, result, count_at)
    column, mode = 0, True
    while column < length:
        value = int(first[column])
        if column == rows.command[0]:
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


def _request_count(rows: Rows, result: Worked) -> tuple[int | None, int]:
    """Return where a request counts, None where it does not, and how long it is then."""
    lengths = rows.lengths
    free = [i for i in range(rows.command[0]) if i not in rows.places and i != result.address_at and not rows.varies(i)]
    # mostly it stands where the reply's does
    for i in sorted(free, key=lambda i: i != result.count_at) if result.count_at is not None else ():
        length = i + 1 + (int(rows.requests[0, i]) - result.count_from & 0xFF)
        if lengths.request <= length <= lengths.request_most:
            return i, length
    return None, lengths.request


def _take_address(rows: Rows, result: Worked, count_at: int | None) -> None:
    """Take a constant in front of the command that the reply repeats for the address of the only unit."""
    if result.address_at is not None:
        return
    for i in range(rows.command[0]):
        free = [
            j for j in rows.same[i] if j < result.data_at and j not in rows.places.values() and j != result.count_at
        ]
        if i != count_at and i not in rows.places and free:
            result.address_at, rows.places[i] = i, free[0]
            return


def reply_parts(rows: Rows, result: Worked) -> list[Part]:
    """Return what each byte of a reply is; a byte that cannot be described is told in `why_not`."""
    at = {j: i for i, j in rows.places.items()}
    parts: list[Part] = []
    column = 0
    while column < result.data_at or _belongs_to_none(rows, column):
        source = at.get(column)
        if source == rows.command[0]:
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


def ties(rows: Rows, result: Worked, request: list[Part]) -> list[str]:
    """Say what could be read otherwise as well, which makes no difference to any frame that was heard."""
    found = []
    if request and request[0].kind is PartKind.FIXED and rows.command[0] > 0:
        found.append(
            f"byte 0 of its requests is always {request[0].value:02X}: the only unit's address, or just a constant"
        )
    first = int(rows.requests[0, result.identifier_at])
    if result.identifier_bytes > 1 and not rows.varies(result.identifier_at):
        found.append(f"all its identifiers begin with {first:02X}, which may be a byte of its own")
    if result.count_at is not None and not result.count_moves:
        found.append(f"byte {result.count_at} of its answers is taken for a count, though all were of one length")
    return found


def _belongs_to_none(rows: Rows, column: int) -> bool:
    """Say whether a byte behind the identifier is the same in all answers and not 0, so that it is no value's."""
    enough = len(rows.lengths.ends) >= LEAST_DIFFERENT and column < min(rows.lengths.ends) - 1
    return enough and rows.constant(column) and rows.usual(column) != 0
