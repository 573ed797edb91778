"""One request and what comes of it, for whoever asks by hand: the bytes, a refusal, silence, or an answer too late.

Nothing is repeated here and nothing is scheduled: a person sees what a unit does with one request. Times are handed in,
frames are handed out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..contract.requests import Answer
from .conversation import Conversation
from .identified import begins
from .isotp import Dropped
from .negative import Remedy, meaning
from .options import Options
from .polls import CompiledPoll

PATIENCE_S = 0.5
"""How much longer than its description says a unit is listened to, so that one that is merely slow is known as such."""


class Kind(StrEnum):
    """What came of a request."""

    ANSWERED = "answered"
    LATE = "late"
    """Answered, but after the time in which its description says that it answers."""
    REFUSED = "refused"
    """The unit said no."""
    SILENT = "silent"
    BROKEN = "broken"
    """Something came that cannot be read."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a request.

    Attributes:
        kind: see there.
        sentence: the same for a person.
        data: bytes of the value, after the echoed identifier.
        code: of a negative response.
    """

    kind: Kind
    sentence: str
    data: bytes = b""
    code: int | None = None


class Inquiry:
    """A request that was sent at `now`.

    Args:
        poll: what was asked.
        now: monotonic seconds.
        options: how long a unit may take that says it is still working.

    Attributes:
        reply: flow control that has to go out, unpadded; whoever sends it takes it away.
        deadline: when `tick` has something to say at the latest.
    """

    def __init__(self, poll: CompiledPoll, now: float, options: Options | None = None) -> None:
        self.poll = poll
        self.reply: bytes | None = None
        self.deadline = now + poll.unit.answer_within_s + PATIENCE_S
        self._options = options or Options()
        self._sent_at = now
        self._due_at = now + poll.unit.answer_within_s
        self._conversation = Conversation(poll.unit)
        self._waits = ""

    def receive(self, data: bytes, at: float) -> Outcome | None:
        """Take a frame on the id of the answer.

        Args:
            data: its data, padding included.
            at: monotonic seconds.
        """
        unit, speech = self.poll.unit, self.poll.speech
        if not speech.over_isotp:
            return self._read(speech.decode(unit, data, {}, ()), at)
        said = self._conversation.receive(data, at, self._is_ours)
        if said.reply is not None:
            self.reply = said.reply
        if said.broken is not None and said.lost:
            return self._broken(f"its answer broke off: {said.broken.why}")
        if said.message is not None:
            asked = (self.poll.identifier,)
            return self._read(speech.decode(unit, said.message, speech.sizes, asked), at)
        if said.going_on:
            self._extend(at, self._options.next_frame_s)
        return None

    def tick(self, now: float) -> Outcome | None:
        """Let time pass."""
        if now < self.deadline:
            return None
        said = self._conversation.tick(now)
        if said is not None and said.broken is not None and said.lost:
            return self._broken(f"its answer broke off: {said.broken.why}")
        name, waited = self.poll.unit.name, now - self._sent_at
        if self._waits:
            sentence = f"{name} said that {self._waits}, and gave no answer within {waited:.1f} s"
            return Outcome(Kind.SILENT, sentence)
        return Outcome(
            Kind.SILENT,
            f"{name} did not answer within {waited:.2f} s; it does not know this request, sleeps, or is asked on the "
            "wrong ids",
        )

    # --- inside -----------------------------------------------------------------------------------------------------

    def _is_ours(self, start: bytes) -> bool:
        return begins(start, self.poll.speech.service, self.poll.speech.identifier_bytes, self.poll.identifier)

    def _same(self, identifier: int | None) -> bool:
        return identifier in (None, self.poll.identifier)

    def _read(self, heard: tuple[Answer, ...] | Dropped, at: float) -> Outcome | None:
        if isinstance(heard, Dropped):
            return self._broken(heard.why) if self._same(heard.identifier) else None
        for answer in heard:
            if answer.refused is not None:
                return self._refused(answer.refused, at)
            if self._same(answer.identifier):
                return self._answered(answer.data, at)
        return None

    def _answered(self, data: bytes, at: float) -> Outcome:
        name, took_s, allowed_s = self.poll.unit.name, at - self._sent_at, self.poll.unit.answer_within_s
        if at <= self._due_at:
            return Outcome(Kind.ANSWERED, f"{name} answered in {1000 * took_s:.0f} ms", data)
        return Outcome(
            Kind.LATE,
            f"{name} answered after {took_s:.2f} s, and its description says {allowed_s:g} s; raise answer_within_s of "
            f"unit.{name} to have it shown",
            data,
        )

    def _refused(self, code: int, at: float) -> Outcome | None:
        what = meaning(code, self.poll.speech.service)
        if what.remedy is Remedy.WAIT:
            self._waits = what.text
            self._extend(at, self._options.pending_s)
            return None
        return Outcome(Kind.REFUSED, f"{self.poll.unit.name} says {what}", code=code)

    def _broken(self, why: str) -> Outcome:
        return Outcome(Kind.BROKEN, f"{self.poll.unit.name} sent something that cannot be read: {why}")

    def _extend(self, at: float, by_s: float) -> None:
        """Give a unit more time that is at work, but not for ever."""
        self._due_at = min(at + by_s, self._sent_at + self._options.pending_most_s)
        self.deadline = self._due_at + PATIENCE_S
