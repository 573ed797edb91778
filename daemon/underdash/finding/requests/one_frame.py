"""Working out a maker's one-frame format from many requests and their answers: which byte is what.

What a byte is shows in how it moves. A byte that varies from request to request and stands again in the reply is part
of the identifier, or the unit's address; one that the reply does not repeat says how to answer (the mode). The command
stands in the reply with a constant added. A count moves with the length of what follows. What never moves is named by
its place, and where that leaves a choice the choice makes no difference to any frame that was heard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...contract.requests import SingleFrameFormat
from ..heard import Bytes, Flags
from .one_frame_length import lengths_of
from .one_frame_pairs import Pairing, as_numbers
from .one_frame_parts import SURE, Place, Rows, Worked, count, place, reply_parts, request_parts, ties

MOST_IDENTIFIER = 4
USUAL_ADDS = 0x40


def commands(requests: Bytes, replies: Bytes) -> list[Place]:
    """Return where the command may be, what is likely first."""
    found = []
    for i in range(requests.shape[1]):
        for j in range(replies.shape[1]):
            adds = replies[:, j].astype(np.int64) - requests[:, i] & 0xFF
            usual = int(np.bincount(adds).argmax())
            if usual and (adds == usual).mean() >= SURE:
                found.append((i, j, usual, bool((requests[:, i] != requests[0, i]).any())))
    # one that moves with the request's is certain; of constants 40 is what makers use, then the nearest pair of places
    found.sort(key=lambda one: (not one[3], one[2] != USUAL_ADDS, abs(one[0] - one[1]), one[0]))
    return [one[:3] for one in found]


def work_out(pairing: Pairing, command: Place, same: Mapping[int, list[int]] | None = None) -> Worked:
    """Work a format out of requests and answers of one command, which is in one of the places of `commands`.

    `same` is what `repeats` returns for the pairing, where several places are tried.
    """
    requests, replies = pairing.requests, pairing.replies
    lengths = pairing.to.length[pairing.asked].astype(np.int64), pairing.by.length[pairing.said].astype(np.int64)
    result = Worked()
    same = repeats(requests, replies) if same is None else same
    moving = [i for i in range(requests.shape[1]) if (requests[:, i] != requests[0, i]).any()]
    moving = [i for i in moving if i != command[0]]
    again = [i for i in moving if same[i]]
    result.repeats = any(i > command[0] for i in again)
    # what no answer repeats is the identifier only where they repeat nothing behind the command
    naming = again if result.repeats else [i for i in moving if same[i] or i > command[0]]
    groups = _groups(requests, naming)
    result.groups = groups
    rows = Rows(requests, replies, command, same, lengths_of(requests, lengths[0], replies, lengths[1], groups))
    if not _identify(rows, naming, result):
        return result
    unrepeated = [i for i in moving if i not in naming]
    if len(unrepeated) == 1 and unrepeated[0] < command[0] and result.address_at is None:
        result.address_at = unrepeated[0]
    elif unrepeated:
        result.why_not.append(f"byte {unrepeated[0]} of its requests varies and no answer repeats it")
        return result
    place(rows, result)
    result.near = _near(rows, result)
    count(rows, result)
    request, reply = request_parts(rows, result), reply_parts(rows, result)
    result.ties = ties(rows, result, request)
    if not result.why_not:
        number = int(requests[0, command[0]])
        result.form = SingleFrameFormat("", number, tuple(request), tuple(reply), command[2])
    return result


def repeats(requests: Bytes, replies: Bytes) -> dict[int, list[int]]:
    """Return in which bytes of the replies each byte of the requests stands again."""
    shares = (requests[:, :, None] == replies[:, None, :]).mean(axis=0)
    return {i: np.flatnonzero(shares[i] >= SURE).tolist() for i in range(requests.shape[1])}


def _groups(requests: Bytes, columns: Sequence[int]) -> list[Flags]:
    """Return the rows of each identifier of each unit."""
    if not columns:
        return [np.ones(len(requests), dtype=bool)]
    _, which = np.unique(as_numbers(requests[:, list(columns)]), return_inverse=True)
    return [which == number for number in range(int(which.max()) + 1)]


def _identify(rows: Rows, moving: list[int], result: Worked) -> bool:
    """Find the identifier and the address among the bytes that move and are repeated."""
    blocks: list[list[int]] = []
    for column in moving:
        if blocks and blocks[-1][-1] == column - 1 and column - 1 != rows.command[0]:
            blocks[-1].append(column)
        else:
            blocks.append([column])
    after = [block for block in blocks if block[0] > rows.command[0]]

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
    while first - 1 > rows.command[0] and len(chosen) < 2 and _follows(rows, first - 1, first):
        first -= 1
        chosen = [first, *chosen]
    result.identifier_at, result.identifier_bytes = first, len(chosen)
    result.address_at = others[0][0] if others else None
    return True


def _follows(rows: Rows, column: int, after: int) -> bool:
    return any(j + 1 in rows.same[after] for j in rows.same[column])


def _near(rows: Rows, result: Worked) -> bool:
    """Say whether nothing but what the reply repeats too is between command and identifier."""
    asked, said, _ = rows.command
    between = range(asked + 1, result.identifier_at)
    if not result.repeats:  # the upper byte of an identifier often stays the same
        return result.identifier_at > asked and sum(not rows.same[i] for i in between) <= 1
    follows = rows.places.get(result.identifier_at, -1) - said == result.identifier_at - asked
    return result.identifier_at > asked and follows and all(rows.same[i] for i in between)
