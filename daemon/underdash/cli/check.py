"""``underdash check``: what is wrong with the configuration and this machine, and what to do about it.

Exit status: 0 nothing keeps it from working (there may be warnings), 2 something does.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from ..contract.errors import UnderdashError
from .common import add_config, config, running_status

if TYPE_CHECKING:
    from ..config.checking import Finding, Surroundings
    from ..config.schema import Config
    from ..contract.pages import Page
    from ..loading import Loaded
    from ..wiring.assembly import Assembly

OK, WRONG = 0, 2
ROOT = Path("/")
"""Of the machine that is looked at."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="everything, as one JSON object")
    parser.add_argument(
        "--measure", action="store_true", help="instead: what the main steps cost on this machine, beside their budgets"
    )
    parser.epilog = (
        "Exit status: 0 if nothing keeps it from working (there may be warnings), 2 if something does; "
        "with --measure 0, whatever the figures."
    )


def run(arguments: argparse.Namespace) -> int:
    """Look at everything that can be looked at without opening a bus; 2 if something keeps it from working."""
    from ..config.findings import Level

    if arguments.measure:
        return _measure(arguments.json)
    read = config(arguments)
    findings = list(dict.fromkeys(_findings(read)))
    wrong, doubtful = (sum(one.level is level for one in findings) for level in (Level.ERROR, Level.WARNING))
    if arguments.json:
        found = [{"level": one.level, "sentence": one.sentence, "next_step": one.next_step} for one in findings]
        table = {"path": str(read.path), "errors": wrong, "warnings": doubtful, "findings": found}
        print(json.dumps(table, indent=1))
    else:
        print("\n\n".join(_groups(findings)), end="\n\n" if findings else "")
        print(f"{read.path}: {_summary(wrong, doubtful)}")
    return WRONG if wrong else OK


def _measure(as_json: bool) -> int:
    """Print the budgets of this machine; no bus is opened, and no configuration needed."""
    import logging
    from dataclasses import asdict

    from ..wiring.measuring.budgets import NOT_HERE, measured, table, this_machine
    from .logs import set_up

    set_up(logging.ERROR)
    machine = this_machine()
    figures = measured(lambda step: print(f"measuring: {step}", file=sys.stderr, flush=True))
    if as_json:
        rows = [{**asdict(figure), "verdict": figure.verdict} for figure in figures]
        print(json.dumps({"machine": asdict(machine), "figures": rows}, indent=1))
        return OK
    print("\n".join([str(machine), "", *table(figures), *filter(None, (machine.busy,)), NOT_HERE]))
    return OK


def _groups(findings: list[Finding]) -> Iterator[str]:
    """Yield errors, warnings and notes, each as one paragraph."""
    for _, group in groupby(findings, key=lambda finding: finding.level):
        yield "\n".join(str(finding) for finding in group)


def _summary(wrong: int, doubtful: int) -> str:
    keeps = f"{wrong} thing{'s keep' if wrong > 1 else ' keeps'} it from working" if wrong else ""
    warns = f"{doubtful} warning{'s' if doubtful > 1 else ''}" if doubtful else ""
    return (keeps or "nothing keeps it from working") + (f"; {warns}" if warns else "")


def _findings(config: Config) -> list[Finding]:
    from ..config.checking import Finding, Level, explain
    from ..loading import load
    from ..service.board import Board
    from ..wiring.building import assembled
    from ..wiring.hold_line import findings as hold_findings
    from ..wiring.host import findings as board_findings
    from ..wiring.host import look
    from ..wiring.readable import readable
    from ..wiring.wires_found import battery
    from ..wiring.wires_found import findings as wires_found

    try:
        assembly = assembled(config)
    except UnderdashError as exc:
        loaded = load(config.settings, source=config.source)
        # a protocol or a signal of a plug-in that does not run is missing in the description as well
        found = [*_refusals(loaded), Finding(Level.ERROR, str(exc))]
        return [*found, *explain(config, None, _without_car(loaded, exc))]
    return sorted(
        [
            *explain(config, assembly.car, _around(config, assembly)),
            *_of_assembly(config, assembly),
            *_of_machine(config, assembly),
            *readable(config, assembly),
            *wires_found(assembly.wires),
            *battery(config.power.supply, assembly.wires),
            *board_findings(look(Board())),
            *hold_findings(config.power),
            *_of_the_running_daemon(),
        ],
        key=lambda finding: list(Level).index(finding.level),
    )


