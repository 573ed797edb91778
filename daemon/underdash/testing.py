"""For authors of plug-ins: see what a plug-in does without car, panel or daemon, and without waiting.

`load_plugin` vets a plug-in the way the daemon does, `brought` asks one of its hooks. `snapshot` builds what a page
sees, `draw` draws it. `FakeBus` carries frames to listeners, `read_answer` decodes what a control unit would say,
`read_input` what a sensor would.
`run_derived` steps a derived signal through a series, `perform` makes a gesture. Time is a number that is handed in.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from importlib.metadata import EntryPoint
from itertools import pairwise
from math import inf
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from .collecting import collect
from .contract.buttons import Action, ButtonHandler, GestureKind
from .contract.cars import CarDescription
from .contract.errors import UnderdashError
from .contract.layout import BroadcastListener
from .contract.pages import Page
from .contract.requests import PollRequest
from .contract.signals import Age, PowerState, Quality, Reading, Signal, Snapshot, Value
from .contract.sources import Derived, Input, Result
from .inputs.fakes import FakeLine
from .loading import GROUP, Loaded, LoadedPlugin, load
from .signals.catalogue import CATALOGUE, Catalogue
from .signals.store import Slot, Store

if TYPE_CHECKING:
    from PIL.Image import Image

NOW = 1000.0
"""Monotonic seconds at which a snapshot is taken if nothing else is said."""
SECONDS_OLD = {Age.FRESH: 0.0, Age.LATE: 1.0}

__all__ = [
    "NOW",
    "FakeBus",
    "FakeClock",
    "FakeLine",
    "brought",
    "draw",
    "load_plugin",
    "perform",
    "read_answer",
    "read_input",
    "run_derived",
    "snapshot",
]


class FakeClock:
    """A clock that moves when told to; calling it gives its time in seconds."""

    def __init__(self, now: float = NOW) -> None:
        self.now = now

    def __call__(self) -> float:
        """Return the time in seconds."""
        return self.now

    def advance(self, seconds: float) -> float:
        """Let time pass and return the new time.

        Raises:
            ValueError: time does not run backwards.
        """
        if seconds < 0:
            raise ValueError(f"a monotonic clock cannot go back by {-seconds} s")
        self.now += seconds
        return self.now


# --- the plug-in as a whole ----------------------------------------------------------------------------------------


def load_plugin(module: str, settings: Mapping[str, object] | None = None, *, name: str | None = None) -> LoadedPlugin:
    """Vet a plug-in the way the daemon does at start-up.

    Args:
        module: what its entry point names, such as "underdash_boost".
        settings: its table of the configuration, as TOML would give it.
        name: its name; None takes the module's without "underdash_".

    Raises:
        UnderdashError: it is refused; the message says why and what to do.
    """
    known_as = name or module.removeprefix(f"{GROUP}_")
    loaded = load({known_as: settings or {}}, [EntryPoint(known_as, module, GROUP)])
    if loaded.refused:
        raise UnderdashError(str(loaded.refused[0]))
    return loaded.plugins[0]


def brought(plugin: LoadedPlugin, hook: str, *, car: CarDescription | None = None) -> list[Any]:
    """Ask one hook of a plug-in for its list, checked the way the daemon checks it.

    Args:
        plugin: from `load_plugin`.
        hook: name of the hook.
        car: what the hook is told about the car; None is a car without anything.

    Raises:
        UnderdashError: the plug-in raised or returned something else.
    """
    told = {"car": car or CarDescription("none", "No car", ())}
    collected = collect(Loaded((plugin,)), hook, **told)
    if collected.refused:
        raise UnderdashError(str(collected.refused[0]))
    return [item for _, item in collected.items]


# --- pages ---------------------------------------------------------------------------------------------------------


def snapshot(
    values: Mapping[str, Value | None],
    *,
    units: Mapping[str, str] | None = None,
    ages: Mapping[str, Age] | None = None,
    qualities: Mapping[str, Quality] | None = None,
    peaks: Mapping[str, float] | None = None,
    histories: Mapping[str, tuple[tuple[float, float], ...]] | None = None,
    signals: Iterable[Signal] = (),
    night: bool = False,
    notes: tuple[str, ...] = (),
    power: PowerState = PowerState.AWAKE,
    hold: float = 0.0,
    now: float = NOW,
) -> Snapshot:
    """Build what a page or a button handler sees.

    Args:
        values: by signal, in the stored unit; None is a signal that has a source and no value.
        units: the owner's unit by signal name or by stored unit.
        ages: late or gone ones; all others are fresh.
        qualities: doubtful ones; all others are good.
        peaks: by signal, in the stored unit, as the daemon holds them; a page sees them by `Snapshot.peak`.
        histories: by signal (seconds ago, value in the stored unit), oldest first; a page sees `Snapshot.history`.
        night, notes, power, hold, now: as in `Snapshot`.
        signals: the plug-in's own, beyond the catalogue.

    Raises:
        UnderdashError: nobody declared one of the signals, a value is implausible, a unit does not fit, or a history
            does not come oldest first.
    """
    catalogue = CATALOGUE.with_signals(signals)
    store = Store(catalogue, units)
    kept = histories or {}
    for name, points in kept.items():
        _check_history(name, points)
    for name in dict.fromkeys((*values, *(peaks or {}), *kept)):
        value = values.get(name)
        slot = _slot(store, catalogue, name)
        age = (ages or {}).get(name, Age.FRESH)
        if value is not None and age is not Age.GONE:
            number = float(value) if type(value) is int else value
            slot.put(number, (qualities or {}).get(name, Quality.GOOD), now - SECONDS_OLD[age])
            if slot.implausible:
                entry = slot.signal
                raise UnderdashError(f"{name} is {value}, plausible is {entry.low} to {entry.high} {entry.unit}")
    seen = store.snapshot(now)
    return Snapshot(now, seen.readings, peaks or {}, kept, seen.units, power, night, notes, hold)


def _slot(store: Store, catalogue: Catalogue, name: str) -> Slot:
    entry = catalogue.signal(name)
    try:
        return store.slot(name, "test", 0, period_s=0.2)
    except ValueError as exc:
        raise UnderdashError(f"units: {name} is in {entry.unit!r}: {exc}") from exc


def _check_history(name: str, points: tuple[tuple[float, float], ...]) -> None:
    ages = [ago_s for ago_s, _ in points]
    wrong = next((later for earlier, later in pairwise((inf, *ages)) if not 0 <= later <= earlier), None)
    if wrong is not None:
        raise UnderdashError(
            f"histories: {name} has a point {wrong} s ago out of place; points are (seconds ago, value), the oldest "
            "first: seconds fall towards 0"
        )


def draw(page: Page, seen: Snapshot, size: tuple[int, int] = (240, 240), *, night: bool = False) -> Image:
    """Draw a page as a panel would show it.

    Args:
        page: what to draw.
        seen: from `snapshot`.
        size: pixels across and down.
        night: in the colours of the night.

    Returns:
        A Pillow image; whatever the page raises comes through.
    """
    from .display.kit import draw_page
    from .display.palettes import DAY
    from .display.palettes import night as night_palette

    return draw_page(page, seen, size=size, palette=night_palette() if night else DAY)


# --- signals -------------------------------------------------------------------------------------------------------


def run_derived(
    derived: Derived, series: Iterable[tuple[float, Mapping[str, Value | None]]], *, signals: Iterable[Signal] = ()
) -> list[Result | None]:
    """Step a derived signal through a series of inputs.

    Args:
        derived: what to step.
        series: (monotonic seconds, values by signal) in order; a value holds until it is given again, None is gone.
        signals: the plug-in's own, beyond the catalogue.

    Returns:
        What each step gave; whatever a step raises comes through.
    """
    declared = tuple(signals)
    known: dict[str, Value | None] = {}
    state, last, results = derived.state, None, []
    for at, values in series:
        known.update(values)
        seen = snapshot(known, signals=declared, now=at)
        inputs = {name: seen.reading(name) for name in derived.inputs}
        state, result = derived.step(state, inputs, 0.0 if last is None else at - last)
        last = at
        results.append(result)
    return results


def read_answer(request: PollRequest, data: bytes, *, signals: Iterable[Signal] = ()) -> dict[str, Value]:
    """Decode what a control unit would answer to a request.

    Args:
        request: from a plug-in's `poll_requests`.
        data: the answer's bytes after the echoed identifier.
        signals: the plug-in's own, beyond the catalogue.

    Returns:
        Values by signal; those that are not available are left out.
    """
    from .broadcast.fields import compile_fields

    store = Store(CATALOGUE.with_signals(signals))
    slots = {field.signal: store.slot(field.signal, "answer", 0) for field in request.fields}
    compile_fields(request.fields, slots)(data, NOW)
    return {name: slot.value for name, slot in slots.items() if slot.value is not None}


def read_input(declared: Input, measured: float, *, signals: Iterable[Signal] = ()) -> float | None:
    """Return what a sensor's input makes of what its channel measures (V, degC, ...); None beyond its points.

    Raises:
        UnderdashError: the input contradicts itself or does not fit its signal.
    """
    from .inputs.conversion import converter

    return converter(declared, CATALOGUE.with_signals(signals).signal(declared.signal))(measured)


class FakeBus:
    """Buses inside the process, with a plug-in's listeners on them and a clock that stands still.

    Use it in a ``with`` statement; it holds an event loop of its own.

    Args:
        listeners: from a plug-in's `broadcast_listeners`.
        signals: the plug-in's own, beyond the catalogue.
        units: the owner's unit by signal name or by stored unit.
        clock: the time; a new one if None.

    Raises:
        UnderdashError: a listener cannot be used; the message says why.
    """

    def __init__(
        self,
        listeners: Iterable[BroadcastListener] = (),
        *,
        signals: Iterable[Signal] = (),
        units: Mapping[str, str] | None = None,
        clock: FakeClock | None = None,
    ) -> None:
        from .broadcast.dispatch import register
        from .bus.memory import MemoryBus
        from .bus.port import QuietEvents
        from .bus.table import Table

        declared = tuple(listeners)
        roles = {listener.bus for listener in declared}
        tables = {role: Table() for role in roles}
        catalogue = CATALOGUE.with_signals(signals)
        self.clock = clock or FakeClock()
        self._store = Store(catalogue, units)
        problems = register(declared, self._store, tables, catalogue).problems
        if problems:
            raise UnderdashError("; ".join(problems))
        self._loop = _ClockLoop(self.clock)
        self._buses = {role: MemoryBus(role) for role in roles}
        self._ports = [bus.port(silent=True) for bus in self._buses.values()]
        for port, role in zip(self._ports, self._buses, strict=True):
            port.open(self._loop, tables[role], QuietEvents())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        for port in self._ports:
            port.close()
        self._loop.close()

    def send(self, bus: str, can_id: int, data: bytes, *, extended: bool = False) -> None:
        """Send a frame as a control unit would, now; it has been decoded when this returns.

        Raises:
            UnderdashError: no listener is on a bus of this role.
        """
        from .bus.frames import Frame

        if bus not in self._buses:
            raise UnderdashError(f"no listener is on a bus {bus!r}; there are {', '.join(self._buses) or 'none'}")
        self._buses[bus].inject(Frame(can_id, data, extended))
        self._loop.run_until_complete(asyncio.sleep(0))

    def reading(self, signal: str) -> Reading:
        """Return a signal as a page would see it now."""
        return self._store.read(signal, self.clock.now)

    def snapshot(self) -> Snapshot:
        """Return all signals as a page would see them now."""
        return self._store.snapshot(self.clock.now)


class _ClockLoop(asyncio.SelectorEventLoop):
    def __init__(self, clock: FakeClock) -> None:
        self._clock = clock
        super().__init__()

    def time(self) -> float:
        return self._clock.now


# --- buttons -------------------------------------------------------------------------------------------------------


def perform(
    handlers: Iterable[ButtonHandler], button: str, kind: GestureKind, seen: Snapshot | None = None
) -> tuple[Action, ...]:
    """Make a gesture on a button and return what the handlers want done.

    Args:
        handlers: from a plug-in's `button_handlers`.
        button: its name, without "button.".
        kind: press, double, hold (as long as its handler asks for) or repeat (once).
        seen: what the handler is shown; None shows it nothing.

    Raises:
        UnderdashError: a handler cannot be used, or it raised.
    """
    from .buttons.gestures import GestureOptions, Gestures
    from .buttons.handlers import Bindings, Bound

    bindings = Bindings([Bound("test", handler) for handler in handlers])
    if bindings.mistakes:
        raise UnderdashError("; ".join(bindings.mistakes))
    options = GestureOptions()
    gestures = Gestures(bindings.handlers, options)
    held = {GestureKind.HOLD: max((h.hold_s for h in bindings.handlers if h.button == button), default=0.0)}
    held[GestureKind.REPEAT] = options.repeat_after_s
    down_s = held.get(kind, 0.1) + 0.01
    for start in (1.0, 1.2) if kind is GestureKind.DOUBLE else (1.0,):
        gestures.sample(button, False, start - 0.01)
        gestures.sample(button, True, start)
        gestures.sample(button, False, start + down_s)
    done: list[Action] = []
    for gesture in gestures.tick(1.0 + down_s + 2 * options.double_s):
        outcome = bindings.call(gesture, seen or snapshot({}))
        if outcome.error:
            raise UnderdashError(outcome.error)
        done.extend(outcome.actions if gesture.kind is kind else ())
    return tuple(done)
