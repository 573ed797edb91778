"""Plug-ins: found and vetted one by one, so that a broken one is named and the others run.

A plug-in is what an entry point of the group `underdash` names. Installed is not enabled: only those the
configuration names are imported at all. Each is registered to be checked, its implementations are kept, and it is
unregistered again, so nothing of a refused one stays behind. `collecting.py` then asks those that run.

What this cannot do: a plug-in that never comes back from its import or from a hook hangs the daemon.
"""

from __future__ import annotations

import inspect
import time
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, is_dataclass, replace
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from reprlib import repr as safe_repr
from traceback import extract_tb
from types import MappingProxyType
from typing import Any, get_args, get_origin, get_type_hints

import pluggy

from .config.mistakes import ConfigError, Source, nearest
from .contract import hooks
from .contract.errors import raised
from .contract.plugin import CONTRACT, PluginInfo

GROUP = "underdash"
BUNDLE = "underdash"
"""The distribution that the bundled plug-ins come with."""
LEFT_OUT_HINT = "sudo systemctl restart underdash, or the next start of the machine, tries all plug-ins again"
GUARDED = (Exception, SystemExit)
"""What a plug-in's code may raise without taking the daemon along."""


@dataclass(frozen=True, slots=True)
class HookShape:
    """What a hook hands over, and the types of the items it wants back; none if it wants nothing back."""

    takes: tuple[str, ...]
    items: tuple[type, ...]


def _shape(spec: Callable[..., Any]) -> HookShape:
    result = get_type_hints(spec)["return"]
    item = get_args(result)[0] if get_origin(result) is list else None
    return HookShape(tuple(inspect.signature(spec).parameters), () if item is None else get_args(item) or (item,))


HOOKS: Mapping[str, HookShape] = MappingProxyType(
    {name: _shape(spec) for name, spec in vars(hooks).items() if hasattr(spec, "underdash_spec")}
)
"""Every hook by name, in the order of a daemon's life."""


