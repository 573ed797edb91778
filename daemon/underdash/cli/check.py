"""``underdash check``: what is wrong with the configuration, and what to do about it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..contract.errors import UnderdashError
from .common import add_config, config

if TYPE_CHECKING:
    from ..config.checking import Finding, Surroundings
    from ..config.schema import Config
    from ..wiring.assembly import Assembly

OK, WRONG = 0, 2


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)


def run(arguments: argparse.Namespace) -> int:
    """Look at everything that can be looked at without opening a bus; 2 if something keeps it from working."""
    from ..config.checking import Level

    read = config(arguments)
    findings = _findings(read)
    for finding in findings:
        print(finding)
    wrong = sum(finding.level is Level.ERROR for finding in findings)
    print(f"{read.path}: " + (f"{wrong} thing(s) keep it from working" if wrong else "nothing keeps it from working"))
    return WRONG if wrong else OK


def _findings(config: Config) -> list[Finding]:
    from ..config.checking import Finding, Level, explain
    from ..wiring.building import assembled
    from ..wiring.machine import findings
    from ..wiring.readable import readable

    try:
        assembly = assembled(config)
    except UnderdashError as exc:
        return [Finding(Level.ERROR, str(exc)), *explain(config, None, _installed_only())]
    return sorted(
        [
            *explain(config, assembly.car, _around(config, assembly)),
            *_of_assembly(config, assembly),
            *findings(config),
            *readable(config, assembly),
        ],
        key=lambda finding: list(Level).index(finding.level),
    )


def _installed_only() -> Surroundings:
    from ..config.checking import Surroundings
    from ..loading import load

    return Surroundings(installed=[one.name for one in load({}).installed])


def _around(config: Config, assembly: Assembly) -> Surroundings:
    from ..config.checking import Surroundings
    from ..wiring.panels import core_drivers
    from ..wiring.status_page import StatusPage

    brought, loaded = assembly.brought, assembly.loaded
    known = [one.name for one in loaded.plugins]
    known += [one.name for one in loaded.refused] + [one.name for one in loaded.installed]
    return Surroundings(
        installed=known,
        pages={page.name: page for page in (StatusPage().page, *assembly.pages)},
        handlers=[handler for _, handler in brought.button_handlers],
        provided=assembly.store.names(),
        alerts=[alert for _, alert in brought.alerts],
        polled=assembly.polled,
        drivers=[*core_drivers(config), *(driver.name for _, driver in brought.panel_drivers)],
    )


def _of_assembly(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What loading, compiling and the guard have to say."""
    from ..bus.guard import Guard
    from ..bus.vetting import MakerEvidence
    from ..config.checking import Finding, Level
    from ..wiring.sending import keys_in_use

    for refused in assembly.loaded.refused:
        yield Finding(Level.ERROR, f"plug-in {refused.name} is refused: {refused.reason}", refused.hint)
    yield from _of_panels(config, assembly)
    for problem in assembly.problems:
        yield Finding(Level.WARNING, problem)
    evidence = MakerEvidence(config.reading_bytes, assembly.car.exchanges)
    guard = Guard(assembly.compiled.templates, evidence=evidence, in_use=keys_in_use(assembly.car))
    for one in guard.refused:
        yield Finding(Level.WARNING, f"never sent: {one.refusal.sentence}")
    for one in guard.flows_refused:
        yield Finding(Level.WARNING, one.refusal.sentence)


def _of_panels(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What the drivers have to say about their settings and about this machine."""
    from ..config.checking import Finding, Level
    from ..display.backlight import trouble
    from ..wiring.panels import core_drivers, panel_table

    drivers = core_drivers(config) | {driver.name: driver for _, driver in assembly.brought.panel_drivers}
    for name, panel in config.panel.items():
        driver = drivers.get(panel.driver)
        if driver is None:
            continue
        try:
            table = panel_table(name, panel, config, driver)
            amiss = driver.check(table) if driver.check else ""
        except UnderdashError as exc:
            yield Finding(Level.ERROR, str(exc))
        except Exception as exc:
            yield Finding(Level.WARNING, f"panel {name}: its driver {driver.name} cannot tell: {exc!r}")
        else:
            if amiss:
                yield Finding(Level.ERROR, f"panel {name}: {amiss}")
        if panel.backlight is not None and (missing := trouble(panel.backlight)):
            yield Finding(Level.ERROR, f"panel {name}: {missing}")
