"""What was found, tried at once: for as long as somebody watches, it is decoded beside the description and shown."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any

import structlog

from ..config.car_layout import Context
from ..config.car_parts import listener_of, own_signal_of
from ..config.mistakes import ConfigError, Mistakes, Source
from ..config.structure import Structure
from ..contract.cars import CarDescription
from ..contract.errors import GivenError, UnderdashError
from ..contract.layout import BroadcastListener
from ..contract.pages import Canvas, Page, Role
from ..contract.signals import Signal, Snapshot
from ..service.control import Conversation, Handler
from ..signals.store import Slot
from .building import Built
from .reloading import AskedByHandError, Reloading, configuration_changed

_log = structlog.get_logger()

PAGE = "trial"
MOST = 4
"""As many values as a page has at most."""
TELL_S = 0.2
LATER_S = 1.0


def trial_page(word: str, signals: Sequence[Signal]) -> Page:
    """Return the page that shows what is tried: one value large, several in rows."""
    names = tuple(signal.name for signal in signals)

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title(word)
        readings = [snapshot.reading(name) for name in names]
        if len(readings) == 1:
            canvas.figure(readings[0])
            canvas.remark(signals[0].meaning, Role.SOFT)
        else:
            canvas.rows(tuple((one.meaning, reading, Role.INK) for one, reading in zip(signals, readings, strict=True)))

    return Page(PAGE, "Trial", draw, names)


def what_is_tried(given: Mapping[str, Any], car: CarDescription) -> tuple[list[Signal], list[BroadcastListener]]:
    """Read the tables of a request; raises `UnderdashError` with the mistakes in them."""
    mistakes = Mistakes(Source("what is to be tried"))
    context = Context(Structure(mistakes), 0, {}, buses={bus.role for bus in car.buses})
    tables = {key: given.get(key) for key in ("signal", "broadcast")}
    for key, entries in tables.items():
        if not isinstance(entries, list) or not 1 <= len(entries) <= MOST:
            raise GivenError(f"request 'try' comes with {key!r}, a list of 1 to {MOST} tables")
    signals = [own_signal_of(one, ("signal", at), context) for at, one in enumerate(tables["signal"] or [])]
    made = [one for one in signals if one is not None]
    context.own = {one.name: one for one in made}
    listeners = [listener_of(one, ("broadcast", at), context) for at, one in enumerate(tables["broadcast"] or [])]
    try:
        mistakes.raise_any()
    except ConfigError as exc:
        raise GivenError(str(exc)) from exc
    taken = {one.name for one in car.signals} & context.own.keys()
    if taken:
        raise GivenError(
            f"{', '.join(sorted(taken))} is a signal of the description already; try it under another name"
        )
    return made, [one for one in listeners if one is not None]


class Trying:
    """Answers ``reload`` and ``try`` for a daemon.

    Args:
        built: the daemon and what is around it.
        reloading: has it take up a description.
        loop: its event loop.
    """

    def __init__(self, built: Built, reloading: Reloading, loop: asyncio.AbstractEventLoop) -> None:
        self._built = built
        self._reloading = reloading
        self._loop = loop
        self._trial: _Trial | None = None
        self._later: asyncio.TimerHandle | None = None
        self._closed = False
        self.handlers: dict[str, Handler] = {"reload": self._reload, "try": self._try}

    def close(self) -> None:
        """Tell of nothing any more; the daemon ends, so that nothing has to be taken back."""
        self._closed = True
        if self._trial is not None:
            self._trial.close()
        if self._later is not None:
            self._later.cancel()

    def reload(self) -> None:
        """Take up the description for somebody who waits for no answer; what is wrong with it goes to the log."""
        try:
            self._again()
        except UnderdashError as exc:
            _log.error("not_reloaded", text=str(exc))

    def _again(self) -> Mapping[str, Any]:
        trial = self._trial
        after = self._reloading.reload(trial.beside if trial is not None else ((), (), ()))
        if trial is not None:
            trial.watch()
        problems = [*after.problems, *configuration_changed(self._built.config)]
        for problem in problems:
            _log.warning("problem", text=problem)
        file = self._built.config.car_file
        return {
            "car": after.car.name,
            "title": after.car.title,
            "file": "" if file is None else str(file.resolve()),
            "problems": problems,
        }

    def _reload(self, talk: Conversation) -> Mapping[str, Any]:
        return self._again()

    def _try(self, talk: Conversation) -> None:
        if self._trial is not None:
            raise UnderdashError("something is tried already; end that first")
        signals, listeners = what_is_tried(talk.given, self._reloading.car)
        word = talk.given.get("word")
        page = trial_page(word if isinstance(word, str) and word else "trial", signals)
        trial = _Trial(talk, self, (tuple(signals), tuple(listeners), (page,)))
        self._reloading.reload(trial.beside)
        self._trial = trial
        for screen in self._built.daemon.screens:
            screen.show(PAGE)
        talk.on_end = trial.end
        trial.watch()
        trial.tell()

    def ended(self) -> None:
        """Go on without what was tried, whatever the description's file says by now."""
        self._trial = None
        if not self._closed:
            self._take_back()

    def _take_back(self) -> None:
        self._later = None
        if self._trial is not None:  # another one, which replaced it
            return
        try:
            self._reloading.reload()
        except AskedByHandError:
            self._later = self._loop.call_later(LATER_S, self._take_back)
        except UnderdashError as exc:
            _log.error("not_reloaded", text=str(exc))
            self._reloading.reload(anew=False)

    @property
    def built(self) -> Built:
        """The daemon and what is around it."""
        return self._built

    @property
    def loop(self) -> asyncio.AbstractEventLoop:
        """Its event loop."""
        return self._loop


class _Trial:
    """One trial: tells whoever asked of every change, until they have seen enough."""

    def __init__(
        self,
        talk: Conversation,
        trying: Trying,
        beside: tuple[tuple[Signal, ...], tuple[BroadcastListener, ...], tuple[Page, ...]],
    ) -> None:
        self.beside = beside
        self._talk = talk
        self._trying = trying
        self._last: dict[str, Any] = {}
        self._changes: list[dict[str, Any]] = []
        self._timer: asyncio.TimerHandle | None = None

    def watch(self) -> None:
        """Take note of samples from now on, of the store that there is now."""
        for signal in self.beside[0]:
            self._trying.built.assembly.store.watch(signal.name, self._sample)

    def _sample(self, slot: Slot) -> None:
        name, value = slot.signal.name, slot.value
        if self._last.get(name) != value:
            self._last[name] = value
            self._changes.append({"signal": name, "value": value, "at": slot.at})

    def tell(self) -> None:
        """Tell what changed since the last time, and again in a while."""
        changes, self._changes = self._changes, []
        panels = [screen.name for screen in self._trying.built.daemon.screens]
        self._talk.more({"changes": changes, "values": dict(self._last), "panels": panels})
        self._timer = self._trying.loop.call_later(TELL_S, self.tell)

    def close(self) -> None:
        """Tell nothing any more."""
        if self._timer is not None:
            self._timer.cancel()

    def end(self, gone: bool) -> None:
        """Take everything back; called once nobody watches any more."""
        self.close()
        self._trying.ended()
        if not gone:
            self._talk.done({"changes": self._changes, "values": dict(self._last)})
