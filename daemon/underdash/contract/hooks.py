"""The hooks: what a plug-in can be asked for, in the order of a daemon's life.

An implementation carries `@hookimpl`, takes the arguments it wants of those named here, and returns a list (or the
one thing named). Each implementation is called by itself and with its own settings. If one raises, returns something
else or never comes back, that plug-in is suspended and named; the others and the daemon go on.
"""

from __future__ import annotations

from typing import Any

import pluggy

from .buttons import ButtonHandler
from .cars import CarDescription, CarFile
from .layout import BroadcastListener
from .pages import Alert, Page, PanelDriver
from .plugin import PluginInfo
from .requests import PollRequest, Protocol
from .signals import PowerState, Signal
from .sources import Derived, Input

hookspec = pluggy.HookspecMarker("underdash")
hookimpl = pluggy.HookimplMarker("underdash")

# --- start-up ---------------------------------------------------------------------------------------------------


@hookspec
def plugin() -> PluginInfo:  # type: ignore[empty-body]
    """Say who you are. Every plug-in must have it.

    Called: first, before anything else of the plug-in is used; again if its panel was lit before others were loaded.
    Return: a `PluginInfo`.
    If it raises: the plug-in is refused and `underdash plugins` says why.

    Example::

        @hookimpl
        def plugin() -> PluginInfo:
            return PluginInfo(about="Boost page", settings=Settings)
    """


@hookspec
def cars() -> list[CarDescription | CarFile]:  # type: ignore[empty-body]
    """Bring descriptions of cars.

    Called: once at start-up, of every enabled plug-in, before the car is chosen.
    Return: descriptions, or files beside the plug-in that hold them.
    If it raises: the plug-in is refused; if a file has mistakes, they are listed and that car cannot be chosen.

    Example::

        @hookimpl
        def cars() -> list[CarFile]:
            return [CarFile(Path(__file__).with_name("tarn.toml"))]
    """


# --- signals and where they come from ---------------------------------------------------------------------------


@hookspec
def signals(settings: Any) -> list[Signal]:  # type: ignore[empty-body]
    """Declare signals beyond the catalogue.

    Called: once at start-up, after the settings were checked.
    Return: signals whose names start with the plug-in's name and a dot.
    If it raises: the plug-in is refused.

    Example::

        @hookimpl
        def signals() -> list[Signal]:
            return [Signal("intercooler.efficiency", "%", "share of the compressor's heat taken out")]
    """


@hookspec
def poll_requests(car: CarDescription, settings: Any) -> list[PollRequest]:  # type: ignore[empty-body]
    """Declare values to be asked for.

    Called: once at start-up.
    Return: requests to control units the car has; each is asked only while its signal is wanted.
    If it raises: the plug-in is refused. A request the guard would never let out is refused by itself, with the reason.

    Example::

        @hookimpl
        def poll_requests(car: CarDescription) -> list[PollRequest]:
            oil = Field("engine.oil_temperature", Bits(0), offset=-40.0)
            return [PollRequest("engine", "service_01", 0x5C, (oil,), period_s=2.0)]
    """


@hookspec
def broadcast_listeners(car: CarDescription, settings: Any) -> list[BroadcastListener]:  # type: ignore[empty-body]
    """Declare frames to be listened to.

    Called: once at start-up.
    Return: listeners; only frames somebody wants a signal of are decoded.
    If it raises: the plug-in is refused.

    Example::

        @hookimpl
        def broadcast_listeners(car: CarDescription) -> list[BroadcastListener]:
            speed = Field("vehicle.speed", Bits(2, 16), scale=0.01)
            return [BroadcastListener("drive", 0x1A0, (speed,), period_s=0.02)]
    """


@hookspec
def inputs(settings: Any) -> list[Input]:  # type: ignore[empty-body]
    """Declare wired lines and sensors.

    Called: once at start-up.
    Return: inputs; each is read as long as the daemon runs. One that cannot be is named, and met when it is there.
    Which wire is the ignition only the owner's configuration may say.
    If it raises: the plug-in is refused.

    Example::

        @hookimpl
        def inputs() -> list[Input]:
            return [Input("dashboard.night", InputKind.GPIO, "GPIO22")]
    """


