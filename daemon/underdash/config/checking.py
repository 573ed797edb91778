"""What is wrong or doubtful in a configuration and a car that are each without mistakes, and what to do about it.

Pure: what is installed, which pages there are and who handles buttons is handed in.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ..buttons.handlers import WIRED
from ..contract.buttons import ButtonHandler, GestureKind
from ..contract.cars import CarDescription
from ..contract.pages import Alert, Page
from ..display.meanings import taken_for
from ..display.palettes import NIGHT_HUE, night
from ..display.palettes import findings as palette_findings
from ..power.battery import BOARDS, HALTED_STEP, cutoff_sentence, drain_sentence, halted_sentence
from ..power.states import Supply
from .findings import Finding, Level
from .inputs_checked import check_inputs
from .mistakes import nearest
from .panels import PanelConfig
from .schema import Config

__all__ = ["Finding", "Level", "Surroundings", "explain"]

LISTENED = frozenset({"memory", "trace", "virtual"})
"""Kinds of interfaces that are no car."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a configuration meets on this machine; None where it is not known, and then nothing is said about it.

    Args:
        installed: names of installed plug-ins.
        cars: names of cars that enabled plug-ins bring.
        pages: pages of the enabled plug-ins by name.
        handlers: button handlers of the enabled plug-ins.
        provided: signals that have a source (broadcast, poll, input, derived); button signals included.
        drivers: names of panel drivers.
        alerts: those of the enabled plug-ins.
        polled: signals that come by asking only.
        mistaken: file of a description with mistakes, "" if the car is missing for another reason.
    """

    installed: Collection[str] | None = None
    cars: Collection[str] | None = None
    pages: Mapping[str, Page] | None = None
    handlers: Sequence[ButtonHandler] = field(default=())
    provided: Collection[str] | None = None
    drivers: Collection[str] | None = None
    alerts: Sequence[Alert] = ()
    polled: Collection[str] = ()
    mistaken: str = ""


def explain(config: Config, car: CarDescription | None, around: Surroundings | None = None) -> list[Finding]:
    """Look over a configuration and a car.

    Args:
        config: the configuration.
        car: the car it names; None if that could not be read or does not exist.
        around: what else is known.

    Returns:
        Findings, the worst first.
    """
    around = around or Surroundings()
    found = [*_power(config), *_plugins(config, around), *_car_choice(config, car, around), *_panels(config, around)]
    found += [*_night(config), *_alerts(around)]
    if car is not None:
        found += [*_buses(config, car), *_sending(config, car), *_reads(config, car), *_description(car)]
        found += _buttons(car, around)
        found += check_inputs(config, car)
    return sorted(found, key=lambda finding: list(Level).index(finding.level))


def _power(config: Config) -> Iterator[Finding]:
    power = config.power
    if power.supply is None:
        kinds = ", ".join(f'"{kind}"' for kind in Supply)
        yield Finding(
            Level.ERROR,
            "power.supply is not given, so nothing is known about when to sleep and to power off",
            f"set supply in [power] to one of {kinds}",
        )
        return
    sentence = drain_sentence(power.supply, BOARDS[power.board], power.options())
    if power.supply is Supply.PERMANENT and not power.accept_drain:
        step = 'wire a wake line and say supply = "wakeable", or set accept_drain = true in [power]'
        yield Finding(Level.ERROR, f"a permanent supply drains the battery of a parked car; {sentence}", step)
    else:
        yield Finding(Level.NOTE, sentence)
    if power.supply is not Supply.SWITCHED and (odd := cutoff_sentence(power.cutoff_v)):
        yield Finding(Level.WARNING, f"power.cutoff_v: {odd}", "write 11.8 to 12.2, unless the battery is another kind")
    if halted := halted_sentence(power.supply, BOARDS[power.board]):
        yield Finding(Level.NOTE, f"power: {halted}", HALTED_STEP)
    if power.accept_drain and power.supply is not Supply.PERMANENT:
        yield Finding(Level.NOTE, f"power.accept_drain has no meaning with supply {power.supply}", "remove it")


def _plugins(config: Config, around: Surroundings) -> Iterator[Finding]:
    enabled = config.plugins.enabled
    for name in enabled if around.installed is not None else ():
        if name not in (around.installed or ()):
            yield Finding(
                Level.ERROR, f"plug-in {name!r} is enabled but not installed", _instead(name, around.installed)
            )
    for name in config.plugin:
        if name not in enabled:
            sentence = f"[plugin.{name}] has settings, but the plug-in is not enabled"
            yield Finding(Level.WARNING, sentence, f"add {name!r} to plugins.enabled, or remove the table")


def _car_choice(config: Config, car: CarDescription | None, around: Surroundings) -> Iterator[Finding]:
    name = config.car.name
    if name and around.cars is not None and name not in around.cars:
        step = _instead(name, around.cars) or "enable the plug-in that brings it, or name a `file`"
        yield Finding(Level.ERROR, f"no enabled plug-in brings a car called {name!r}", step)
    elif car is None:
        step = f"correct {around.mistaken}" if around.mistaken else f"correct [car] in {config.path}"
        yield Finding(Level.ERROR, "there is no car description to work with", step)


def _buses(config: Config, car: CarDescription) -> Iterator[Finding]:
    roles = {bus.role for bus in car.buses}
    for role in config.bus:
        if role not in roles:
            sentence = f"[bus.{role}] is configured, but {car.title} has no such bus"
            yield Finding(Level.ERROR, sentence, _instead(role, roles))
    for role in sorted(roles - set(config.bus)):
        sentence = f"bus {role} of {car.title} is not connected, so nothing on it is heard or asked for"
        yield Finding(Level.NOTE, sentence, f"add [bus.{role}] once it is")
    places: dict[tuple[str, str, str], str] = {}
    for role, bus in config.bus.items():
        place = (bus.interface, bus.channel, bus.hardware)
        if place in places and any(place[1:]) and bus.interface != "trace":  # one trace holds several buses
            where = bus.channel or bus.hardware
            yield Finding(
                Level.ERROR, f"buses {places[place]} and {role} are both at {where}", "name each adapter once"
            )
        places[place] = role


def _sending(config: Config, car: CarDescription) -> Iterator[Finding]:
    sending = sorted(role for role, bus in config.bus.items() if bus.transmit)
    asked = sorted({unit.bus for unit in car.units for poll in car.polls if poll.unit == unit.name} & set(config.bus))
    for role in asked:
        if role not in sending and role not in config.recorded:
            count = sum(_bus_of(car, poll.unit) == role for poll in car.polls)
            what = "one request is" if count == 1 else f"{count} requests are"
            sentence = f"{what} described for bus {role}, which is only listened to"
            yield Finding(Level.NOTE, sentence, f"set transmit = true in [bus.{role}] once the ignition is known")
    if not sending:
        return
    heard = {f.signal: listener.bus for listener in car.broadcasts for f in listener.fields}
    if not car.ignition:
        sentence = f"transmit is true for {_and(sending)}, but {car.title} says nothing about the ignition"
        step = "find the frame that shows the ignition and add [[ignition]] to the description"
        yield Finding(Level.ERROR, f"{sentence}, so nothing will be asked", step)
    elif not any(evidence.wire or _reaches(evidence.signal, heard, config) for evidence in car.ignition):
        buses = sorted({heard[e.signal] for e in car.ignition if e.signal in heard})
        sentence = f"the ignition shows on {_and(buses)}, which is not connected, so nothing will be asked"
        yield Finding(Level.ERROR, sentence, "connect it and add its [bus.<role>]")
    elif not any(evidence.off for evidence in car.ignition):
        yield Finding(
            Level.WARNING,
            "no evidence of the ignition names values that mean OFF, so requests end only when it falls silent",
            "add `off` to an [[ignition]] of the description",
        )
    if not car.fingerprint and any(config.bus[role].interface not in LISTENED for role in sending):
        sentence = f"{car.title} has no fingerprint, so a wrong car would not be noticed before something is asked"
        yield Finding(Level.WARNING, sentence, "add [[fingerprint]] entries for a few frames that are always there")


def _reaches(signal: str, heard: Mapping[str, str], config: Config) -> bool:
    """Evidence that no frame carries comes from a wire, which the configuration's inputs tell."""
    return signal not in heard or heard[signal] in config.bus


