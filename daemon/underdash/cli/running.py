"""The daemon built, started, asked over its socket, and ended in order."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import gc
import signal
from collections.abc import Callable, Mapping
from functools import partial

import structlog

from ..bus.link import Link
from ..bus.runtime import runtime_directory
from ..bus.trace import TraceWriter
from ..config.schema import Config
from ..contract.errors import UnderdashError
from ..contract.signals import PowerState
from ..service.control import ControlError, RunsAlreadyError
from ..service.growth import Growth, Tracemalloc, machine_mb
from ..service.notify import notify
from ..service.power_off import PowerOff
from ..service.watchdog import watchdog_s
from ..wiring.building import Built, build
from ..wiring.control import Desk
from ..wiring.first_page import FirstPage
from ..wiring.growing import Growing
from ..wiring.heartbeat import Heartbeat, progress
from ..wiring.hold_line import HoldLine
from ..wiring.past import owners
from ..wiring.recorder import Recorder, file_bytes, new_trace
from ..wiring.reloading import Reloading
from ..wiring.trying import Trying
from .common import uninterrupted
from .life import Life

_log = structlog.get_logger()

KEY_S = 4.0
"""So long the key is watched while the machine goes off; well within the unit's TimeoutStopSec."""
LOOK_S = 0.05


def serve(config: Config, first: FirstPage, life: Life, *, attended: bool) -> None:
    """Run the daemon until SIGTERM, SIGINT or the end of the supply.

    Args:
        config: what the owner wrote.
        first: the panels that are open already.
        life: the one that began.
        attended: a person vouches that the ignition is on.

    Raises:
        UnderdashError: something named in the configuration is not there, a bus is in use, or the daemon grew too much.
    """
    with uninterrupted():
        loop = asyncio.SelectorEventLoop()
    try:
        _run(config, loop, first, life, attended)
    finally:
        loop.close()


def _run(config: Config, loop: asyncio.AbstractEventLoop, first: FirstPage, life: Life, attended: bool) -> None:
    recorders: list[Recorder] = []
    supply, power_off = HoldLine(config.power), PowerOff(runtime_directory())
    power_off.begin()
    past = life.past
    for fault in past.faults:
        _log.error("safe_mode", text=fault)
    built = build(
        config,
        loop,
        recorder=lambda links: _recorder(config, links, recorders),
        power_off=power_off,
        told=_told,
        attended=attended,
        first=first,
        past=past,
    )
    for fault in past.missing:
        _log.error("goes_without", text=fault)
    with contextlib.ExitStack() as ending:  # each in its turn, whatever the one before it did
        ending.callback(lambda: supply.close(off=built.daemon.power.state is PowerState.HALTING))
        for recorder in recorders:
            ending.callback(recorder.close)
        ending.callback(built.release)
        ending.callback(built.keep)
        ending.callback(built.daemon.stop)
        loop.add_signal_handler(signal.SIGINT, loop.stop)
        loop.add_signal_handler(signal.SIGTERM, _end, loop, power_off)
        growing = _growing(config, loop, built, life)
        _open_socket(built, loop, ending, partial(_reloaded, growing))
        _start(built)
        daemon = built.daemon
        look = partial(progress, daemon)
        heartbeat = Heartbeat(loop, look, daemon.status, notify, watchdog_s(), witness=life.ledger.witness)
        heartbeat.start()
        ending.callback(notify, "STOPPING=1", "STATUS=ending")
        ending.callback(heartbeat.stop)
        growing.start()
        ending.callback(growing.stop)
        gc.freeze()  # what is there by now stays; it is not looked through again and again
        gc.enable()
        loop.run_forever()
    if growing.too_large:
        life.ledger.ended(growing.too_large, growing.suspected)
        raise UnderdashError(f"the daemon {growing.too_large} and is started anew by its service")


def _growing(config: Config, loop: asyncio.AbstractEventLoop, built: Built, life: Life) -> Growing:
    growth = Growth(Tracemalloc(owners(config.plugins.enabled)), machine_mb())

    def suspend(plugin: str, reason: str) -> None:  # of the assembly there is by then: a description is read anew
        built.assembly.suspensions.add(plugin, reason)

    return Growing(loop, growth, suspend, life.ledger)


def _reloaded(growing: Growing) -> None:
    """Clear up after a description that was read again.

    What there was before rests on itself in rings. Without this a dozen of them pile up until Python looks, which takes
    it a moment only, as nothing that was there at the start is looked through.
    """
    gc.collect()
    growing.reloaded()


def _end(loop: asyncio.AbstractEventLoop, power_off: PowerOff) -> None:
    """End; where the machine is going off, watch the key for a while first, as it may come back."""
    began = loop.time()

    def look() -> None:
        if power_off.under_way and loop.time() - began < KEY_S:
            loop.call_later(LOOK_S, look)
        else:
            loop.stop()

    look()


def _open_socket(
    built: Built, loop: asyncio.AbstractEventLoop, ending: contextlib.ExitStack, reloaded: Callable[[], None]
) -> None:
    """Let other commands ask this daemon."""
    desk = Desk(built.daemon, loop)
    trying = Trying(built, Reloading(built, loop, _told, reloaded), loop)
    desk.handlers.update(trying.handlers)
    loop.add_signal_handler(signal.SIGHUP, trying.reload)
    control = desk.control()
    try:
        control.open()
    except RunsAlreadyError:
        raise
    except ControlError as exc:  # a gauge that cannot be asked is better than none
        _log.warning("no_socket", error=str(exc))
        return
    ending.callback(control.close)
    ending.callback(desk.close)
    ending.callback(trying.close)


def _start(built: Built) -> None:
    for problem in built.assembly.problems:
        _log.warning("problem", text=problem)
    for refused in built.assembly.loaded.refused:
        _log.warning("plugin_refused", plugin=refused.name, reason=refused.reason, hint=refused.hint)
    for plugin in built.assembly.loaded.plugins:
        _log.info("plugin", name=plugin.name, version=plugin.version)
    if built.daemon.sending.guard.quiet:
        _log.warning("quiet", text="kept from before: nothing is sent until underdash quiet off")
    built.daemon.start()
    notify("READY=1")
    _log.info("started", car=built.assembly.car.name, buses=",".join(built.daemon.links))


def _recorder(config: Config, links: Mapping[str, Link], made: list[Recorder]) -> Recorder | None:
    if not config.recording.traces:
        return None
    folder, share_mb = config.path.parent / config.recording.folder, config.recording.share_mb

    def following() -> TraceWriter:
        return new_trace(folder, share_mb, datetime.datetime.now(datetime.UTC))

    made.append(Recorder(following(), links, following, file_bytes(share_mb)))
    return made[0]


def _told(sentence: str) -> None:
    _log.info("asking", text=sentence)
