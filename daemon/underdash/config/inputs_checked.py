"""What is doubtful about wires that are each without mistakes."""

from __future__ import annotations

from collections.abc import Iterator

from ..contract.cars import CarDescription
from ..contract.sources import InputKind, Pull
from ..power.states import Supply
from .findings import Finding, Level
from .schema import Config


def check_inputs(config: Config, car: CarDescription) -> Iterator[Finding]:
    """Look over the inputs of a configuration."""
    yield from _places(config)
    for name, one in config.input.items():
        if one.kind is InputKind.GPIO and one.pull is Pull.AS_IS:
            sentence = f"nothing says what holds line {one.line} of input {name} while its wire is open"
            yield Finding(Level.NOTE, sentence, 'set pull to "down" or "up", or to "off" where a resistor does it')
        if one.is_key and one.means == "ON":
            yield from _key(name, config, car)


def _key(name: str, config: Config, car: CarDescription) -> Iterator[Finding]:
    if config.power.supply is Supply.SWITCHED and any(bus.transmit for bus in config.bus.values()):
        sentence = f"the supply is cut with the ignition, so input {name} may never be seen off"
        yield Finding(
            Level.NOTE,
            f"{sentence}, and until it was, nothing is asked",
            "turn the key to where the accessory is fed and the ignition is off, once, with a bus awake",
        )
    if not car.buses:
        return
    if all(bus.silent for bus in car.buses):
        sentence = f"no bus of {car.title} says anything by itself, so input {name} cannot be compared with it"
        step = "start once with run --attended, wait until values come, and turn the key off: that proves the wire"
        yield Finding(Level.WARNING, f"{sentence} before something is asked", step)


def _places(config: Config) -> Iterator[Finding]:
    """Two inputs at one place: a line can be taken once only; a channel may be read twice, but hardly was meant so."""
    seen: dict[tuple[InputKind, str, str], str] = {}
    for name, one in config.input.items():
        place = (one.kind, one.line or one.device, one.channel)
        if place in seen:
            level = Level.ERROR if one.kind is InputKind.GPIO else Level.WARNING
            where = " ".join(part for part in place[1:] if part) or "the same sensor"
            yield Finding(level, f"inputs {seen[place]} and {name} are both at {where}", "name each place once")
        seen.setdefault(place, name)
    for panel, light in ((name, panel.backlight) for name, panel in config.panel.items() if panel.backlight):
        line = getattr(light, "line", "")
        if line and (InputKind.GPIO, line, "") in seen:
            other = seen[InputKind.GPIO, line, ""]
            yield Finding(Level.ERROR, f"line {line} lights panel {panel} and is input {other}", "name each line once")