def _of_machine(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What the board, the rights of the daemon's user and the system say."""
    from ..wiring.board import board_findings
    from ..wiring.machine import findings
    from ..wiring.needs import needs
    from ..wiring.rights import account, of_service, rights, written
    from ..wiring.start_up import findings as start_up
    from ..wiring.system import power_off, root_file_system

    wanted = needs(config, {driver.name: driver for _, driver in assembly.brought.panel_drivers})
    who = account(ROOT)
    yield from board_findings(config, assembly.car, wanted, ROOT)
    yield from rights(config, wanted, who, ROOT)
    # whoever asks may have other rights than the service, whose unit says where it may write
    service = of_service(config, who, ROOT)
    yield from written(config) if service else ()
    yield from findings(config, assembly.car, folders=not service)
    yield from root_file_system(config, ROOT)
    yield from power_off(config, who)
    yield from start_up(ROOT)


def _of_the_running_daemon() -> Iterator[Finding]:
    from ..config.findings import Finding, Level

    refused: list[str] = []
    table = running_status(refused.append)
    for why in refused:
        yield Finding(Level.NOTE, f"what the running daemon has to say is missing here: {why}")
    if table is None:
        return
    for sentence in (*table["plugins"].get("past", ()), *table["ignition"].get("doubts", ())):
        what, _, step = str(sentence).rpartition("; ")
        yield Finding(Level.WARNING, what, step)


def _without_car(loaded: Loaded, exc: UnderdashError) -> Surroundings:
    """What is known without a car: pages too, unless a plug-in brings none before it has seen the car."""
    from ..collecting import collect
    from ..config.checking import Surroundings
    from ..config.mistakes import ConfigError, UnreadableError
    from ..contract.cars import CarDescription
    from ..wiring.status_page import NAME, StatusPage

    mistaken = exc.mistakes[0].file if isinstance(exc, ConfigError) and not isinstance(exc, UnreadableError) else ""
    brought = collect(loaded, "display_pages", car=CarDescription("", "", ()))
    pages: dict[str, Page] = {page.name: page for _, page in brought.items}
    showing = {name for name, _ in brought.items}
    waits = any("display_pages" in one.calls and one.name not in showing for one in loaded.plugins)
    return Surroundings(
        installed=_known(loaded),
        pages=None if loaded.refused or waits else {NAME: StatusPage().page, **pages},
        mistaken=mistaken,
    )


def _known(loaded: Loaded) -> list[str]:
    running, refused = [one.name for one in loaded.plugins], [one.name for one in loaded.refused]
    return running + refused + [one.name for one in loaded.installed]


def _around(config: Config, assembly: Assembly) -> Surroundings:
    from ..config.checking import Surroundings
    from ..wiring.drivers import core_drivers
    from ..wiring.status_page import StatusPage

    brought, loaded = assembly.brought, assembly.loaded
    return Surroundings(
        installed=_known(loaded),
        pages={page.name: page for page in (StatusPage().page, *assembly.pages)},
        handlers=[handler for _, handler in brought.button_handlers],
        provided=assembly.store.names(),
        alerts=[alert for _, alert in brought.alerts],
        polled=assembly.polled,
        drivers=[*core_drivers(config), *(driver.name for _, driver in brought.panel_drivers)],
    )


def _refusals(loaded: Loaded) -> Iterator[Finding]:
    from ..config.checking import Finding, Level

    for refused in loaded.refused:
        yield Finding(Level.ERROR, f"plug-in {refused.name} is refused: {refused.reason}", refused.hint)


def _of_assembly(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What loading, compiling and the guard have to say."""
    from ..config.checking import Finding, Level

    yield from _refusals(assembly.loaded)
    yield from _of_panels(config, assembly)
    for problem in assembly.problems:
        yield Finding(Level.WARNING, problem)
    yield from _never_sent(config, assembly)


def _never_sent(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What the guard refuses for ever, each reason once a unit; `explain` tells of formats of the description."""
    from ..bus.guard import Guard
    from ..bus.refusals import Reason
    from ..bus.vetting import MakerEvidence
    from ..config.checking import Finding, Level
    from ..wiring.sending import keys_in_use

    evidence = MakerEvidence(config.reading_bytes, assembly.car.exchanges)
    told = {one.name for one in assembly.car.formats}
    groups: dict[tuple[str, str | None, Reason], list[str]] = {}
    guard = Guard(assembly.compiled.templates, evidence=evidence, in_use=keys_in_use(assembly.car))
    for one in guard.refused:
        template, reason = one.template, one.refusal.reason
        makers = reason in (Reason.MAKER_PERMISSION, Reason.MAKER_EVIDENCE)
        if template.bus in config.recorded or (makers and template.maker in told):
            continue
        groups.setdefault((template.unit, template.maker, reason), []).append(one.refusal.sentence)
    for sentences in groups.values():
        more = f" (and {len(sentences) - 1} more requests, for the same reason)" if len(sentences) > 1 else ""
        yield Finding(Level.WARNING, f"never sent: {sentences[0]}{more}")
    for refused in guard.flows_refused:
        yield Finding(Level.WARNING, refused.refusal.sentence)


def _of_panels(config: Config, assembly: Assembly) -> Iterator[Finding]:
    """What the drivers have to say about their settings and about this machine."""
    from ..config.checking import Finding, Level
    from ..display.backlight import trouble
    from ..display.panels.wire import SpiSettings
    from ..wiring.drivers import core_drivers
    from ..wiring.panels import panel_table
    from ..wiring.rights import account, asked_as
    from ..wiring.spi import adapters, spi_findings, turned

    drivers = core_drivers(config) | {driver.name: driver for _, driver in assembly.brought.panel_drivers}
    wired: dict[str, SpiSettings] = {}
    whose = asked_as(account(ROOT), ROOT)
    for name, panel in config.panel.items():
        yield from turned(name, panel)
        driver = drivers.get(panel.driver)
        if driver is None:
            continue
        try:
            table = panel_table(name, panel, config, driver)
            settings = table.get("settings")
            if isinstance(settings, SpiSettings):
                wired[name] = settings
            amiss = driver.check(table) if driver.check else ""
        except UnderdashError as exc:
            yield Finding(Level.ERROR, str(exc))
        except Exception as exc:
            yield Finding(Level.WARNING, f"panel {name}: its driver {driver.name} cannot tell: {exc!r}")
        else:
            if amiss:
                yield Finding(Level.ERROR, f"panel {name}: {amiss}", whose)
        if panel.backlight is not None and (missing := trouble(panel.backlight)):
            yield Finding(Level.ERROR, f"panel {name}: {missing}", whose)
    network = ROOT / "sys/class/net"
    yield from spi_findings(wired, adapters(config, network), network)
