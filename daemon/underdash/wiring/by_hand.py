"""Requests that a person asks for, one at a time, at most two a second, and only while the car stands.

Everything goes out as polls do: a template of exactly this request is vetted and lent to the guard, which then judges
the frame like any other. The daemon's own polling pauses meanwhile, and for two seconds more, since a scan is many
such requests.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from functools import partial
from math import inf
from typing import Any

from ..bus.frames import Frame
from ..bus.legislated import own_id
from ..bus.refusals import MOMENTARY, PASSING, Reason, Refusal
from ..buttons.motion import SIGNALS as MOTION
from ..contract.errors import UnderdashError
from ..diagnostics.ears import Wish
from ..diagnostics.inquiry import Inquiry, Outcome
from ..diagnostics.inquiry import Kind as OutcomeKind
from ..diagnostics.isotp import padded
from ..diagnostics.options import Options
from ..diagnostics.scan import LEFT_OUT
from ..diagnostics.standing import flow_held
from ..power.ignition import Position
from .daemon import Daemon
from .sending import Sending
from .stands import may_move
from .status import told
from .wanted import Wanted, described, wanted

PACE_S = 0.5
"""Least time between two requests."""
LINGER_S = 2.0
AGAIN_S = 0.02
PATIENCE_S = 3.0
"""How long a request waits for a unit that is answering something else, or for room on the bus."""
CHOSEN = (Reason.QUIET, Reason.RECORDED, Reason.TRANSMIT_OFF)
"""What somebody chose, which says more than that a bus is not open."""
HELD = "held"
"""Kind of what was not sent now, and may be sent later; `momentary` says that no person has to act for that."""

Done = Callable[[Mapping[str, Any]], None]


class ByHand:
    """Asks for a person.

    Args:
        daemon: whose guard, buses and polls these are.
        loop: its loop.
        alone: nothing else is asked for as long as this lives.
    """

    def __init__(self, daemon: Daemon, loop: asyncio.AbstractEventLoop, *, alone: bool = False) -> None:
        self._daemon = daemon
        self._loop = loop
        self._alone = alone
        self._current: _One | None = None
        self._next_at = -inf
        self._ears: set[tuple[str, int]] = set()
        self._sending: Sending | None = None
        self._resuming: asyncio.TimerHandle | None = None
        self._at_home()
        if alone:
            daemon.sending.pause(True)

    def plan(self, query: Mapping[str, Any]) -> dict[str, Any]:
        """Say what a query means, and send nothing.

        Raises:
            GivenError: it is nothing that may be asked for.
        """
        found = wanted(self._daemon.assembly, query)
        return {
            "car": self._daemon.assembly.car.name,
            "described": {
                f"{number:X}": signals
                for number, signals in described(
                    self._daemon.assembly, found.poll.unit.name, found.poll.speech.name
                ).items()
            },
            **_who(found),
        }

    def ask(self, query: Mapping[str, Any], done: Done) -> None:
        """Ask; `done` is called once with what came of it.

        Raises:
            GivenError: it is nothing that may be asked for.
            UnderdashError: somebody else is asking.
        """
        if self._current is not None:
            raise UnderdashError("somebody else is asking by hand just now; wait until they have their answer")
        self._at_home()
        found = wanted(self._daemon.assembly, query)
        refusal = self._daemon.sending.lend(found.template)
        if refusal is not None:
            done({**_who(found), "kind": LEFT_OUT, "sentence": refusal.sentence})
            self._linger()
            return
        self._daemon.sending.pause(True)
        self._stop_lingering()
        self._listen(found)
        self._current = _One(found, done)
        self._at(max(self._loop.time(), self._next_at), self._try)
        self._current.give_up_at = self._loop.time() + PATIENCE_S

    def _at_home(self) -> None:
        """Hear what the sending side tells; a description that was read anew brings another one, and new tables."""
        sending = self._daemon.sending
        if self._sending is not sending:
            self._sending = sending
            self._ears.clear()
            sending.flow_held = self._flow_held

    def cancel(self) -> None:
        """Wait for nothing any more."""
        if self._current is not None:
            self._finish({"kind": HELD, "sentence": "stopped before the answer came"})

    def close(self) -> None:
        """End everything."""
        self.cancel()
        self._stop_lingering()

    # --- sending ----------------------------------------------------------------------------------------------------

    def _try(self) -> None:
        """Send what is asked for, or try again soon, or say why not."""
        now, one = self._loop.time(), self._current
        if one is None:
            return
        poll = one.wanted.poll
        standing = self._daemon.sending.guard.standing(poll.bus, now)
        if (standing is None or standing.reason not in CHOSEN) and self._gone():
            return
        moves = may_move(self._daemon.snapshot(now, MOTION), vouched=self._daemon.key.ignition.vouched(now))
        if moves and standing is None:  # else that says more
            self._finish({"kind": HELD, "sentence": moves})
            return
        busy = self._daemon.assembly.asking.scheduler.outstanding(poll, now)
        refusal = None if busy else self._daemon.sending.by_hand(poll, now)
        if not busy and refusal is None:
            self._next_at = now + PACE_S
            one.inquiry = Inquiry(poll, now, Options())
            self._at(one.inquiry.deadline, self._look)
            return
        wait = refusal is None or refusal.reason in PASSING or refusal.reason is Reason.BLOCKED
        if wait and now < one.give_up_at:
            self._at(now + AGAIN_S, self._try)
            return
        why = f"{poll.unit.name} is still busy with an earlier request" if refusal is None else refusal.sentence
        if busy and busy.lane != poll.lane:
            why = f"{busy.name} is still open, and a request to all units is answered on more ids than one"
        self._finish({"kind": HELD, "sentence": why, "momentary": refusal is None or self._passes(refusal)})

    def _gone(self) -> bool:
        """End at once where the bus is away: neither an answer nor silence will come of it."""
        one = self._current
        away = "" if one is None else self._daemon.sending.away(one.wanted.poll.bus, self._loop.time())
        if away:
            self._finish({"kind": HELD, "sentence": away, "momentary": False})
        return bool(away)

    def _passes(self, refusal: Refusal) -> bool:
        """Say whether what the guard holds back may go out by itself in a while, as after the starter."""
        begins = self._daemon.sending.guard.ignition.position in (Position.START, Position.ON)
        return refusal.reason in MOMENTARY or (refusal.reason is Reason.IGNITION and begins)

    # --- hearing ----------------------------------------------------------------------------------------------------

    def _listen(self, found: Wanted) -> None:
        """Hear the unit's answers, from now on."""
        place = (found.poll.bus, found.poll.response_key)
        link = self._daemon.links.get(found.poll.bus)
        if link is not None and place not in self._ears:
            self._ears.add(place)
            link.table.add(place[1], partial(self._heard, place))

    def _heard(self, place: tuple[str, int], data: bytes, at: float) -> None:
        one = self._current
        if one is None or one.inquiry is None or place != (one.wanted.poll.bus, one.wanted.poll.response_key):
            return
        outcome = one.inquiry.receive(data, at)
        if one.inquiry.reply is not None:
            self._reply(one.inquiry, at)
        self._take(outcome)

    def _reply(self, inquiry: Inquiry, at: float) -> None:
        data, inquiry.reply = inquiry.reply, None
        unit = inquiry.poll.unit
        can_id = own_id(unit)
        if data is not None and can_id is not None:
            frame = Frame(can_id, padded(data, unit.padding), unit.extended)
            until = at + Options().next_frame_s
            sending = self._daemon.sending
            sending.reply(Wish(unit.bus, frame, unit.name, until), at)
            sending.pump()  # it comes back until the frame is out

    def _flow_held(self, wish: Wish, refusal: Refusal) -> None:
        """Take note that the answer will not go on: flow control that no moment changes, or that may go out later."""
        one = self._current
        unit = None if one is None else one.wanted.poll.unit
        if unit is None or (wish.bus, wish.unit) != (unit.bus, unit.name):
            return
        text = flow_held(unit.name, refusal).text
        if refusal.reason in (Reason.LOOKS_LIKE, Reason.NO_ANSWER_DUE):
            self._take(Outcome(OutcomeKind.BROKEN, text))
        else:
            self._finish({"kind": HELD, "sentence": text, "momentary": self._passes(refusal)})

    def _look(self) -> None:
        one = self._current
        if one is not None and one.inquiry is not None and not self._gone():
            self._take(one.inquiry.tick(self._loop.time()))

    def _take(self, outcome: Outcome | None) -> None:
        one = self._current
        if one is None or one.inquiry is None:
            return
        if outcome is None:
            self._at(one.inquiry.deadline, self._look)
            return
        table = {"kind": outcome.kind.value, "sentence": outcome.sentence, "data": outcome.data.hex().upper()}
        if outcome.code is not None:
            table["code"] = f"{outcome.code:02X}"
        self._finish({**table, "values": self._values(one.wanted, outcome)})

    def _values(self, found: Wanted, outcome: Outcome) -> dict[str, Any]:
        now = self._loop.time()
        if outcome.data:
            found.poll.read(outcome.data, now)
        readings = {name: told(found.store.read(name, now)) for name in found.poll.signals}
        return {name: table for name, table in readings.items() if table["value"] is not None}

    # --- ending -----------------------------------------------------------------------------------------------------

    def _finish(self, table: Mapping[str, Any]) -> None:
        one, self._current = self._current, None
        if one is None:
            return
        if one.timer is not None:
            one.timer.cancel()
        self._linger()
        one.done({**_who(one.wanted), **table})

    def _at(self, when: float, call: Callable[[], None]) -> None:
        if self._current is not None:
            if self._current.timer is not None:
                self._current.timer.cancel()
            self._current.timer = self._loop.call_at(when, call)

    def _linger(self) -> None:
        self._stop_lingering()
        self._resuming = self._loop.call_later(LINGER_S, self._resume)

    def _stop_lingering(self) -> None:
        if self._resuming is not None:
            self._resuming.cancel()
            self._resuming = None

    def _resume(self) -> None:
        """Give the units back to the daemon's own polls."""
        self._resuming = None
        self._daemon.sending.lend(None)
        if not self._alone:
            self._daemon.sending.pause(False)


class _One:
    """What is asked just now."""

    def __init__(self, wanted: Wanted, done: Done) -> None:
        self.wanted = wanted
        self.done = done
        self.inquiry: Inquiry | None = None
        self.timer: asyncio.TimerHandle | None = None
        self.give_up_at = inf


def _who(found: Wanted) -> dict[str, Any]:
    poll = found.poll
    return {
        "name": poll.name,
        "unit": poll.unit.name,
        "bus": poll.bus,
        "protocol": poll.speech.name,
        "identifier": poll.identifier,
        "digits": 2 * poll.speech.identifier_bytes,
        "request": poll.frame.data.hex(" ").upper(),
    }
