"""What the daemon's socket answers, as a table: a name, and a method that takes what came with the request."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

import structlog

from ..bus.runtime import runtime_directory
from ..bus.trace import TraceWriter
from ..buttons.motion import SIGNALS as MOTION
from ..contract.buttons import GoQuiet, ShowPage, TurnPage
from ..contract.errors import GivenError, UnderdashError
from ..service.control import Control, Conversation, Handler
from .by_hand import ByHand
from .daemon import Daemon
from .recorder import Recorder, about
from .stands import may_move
from .status import as_table

_log = structlog.get_logger()
_T = TypeVar("_T")

SOCKET = "underdash.sock"
SERVICE_DIRECTORY = Path("/run/underdash")
"""Where a service keeps its socket; a person's own session has another directory."""
TELL_S = 1.0


def socket_path() -> Path:
    """Return where a daemon that is started here listens."""
    return runtime_directory() / SOCKET


def socket_paths() -> list[Path]:
    """Return where a daemon may be listening: this user's, then the service's."""
    return list(dict.fromkeys([socket_path(), SERVICE_DIRECTORY / SOCKET]))


class Desk:
    """Answers requests for a daemon.

    Args:
        daemon: which.
        loop: its loop.

    Attributes:
        handlers: by request; add to it what else can be asked for.
    """

    def __init__(self, daemon: Daemon, loop: asyncio.AbstractEventLoop) -> None:
        self._daemon = daemon
        self._loop = loop
        self._recordings: set[_Recording] = set()
        self._by_hand = ByHand(daemon, loop)
        self.handlers: dict[str, Handler] = {
            "status": self._status,
            "why": self._why,
            "quiet": self._quiet,
            "page": self._page,
            "record": self._record,
            "mark": self._mark,
            "ask": self._ask,
            "attended": self._attended,
        }

    def control(self, path: Path | None = None) -> Control:
        """Return a socket, not yet open, that these handlers answer on."""
        return Control(path or socket_path(), self.handlers, self._loop)

    def close(self) -> None:
        """End what goes on."""
        for recording in tuple(self._recordings):
            recording.end(gone=False)
        self._by_hand.close()

    def _status(self, talk: Conversation) -> Mapping[str, Any]:
        return as_table(self._daemon.status(), self._daemon.assembly)

    def _why(self, talk: Conversation) -> Mapping[str, Any]:
        chain = self._daemon.telling.why(_given(talk, "signal", str), self._loop.time())
        return {**chain.table(), "past": list(self._daemon.past.faults)}

    def _quiet(self, talk: Conversation) -> Mapping[str, Any]:
        self._daemon.perform(GoQuiet(_given(talk, "on", bool)))
        return {"quiet": self._daemon.sending.guard.quiet, "kept": self._daemon.keep()}

    def _page(self, talk: Conversation) -> Mapping[str, Any]:
        """Show a page by its name, on all panels or on one, or turn by so many."""
        screens = self._daemon.screens
        if not screens:
            raise UnderdashError("no panel is open; underdash status says why")
        if "turn" in talk.given:
            self._daemon.perform(TurnPage(_given(talk, "turn", int)))
        else:
            name, panel = _given(talk, "show", str), talk.given.get("panel")
            chosen = [screen for screen in screens if panel in (None, screen.name)]
            if not chosen:
                open_ones = ", ".join(screen.name for screen in screens)
                raise GivenError(f"panel {panel!r} is not open in the running daemon; open are: {open_ones}")
            for screen in chosen:
                screen.deck.check(name)
            if panel is None:
                self._daemon.perform(ShowPage(name))
            else:
                chosen[0].show(name)
        return {"pages": {screen.name: screen.deck.current.name for screen in screens}}

    def _ask(self, talk: Conversation) -> Mapping[str, Any] | None:
        """Ask a control unit for a person; with `plan` only say what would be asked."""
        if talk.given.get("plan") is True:
            return self._by_hand.plan(talk.given)
        self._by_hand.ask(talk.given, talk.done)
        talk.on_end = lambda gone: self._by_hand.cancel()
        return None

    def _attended(self, talk: Conversation) -> Mapping[str, Any]:
        """Take the word of a person that the car stands with its ignition on; whoever asks confirms it with them."""
        if _given(talk, "standing", bool) is not True:
            raise GivenError("request 'attended' comes with standing = true, once a person at the keyboard said so")
        now, daemon = self._loop.time(), self._daemon
        moves = may_move(daemon.snapshot(now, MOTION), vouched=True)
        if moves:
            raise UnderdashError(moves)
        state = daemon.key.vouch(now)
        _log.warning("attended", text="a person at the keyboard says that the car stands with its ignition on")
        return {"ignition": state.why, "seconds": daemon.key.ignition.options.vouched_s}

    def _record(self, talk: Conversation) -> None:
        number = talk.take_file()
        if number is None:
            raise GivenError("a recording comes with an open file to write to")
        self._recordings.add(_Recording(talk, number, self._daemon, self._loop, self._recordings))

    def _mark(self, talk: Conversation) -> Mapping[str, Any]:
        """Put a person's mark into every recording that runs."""
        text, now = _given(talk, "text", str), self._loop.time()
        if not self._recordings and self._daemon.recorder is None:
            raise UnderdashError("nothing is being recorded; begin with underdash record")
        for recording in self._recordings:
            recording.recorder.mark(text, now)
        if self._daemon.recorder is not None:
            self._daemon.recorder.mark(text, now)
        return {"at": now}


class _Recording:
    """Writes the daemon's buses to a client's file until it says stop, or is gone."""

    def __init__(
        self,
        talk: Conversation,
        number: int,
        daemon: Daemon,
        loop: asyncio.AbstractEventLoop,
        all_of_them: set[_Recording],
    ) -> None:
        self._talk = talk
        self._daemon = daemon
        self._loop = loop
        self._all = all_of_them
        self._ended = False
        try:
            # the writer's thread closes it, after the last frame
            self._file = os.fdopen(number, "wb")
            self.recorder = Recorder(TraceWriter(self._file, about(datetime.datetime.now(datetime.UTC))), daemon.links)
        except OSError as exc:
            raise UnderdashError(f"the recording cannot be written: {exc.strerror or exc}") from exc
        talk.on_end = self.end
        self._timer = loop.call_later(TELL_S, self._tell)
        talk.more(self._table())

    def end(self, gone: bool) -> None:
        """Record no more; the rest is written by a thread, so that a slow disk does not hold up the loop."""
        if self._ended:
            return
        self._ended = True
        self._timer.cancel()
        self.recorder.detach()
        closing = self._loop.run_in_executor(None, self._close)
        closing.add_done_callback(lambda done: self._done())

    def _close(self) -> None:
        self.recorder.close()
        with contextlib.suppress(OSError):
            self._file.close()

    def _done(self) -> None:
        self._all.discard(self)
        self._talk.done(self._table())

    def _tell(self) -> None:
        self._talk.more(self._table())
        if self.recorder.failure:
            self.end(gone=False)
        else:
            self._timer = self._loop.call_later(TELL_S, self._tell)

    def _table(self) -> dict[str, Any]:
        recorder = self.recorder
        states = {status.role: status.state.value for status in self._daemon.buses}
        return {
            "frames": recorder.frames,
            "dropped": recorder.dropped,
            "failure": recorder.failure,
            "buses": states,
        }


def _given(talk: Conversation, key: str, kind: type[_T]) -> _T:
    value = talk.given.get(key)
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        raise GivenError(f"request {talk.ask!r} comes with {key!r}, of type {kind.__name__}; found {value!r}")
    return value
