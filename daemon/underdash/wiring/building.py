"""From a configuration to a daemon: the car chosen, plug-ins loaded, buses, panels and limits set up."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ..bus.caps import Caps
from ..bus.guard import Guard
from ..bus.link import Link
from ..bus.lock import BusLock
from ..bus.memory import MemoryBus
from ..bus.opening import BusConfig as Place
from ..bus.opening import opener, place_of
from ..bus.runtime import runtime_directory
from ..bus.vetting import MakerEvidence
from ..buttons.gestures import GestureOptions
from ..config.mistakes import nearest
from ..config.panels import PanelConfig
from ..config.schema import BusConfig, Config
from ..contract.cars import CarDescription
from ..contract.errors import GivenError, UnderdashError
from ..diagnostics.options import Options
from ..display.card import CARD
from ..display.deck import Deck
from ..loading import Loaded, load
from ..power.states import Power
from .assembly import Assembly, UnknownCarError, assemble, choose_car
from .daemon import Daemon
from .drivers import CORE_DRIVERS
from .first_page import FirstPage
from .host import Host, board_slots
from .kept import Kept
from .leaving import Keeper
from .panels import dimming_options, panel_opener
from .past import Past
from .safe_mode import heard_only, no_car, without_dark
from .screen import Look, Screen
from .sending import Sending, make_guard
from .status_page import NAME


@dataclass(slots=True)
class Built:
    """A daemon that has not begun, and what has to be looked after around it."""

    config: Config
    assembly: Assembly
    daemon: Daemon
    kept: Kept
    locks: list[BusLock] = field(default_factory=list)

    def keep(self) -> bool:
        """Keep what was learned, and whether it is quiet, for the next journey; returns whether it is on the disk."""
        daemon = self.daemon
        return self.kept.keep(
            self.assembly.car,
            daemon.key.ignition.seen(),
            quiet=daemon.sending.guard.quiet,
            learned=self.assembly.asking.learned(),
        )

    def release(self) -> None:
        """Give the buses up."""
        for lock in self.locks:
            lock.release()


def assembled(
    config: Config,
    told: Callable[[str], None] = lambda sentence: None,
    past: Past | None = None,
    car: CarDescription | None = None,
) -> Assembly:
    """Load the configured plug-ins, less what earlier lives speak against, and assemble the configured car.

    Args:
        config: what the owner wrote.
        told: see `assemble`.
        past: what earlier lives teach.
        car: stands in for the configured one.

    Raises:
        UnderdashError: the car is not known or its file has mistakes.
    """
    loaded: Loaded = load(config.settings, source=config.source, left_out=(past or Past()).left_out)
    if car is None:
        car, loaded = described(config, loaded)
    return fitted(config, car, loaded, told)


def described(config: Config, loaded: Loaded) -> tuple[CarDescription, Loaded]:
    """Return the configured car as its file says now, and the plug-ins; raises as `choose_car` does."""
    wanted = str(config.car_file) if config.car_file is not None else config.car.name
    return choose_car(wanted, loaded, variant=config.car.variant or None)


def fitted(config: Config, car: CarDescription, loaded: Loaded, told: Callable[[str], None]) -> Assembly:
    """Assemble a car as the configuration says; raises `GivenError` for a unit that does not fit."""
    options = Options(requests_per_s=config.limits.requests_per_s)
    try:
        assembly = assemble(
            car,
            loaded,
            units=config.units,
            orders=config.signals.order,
            options=options,
            inputs=config.inputs,
            told=told,
        )
    except ValueError as exc:
        raise GivenError(f"{config.path}: units: {exc}") from exc
    if not config.simulated:
        assembly.board = board_slots(assembly.store)
    return assembly


def build(
    config: Config,
    loop: asyncio.AbstractEventLoop,
    *,
    memory: Mapping[str, MemoryBus] | None = None,
    recorder: Callable[[Mapping[str, Link]], Keeper | None] = lambda links: None,
    power_off: Callable[[bool], None] = lambda reboot: None,
    told: Callable[[str], None] = lambda sentence: None,
    attended: bool = False,
    first: FirstPage | None = None,
    past: Past | None = None,
) -> Built:
    """Build a daemon.

    Args:
        config: what the owner wrote.
        loop: the event loop it will run on.
        memory: buses inside this process, for ``interface = "memory"``.
        recorder: makes a recorder of the links.
        power_off, attended, past: see `Daemon`.
        told, first: called with sentences for the log; panels that are open already, which the daemon takes over.

    Raises:
        UnderdashError: something named in the configuration is not there, or a bus is in use.
    """
    past, power = past or Past(), make_power(config)
    config, assembly = _standing(config, told, past)
    guard = _guard(config, assembly)
    links = make_links(config, assembly, memory or {})
    # what a recorded drive shows is no evidence for the next journey of this car
    guard.recorded = config.recorded
    kept = Kept(None if memory or config.recorded else state_directory() / "state.json")
    daemon = Daemon(
        assembly,
        links,
        Sending(assembly, guard, links, loop),
        power,
        transmit=[role for role, bus in config.bus.items() if bus.transmit],
        loop=loop,
        gestures=gesture_options(config),
        power_off=power_off,
        attended=attended,
        host=Host(assembly.board, loop),
        past=past,
    )
    _remember(kept, daemon)
    for name, panel in config.panel.items():
        daemon.add_screen(make_screen_opener(name, panel, config, daemon, loop, first=first))
    # what others would notice comes last, when nothing in the configuration can fail any more
    return _owning(Built(config, assembly, daemon, kept, locked(config, assembly.car)), recorder)


def _standing(config: Config, told: Callable[[str], None], past: Past) -> tuple[Config, Assembly]:
    """Assemble; a plug-in that is left out or refused may be all that the car or a panel lacks, and ends nothing."""
    try:
        assembly = assembled(config, told, past)
    except GivenError as exc:
        refused = exc.refused if isinstance(exc, UnknownCarError) else ()
        if not past.safe and not refused:
            raise
        left_out = past.safe and bool(refused) and config.car_file is None
        past.misses_car("who brings it is left out" if left_out else str(exc))
        config = heard_only(config)
        assembly = assembled(config, told, past, no_car(config))
    idle = assembly.loaded.refused
    if not past.safe and not idle:
        return config, assembly
    drivers = {*CORE_DRIVERS, *(driver.name for _, driver in assembly.brought.panel_drivers)}
    return without_dark(config, drivers, past, "; ".join(map(str, idle))), assembly


def _remember(kept: Kept, daemon: Daemon) -> None:
    assembly = daemon.assembly
    daemon.key.ignition.restore(kept.seen(assembly.car))
    daemon.sending.guard.quiet = kept.quiet
    assembly.asking.restore(kept.learned(assembly.car))


def _owning(built: Built, recorder: Callable[[Mapping[str, Link]], Keeper | None]) -> Built:
    built.daemon.keep = built.keep
    try:
        built.daemon.recorder = recorder(built.daemon.links)
    except UnderdashError as exc:  # a gauge that records nothing is better than none
        built.assembly.problems.append(f"nothing is recorded until the next start: {exc}")
    except BaseException:
        built.release()
        raise
    return built


def evidence_of(config: Config, car: CarDescription) -> MakerEvidence:
    """Return what speaks for makers' command bytes: the owner's word, and what another tester was heard using."""
    return MakerEvidence(config.reading_bytes, car.exchanges)


def _guard(config: Config, assembly: Assembly) -> Guard:
    evidence = evidence_of(config, assembly.car)
    caps = Caps(requests_per_s=config.limits.requests_per_s, load=config.limits.load_percent / 100.0)
    return make_guard(assembly, evidence=evidence, caps=caps)


def make_power(config: Config) -> Power:
    """Return the power table of the configured supply.

    Raises:
        UnderdashError: it is not said, or it drains the battery and that is not accepted.
    """
    supply = config.power.supply
    if supply is None:
        raise GivenError(
            f'{config.path}: power.supply is missing; write how the accessory is fed: "switched", "held", "wakeable" '
            'or "permanent" (see config/underdash.toml)'
        )
    return Power(supply, config.power.options())


def make_links(config: Config, assembly: Assembly, memory: Mapping[str, MemoryBus]) -> dict[str, Link]:
    """Return the links of the buses that are connected, each with the assembly's table.

    Raises:
        UnderdashError: the configuration connects a bus that the car does not have.
    """
    links = {}
    bitrates = {bus.role: bus.bitrate for bus in assembly.car.buses}
    silent = {bus.role for bus in assembly.car.buses if bus.silent}
    for role, bus in config.bus.items():
        if role not in bitrates:
            near = nearest(role, bitrates)
            guess = f"; did you mean {near}?" if near else "."
            there = ", ".join(bitrates)
            raise GivenError(
                f"{config.path}: bus.{role}: car {assembly.car.name} has no such bus{guess} Its buses are {there}"
            )
        place = place_for(role, bus, bitrates[role], config.path.parent)
        if bus.interface == "trace":
            _check_trace(place)
        link = Link(
            role,
            opener(place, memory=memory),
            bitrate=place.bitrate,
            filtered=bus.interface == "socketcan",
            asked_only=role in silent,
        )
        link.table = assembly.tables[role]
        links[role] = link
    return links


def place_for(role: str, bus: BusConfig, bitrate: int, folder: Path) -> Place:
    """Return where a bus is opened; one that may not be sent on takes no part in it where its adapter can do that.

    Args:
        role, bus: as configured.
        bitrate: bit/s; 0 where it is not known.
        folder: of the configuration, which a trace's path is relative to.
    """
    channel = str(folder / bus.channel) if bus.interface == "trace" else bus.channel
    listens, name, speed = _listens_only(bus), bus.recorded_as, bus.speed
    return Place(role, bus.interface, channel, bus.hardware, bitrate or None, listens, name, speed)


def _check_trace(place: Place) -> None:
    from ..bus.playing import check_trace

    check_trace(Path(place.channel), place.recorded_as or place.role)


def _listens_only(bus: BusConfig) -> bool:
    return not bus.transmit and bus.interface not in ("socketcan", "memory", "trace", "virtual")


def locked(config: Config, car: CarDescription) -> list[BusLock]:
    """Own every bus of the configuration, or none."""
    locks: list[BusLock] = []
    taken: dict[str, str] = {}
    bitrates = {bus.role: bus.bitrate for bus in car.buses}
    try:
        for role, bus in config.bus.items():
            if bus.interface in ("memory", "trace"):  # no adapter that two could fight for
                continue
            place = place_of(place_for(role, bus, bitrates[role], config.path.parent))
            if place in taken:
                raise GivenError(
                    f"{config.path}: buses {taken[place]} and {role} are both at {place}; name each adapter once"
                )
            taken[place] = role
            lock = BusLock(place, runtime_directory())
            lock.acquire()
            locks.append(lock)
    except UnderdashError:
        for lock in locks:
            lock.release()
        raise
    return locks


def make_screen_opener(
    name: str,
    panel: PanelConfig,
    config: Config,
    daemon: Daemon,
    loop: asyncio.AbstractEventLoop,
    *,
    first: FirstPage | None = None,
) -> Callable[[], Screen]:
    """Return what opens a panel; it may be called again after it failed.

    Raises:
        UnderdashError: a page or a driver of the configuration does not exist.
    """
    deck_of(name, panel, config, daemon)
    drivers = {driver.name: driver for _, driver in daemon.assembly.brought.panel_drivers}
    open_panel = panel_opener(name, panel, config, drivers)

    def opened() -> Screen:
        deck = deck_of(name, panel, config, daemon)
        look = Look(
            dimming_options(config, daemon.assembly.car.knob_applies),
            config.dimming.night_hue,
            panel.round,
            panel.cold_below,
            panel.face.least_px,
        )
        lit = first.take(name) if first is not None else None
        device, level = (lit.device, lit.level) if lit is not None else (open_panel(), 0.0)
        return Screen(name, device, deck, look, loop=loop, turned=daemon.ask, level=level)

    return opened


def deck_of(name: str, panel: PanelConfig, config: Config, daemon: Daemon, assembly: Assembly | None = None) -> Deck:
    """Return a panel's pages as they are now, or will be with an assembly; raises as `make_screen_opener` does."""
    assembly = assembly or daemon.assembly
    order, where = _there(panel.deck, assembly), f"{config.path}: panel.{name}.deck"
    return Deck(assembly.pages, order, where, daemon.telling.page.page, (CARD, *assembly.apart))


def _there(deck: Sequence[str], assembly: Assembly) -> list[str]:
    """Return the pages of a deck less those nobody brings, where a plug-in that was refused may have brought them."""
    brought = {NAME, CARD.name, *(page.name for page in assembly.pages)}
    if not assembly.loaded.refused:
        return list(deck)
    return [name for name in deck if name in brought] or [NAME]


def gesture_options(config: Config) -> GestureOptions:
    """Return the times of gestures."""
    own = config.buttons
    return GestureOptions(
        double_s=own.double_s, repeat_after_s=own.repeat_after_s, repeat_s=own.repeat_s, stuck_s=own.stuck_s
    )


def state_directory(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where state is kept: systemd's directory, or the user's."""
    given = environment.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    base = environment.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "underdash"
