"""Who may be meant by a frame on the id of an answer, and what is counted of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..bus.frames import Frame
from ..contract.requests import ControlUnit
from .conversation import Conversation
from .isotp import Dropped
from .polls import CompiledPoll, Lane
from .segmentation import Segmentation
from .speech import Speech


@dataclass(slots=True)
class Counts:
    """What was asked and heard since the start.

    Attributes:
        sent: requests that went out.
        answered: answers that were waited for.
        overheard: answers that another tester asked for.
        late: answers that came after their time was over.
        missed: requests nobody answered in time.
        negative: negative responses to us.
        pending: of these, "still working".
        held: times the guard held a request back.
        short: answers with fewer bytes than their fields need.
        dropped: frames of ours that give no value, such as parts of answers in several frames.
        unrelated: frames on ids of answers that belong to no declared request.
    """

    sent: int = 0
    answered: int = 0
    overheard: int = 0
    late: int = 0
    missed: int = 0
    negative: int = 0
    pending: int = 0
    held: int = 0
    short: int = 0
    dropped: int = 0
    unrelated: int = 0


@dataclass(frozen=True, slots=True)
class Ear:
    """A unit and a protocol that its answers may be in; `sizes` are the bytes of its identifiers' data."""

    unit: ControlUnit
    speech: Speech
    polls: dict[int, CompiledPoll]
    lane: Lane
    sizes: dict[int, int]


@dataclass(slots=True)
class Line:
    """A control unit as the bus sees it: whoever may be meant by a frame of it, and what it is in the middle of."""

    lane: Lane
    unit: ControlUnit
    conversation: Conversation
    framed: list[Ear] = field(default_factory=list)
    spoken: list[Ear] = field(default_factory=list)
    sending: Segmentation | None = None
    part: Frame | None = None


Taken = bool | tuple[Ear, Dropped]
"""Whether a frame was used, or why one of ours gives no value."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Flow control that an answer to us needs.

    Attributes:
        bus: role.
        frame: the very frame.
        unit: name of the unit that answers.
        until: monotonic s, after which it is of no use.
    """

    bus: str
    frame: Frame
    unit: str
    until: float