@dataclass(frozen=True, slots=True)
class LoadedPlugin:
    """A plug-in that runs.

    Attributes:
        settings: an instance of ``info.settings``, None if it has none.
        version: of the distribution it came with, "" where that is not known.
        took_s: how long importing and vetting it took.
        calls: its implementations by hook.
    """

    name: str
    info: PluginInfo
    settings: Any
    version: str
    took_s: float = 0.0
    calls: Mapping[str, pluggy.HookImpl] = field(default_factory=dict, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Refused:
    """A plug-in that does not run, why, and what can be done about it."""

    name: str
    reason: str
    hint: str

    def __str__(self) -> str:
        return f"{self.name}: {self.reason}; {self.hint}"


@dataclass(frozen=True, slots=True)
class Installed:
    """A plug-in that could be enabled."""

    name: str
    version: str


@dataclass(frozen=True, slots=True)
class Loaded:
    """What came of loading: what runs in the order of the configuration, what was refused, what is only installed."""

    plugins: tuple[LoadedPlugin, ...] = ()
    refused: tuple[Refused, ...] = ()
    installed: tuple[Installed, ...] = ()

    def suspended(self, refused: Collection[Refused]) -> Loaded:
        """Return this without the plug-ins that were refused since."""
        names = {one.name for one in refused}
        kept = tuple(plugin for plugin in self.plugins if plugin.name not in names)
        return replace(self, plugins=kept, refused=(*self.refused, *refused))


class RefusalError(Exception):
    """Why a plug-in is refused, on its way up to where the plug-in's name is known."""

    def __init__(self, reason: str, hint: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.hint = hint


def load(
    enabled: Mapping[str, Mapping[str, object]],
    found: Iterable[EntryPoint] | None = None,
    *,
    source: Source | None = None,
    left_out: Callable[[str, bool], str] = lambda name, bundled: "",
) -> Loaded:
    """Import and vet the plug-ins that are enabled.

    Args:
        enabled: by name the table ``[plugin.<name>]``, empty where there is none.
        found: entry points to choose from; None looks at what is installed.
        source: the file the tables come from, so that mistakes can be told with their lines.
        left_out: says why a plug-in (name, whether it is bundled) is not even imported this time, "" if it is.

    Returns:
        Every enabled plug-in is in it once, as running or refused; this never raises for a plug-in's faults.
    """
    by_name: dict[str, list[EntryPoint]] = {}
    for point in entry_points(group=GROUP) if found is None else found:
        known = by_name.setdefault(point.name, [])
        if point.value not in [other.value for other in known]:
            known.append(point)
    manager = pluggy.PluginManager(GROUP)
    manager.add_hookspecs(hooks)
    version = _Versions()
    plugins, refused = [], []
    for name, table in enabled.items():
        start = time.perf_counter()
        try:
            point = _chosen(name, by_name)
            if why := left_out(name, _distribution(point) == BUNDLE):
                raise RefusalError(why, LEFT_OUT_HINT)
            info, calls = _vetted(manager, point)
            settings = _settings(name, info, table, source or Source())
            took_s = time.perf_counter() - start
            plugins.append(LoadedPlugin(name, info, settings, version.of(point), took_s, calls))
        except RefusalError as exc:
            refused.append(Refused(name, exc.reason, exc.hint))
        except GUARDED as exc:  # an odd plug-in can make even looking at it fail
            refused.append(Refused(name, f"looking at it raised {told(exc)}", "report this to its author"))
    installed = [Installed(n, version.of(points[0])) for n, points in sorted(by_name.items()) if n not in enabled]
    return Loaded(tuple(plugins), tuple(refused), tuple(installed))


def _vetted(manager: pluggy.PluginManager, point: EntryPoint) -> tuple[PluginInfo, dict[str, pluggy.HookImpl]]:
    module = _imported(point)
    info = _info(manager, module)
    _check_hooks(manager, module)
    return info, _registered(manager, module, point.name)


def _chosen(name: str, by_name: Mapping[str, list[EntryPoint]]) -> EntryPoint:
    points = by_name.get(name, [])
    if not points:
        near = nearest(name, by_name)
        hint = f"did you mean {near!r}?" if near else "install it beside underdash, or take it out of the configuration"
        raise RefusalError("it is not installed", hint)
    if len(points) > 1:
        holders = " and ".join(f"{point.value} of {_distribution(point)}" for point in points)
        raise RefusalError(f"two plug-ins have this name: {holders}", "uninstall one of them")
    return points[0]


def _imported(point: EntryPoint) -> Any:
    try:
        return point.load()
    except GUARDED as exc:
        hint = "install what it needs, or report this to its author"
        if isinstance(exc, ImportError) and (exc.name or "").split(".")[0] == GROUP:
            hint = f"it may be written for a newer underdash; this one speaks contract {CONTRACT}"
        raise RefusalError(f"importing {point.value} raised {told(exc)}", hint) from exc


def _info(manager: pluggy.PluginManager, module: Any) -> PluginInfo:
    """Ask the plug-in who it is; before all other checks, which a newer contract would fail for the wrong reason."""
    if manager.parse_hookimpl_opts(module, "plugin") is None:
        raise RefusalError("it has no plugin() hook", "add one that returns a PluginInfo, marked with @hookimpl")
    _check_arguments("plugin", module.plugin)
    try:
        info = module.plugin()
    except GUARDED as exc:
        raise RefusalError(f"plugin() raised {told(exc)}", "report this to its author") from exc
    if not isinstance(info, PluginInfo):
        raise RefusalError(f"plugin() returned {described(info)}", "it must return a PluginInfo")
    if type(info.contract) is not int or info.contract < 1:
        raise RefusalError(f"its contract is {info.contract!r}", f"a whole number from 1 to {CONTRACT} is allowed")
    if info.contract > CONTRACT:
        reason = f"it is written for contract {info.contract}, this underdash speaks {CONTRACT}"
        raise RefusalError(reason, "upgrade underdash, or install an older version of the plug-in")
    if info.settings is not None and not (isinstance(info.settings, type) and is_dataclass(info.settings)):
        raise RefusalError(
            f"its settings are {described(info.settings)}", "PluginInfo.settings takes a dataclass or None"
        )
    return info


def _check_hooks(manager: pluggy.PluginManager, module: Any) -> None:
    for attribute in dir(module):
        options = manager.parse_hookimpl_opts(module, attribute)
        if options is None or options["optionalhook"]:
            continue
        hook = options["specname"] or attribute
        if hook not in HOOKS:
            near = nearest(hook, HOOKS)
            raise RefusalError(f"{hook!r} is no hook", f"did you mean {near!r}?" if near else "see DEVELOPERS.md")
        if options["wrapper"] or options["hookwrapper"]:
            raise RefusalError(f"{hook} is a wrapper", "implement the hook plainly; each is called by itself")
        _check_arguments(hook, getattr(module, attribute))


def _check_arguments(hook: str, implementation: Callable[..., object]) -> None:
    if inspect.iscoroutinefunction(implementation) or inspect.isasyncgenfunction(implementation):
        raise RefusalError(f"{hook} is async", "hooks are plain functions that come back at once")
    for name, parameter in inspect.signature(implementation).parameters.items():
        required = parameter.default is parameter.empty and parameter.kind is parameter.POSITIONAL_OR_KEYWORD
        if required and name not in HOOKS[hook].takes:
            allowed = ", ".join(HOOKS[hook].takes) or "nothing"
            raise RefusalError(f"{hook} asks for {name!r}", f"this hook hands over {allowed}")


def _registered(manager: pluggy.PluginManager, module: Any, name: str) -> dict[str, pluggy.HookImpl]:
    """Let pluggy have its say too, and return the implementations by hook."""
    try:
        manager.register(module, name)
        manager.check_pending()
        found = {hook: getattr(manager.hook, hook).get_hookimpls() for hook in HOOKS}
    except Exception as exc:
        raise RefusalError(f"its hooks do not fit: {told(exc)}", "see DEVELOPERS.md for the hooks") from exc
    finally:
        if manager.has_plugin(name):
            manager.unregister(name=name)
    return {hook: implementations[0] for hook, implementations in found.items() if implementations}


def _settings(name: str, info: PluginInfo, table: Mapping[str, object], source: Source) -> Any:
    if info.settings is None:
        if table:
            raise RefusalError(f"it takes no settings, found {', '.join(table)}", f"remove [plugin.{name}]")
        return None
    from .config.structure import check_settings

    try:
        return check_settings(info.settings, table, source, ("plugin", name))
    except ConfigError as exc:
        listed = "; ".join(str(mistake) for mistake in exc.mistakes)
        step = f"correct [plugin.{name}] in {source.file}" if source.file else _NO_FILE.format(name=name)
        raise RefusalError(f"its settings do not fit: {listed}", step) from exc
    except GUARDED as exc:
        raise RefusalError(f"its settings class raised {told(exc)}", "report this to its author") from exc


_NO_FILE = "write them into [plugin.{name}] of a configuration, and name that with --config"


def told(exc: BaseException) -> str:
    """Say what was raised and where."""
    frames = [frame for frame in extract_tb(exc.__traceback__) if not frame.filename.startswith("<")]
    place = f" ({Path(frames[-1].filename).name}, line {frames[-1].lineno})" if frames else ""
    return f"{raised(exc)}{place}"


def described(value: object) -> str:
    """Say what was found where something else was wanted."""
    return "None" if value is None else f"{safe_repr(value)} ({type(value).__name__})"


def _distribution(point: EntryPoint) -> str:
    return point.dist.name if point.dist else "an unknown distribution"


class _Versions:
    """Versions of distributions; finding one out means reading a file, so each is read once."""

    def __init__(self) -> None:
        self._known: dict[int, str] = {}

    def of(self, point: EntryPoint) -> str:
        if point.dist is None:
            return ""
        if id(point.dist) not in self._known:
            self._known[id(point.dist)] = point.dist.version
        return self._known[id(point.dist)]
