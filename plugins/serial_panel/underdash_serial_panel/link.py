"""The way to a controller: line and session joined, opened again when they fail."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf

from underdash import UnderdashError

from .line import Line
from .messages import VERSION, Kind, Message
from .session import PING_S, Session, Trouble
from .settings import Settings

AGAIN_S = (0.0, 1.0, 2.0, 5.0)
"""How long it is left alone after the first, second, ... failure in a row; the last goes on."""
GOODBYE_S = 0.5


class Link:
    """Carries messages to a controller, all of them or with an error.

    Args:
        settings: which port, how fast, what is wanted of the controller.
        size: pixels across and down that it shall have.
        open_line: opens the line.
        clock: monotonic seconds.
        session: number of the first session; any, but best another one at each start.
    """

    def __init__(
        self,
        settings: Settings,
        size: tuple[int, int],
        open_line: Callable[[], Line],
        clock: Callable[[], float],
        session: int = 0,
    ) -> None:
        self._settings = settings
        self._size = size
        self._open_line = open_line
        self._clock = clock
        self._number = session
        self._line: Line | None = None
        self._session: Session | None = None
        self._failures = 0
        self._not_before = -inf
        self._error: UnderdashError | None = None

    def ensure(self) -> bool:
        """Have a controller that listens; return True if it is a new session, in which nothing is shown yet.

        Raises:
            UnderdashError: there is none, or it is too early to look again.
        """
        if self._session is not None:
            return False
        if self._error is not None and self._clock() < self._not_before:
            raise self._error
        try:
            self._line = self._line or self._open_line()
        except UnderdashError as exc:
            raise self._failed(str(exc)) from exc
        self._number = self._number % 255 + 1
        size = self._size if self._settings.mode == "pixels" else None
        self._session = Session(self._number, self._settings.wanted, size, baud=self._settings.baud, now=self._clock())
        self._turn(lambda session: session.open)
        self._number = self._session.number
        return True

    def carry(self, messages: Iterator[Message]) -> None:
        """Send messages in their order, and return when the controller has them all.

        Raises:
            UnderdashError: it has not, and nothing is known of what it shows; go on with `ensure`.
        """
        pending = next(messages, None)
        while pending is not None:
            self._turn(lambda session: session.room)
            while pending is not None and self._running().room:
                self._running().put(*pending)
                pending = next(messages, None)
        self._turn(lambda session: session.idle)
        self._failures, self._error = 0, None

    def look(self) -> None:
        """Take what arrived and keep the line alive, without waiting; raises as `carry` does."""
        session = self._running()
        if session.idle and session.silent_for(self._clock()) >= PING_S:
            session.put(Kind.PING)
        self._exchange(0.0)

    def close(self) -> None:
        """Say goodbye if somebody listens, and give the line back."""
        if self._session is not None and self._session.room:
            self._session.put(Kind.BYE)
            until = self._clock() + GOODBYE_S
            try:
                while not self._session.idle and self._clock() < until:
                    self._exchange(GOODBYE_S)
            except UnderdashError:
                pass  # it is gone, and so are we
        self._drop()

    # --- one turn of the crank --------------------------------------------------------------------------------------

    def _turn(self, done: Callable[[Session], bool]) -> None:
        """Exchange until something is so."""
        while not done(self._running()):
            self._exchange(max(self._running().due - self._clock(), 0.0))

    def _exchange(self, wait_s: float) -> None:
        """Write what is due, read what comes."""
        session, line = self._running(), self._line
        try:
            if line is None:
                raise OSError("it is closed")
            out = session.to_write(self._clock())
            if out:
                line.write(out)
                wait_s = max(session.due - self._clock(), 0.0) if wait_s else 0.0
            if session.trouble is None:
                session.feed(line.read(wait_s), self._clock())
        except OSError as exc:
            self._drop()
            raise self._failed(f"the line to it is gone ({exc.strerror or exc}); it is looked for again") from exc
        if session.trouble is not None:
            said = self._said(session, session.trouble)
            self._session = None
            if session.trouble is not Trouble.ANEW:
                self._drop()
            raise self._failed(said)

    def _running(self) -> Session:
        if self._session is None:
            raise self._error or UnderdashError("there is no session; go on with `ensure`")
        return self._session

    def _drop(self) -> None:
        if self._line is not None:
            self._line.close()
        self._line = self._session = None

    # --- what went wrong --------------------------------------------------------------------------------------------

    def _failed(self, said: str) -> UnderdashError:
        wait_s = AGAIN_S[min(self._failures, len(AGAIN_S) - 1)]
        self._failures += 1
        self._not_before = self._clock() + wait_s
        self._error = UnderdashError(f"serial panel at {self._settings.port}: {said}")
        return self._error

    def _said(self, session: Session, trouble: Trouble) -> str:
        baud = f"{self._settings.baud} baud"
        if trouble is Trouble.SILENT:
            return (
                "nothing answers; check that the controller has power and runs a program that speaks PROTOCOL.md, "
                f"that its TX goes to our RX and its RX to our TX, and that both run at {baud}"
            )
        if trouble is Trouble.GARBLED:
            return f"what arrives is no frame; check that both sides run at {baud}, 8 data bits, no parity, 1 stop bit"
        if trouble is Trouble.STUCK:
            return "the controller no longer acknowledges; it is greeted again"
        if trouble is Trouble.ANEW:
            return "the controller started anew and gets everything again; if it goes on, look at its supply"
        return self._unfit(session)

    def _unfit(self, session: Session) -> str:
        found = session.greeting
        if found is None or found.version != VERSION:
            return f"the controller speaks version {found and found.version} of the protocol, this is version {VERSION}"
        if not found.can & self._settings.wanted:
            other = "values" if self._settings.mode == "pixels" else "pixels"
            return f"the controller does not take {self._settings.mode}; set `mode` to {other!r}"
        is_, shall = ("x".join(map(str, size)) for size in (found.size, self._size))
        return f"the controller has {is_} pixels and the configuration says {shall}; correct `size` of the panel"
