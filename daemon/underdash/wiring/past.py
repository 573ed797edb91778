"""What earlier lives teach this one: a page that hung stays off; after three bad ends only bundled plug-ins run.

And what a start goes without since a plug-in does not run, which is told in the same places.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint, entry_points
from importlib.util import find_spec
from pathlib import Path
from types import CodeType
from typing import Any

from ..contract.pages import Page
from ..loading import GROUP
from ..loading import LEFT_OUT_HINT as LEAVE
from ..service.ledger import CRASHES, WINDOW_S, BadEnd, crowded
from ..service.witness import Frame

NO_CAR = "no car: its plug-in does not run"


@dataclass(slots=True)
class Past:
    """What is known of earlier lives.

    Attributes:
        bad: how they ended.
        safe: so many ended badly lately that others' plug-ins are left out.
        no_car: why no car is described this time, "" if one is.
        missing: sentences about what rests on a plug-in that is left out, with how to have it back.
    """

    bad: tuple[BadEnd, ...] = ()
    safe: bool = False
    no_car: str = ""
    missing: list[str] = field(default_factory=list)
    _off: dict[str, tuple[str, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, bad: Iterable[BadEnd], now: float) -> Past:
        """Judge by what the ledger says at a monotonic time."""
        bad = tuple(bad)
        return cls(bad, crowded(bad, now))

    @property
    def suspects(self) -> tuple[str, ...]:
        """Plug-ins in whose code lives ended."""
        return tuple(dict.fromkeys(one.plugin for one in self.bad if one.plugin))

    @property
    def note(self) -> str:
        """A few words for the panels."""
        if self.safe:
            last = next((one for one in reversed(self.bad) if one.plugin), None)
            return f"safe mode: {last.plugin} {last.word}" if last is not None else "safe mode"
        if self.missing:
            return NO_CAR if self.no_car else "a panel's driver is missing"
        return next((f"page {page} is off: it {word}" for page, (word, _) in self._off.items()), "")

    @property
    def remedy(self) -> str:
        """Safe mode or what is missing, and the way out of it, for the status page; "" where all is there."""
        if self.safe:
            return f"{self.note}; restart underdash to try all again"
        return f"{self.note}: see underdash check" if self.missing else ""

    @property
    def faults(self) -> tuple[str, ...]:
        """The same in sentences, with how to leave it."""
        told = (*self.missing, *(why for _, why in self._off.values()))
        if not self.safe:
            return told
        last = self.bad[-1].sentence
        whose = f"; seen in {', '.join(self.suspects)}" if self.suspects else ""
        count, minutes = len(self.bad), WINDOW_S / 60
        return (
            *told,
            f"safe mode: underdash ended badly {count} times, {CRASHES} of them within {minutes:.0f} minutes (the last "
            f"life {last}{whose}), so others' plug-ins are left out; {LEAVE}",
        )

    def misses(self, sentence: str) -> None:
        """Take note of what is missing since a plug-in is left out or refused."""
        self.missing.append(f"{sentence}; {LEAVE}" if self.safe else sentence)

    def misses_car(self, why: str) -> None:
        """Take note that there is no car, which may be all that is missing."""
        how = "none is described in safe mode" if self.safe else "none is described"
        self.no_car = f"{how}, so its buses are only listened to: {why}"
        self.misses(f"car: {self.no_car}")

    def left_out(self, plugin: str, bundled: bool) -> str:
        """Say why a plug-in does not run this time, "" if it does."""
        if not self.safe or (bundled and plugin not in self.suspects):
            return ""
        own = [one for one in self.bad if one.plugin == plugin]
        return f"safe mode, an earlier life {own[-1].sentence}" if own else "safe mode, and it is not one of ours"

    def page_off(self, plugin: str, page: Page) -> str:
        """Say why a page is not drawn this time, "" if it is: the life before ended while it was being drawn."""
        for one in self.bad:
            if one.plugin == plugin and _drawn_in(page.draw, one.frames):
                why = f"page {page.name!r} of plug-in {plugin} is off: an earlier life {one.sentence}; {LEAVE}"
                self._off[page.name] = one.word, why
                return why
        return ""


def _drawn_in(draw: Callable[..., Any], frames: Iterable[Frame]) -> bool:
    code = _code(draw)
    if code is None:
        return False
    lines = [line for _, _, line in code.co_lines() if line is not None]
    return any(
        frame.file == code.co_filename and frame.function in (code.co_name, code.co_qualname)
        and min(lines, default=0) <= frame.line <= max(lines, default=0)
        for frame in frames
    )  # fmt: skip


def _code(called: Callable[..., Any]) -> CodeType | None:
    while isinstance(called, functools.partial):
        called = called.func
    called = getattr(called, "__func__", called)
    found = getattr(called, "__code__", None)
    return found if isinstance(found, CodeType) else None


def owners(enabled: Iterable[str], found: Iterable[EntryPoint] | None = None) -> Callable[[str], str]:
    """Return what says whose code a file is; nothing of the plug-ins is imported for that.

    Args:
        enabled: names of plug-ins.
        found: entry points; None looks at what is installed.
    """
    places = dict(_places(enabled, entry_points(group=GROUP) if found is None else found))

    def owner(file: str) -> str:
        path = Path(file)
        return next((name for place, name in places.items() if path == place or place in path.parents), "")

    return owner


def _places(enabled: Iterable[str], found: Iterable[EntryPoint]) -> Mapping[Path, str]:
    wanted, places = set(enabled), {}
    for point in found:
        if point.name not in wanted:
            continue
        try:
            spec = find_spec(point.module.partition(".")[0])
        except (ImportError, ValueError):
            continue
        for place in (spec.submodule_search_locations or ()) if spec is not None else ():
            places[Path(place)] = point.name
        if spec is not None and spec.origin and not spec.submodule_search_locations:
            places[Path(spec.origin)] = point.name
    return places
