"""Puts together what turns frames into readings: store, decoders, polls, derived signals, pages.

It is the same for a running daemon, a trace that is read and a page that is drawn from given values. Nothing here
opens, sends or draws; `daemon.py` adds that.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ..broadcast.dispatch import Broadcasts, register
from ..bus.lanes import mixed_up
from ..bus.table import Table
from ..buttons.handlers import Bindings, Bound
from ..collecting import Contributions, collect, contributions
from ..config.cars import read_car
from ..config.mistakes import ConfigError, Source, nearest
from ..contract.cars import CarDescription, CarFile
from ..contract.errors import GivenError
from ..contract.layout import BroadcastListener
from ..contract.pages import Page
from ..contract.signals import PowerState, Snapshot
from ..contract.sources import Input
from ..diagnostics.asking import Asking
from ..diagnostics.obd import with_fields
from ..diagnostics.options import Options
from ..diagnostics.parameters import own_signals
from ..diagnostics.requests import Compiled, compile_polls
from ..inputs.compiling import Wire
from ..loading import Loaded, Refused, load
from ..signals.catalogue import CATALOGUE, Catalogue
from ..signals.derived import DerivedRunner
from ..signals.memory import Memory
from ..signals.store import Rank, Store
from .host import BoardSlots
from .protocols import silencing, watched
from .suspending import Suspensions
from .wired import wired, with_buttons, with_wires

BUNDLED = (
    *("boost", "temperatures", "ignition_timing", "battery", "traction_battery", "values"),
    *("page_turn", "tarn", "loris"),
)
"""Plug-ins that run where no configuration says which."""
COMPUTED = {Rank.POLL, Rank.DERIVED}


class UnknownCarError(GivenError):
    """A car cannot be had: nobody brings its name, or its file wants what a refused plug-in would bring.

    Args:
        text: the sentence.
        refused: plug-ins that do not run, one of which may have brought it.
    """

    def __init__(self, text: str, refused: tuple[Refused, ...] = ()) -> None:
        super().__init__(text)
        self.refused = refused


@dataclass(slots=True)
class Assembly:
    """The parts of one car.

    Attributes:
        loaded: the plug-ins that run and those that were refused, at whatever stage.
        brought: what the running ones bring.
        tables: handlers by role of the bus.
        problems: sentences; what they name is left out, the rest runs.
        suspensions: plug-ins suspended since.
        board: where values of the machine itself go, on a real one.
        apart: pages of the core that are shown by their name only.
        wires: inputs that can be read.
    """

    car: CarDescription
    loaded: Loaded
    brought: Contributions
    catalogue: Catalogue
    store: Store
    tables: dict[str, Table]
    broadcasts: Broadcasts
    compiled: Compiled
    asking: Asking
    derived: DerivedRunner
    memory: Memory
    bindings: Bindings
    problems: list[str]
    suspensions: Suspensions
    wires: list[Wire]
    board: BoardSlots | None = None
    apart: tuple[Page, ...] = ()

    @property
    def suspended(self) -> Mapping[str, str]:
        """Why plug-ins were suspended, by name."""
        return self.suspensions.reasons

    @property
    def pages(self) -> list[Page]:
        """Pages of the running plug-ins."""
        return [page for _, page in self.brought.display_pages]

    @property
    def polled(self) -> frozenset[str]:
        """Signals that come by asking only, or are computed from one that does."""
        found: set[str] = set()
        for name in self.store.names():
            ranks = {slot.rank for slot in self.store.slots(name)}
            if ranks == {Rank.POLL}:
                found.add(name)
        for item in self.derived.derived():  # inputs come first
            if found.intersection(item.inputs) and {slot.rank for slot in self.store.slots(item.signal)} <= COMPUTED:
                found.add(item.signal)
        return frozenset(found)

    def snapshot(
        self,
        now: float,
        names: Collection[str] | None = None,
        *,
        night: bool = False,
        power: PowerState = PowerState.AWAKE,
        notes: Iterable[str] = (),
    ) -> Snapshot:
        """Return what a page may know at `now`, after the derived signals were brought up to date.

        Args:
            now: monotonic seconds.
            names: signals to be read; None reads all.
            night, power, notes: see `Snapshot`.
        """
        self.derived.step(now)
        return replace(
            self.store.snapshot(now, names),
            stored_peaks=self.memory.peaks(),
            stored_histories=self.memory.histories(now, names),
            night=night,
            power=power,
            notes=tuple(notes),
        )


def assemble(
    car: CarDescription,
    loaded: Loaded,
    *,
    units: Mapping[str, str] | None = None,
    orders: Mapping[str, tuple[str, ...]] | None = None,
    options: Options | None = None,
    inputs: Mapping[str, Input] | None = None,
    told: Callable[[str], None] = lambda sentence: None,
) -> Assembly:
    """Compile everything a car and the plug-ins declare.

    Args:
        car: its description.
        loaded: plug-ins, see `loading.load`.
        units: the owner's unit by stored unit or by signal.
        orders: kinds of sources by signal, the preferred one first.
        options: how polls are scheduled.
        inputs: the owner's own wires and sensors, by name.
        told: called with a sentence when a request is parked or a unit falls silent.
    """
    car = replace(car, polls=tuple(with_fields(one) for one in car.polls))
    described, car = car, with_buttons(car, inputs or {})
    brought, loaded = contributions(loaded, car)
    catalogue = CATALOGUE.with_signals([*own_signals(), *(signal for _, signal in brought.signals), *car.signals])
    ranks = {name: [Rank[kind.upper()] for kind in kinds] for name, kinds in (orders or {}).items()}
    store = Store(catalogue, units, ranks)
    tables = {bus.role: Table() for bus in car.buses}
    wires, unwired = wired(inputs or {}, brought.inputs, described, store, catalogue)
    car = with_wires(described, wires)  # before plug-ins are heard: nothing of theirs may speak for the ignition
    listened, vetoed = heard_from_plugins(brought.broadcast_listeners, car)
    broadcasts = register([*car.broadcasts, *listened], store, tables, catalogue)
    suspensions = Suspensions()
    compiled = _compiled(car, brought, store, catalogue, suspensions)
    asking = Asking(compiled.polls, options, told=lambda _, sentence: told(sentence), helpers=compiled.helpers)
    for bus, key, handler in asking.handlers():
        tables[bus].add(key, handler)
    derived = DerivedRunner(brought.derived_signals, store, suspensions.add)
    problems = [*vetoed, *unwired, *broadcasts.problems, *compiled.problems]
    problems += [f"{one.signal} of plug-in {one.owner}: {one.reason}" for one in derived.problems]
    memory = Memory.of_pages(store, [page for _, page in brought.display_pages])
    bound = [Bound(plugin, handler) for plugin, handler in brought.button_handlers]
    bindings = Bindings(bound, car.buttons)
    problems += bindings.mistakes
    suspensions.takers += [lambda plugin, _: derived.drop(plugin), lambda plugin, _: bindings.drop(plugin)]
    suspensions.takers.append(silencing(brought.request_protocols, asking))
    parts = (broadcasts, compiled, asking, derived, memory, bindings, problems, suspensions, wires)
    return Assembly(car, loaded, brought, catalogue, store, tables, *parts)


def _compiled(
    car: CarDescription, brought: Contributions, store: Store, catalogue: Catalogue, suspensions: Suspensions
) -> Compiled:
    requests = [*car.polls, *(with_fields(item) for _, item in brought.poll_requests)]
    wrong = mixed_up(car.units)
    asked = [one for one in requests if one.unit not in wrong]
    protocols = [watched(plugin, item, suspensions.add) for plugin, item in brought.request_protocols]
    compiled = compile_polls(car, asked, protocols, store, catalogue)
    refused = {one.unit: wrong[one.unit] for one in requests if one.unit in wrong}
    compiled.problems += [f"unit {name} is not asked anything: it {why}" for name, why in refused.items()]
    return compiled


def heard_from_plugins(
    brought: Iterable[tuple[str, BroadcastListener]], car: CarDescription
) -> tuple[list[BroadcastListener], list[str]]:
    """Return what plug-ins listen for, less what would be evidence for the ignition, and sentences about that."""
    evidence = {one.signal for one in car.ignition}
    kept, problems = [], []
    for plugin, one in brought:
        for name in sorted({item.signal for item in one.fields} & evidence):
            problems.append(
                f"plug-in {plugin}: {name} says whether the ignition is on, and only the car's description may say "
                "where that is heard; describe the frame there"
            )
        kept.append(replace(one, fields=tuple(item for item in one.fields if item.signal not in evidence)))
    return [one for one in kept if one.fields], problems


def load_bundled() -> Loaded:
    """Load the plug-ins that run where no configuration says which, each with its default settings."""
    return load({name: {} for name in BUNDLED}, source=Source())


def choose_car(wanted: str, loaded: Loaded, *, variant: str | None = None) -> tuple[CarDescription, Loaded]:
    """Return the car of a name that a plug-in brings, or of a file (``.toml``).

    Returns:
        The car, and `loaded` without the plug-ins that failed at bringing theirs.

    Raises:
        ConfigError: the file has mistakes.
        UnknownCarError: nobody brings a car of this name, and the message has those there are; or a file has mistakes
            while a plug-in is refused.
    """
    protocols = [item.name for _, item in collect(loaded, "request_protocols").items]
    if wanted.endswith(".toml"):
        try:
            return _read(Path(wanted), loaded, variant, protocols), loaded
        except ConfigError as exc:
            if not loaded.refused:
                raise
            idle = "; ".join(map(str, loaded.refused))
            raise UnknownCarError(f"{exc}; what is missing there may be a plug-in's: {idle}", loaded.refused) from exc
    collected = collect(loaded, "cars")
    loaded = loaded.suspended(collected.refused)
    names: list[str] = []
    broken: list[str] = []
    for plugin, item in collected.items:
        if isinstance(item, CarDescription):
            names.append(item.name)
            if item.name == wanted:
                return item, loaded
            continue
        name = _name_of(item)
        names.append(name)
        if name == wanted:
            return _read(item.path, loaded, variant, protocols), loaded
        if not item.path.exists():
            broken.append(f"{plugin} names {item.path}, which is not there")
    raise UnknownCarError(_no_car(wanted, names, broken, loaded), loaded.refused)


def _read(path: Path, loaded: Loaded, variant: str | None, protocols: list[str]) -> CarDescription:
    """Read a file. A signal nobody declares costs its field only; where there are mistakes it is told among them."""
    signals = [signal for _, signal in collect(loaded, "signals").items]
    catalogue = CATALOGUE.with_signals([*own_signals(), *signals])
    try:
        return read_car(path, variant=variant, signals=catalogue, protocols=protocols, strict=False)
    except ConfigError:
        return read_car(path, variant=variant, signals=catalogue, protocols=protocols)


def _name_of(file: CarFile) -> str:
    """Return the name of a car file; by convention it is the file's own."""
    return file.path.stem


def _no_car(wanted: str, names: list[str], broken: list[str], loaded: Loaded) -> str:
    near = nearest(wanted, names)
    guess = f" Did you mean {near}?" if near else ""
    there = ", ".join(sorted(names)) or "none; enable a plug-in that brings one"
    idle = wanted in [one.name for one in loaded.installed]
    enable = f" The plug-in {wanted!r} is installed but not enabled; name it in plugins.enabled." if idle else ""
    trouble = "".join(f" {text}." for text in (*broken, *(str(one) for one in loaded.refused)))
    return (
        f"car {wanted!r} is not known.{guess}{enable} Cars are: {there}; "
        f"a file of yours is a path ending in .toml.{trouble}"
    )
