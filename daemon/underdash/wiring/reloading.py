"""A changed description taken up by a running daemon: buses stay open, panels lit, and plug-ins loaded."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import structlog

from ..config.schema import Config
from ..contract.cars import CarDescription
from ..contract.errors import GivenError, UnderdashError
from ..contract.layout import BroadcastListener
from ..contract.pages import Page
from ..contract.signals import Signal
from ..loading import Loaded, Refused
from .assembly import Assembly
from .building import Built, deck_of, described, evidence_of, fitted
from .going_on import GoingOn
from .kept import car_mark
from .panels import dimming_options
from .sending import Sending, keys_in_use

_log = structlog.get_logger()

RESTART = "restart the daemon for that: sudo systemctl restart underdash"
Beside = tuple[tuple[Signal, ...], tuple[BroadcastListener, ...], tuple[Page, ...]]
"""Signals, frames and pages for a while, beside what the description has."""
NOTHING: Beside = ((), (), ())


class AskedByHandError(UnderdashError):
    """Nothing can be taken up while a person asks by hand."""


class Reloading:
    """Has a running daemon take up its car's description again.

    Args:
        built: the daemon and what is around it.
        loop: the daemon's event loop.
        told: called with sentences for the log, see `assemble`.
        done: called soon after each time that something else began to run.
    """

    def __init__(
        self,
        built: Built,
        loop: asyncio.AbstractEventLoop,
        told: Callable[[str], None] = lambda sentence: None,
        done: Callable[[], None] = lambda: None,
    ) -> None:
        self._built = built
        self._loop = loop
        self._told = told
        self._done = done
        self.car = built.assembly.car
        """The description that was read last and had no mistakes, without anything beside it."""

    def reload(self, beside: Beside = NOTHING, *, anew: bool = True) -> Assembly:
        """Read the description and go on with it.

        Args:
            beside: what is heard and shown for a while only.
            anew: read it from its file; False goes on with the one that was read last.

        Returns:
            What runs now; its problems are new ones.

        Raises:
            AskedByHandError: a person asks by hand just now.
            UnderdashError: the description has mistakes or other buses. In both cases all goes on as before.
        """
        built, daemon = self._built, self._built.daemon
        if daemon.sending.paused:
            raise AskedByHandError("somebody asks by hand just now; say this again when that is over")
        if daemon.past.no_car:
            raise UnderdashError(
                f"no car is described this time, since a plug-in does not run (see underdash status); {RESTART}"
            )
        before = daemon.assembly
        loaded = _without_suspended(before)
        whole, loaded = described(built.config, loaded) if anew else (self.car, loaded)
        self._vet(before.car, whole)
        signals, listeners, pages = beside
        taken = {one.name for one in signals} & {one.name for one in whole.signals}
        if taken:
            raise GivenError(f"the description has a signal {min(taken)}, which is tried just now; end that first")
        car = replace(whole, signals=(*whole.signals, *signals), broadcasts=(*whole.broadcasts, *listeners))
        after = fitted(built.config, car, loaded, self._told)
        after.apart = pages
        # before anything is changed, since a page of a panel may be gone
        panels = built.config.panel.items()
        decks = {name: deck_of(name, panel, built.config, daemon, after) for name, panel in panels}
        self._exchange(before, after)
        daemon.show_decks(decks, dimming_options(built.config, car.knob_applies))
        self.car = whole
        _log.info("reloaded", car=car.name, beside=len(listeners))
        self._loop.call_soon(self._done)  # once nobody is in the middle of anything that was there before
        return after

    def _vet(self, before: CarDescription, after: CarDescription) -> None:
        if after.name != before.name:
            raise UnderdashError(f"the description is of another car, {after.name}, by now; {RESTART}")
        if after.buses != before.buses:
            raise UnderdashError(f"the description has other buses than before; {RESTART}")

    def _exchange(self, before: Assembly, after: Assembly) -> None:
        built, daemon = self._built, self._built.daemon
        links, guard = daemon.links, daemon.sending.guard
        own = [one for _, one in after.brought.broadcast_listeners]
        guard.reload(after.compiled.templates, keys_in_use(after.car, own), evidence_of(built.config, after.car))
        after.problems += [one.refusal.sentence for one in (*guard.refused, *guard.flows_refused)]
        after.asking.restore(before.asking.learned())
        going_on = GoingOn(after, before)
        for role, link in links.items():
            link.table.become(after.tables[role])
            after.tables[role] = link.table
        same = car_mark(before.car) == car_mark(after.car)
        built.keep()
        built.assembly = after
        seen = None if same else built.kept.seen(after.car)
        daemon.exchange(after, Sending(after, guard, links, self._loop), seen, going_on.same)


def configuration_changed(config: Config) -> list[str]:
    """Say that the configuration is another one by now, which is not read again; nothing where nobody can tell."""
    source = config.source
    with contextlib.suppress(OSError, ValueError):
        if source.text and Path(source.file).read_bytes().decode("utf-8-sig") != source.text:
            return [f"{source.file} was changed after the daemon had started; {RESTART}"]
    return []


def _without_suspended(assembly: Assembly) -> Loaded:
    hint = "it runs again after a restart"
    return assembly.loaded.suspended([Refused(name, why, hint) for name, why in assembly.suspended.items()])
