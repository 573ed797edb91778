"""Who asks whom in ISO-TP: links between ids, told by what is said on them.

A link is believed when answers fit requests by service and by what they repeat, soon after them and again and again.
Where the standards fix the ids one exchange is enough; for any other pair of ids chance has to be ruled out, since
among ten thousand pairs of frames that a car sends by itself a few look alike.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

from ..heard import Heard
from ..reading import Progress
from .asked import FIRST_S, Exchange, Line, paired, subject
from .beginnings import LEAST_ANSWERS_SHARE
from .messages import Spoken, speakers
from .senders import Sender, answers_by_standard, asks_by_standard, standard

LEAST_EXCHANGES = 3
"""So many are needed on ids that no standard names (a choice)."""
LEAST_ALONE = 3
"""Answers whose requests were not recorded are believed from so many on, on the standard's ids (a choice)."""
ALWAYS_SAME = 10
"""One and the same request with one and the same answer tells little: so often, one for one (a choice)."""


@dataclass(slots=True)
class Dialogue:
    """Everything that was asked and answered in ISO-TP.

    Attributes:
        exchanges: in the order of their requests, or of their answers where the request was not recorded.
        spoken: who took part, by sender.
        flows: (who told a unit to go on, the unit), as often as that was.
        unclear: flow control for a message whose beginning was not recorded.
    """

    exchanges: list[Exchange] = field(default_factory=list)
    spoken: dict[Sender, Spoken] = field(default_factory=dict)
    flows: dict[tuple[Sender, Sender], int] = field(default_factory=dict)
    unclear: int = 0

    def leave_out(self, places: Collection[tuple[str, int, bool]]) -> None:
        """Forget what was said on some ids (bus, id, extended): it was something else."""

        def stays(one: Sender | None) -> bool:
            return one is None or (one.bus, one.id, one.extended) not in places

        self.exchanges = [one for one in self.exchanges if stays(one.to) and stays(one.by)]
        self.spoken = {sender: spoken for sender, spoken in self.spoken.items() if stays(sender)}


def dialogue(heard: Heard, progress: Progress | None = None) -> Dialogue:
    """Find all requests and answers in ISO-TP."""
    found = list(speakers(heard, progress))
    links = _unambiguous([link for link in _links(found) if link.believed()])
    result = Dialogue()
    for answerer in {id(link.by): link.by for link in links}.values():
        lines = [Line(link.to.sender, link.to.requests) for link in links if link.by is answerer]
        result.exchanges += paired(answerer.sender, answerer.answers, lines)
    taking_part = [one for link in links for one in (link.to, link.by)]
    busy = {(one.sender.bus, one.sender.id, one.sender.extended) for one in taking_part}
    rest = [one for one in found if (one.sender.bus, one.sender.id, one.sender.extended) not in busy]
    taking_part += _alone(rest, taking_part, result)
    result.spoken = {one.sender: one for one in sorted(taking_part, key=lambda one: _order(one.sender))}
    _add_unanswered(result)
    _add_flows(result)
    result.exchanges.sort(key=_when)
    return result


@dataclass(slots=True)
class _Link:
    to: Spoken
    by: Spoken
    fits: int = 0
    different: int = 0
    singly: int = 0

    def believed(self) -> bool:
        if self.fits < _least(self.to, self.by):
            return False
        if standard(self.to.sender, self.by.sender):
            return True
        return self.different >= 2 or self.singly >= max(ALWAYS_SAME, LEAST_ANSWERS_SHARE * self.fits)


def _links(found: Sequence[Spoken]) -> Iterator[_Link]:
    """Yield the links that may be believed."""
    asking = [one for one in found if any(message.broken is None for message in one.requests)]
    lines = [Line(one.sender, [message for message in one.requests if message.broken is None]) for one in asking]
    for by in found:
        about = Counter(subject(answer.data) for answer in by.answers)
        for to, line in zip(asking, lines, strict=True):
            same = (to.sender.bus, to.sender.extended) == (by.sender.bus, by.sender.extended)
            framed = (to.sender.prefix is None) == (by.sender.prefix is None)
            if same and framed and _least(to, by) <= sum(about[one] for one in about if one in line):
                yield _link(to, by, line)


