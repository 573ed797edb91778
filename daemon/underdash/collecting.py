"""What plug-ins bring: each hook of each plug-in asked by itself, its answer checked, and failures counted.

An implementation is called with its own settings and only the arguments it names. One that raises, returns something
else than the hook wants, or brings a name that is taken, has its plug-in refused as a whole: half a plug-in would be
harder to understand than none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

import pluggy

from .contract.buttons import ButtonHandler
from .contract.cars import CarDescription, CarFile
from .contract.fitting import misfit
from .contract.layout import BroadcastListener
from .contract.pages import ALARMS, Alert, Page, PanelDriver
from .contract.requests import PollRequest, Protocol
from .contract.signals import PowerState, Signal
from .contract.sources import Derived, Input
from .contract.units import UNITS
from .loading import GUARDED, HOOKS, Loaded, LoadedPlugin, RefusalError, Refused, described, told
from .signals.catalogue import CATALOGUE

FAILURES_ALLOWED = 3


@dataclass(frozen=True, slots=True)
class Collected:
    """What a hook brought: (plug-in's name, item) in the order of the plug-ins, and who failed at it."""

    items: tuple[tuple[str, Any], ...]
    refused: tuple[Refused, ...]


def collect(loaded: Loaded, hook: str, **given: object) -> Collected:
    """Ask every plug-in that has a hook for its list.

    Args:
        loaded: the plug-ins that run.
        hook: its name.
        given: what the hook hands over besides the settings, such as ``car``.

    Returns:
        The items, each of a type the hook wants. A plug-in that raised, returned something else, or used a name that
        is taken is refused and brings nothing.
    """
    items: list[tuple[str, Any]] = []
    refused = []
    for plugin in loaded.plugins:
        implementation = plugin.calls.get(hook)
        if implementation is None:
            continue
        try:
            brought = _asked(plugin, implementation, hook, given)
            _check_names(plugin.name, hook, brought, items)
        except RefusalError as exc:
            refused.append(Refused(plugin.name, exc.reason, exc.hint))
            continue
        items.extend((plugin.name, item) for item in brought)
    return Collected(tuple(items), tuple(refused))


@dataclass(frozen=True, slots=True)
class Contributions:
    """All that the running plug-ins bring for one car, by hook, as (plug-in's name, item)."""

    signals: tuple[tuple[str, Signal], ...] = ()
    poll_requests: tuple[tuple[str, PollRequest], ...] = ()
    broadcast_listeners: tuple[tuple[str, BroadcastListener], ...] = ()
    inputs: tuple[tuple[str, Input], ...] = ()
    derived_signals: tuple[tuple[str, Derived], ...] = ()
    request_protocols: tuple[tuple[str, Protocol], ...] = ()
    display_pages: tuple[tuple[str, Page], ...] = ()
    alerts: tuple[tuple[str, Alert], ...] = ()
    button_handlers: tuple[tuple[str, ButtonHandler], ...] = ()
    panel_drivers: tuple[tuple[str, PanelDriver], ...] = ()


def contributions(loaded: Loaded, car: CarDescription) -> tuple[Contributions, Loaded]:
    """Ask for all that plug-ins bring for a car.

    Returns:
        What they bring, and `loaded` without those that failed at any hook; of these nothing is left in it.
    """
    brought: dict[str, tuple[tuple[str, Any], ...]] = {}
    for hook in (entry.name for entry in fields(Contributions)):
        given = {"car": car} if "car" in HOOKS[hook].takes else {}
        collected = collect(loaded, hook, **given)
        loaded = loaded.suspended(collected.refused)
        brought[hook] = collected.items
    running = {plugin.name for plugin in loaded.plugins}
    kept = {hook: tuple(item for item in items if item[0] in running) for hook, items in brought.items()}
    return Contributions(**kept), loaded


def _asked(
    plugin: LoadedPlugin, implementation: pluggy.HookImpl, hook: str, given: Mapping[str, object]
) -> list[object]:
    offered = {**given, "settings": plugin.settings}
    try:
        result = implementation.function(*(offered[name] for name in implementation.argnames))
    except GUARDED as exc:
        raise RefusalError(f"{hook} raised {told(exc)}", "report this to its author") from exc
    kinds = HOOKS[hook].items
    names = " or ".join(kind.__name__ for kind in kinds)
    if not isinstance(result, list | tuple):
        raise RefusalError(f"{hook} returned {described(result)}", f"it must return a list of {names}")
    for index, item in enumerate(result):
        if not isinstance(item, kinds):
            raise RefusalError(
                f"{hook} returned {described(item)} as item {index}", f"each item must be of type {names}"
            )
        wrong = _misfit(item)
        if wrong:
            kind = type(item).__name__
            raise RefusalError(f"{hook} returned item {index}, a {kind}: {wrong}", "report this to its author")
    return list(result)


def _misfit(item: object) -> str:
    try:
        return misfit(item)
    except GUARDED as exc:  # it is nested without end, or odd when it is looked at
        return f"looking at it raised {told(exc)}"


def _check_names(plugin: str, hook: str, brought: Iterable[object], items: Iterable[tuple[str, object]]) -> None:
    """Refuse a name that is taken; where items have no name, or may share it, nothing is checked."""
    taken = {_name(item): owner for owner, item in items}
    for item in brought:
        name = _name(item)
        if name is None:
            continue
        if hook == "signals" and not name.startswith(f"{plugin}."):
            raise RefusalError(f"{hook} declares {name!r}", f"its own signals start with '{plugin}.'")
        if isinstance(item, Signal) and item.unit not in UNITS:
            known = ", ".join(unit for unit in UNITS if unit)
            raise RefusalError(f"{hook} declares {name!r} in the unknown unit {item.unit!r}", f"use one of {known}")
        if isinstance(item, Alert) and (item.above is None) == (item.below is None):
            raise RefusalError(f"{hook} brings {name!r} without exactly one limit", "give it either above or below")
        if isinstance(item, Alert) and item.role not in ALARMS:
            raise RefusalError(f"{hook} brings {name!r} with role {item.role!r}", "an alert is a caution or a warning")
        if hook == "signals" and name in CATALOGUE:
            raise RefusalError(f"{hook} declares {name!r}", "the catalogue has it already; use that one")
        if name in taken:
            reason = f"{hook} brings {name!r}, which {taken[name]} brings already"
            raise RefusalError(reason, "give it another name, or enable only one of the two")
        taken[name] = plugin


def _name(item: object) -> str | None:
    name = str(item.path) if isinstance(item, CarFile) else getattr(item, "name", None)
    return name if isinstance(name, str) else None


class PowerCalls:
    """Tells plug-ins about changes of power, each guarded by itself.

    Args:
        loaded: the plug-ins that run.
        failed: called with (plug-in's name, reason, whether it is suspended by that) whenever one raises.
    """

    def __init__(self, loaded: Loaded, failed: Callable[[str, str, bool], None]) -> None:
        self._plugins = [plugin for plugin in loaded.plugins if "power_changed" in plugin.calls]
        self._failed = failed
        self._failures: dict[str, int] = {}

    def tell(self, state: PowerState) -> None:
        """Call every implementation of `power_changed`; one that raised three times is not called again."""
        for plugin in tuple(self._plugins):
            implementation = plugin.calls["power_changed"]
            try:
                implementation.function(*(state for _ in implementation.argnames))
            except GUARDED as exc:
                self._count(plugin, f"power_changed raised {told(exc)}")

    def drop(self, name: str) -> None:
        """Call a plug-in no more."""
        self._plugins = [plugin for plugin in self._plugins if plugin.name != name]

    def _count(self, plugin: LoadedPlugin, reason: str) -> None:
        count = self._failures[plugin.name] = self._failures.get(plugin.name, 0) + 1
        if count >= FAILURES_ALLOWED:
            self.drop(plugin.name)
        self._failed(plugin.name, reason, count >= FAILURES_ALLOWED)
