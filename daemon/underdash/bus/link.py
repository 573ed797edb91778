"""One bus of the car, supervised: opened, watched, counted, and opened again when it breaks down.

A link never gives up and never raises for what an interface does. It does nothing by itself: whoever owns it calls
`tick` some ten times a second. Frames go from the port straight to the handlers in `table`; the link only hears how
many there were.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import structlog

from .controller import Controller
from .errors import ErrorFrame, ErrorKind
from .frames import Frame
from .health import BusEvent, BusState, after, sentence
from .load import LoadMeter
from .port import Port, PortError, Tap
from .proof import Proof
from .setup import amiss, oscillator
from .table import Table

_log = structlog.get_logger()

BACK_OFF_S = (0.25, 0.5, 1.0, 2.0, 5.0)
QUIET_AFTER_S = 2.0
IDLE_AFTER_S = 2.0
FULL_AFTER = 3
PROBE_EVERY_S = 2.0
REOPEN_QUIET_S = 20.0
MOST_BUS_OFFS = 3
BUS_OFF_WINDOW_S = 60.0


@dataclass(frozen=True, slots=True)
class BusStatus:
    """How a bus is.

    Attributes:
        frames, error_frames, foreign: data frames, error frames, and remote, FD or broken frames since the start.
        no_room: our frames that were not taken.
        lost: frames that came and were not read in time.
        load: share of the bus's time that was taken in the last second, 0..1.
        last_heard_s: seconds since the last data frame; None if there never was one.
        proven: the bit rate is right, see `Proof`.
        trial: one request may go out to prove it.
        ended: nothing is sent any more until the next start, after too many bus-offs.
        silent, virtual: see `Port`; `silent` is None too while it is not open.
        sentence: all that for a person, with the next step.
        warning: what is dangerous or wrong about how its interface is set up, with the next step; "" if nothing is.
        controller: how Linux has set it up, where it tells.
    """

    role: str
    state: BusState
    frames: int
    error_frames: int
    foreign: int
    no_room: int
    lost: int
    load: float
    last_heard_s: float | None
    proven: bool
    silent: bool | None
    virtual: bool
    sentence: str
    trial: bool = False
    ended: bool = False
    warning: str = ""
    controller: Controller | None = None


class Link:
    """A bus under supervision; it is the `PortEvents` of its ports.

    Args:
        role: "drive".
        opener: makes a port, not yet open; may raise PortError.
        bitrate: bit/s, for the load; None for a bus without a rate.
        filtered: let the kernel pass only what the table has; the load is then estimated from the kernel's counts.
        asked_only: it is silent until asked, behind a gateway.
    """

    def __init__(
        self,
        role: str,
        opener: Callable[[], Port],
        *,
        bitrate: int | None = None,
        filtered: bool = False,
        asked_only: bool = False,
    ) -> None:
        self.role = role
        self.table = Table()
        self.state = BusState.ABSENT
        self.tap: Tap | None = None
        self._opener = opener
        self._filtered = filtered
        self._filters: tuple[int, bool] | None = None
        self._meter = LoadMeter(bitrate)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._port: Port | None = None
        self._is_open = False
        self._failure: str | None = None
        self._failures = 0
        self._retry_at = -inf
        self._probe_at = -inf
        self._reopen_after_s = REOPEN_QUIET_S
        self._taps: tuple[Tap, ...] = ()
        self._counts = {"frames": 0, "error_frames": 0, "foreign": 0, "no_room": 0, "lost": 0}
        self._lost_before = 0
        self._totals: tuple[int, int] | None = None
        self._own = 0
        self._heard_at = -inf
        self._sent_at = -inf
        self._opened_at = -inf
        self._refused_in_a_row = 0
        self._bitrate = bitrate
        self._proof = Proof(asked_only)
        self._recent_errors: deque[float] = deque(maxlen=1000)
        self._bus_offs: deque[float] = deque(maxlen=MOST_BUS_OFFS)
        self._sending_ended = False

    # --- for the owner ------------------------------------------------------------------------------------------

    def start(self, loop: asyncio.AbstractEventLoop, now: float) -> None:
        """Begin; the first try to open is made at once."""
        self._loop = loop
        self._retry_at = now
        self.tick(now)

    def close(self) -> None:
        """End, without a try to open it again."""
        self._loop = None
        self._drop_port()
        self._happened(BusEvent.FAILED)
        self._failure = "it was closed"

    def tick(self, now: float) -> None:
        """Do what time asks for: open, notice silence, renew filters, count."""
        if self._loop is None:
            return
        if self._port is None:
            if now >= self._retry_at:
                self._try_opening(self._loop, now)
            return
        if not self._is_open:
            return
        self._proof.looked(self._port.controller)
        self._renew_filters(self._port)
        self._count_totals(self._port, now)
        if now - max(self._heard_at, self._opened_at) > QUIET_AFTER_S:
            self._happened(BusEvent.QUIET)
        if now - self._sent_at > IDLE_AFTER_S:
            self._refused_in_a_row = 0
            self._happened(BusEvent.IDLE)
        self._meter.load(now)
        if now >= self._probe_at:
            self._probe_at = now + PROBE_EVERY_S
            self._probe(self._port, now)

    def send(self, frame: Frame, now: float) -> bool:
        """Hand a frame to the bus. Nobody but the guard's owner calls this.

        Returns:
            False if it was not taken: no room (normal, counted), not open, or sending has ended for this journey.
        """
        if self._port is None or not self._is_open or self._sending_ended:
            return False
        taken = self._port.send(frame)
        self._sent_at = now
        if taken:
            self._refused_in_a_row = 0
            self._proof.sent(now)
            self._happened(BusEvent.SENT)
        elif self._is_open:
            self._counts["no_room"] += 1
            self._refused_in_a_row += 1
            if self._refused_in_a_row >= FULL_AFTER:
                self._happened(BusEvent.FULL)
        return taken

    def unconfirmed(self, now: float) -> None:
        """Take note that a frame of ours did not come back in time, which is as bad as no room."""
        self._sent_at = now
        self._happened(BusEvent.FULL)

    def heard_own(self) -> None:
        """Take note that a frame of the batch now being read is our own; it says nothing about the car."""
        self._own += 1

    def add_tap(self, tap: Tap) -> None:
        """Have `tap` called with every whole frame from now on."""
        self._set_taps((*self._taps, tap))

    def remove_tap(self, tap: Tap) -> None:
        """Stop that."""
        self._set_taps(tuple(one for one in self._taps if one is not tap))

    def proven(self, now: float) -> bool:
        """Say whether the bit rate is right; see `Proof`."""
        return self._proof.proven(now)

    def trial(self, now: float) -> bool:
        """Say whether one request may go out to prove the bit rate; see `Proof`."""
        return self._proof.trial(now)

    def switching(self, now: float) -> None:
        """Take note that its interface is switched off and on for us, and comes back at the same rate."""
        self._proof.carry(now)

    def status(self, now: float) -> BusStatus:
        """Return how the bus is."""
        port = self._port if self._is_open else None
        heard_s = None if self._heard_at == -inf else max(0.0, now - self._heard_at)
        errors = sum(at > now - 1.0 for at in self._recent_errors)
        setup = port.controller if port else None
        hint = oscillator(setup, self._bitrate)
        text = sentence(self.role, self.state, failure=self._failure, quiet_s=heard_s, errors=errors, hint=hint)
        if self._sending_ended:
            text += f"; nothing is sent until the next start, after {MOST_BUS_OFFS} bus-offs in a minute"
        return BusStatus(
            self.role,
            self.state,
            **self._counts,
            load=self._meter.load(now),
            last_heard_s=heard_s,
            proven=self.proven(now),
            silent=port.silent if port else None,
            virtual=port.virtual if port else False,
            sentence=text,
            trial=self._proof.trial(now),
            ended=self._sending_ended,
            warning=amiss(self.role, setup, self._bitrate, self._proof, now) if setup else "",
            controller=setup,
        )

    # --- events of the port -------------------------------------------------------------------------------------

    def opened(self, at: float) -> None:
        """See `PortEvents`."""
        self._is_open = True
        self._failure = None
        self._opened_at = at
        self._proof.opened(self._port.controller if self._port else None, at)
        self._lost_before = self._counts["lost"]
        self._totals = None
        self._filters = None
        self._probe_at = at + PROBE_EVERY_S
        self._happened(BusEvent.OPENED)

    def received(self, count: int, at: float) -> None:
        """See `PortEvents`."""
        self._counts["frames"] += count
        own, self._own = self._own, 0
        self._proof.good(count, own)
        if count > own:
            self._heard_at = at
        if not self._counts_from_kernel:
            self._meter.add(count)
        if self.state is not BusState.LISTENING and self.state is not BusState.SENDING:
            self._failures = 0
            self._reopen_after_s = REOPEN_QUIET_S
            self._happened(BusEvent.HEARD)

    def sampled(self, key: int, data: bytes) -> None:
        """See `PortEvents`."""
        if self._meter.wants_sample(self._heard_at):
            self._meter.sample(key, data, self._heard_at)

    def error_frame(self, error: ErrorFrame, at: float) -> None:
        """See `PortEvents`."""
        self._counts["error_frames"] += 1
        self._recent_errors.append(at)
        if error.kinds - {ErrorKind.ARBITRATION, ErrorKind.RESTARTED, ErrorKind.ACTIVE, ErrorKind.OVERFLOW}:
            self._proof.bad(at)
        if ErrorKind.BUS_OFF in error.kinds:
            self._happened(BusEvent.CONTROLLER_OFF)
            self._bus_offs.append(at)
            if len(self._bus_offs) == MOST_BUS_OFFS and at - self._bus_offs[0] <= BUS_OFF_WINDOW_S:
                self._sending_ended = True
        elif ErrorKind.RESTARTED in error.kinds:
            self._happened(BusEvent.RESTARTED)

    def foreign(self, count: int, at: float) -> None:
        """See `PortEvents`."""
        self._counts["foreign"] += count

    def lost(self, total: int, at: float) -> None:
        """See `PortEvents`."""
        self._counts["lost"] = self._lost_before + total

    def failed(self, error: PortError, at: float) -> None:
        """See `PortEvents`."""
        self._drop_port()
        self._failure = str(error)
        wait_s = BACK_OFF_S[min(self._failures, len(BACK_OFF_S) - 1)]
        self._retry_at = at + wait_s
        if self._failures == 0 and not self._proof.switching(at):
            _log.warning("bus_failed", role=self.role, error=str(error))
        self._failures += 1
        self._happened(BusEvent.FAILED)

    # --- inside -------------------------------------------------------------------------------------------------

    def _happened(self, event: BusEvent) -> None:
        before, self.state = self.state, after(self.state, event)
        if before is not self.state:
            _log.info("bus_state", role=self.role, before=before.value, now=self.state.value)

    def _try_opening(self, loop: asyncio.AbstractEventLoop, now: float) -> None:
        try:
            self._port = self._opener()
            self._port.open(loop, self.table, self)
        except PortError as exc:
            self.failed(exc, now)
        except Exception as exc:
            _log.exception("bus_opening_failed", role=self.role)
            self.failed(PortError(f"{self.role} could not be opened: {exc}"), now)

    def _drop_port(self) -> None:
        port, self._port, self._is_open = self._port, None, False
        if port is None:
            return
        try:
            port.close()
        except Exception:
            _log.exception("bus_closing_failed", role=self.role)

    def _probe(self, port: Port, now: float) -> None:
        error = port.probe()
        quiet_s = now - max(self._heard_at, self._opened_at)
        if error is None and self._heard_at > -inf and not port.virtual and port.totals() is None:
            # nobody can say whether it is still there; it has been heard and now is not
            if quiet_s < self._reopen_after_s:
                return
            self._reopen_after_s = min(self._reopen_after_s * 2, 60.0)
            error = PortError(f"{self.role} fell silent; its adapter is opened afresh")
        if error is not None:
            self.failed(error, now)

    @property
    def _counts_from_kernel(self) -> bool:
        return self._filters is not None and not self._filters[1] and self._totals is not None

    def _renew_filters(self, port: Port) -> None:
        everything = not self._filtered or bool(self._taps)
        wanted = (self.table.version, everything)
        if everything and self._filters is None:
            # a port passes everything until it is told otherwise
            self._filters = wanted
        if wanted == self._filters or (everything and self._filters and self._filters[1]):
            return
        self._filters = wanted
        port.listen(None if everything else tuple(self.table))

    def _count_totals(self, port: Port, now: float) -> None:
        if not self._filtered:
            return
        totals = port.totals()
        before, self._totals = self._totals, totals
        if totals is None or before is None or not self._counts_from_kernel:
            return
        frames = totals[0] - before[0]
        if frames > 0:
            self._meter.add_totals(frames, totals[1] - before[1])
            self._heard_at = max(self._heard_at, now)
            if self.state in (BusState.SILENT, BusState.BUS_OFF):
                self._happened(BusEvent.HEARD)

    def _set_taps(self, taps: tuple[Tap, ...]) -> None:
        self._taps = taps
        self.tap = None if not taps else taps[0] if len(taps) == 1 else _all_of(taps)


def _all_of(taps: tuple[Tap, ...]) -> Tap:
    def call(frame: Frame) -> None:
        for tap in taps:
            tap(frame)

    return call