def _reads(config: Config, car: CarDescription) -> Iterator[Finding]:
    units = {unit.name: unit for unit in car.units}
    for name in config.reads:
        if name not in units:
            yield Finding(Level.WARNING, f"[reads] names {name!r}, which {car.title} has not", _instead(name, units))
    formats = {entry.name: entry for entry in car.formats}
    evidence = {(exchange.format, exchange.unit) for exchange in car.exchanges}
    for unit, protocol in sorted({(p.unit, p.protocol) for p in car.polls if p.protocol in formats}):
        if unit not in units or units[unit].bus in config.recorded:
            continue
        command = formats[protocol].command
        bus = config.bus.get(units[unit].bus)
        missing = []
        if (protocol, unit) not in evidence:
            step = "add an [[exchange]] that was heard at least ten times with different answers"
            missing.append(("not shown to read by an [[exchange]]", step))
        if bus is not None and bus.transmit and command not in config.reading_bytes.get(unit, frozenset()):
            step = f'add {unit} = ["{command:02X}"] to [reads] if you trust the evidence in the description'
            missing.append(("not allowed in [reads]", step))
        if missing:
            wrong, steps = (" and ".join(texts) for texts in zip(*missing, strict=True))
            sentence = f"{unit} is asked in the format {protocol}, but its command {command:02X} is {wrong}"
            yield Finding(Level.WARNING, f"{sentence}; its values stay empty", steps)


