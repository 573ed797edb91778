"""The daemon: one loop that keeps buses, polls, power, buttons and panels going.

Frames reach their handlers by themselves; here is what happens by time. Everything runs on one event loop and takes
its time from it, so a loop with simulated time runs the same daemon. Panels draw in threads of their own.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from math import inf

import structlog

from ..bus.health import BusState
from ..bus.link import BusStatus, Link
from ..buttons.gestures import GestureOptions
from ..collecting import PowerCalls
from ..contract.buttons import Action
from ..contract.pages import Role
from ..contract.signals import PowerState, Snapshot
from ..contract.words import Words
from ..display.cold import SIGNALS as COLD_SIGNALS
from ..display.deck import Deck
from ..display.dimming import DimmingOptions
from ..inputs.station import Inputs
from ..power.battery import VOLTAGE
from ..power.ignition import Position, Seen
from ..power.states import Effect, Power, PowerInputs
from ..signals.wants import expand, gather
from .acting import Acting
from .assembly import Assembly
from .fingers import Fingers
from .host import Host
from .hurrying import Hurry
from .key import Key
from .leaving import Keeper, Leaving
from .modes import Modes
from .past import Past
from .screen import Screen
from .sending import Sending, facts
from .status import Status
from .telling import Telling

_log = structlog.get_logger()

TICK_S = 0.04
SLEEPY_TICK_S = 0.25
SLOW_S = 0.2
MOST_TICK_FAILURES = 20
PANEL_RETRY_S = 10.0
FIRST_PAGE_S = 1.0
KEEP_S = 60.0
GOODBYE = Words("goodbye", Role.SOFT)
DIMMING_SIGNALS = ("dashboard.brightness", "dashboard.night")


class Daemon:
    """The running parts of one car; `start` begins, `stop` ends, `status` tells, `rounds` counts what went well.

    Args:
        assembly: what turns frames into readings.
        links: buses by role, whose tables are the assembly's.
        sending: the sending side.
        power: the table of the supply.
        transmit: roles of the buses the owner lets us send on.
        loop: the event loop.
        gestures: times of gestures.
        recorder: gets marks and is flushed before the end.
        power_off: called when the machine is to be switched off (False) or restarted (True).
        attended: a person at the keyboard says that the ignition is on.
        host, past: the machine this runs on, None for none that is looked at; what earlier lives teach.
    """

    def __init__(
        self,
        assembly: Assembly,
        links: Mapping[str, Link],
        sending: Sending,
        power: Power,
        *,
        transmit: Iterable[str],
        loop: asyncio.AbstractEventLoop,
        gestures: GestureOptions | None = None,
        recorder: Keeper | None = None,
        power_off: Callable[[bool], None] = lambda reboot: None,
        attended: bool = False,
        host: Host | None = None,
        past: Past | None = None,
    ) -> None:
        self.host, self.past = host or Host(), past or Past()
        self.links, self.power = links, power
        self.screens: list[Screen] = []
        #: called some five times a second with (now, everything that is known)
        self.observers: list[Callable[[float, Snapshot], None]] = []
        self._transmit = frozenset(transmit)
        asked_only = frozenset(bus.role for bus in assembly.car.buses if bus.silent)
        self._modes = Modes(links, self._transmit, asked_only, loop)
        self.buses: tuple[BusStatus, ...] = ()
        self.polling, self.rounds = False, 0
        self._loop = loop
        self._gestures = gestures or GestureOptions()
        self.recorder = recorder
        self._leaving = Leaving(lambda: None if self.recorder is None else self.recorder.begin_flush(), power_off)
        self._attended = attended
        self._timer: asyncio.TimerHandle | None = None
        self._slow_at = self._panels_at = self._keep_at = -inf
        self._openers: list[Callable[[], Screen]] = []
        self.panel_trouble = ""
        self._tick_failures: set[str] = set()
        self._lit, self._goodbye = True, False
        self._said_state = PowerState.AWAKE
        #: called when more was seen of the ignition's evidence, or quiet was asked for or released, since power may be
        #: gone before `stop`; says whether it is kept
        self.keep: Callable[[], bool] = lambda: False
        self.inputs = Inputs(assembly.wires, loop, lost=lambda wire: self.fingers.line_lost(wire.button, loop.time()))
        self._fit(assembly, sending)

    def _fit(self, assembly: Assembly, sending: Sending) -> None:
        """Make what rests on the car's description and on what plug-ins bring for it."""
        loop = self._loop
        self.assembly, self.sending = assembly, sending
        self.key = Key(assembly, sending.guard)
        self.acting = Acting(self)
        self.fingers = Fingers(assembly, self._gestures, self.perform, self.acting.say)
        self.telling = Telling(self, self._transmit)
        self._hurry = Hurry(loop, assembly.store, lambda: self._tried(self._show))
        self._calls = PowerCalls(assembly.loaded, self._plugin_failed)
        assembly.suspensions.takers.append(self._suspended)
        self._seen = self.key.ignition.seen()

    # --- life ---------------------------------------------------------------------------------------------------

    def add_screen(self, opener: Callable[[], Screen]) -> None:
        """Take a panel; it is opened with `start`, and again and again while that fails."""
        self._openers.append(opener)

    def start(self) -> None:
        """Open the buses, light the panels and begin."""
        now = self._loop.time()
        tables = {role: link.table for role, link in self.links.items()}
        self.key.connect(tables)
        self.sending.connect()
        if self._attended:
            self.key.ignition.vouch(now)
        self._open_screens(now)
        self._show_first_page(now)
        for link in self.links.values():
            link.start(self._loop, now)
        self.inputs.start()
        self.host.start()
        self._look_at_buses(now)  # before anything is asked: until then the guard takes every bus for closed
        self.polling = True
        self.ask()
        self._tick()

    def exchange(
        self, assembly: Assembly, sending: Sending, seen: Mapping[str, Seen] | None, same: Callable[[str], bool]
    ) -> None:
        """Go on with another description; buses stay open, panels lit, and power where it is.

        Args:
            assembly: its tables are those of the links.
            sending: its sending side, with the guard that there is.
            seen: what was seen of its evidence for the ignition before; None where it is the evidence there was.
            same: says of a signal whether it comes from where it came from before.
        """
        now, key, status_page, acting = self._loop.time(), self.key, self.telling.page, self.acting
        before, fingers = self.sending, self.fingers
        self._hurry.stop()
        before.stop()
        self._fit(assembly, sending)
        self.fingers.take_over(fingers, same)
        self.telling.page = status_page
        self.key.take_over(key, evidence=seen is None)
        self.key.ignition.restore(seen or {})
        self.key.tick(self.buses, now)  # the guard knows before anything else is done that could ask
        self.acting.take_over(acting, now)
        self.key.connect({role: link.table for role, link in self.links.items()})
        self.sending.connect()
        self.sending.take_over(before)
        self.host.exchange(assembly.board)
        self.inputs.exchange(assembly.wires)
        self._look_at_buses(now)
        self.key.tick(self.buses, now)

    def show_decks(self, decks: Mapping[str, Deck], dimming: DimmingOptions) -> None:
        """Have each panel show these pages, the one on show first where it is among them."""
        for screen in self.screens:
            screen.exchange(decks[screen.name], dimming)
            self._take_pages_off(screen)
        self.ask()

    def stop(self) -> None:
        """End everything in order; harmless if called twice."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._hurry.stop()
        self.sending.stop()
        self.inputs.stop()
        self.host.stop()
        for link in self.links.values():
            link.close()
        for screen in self.screens:
            screen.stop()
        if self.recorder is not None:
            self.recorder.flush()
        self._modes.close()  # last: it may have to wait

    def _open_screens(self, now: float) -> None:
        """Open what is not open yet, one by one, so that a broken panel leaves the others alone."""
        trouble = ""
        for opener in tuple(self._openers):
            try:
                screen = opener()
            except Exception as exc:
                _log.warning("panel_not_opened", error=str(exc))
                trouble = f"a panel does not open: {exc}"
                continue
            self._openers.remove(opener)
            self._take_pages_off(screen)
            self.screens.append(screen)
            screen.start()
        self.panel_trouble = trouble
        self._panels_at = now + PANEL_RETRY_S

    def _show_first_page(self, now: float) -> None:
        """Have the first page in the panels before anything slow begins, such as opening a bus."""
        snapshot = self.snapshot(now)
        for screen in self.screens:
            screen.update(snapshot, None, now)
        for screen in self.screens:
            screen.settled(FIRST_PAGE_S)

    # --- what is wanted -----------------------------------------------------------------------------------------

    def ask(self) -> None:
        """Tell the sending side what pages and alerts want now."""
        if not self.polling:
            self.sending.demand({})
            return
        shown, hidden = [], []
        for screen in self.screens:
            current, others = screen.pages()
            shown.append(current)
            hidden.extend(others)
        if not self.screens:
            shown = self.assembly.pages
        alerts = [alert for _, alert in self.assembly.brought.alerts]
        wants = gather(shown, hidden, alerts, watched=self.fingers.wants)
        self.sending.demand(expand(wants, self.assembly.derived.derived()))

    def perform(self, action: Action) -> None:
        """Do what a button handler or a command asked for."""
        self.acting.perform(action, self._loop.time())

    # --- by time ------------------------------------------------------------------------------------------------

    def _tick(self) -> None:
        now = self._loop.time()
        if self._tried(lambda: self._step(now)):
            self.rounds += 1
        asleep = self.power.state is PowerState.ASLEEP
        self._timer = self._loop.call_at(now + (SLEEPY_TICK_S if asleep else TICK_S), self._tick)

    def _tried(self, step: Callable[[], None]) -> bool:
        try:
            step()
        except Exception as exc:
            # ours: keep the rest of the daemon going, the next tick may do better; say each kind of failure once
            # the text may hold a number that changes with every tick
            if repr(exc) not in self._tick_failures and len(self._tick_failures) < MOST_TICK_FAILURES:
                self._tick_failures.add(repr(exc))
                _log.exception("tick_failed")
            return False
        return True

    def _step(self, now: float) -> None:
        slow = now >= self._slow_at
        if slow:
            self._slow_at = now + SLOW_S
            self._look_at_buses(now)
            self.telling.look(now)
            self.acting.count(now)
            self._keep_what_was_seen(now)
            if self._openers and now >= self._panels_at:
                self._open_screens(now)
                self.ask()
        state = self._step_power(now)
        self.fingers.tick(lambda: self.snapshot(now), now)
        self._show()
        if slow and self.observers:
            everything = self.snapshot(now)
            for observer in self.observers:
                observer(now, everything)
        if state is not self._said_state:
            self._said_state = state
            _log.info("power", state=state.value, ignition=self.key.state.why)
            self._calls.tell(state)

    def _show(self) -> None:
        """Hand what is known to the panels."""
        now = self._loop.time()
        on_show = {name for screen in self.screens for name in screen.deck.current.signals}
        # no panel whose pictures are kept apart in time on the wall gains by it
        self._hurry.follow(on_show if self._lit and any(not screen.wall_gap_s for screen in self.screens) else ())
        self._hurry.looked()
        snapshot = self.snapshot(now, on_show.union(self.acting.alerts.signals, DIMMING_SIGNALS, COLD_SIGNALS))
        self.acting.look(snapshot, now)
        for screen in self.screens:
            words = GOODBYE if self._goodbye else self.acting.words(screen.name, now)
            screen.update(snapshot, words, now, lit=self._lit)

    def _step_power(self, now: float) -> PowerState:
        self.key.tick(self.buses, now)
        volts = self.assembly.store.read(VOLTAGE, now).value
        talking, position = self.key.ignition.talking(now), self.key.position_for(self.power.supply)
        inputs = PowerInputs(position, talking, volts if isinstance(volts, float) else None, self.host.holds)
        state, effects = self.power.step(inputs, now)
        for effect in effects:
            self._take(effect, now)
        self._leaving.tick(now)
        return state

    def _look_at_buses(self, now: float) -> None:
        before = {status.role: status.state for status in self.buses}
        for link in self.links.values():
            link.tick(now)
        self.buses = tuple(link.status(now) for link in self.links.values())
        bitrates = {bus.role: bus.bitrate for bus in self.assembly.car.buses}
        for status in self.buses:
            self.sending.guard.set_bus(
                status.role, facts(status, status.role in self._transmit, bitrates.get(status.role))
            )
            quiet = status.state in (BusState.ABSENT, BusState.SILENT, BusState.BUS_OFF)
            if quiet and before.get(status.role) not in (None, status.state):
                self.assembly.broadcasts.bus_silent(status.role)
                self.fingers.lost(now)
        self.sending.check(now)
        self._modes.look(self.buses, ignition_on=self.key.state.position is Position.ON, now=now)

    def _keep_what_was_seen(self, now: float) -> None:
        seen = self.key.ignition.seen()
        if seen != self._seen or now >= self._keep_at:
            self._seen, self._keep_at = seen, now + KEEP_S
            self.keep()

    def _take(self, effect: Effect, now: float) -> None:
        _log.info("power_effect", effect=effect.value)
        match effect:
            case Effect.POLL:
                self.polling = True
                self.assembly.asking.new_journey(now)
                self.ask()
            case Effect.STOP_POLLING:
                self.polling = False
                self.ask()
            case Effect.FLUSH:
                self._leaving.flush(now)
            case Effect.HALT | Effect.REBOOT:
                self._leaving.power_off(effect is Effect.REBOOT, now)
            case Effect.LIGHT | Effect.GOODBYE:
                self._lit, self._goodbye = True, effect is Effect.GOODBYE
            case Effect.DARK:
                self._lit = False

    # --- what there is to tell ----------------------------------------------------------------------------------

    def snapshot(self, now: float, names: Collection[str] | None = None) -> Snapshot:
        """Return what pages may know; of `names` only, where they are given."""
        night = any(screen.dimmed.night for screen in self.screens)
        taken = self.assembly.snapshot(now, names, night=night, power=self.power.state, notes=self.telling.notes())
        return replace(taken, hold=self.fingers.gestures.progress(now))

    def status(self) -> Status:
        """Return how everything is."""
        return self.telling.status(self._loop.time())

    def _plugin_failed(self, plugin: str, reason: str, suspended: bool) -> None:
        _log.warning("plugin_failed", plugin=plugin, error=reason)
        if suspended:
            self.assembly.suspensions.add(plugin, reason)

    def _suspended(self, plugin: str, reason: str) -> None:
        self._calls.drop(plugin)
        for screen in self.screens:
            self._take_pages_off(screen)
        self._loop.call_soon(self.ask)  # whoever found it is in the middle of something

    def _take_pages_off(self, screen: Screen) -> None:
        """Take pages out of a deck: those of suspended plug-ins, and one in which an earlier life hung."""
        for plugin, page in self.assembly.brought.display_pages:
            if plugin in self.assembly.suspended:
                screen.deck.take_off(page.name, f"its plug-in {plugin} is suspended")
            elif why := self.past.page_off(plugin, page):
                screen.deck.take_off(page.name, why)