def _least(to: Spoken, by: Spoken) -> float:
    """Return how many answers have to fit requests."""
    if standard(to.sender, by.sender):
        return 1
    return max(LEAST_EXCHANGES, LEAST_ANSWERS_SHARE * len(by.answers))


def _link(to: Spoken, by: Spoken, line: Line) -> _Link:
    """Count which of a unit's answers fit the requests before them; parts of one count where a standard has the ids."""
    link = _Link(to, by)
    parts = standard(to.sender, by.sender)
    pairs: set[bytes] = set()
    used: set[int] = set()
    for answer in by.answers:
        request = next(line.fitting(answer), None) if parts or answer.broken is None else None
        if request is not None:
            link.fits += 1
            link.singly += id(request) not in used
            used.add(id(request))
            pairs.add(request.data)
    link.different = len(pairs)
    return link


def _unambiguous(links: list[_Link]) -> list[_Link]:
    """Read each id one way only: with an address byte or without, whichever explains more."""
    explains: dict[tuple[str, int, bool], dict[bool, int]] = {}
    for link in links:
        for one in (link.to.sender, link.by.sender):
            ways = explains.setdefault((one.bus, one.id, one.extended), {})
            ways[one.prefix is not None] = ways.get(one.prefix is not None, 0) + link.fits

    def stays(one: Sender) -> bool:
        ways = explains[one.bus, one.id, one.extended]
        with_byte = ways.get(True, 0) > ways.get(False, 0)
        return with_byte == (one.prefix is not None)

    return [link for link in links if stays(link.to.sender) and stays(link.by.sender)]


# --- what has no other side -------------------------------------------------------------------------------------------


def _alone(rest: Sequence[Spoken], known: Sequence[Spoken], result: Dialogue) -> list[Spoken]:
    """Return who asked without an answer, or answered without a recorded request."""
    asked = {(one.sender.bus, one.sender.extended, message.data) for one in known for message in one.requests}
    found = []
    for one in rest:
        if one.sender.prefix is not None:
            continue
        place = (one.sender.bus, one.sender.extended)
        if one.requests and all((*place, message.data) in asked for message in one.requests):
            found.append(one)  # a tester who asks others the same
        elif one.requests and not one.answers and asks_by_standard(one.sender):
            found.append(one)
        elif len(one.answers) >= LEAST_ALONE and answers_by_standard(one.sender):
            found.append(one)
            result.exchanges += paired(one.sender, one.answers, ())
    return found


def _add_unanswered(result: Dialogue) -> None:
    """Add the requests that nobody answered."""
    answered = {(one.to, one.request.at) for one in result.exchanges if one.request is not None}
    for sender, spoken in result.spoken.items():
        result.exchanges += [
            Exchange(sender, None, message) for message in spoken.requests if (sender, message.at) not in answered
        ]


def _add_flows(result: Dialogue) -> None:
    """Say who told whom to go on: this names a unit's own id where it was asked together with all."""
    asked = {(one.to, one.by) for one in result.exchanges}
    for sender, spoken in result.spoken.items():
        for at in spoken.flows:
            begun = [
                (other.begun[row], by)
                for by, other in result.spoken.items()
                if ((sender, by) in asked or standard(sender, by))
                and (row := bisect_right(other.begun, at) - 1) >= 0 and at - other.begun[row] <= FIRST_S
            ]  # fmt: skip
            best = max(begun, key=lambda each: (standard(sender, each[1]), each[0]), default=None)
            if best is None:
                result.unclear += 1
            else:
                result.flows[sender, best[1]] = result.flows.get((sender, best[1]), 0) + 1


def _when(one: Exchange) -> float:
    message = one.request or one.answer
    return 0.0 if message is None else message.at


def _order(sender: Sender) -> tuple[str, int, int]:
    return sender.bus, sender.id, -1 if sender.prefix is None else sender.prefix
