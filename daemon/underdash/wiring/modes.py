"""How the interfaces take part in their buses: listening only until the rate is proven, and only where requests may go.

Whether that can be changed from here is up to the helper (`switching/`). Orders take a while and are carried out in a
thread of their own, one at a time.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Collection, Iterable, Mapping
from math import inf

import structlog

from ..bus.health import BusState
from ..bus.link import BusStatus, Link
from ..switching.client import NoHelperError, switch
from ..switching.orders import Mode, Order, SwitchError

_log = structlog.get_logger()

DOUBT_S = 10.0
"""So long a rate that was proven may be in doubt before its interface listens only again."""
STUCK_S = 2.0
AGAIN_S = 30.0
LOOK_FOR_HELPER_S = 60.0
CLOSE_S = 3.0


def current(status: BusStatus) -> Mode | None:
    """Return how an interface takes part now; None where it has no controller that could be switched."""
    setup = status.controller
    if setup is None or not setup.real:
        return None
    return Mode.LISTEN if setup.listen_only else Mode.ONE_SHOT if setup.one_shot else Mode.ACTIVE


def wanted(status: BusStatus, *, transmit: bool, asked_only: bool, ignition_on: bool, doubt_s: float) -> Mode:
    """Return how an interface should take part.

    Args:
        status: of its bus.
        transmit: the owner lets us send on it.
        asked_only: it is silent until asked.
        ignition_on: there is evidence for that.
        doubt_s: seconds since its rate was proven; inf if it never was.
    """
    if not transmit or status.ended:
        return Mode.LISTEN
    if status.proven:
        return Mode.ACTIVE
    if doubt_s <= DOUBT_S:
        return current(status) or Mode.LISTEN
    able = status.controller is not None and status.controller.may_one_shot is not False
    return Mode.ONE_SHOT if asked_only and ignition_on and able else Mode.LISTEN


class Modes:
    """Has interfaces switched as it becomes necessary.

    Args:
        links: buses by role.
        transmit: roles of those the owner lets us send on.
        asked_only: roles of those that are silent until asked.
        loop: whose thread `look` is called in.
        order: carries out an order, see `switch`.
        in_thread: runs something beside the loop.
    """

    def __init__(
        self,
        links: Mapping[str, Link],
        transmit: Collection[str],
        asked_only: Collection[str],
        loop: asyncio.AbstractEventLoop,
        *,
        order: Callable[[Order], str] = switch,
        in_thread: Callable[[Callable[[], None]], None] | None = None,
    ) -> None:
        self._links = links
        self._transmit = transmit
        self._asked_only = asked_only
        self._loop = loop
        self._order = order
        self._in_thread = in_thread or _in_thread
        self._proven_at: dict[str, float] = {}
        self._stuck_since: dict[str, float] = {}
        self._not_before: dict[str, float] = {}
        self._busy = False
        self._taking_part: set[str] = set()
        self._said: set[str] = set()

    def look(self, buses: Iterable[BusStatus], *, ignition_on: bool, now: float) -> None:
        """Order what is due; called a few times a second."""
        for status in buses:
            role = status.role
            if status.proven:
                self._proven_at[role] = now
            if status.state is not BusState.BLOCKED:
                self._stuck_since.pop(role, None)
            present = current(status)
            if present is None or self._busy or now < self._not_before.get(role, -inf):
                continue
            mode = wanted(
                status,
                transmit=role in self._transmit,
                asked_only=role in self._asked_only,
                ignition_on=ignition_on,
                doubt_s=now - self._proven_at.get(role, -inf),
            )
            if mode is not present:
                self._begin(Order(role, mode), now)
            elif status.state is BusState.BLOCKED and now - self._stuck_since.setdefault(role, now) >= STUCK_S:
                self._begin(Order(role, None), now)

    def close(self) -> None:
        """Let those interfaces only listen again that take part because of us; waits a little for it."""
        # a helper that hangs must not use up the time the service manager gives us to end
        ending = threading.Thread(target=self._listen_again, name="switching", daemon=True)
        ending.start()
        ending.join(CLOSE_S)

    def _listen_again(self) -> None:
        for role in sorted(self._taking_part):
            try:
                self._order(Order(role, Mode.LISTEN))
            except SwitchError as exc:
                _log.warning("interface_not_switched", role=role, error=str(exc))

    def _begin(self, order: Order, now: float) -> None:
        self._busy = True
        self._not_before[order.bus] = now + AGAIN_S
        self._links[order.bus].switching(now)

        def carry_out() -> None:
            failure: SwitchError | None = None
            try:
                self._order(order)
            except SwitchError as exc:
                failure = exc
            self._loop.call_soon_threadsafe(self._done, order, failure)

        self._in_thread(carry_out)

    def _done(self, order: Order, failure: SwitchError | None) -> None:
        self._busy = False
        role, what = order.bus, order.mode or "emptied"
        if failure is None:
            self._stuck_since.pop(role, None)
            if order.mode is not None:
                # another mode may be due soon; only a queue is not emptied again and again
                self._not_before.pop(role, None)
                (self._taking_part.discard if order.mode is Mode.LISTEN else self._taking_part.add)(role)
            _log.info("interface_switched", role=role, mode=what)
            return
        if isinstance(failure, NoHelperError):
            self._not_before = dict.fromkeys(self._links, self._loop.time() + LOOK_FOR_HELPER_S)
        if str(failure) not in self._said:
            self._said.add(str(failure))
            _log.warning("interface_not_switched", role=role, mode=what, error=str(failure))


def _in_thread(work: Callable[[], None]) -> None:
    threading.Thread(target=work, name="switching", daemon=True).start()