def _description(car: CarDescription) -> Iterator[Finding]:
    heard = {f.signal for listener in car.broadcasts for f in listener.fields}
    for name, use in car.buttons:
        if use != WIRED and f"button.{name}" not in heard:
            sentence = f"button {name!r} of {car.title} has no field button.{name}"
            yield Finding(Level.WARNING, sentence, "add the field to a [[broadcast]], or remove the button")
    listed = {name for name, _ in car.buttons}
    for signal in sorted(s for s in heard if s.startswith("button.") and s.removeprefix("button.") not in listed):
        name = signal.removeprefix("button.")
        sentence = f"{signal} is not in [buttons], so nobody knows whether it acts on driving"
        yield Finding(Level.NOTE, sentence, f'add {name} = "comfort" or "driving"')
    pairs: dict[tuple[str, int, int, int | None], str] = {}
    for unit in car.units:
        key = (unit.bus, unit.request_id, unit.response_id, unit.address)
        if key in pairs:
            sentence = f"units {pairs[key]} and {unit.name} cannot be told apart: same ids and address"
            yield Finding(Level.ERROR, sentence, "give them different `address` bytes, or make them one unit")
        pairs[key] = unit.name


def _panels(config: Config, around: Surroundings) -> Iterator[Finding]:
    if not config.panel:
        yield Finding(Level.WARNING, "there is no panel, so nothing is shown", "add a [panel.<name>]")
    for name, panel in config.panel.items():
        if around.drivers is not None and panel.driver not in around.drivers:
            step = _instead(panel.driver, around.drivers)
            yield Finding(Level.ERROR, f"panel {name} wants the driver {panel.driver!r}, which nobody brings", step)
        if around.pages is not None:
            yield from _deck(name, panel, config.plugins.enabled, around.pages, around.provided)


def _night(config: Config) -> Iterator[Finding]:
    hue = config.dimming.night_hue
    for weak in palette_findings(night(hue)):
        yield Finding(Level.WARNING, weak)
    for meant in taken_for(hue):
        sentence = f"dimming: night_hue {hue:g} is near the {meant.name} (hue {meant.hue_deg:g}); {meant.then}"
        step = f"a hue more than {meant.within_deg:g} degrees away, such as {NIGHT_HUE:g}, keeps them apart"
        yield Finding(Level.WARNING if meant.alarms else Level.NOTE, sentence, step)


def _deck(
    name: str, panel: PanelConfig, enabled: Collection[str], pages: Mapping[str, Page], provided: Collection[str] | None
) -> Iterator[Finding]:
    for page in panel.deck:
        if page not in pages:
            step = _instead(page, pages) or "enable the plug-in that brings it"
            if page in enabled:
                step = f"the plug-in {page} brings no page of this name; see its settings, [plugin.{page}]"
            yield Finding(Level.ERROR, f"panel {name} has a page {page!r} in its deck, which nobody brings", step)
            continue
        needs = pages[page].needs
        missing = [signal for signal in needs if provided is not None and signal not in provided]
        if missing and len(missing) == len(needs):
            sentence = f"page {page!r} needs {_and(missing)}, which nobody provides, so it stays empty"
            step = "add a source to the car's description, or take the page off the deck"
            yield Finding(Level.WARNING, sentence, step)
        elif missing:
            sentence = f"page {page!r} can show {_and(missing)} too, which nobody provides"
            yield Finding(Level.NOTE, sentence)


def _alerts(around: Surroundings) -> Iterator[Finding]:
    asked = sorted({alert.signal for alert in around.alerts if alert.signal in around.polled})
    if asked:
        has = "has" if len(asked) == 1 else "have"
        sentence = f"alerts watch {_and(asked)}, which {has} to be asked for: a limit is noticed a second or more late"
        yield Finding(Level.NOTE, f"{sentence}, and nothing is protected by it")
    for alert in around.alerts:
        if alert.page is not None and around.pages is not None and alert.page not in around.pages:
            sentence = f"alert {alert.name!r} wants to put up page {alert.page!r}, which nobody brings"
            yield Finding(Level.WARNING, sentence, _instead(alert.page, around.pages))


def _buttons(car: CarDescription, around: Surroundings) -> Iterator[Finding]:
    use = dict(car.buttons)
    for handler in around.handlers:
        gesture = f"{handler.kind} on button {handler.button!r}"
        known = set(use) | {s.removeprefix("button.") for s in around.provided or () if s.startswith("button.")}
        if handler.button not in known:
            step = _instead(handler.button, known) or "name another button in the plug-in's settings"
            yield Finding(Level.WARNING, f"a plug-in waits for {gesture}, which {car.title} has not", step)
        elif use.get(handler.button) == "driving" and handler.condition is None:
            sentence = f"{gesture} acts on how the car drives, and the car still does its own thing with it"
            yield Finding(Level.WARNING, sentence, "use another button, or a condition such as standing still")
        elif handler.kind is GestureKind.PRESS and use.get(handler.button) != WIRED:
            sentence = f"the car still does its own thing with a {gesture}"
            yield Finding(Level.NOTE, sentence, "use a hold if that is in the way")


def _bus_of(car: CarDescription, unit: str) -> str:
    return next((entry.bus for entry in car.units if entry.name == unit), "")


def _instead(name: str, known: Iterable[str] | None) -> str:
    names = sorted(known or ())
    near = nearest(name, names)
    if near:
        return f"did you mean {near!r}?"
    return f"there {'is' if len(names) == 1 else 'are'} {_and(names)}" if names else ""


def _and(names: Sequence[str]) -> str:
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else "".join(names)