@hookspec
def derived_signals(car: CarDescription, settings: Any) -> list[Derived]:  # type: ignore[empty-body]
    """Declare signals computed from others.

    Called: once at start-up.
    Return: derived signals; a circle of them is refused.
    If it raises: the plug-in is refused. If a `step` raises, that signal is gone; after three times the plug-in is
    suspended.

    Example::

        @hookimpl
        def derived_signals() -> list[Derived]:
            return [Derived("engine.boost_pressure", ("engine.manifold_pressure", "ambient.pressure"), boost)]
    """


@hookspec
def request_protocols(settings: Any) -> list[Protocol]:  # type: ignore[empty-body]
    """Bring a maker's request format in code.

    Called: once at start-up, before the car's requests are compiled.
    Return: protocols. The guard pins all bytes but those of the identifier and lets out reading commands only.
    If it raises: the plug-in is refused. If an `encode` raises, that request is left out and named; if a `decode`
        raises or gives something else than an `Answer` or None, that frame is dropped, and `why` names the protocol;
        after three times without an answer in between the plug-in is suspended.

    Example::

        @hookimpl
        def request_protocols() -> list[Protocol]:
            return [Protocol("odd", encode, decode, identifier_bytes=(3, 4), command_byte=2)]
    """


# --- what the driver sees and touches ---------------------------------------------------------------------------


@hookspec
def display_pages(car: CarDescription, settings: Any) -> list[Page]:  # type: ignore[empty-body]
    """Bring pages.

    Called: once at start-up.
    Return: pages; the configuration says which are in a panel's deck.
    If it raises: the plug-in is refused. If a `draw` raises or is late, the page is taken off the deck and named.

    Example::

        @hookimpl
        def display_pages() -> list[Page]:
            return [Page("boost", "Boost", draw, needs=("engine.boost_pressure",))]
    """


@hookspec
def alerts(car: CarDescription, settings: Any) -> list[Alert]:  # type: ignore[empty-body]
    """Declare conditions worth the driver's eyes.

    Called: once at start-up.
    Return: alerts; their signals are asked for at a guaranteed minimum rate. A value that has to be asked for comes
    late: an alert informs and protects nothing. It is a caution or a warning; where it names a page, that one is put
    up once.
    If it raises: the plug-in is refused.

    Example::

        @hookimpl
        def alerts() -> list[Alert]:
            return [Alert("gearbox_hot", "gearbox.oil_temperature", "gearbox hot", above=125.0, clears_by=5.0)]
    """


@hookspec
def button_handlers(car: CarDescription, settings: Any) -> list[ButtonHandler]:  # type: ignore[empty-body]
    """Say what gestures on steering-wheel buttons do.

    Called: once at start-up.
    Return: handlers; two for one gesture are an error that names both.
    If it raises: the plug-in is refused. If an `on` raises, nothing is done; after three times the plug-in is
    suspended.

    Example::

        @hookimpl
        def button_handlers(settings: Settings) -> list[ButtonHandler]:
            return [ButtonHandler(settings.button, GestureKind.HOLD, lambda gesture, snapshot: [TurnPage()])]
    """


@hookspec
def panel_drivers(settings: Any) -> list[PanelDriver]:  # type: ignore[empty-body]
    """Bring a kind of panel.

    Called: at start-up, before panels are opened; twice for a driver with its plug-in's name, which is lit first.
    Return: drivers; the configuration names them.
    If it raises: the plug-in is refused. If opening fails, the daemon runs without that panel and tries again.

    Example::

        @hookimpl
        def panel_drivers() -> list[PanelDriver]:
            return [PanelDriver("round", opened=RoundPanel)]
    """


# --- while running ----------------------------------------------------------------------------------------------


@hookspec
def power_changed(state: PowerState) -> None:
    """Learn that the accessory woke, lingers, sleeps or halts.

    Called: after each change, never more often than that.
    Return: nothing; come back at once.
    If it raises: it is logged; after three times the plug-in is suspended.

    Example::

        @hookimpl
        def power_changed(state: PowerState) -> None:
            log.info("power", state=state)
    """
