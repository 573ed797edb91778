"""The core's own page: what is the matter, in one sentence, and four lines about buses, ignition, requests, values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..bus.health import BusState
from ..bus.link import BusStatus
from ..contract.pages import Canvas, Page, Role
from ..contract.signals import Age, Quality, Reading, Snapshot
from .chain import ORDINARY, THERE, Chain, worst

NAME = "status"
HEARS = (BusState.LISTENING, BusState.SENDING)


@dataclass(frozen=True, slots=True)
class News:
    """What the page says; lines are (label, value, role)."""

    sentence: str = "starting"
    role: Role = Role.SOFT
    lines: tuple[tuple[str, str, Role], ...] = ()


class StatusPage:
    """The page and what it says; `news` is replaced as a whole, since pages are drawn in another thread."""

    def __init__(self) -> None:
        self.news = News()
        self.page = Page(NAME, "Status", self._draw, needs=(), period_s=1.0)

    def _draw(self, canvas: Canvas, snapshot: Snapshot) -> None:
        news = self.news
        canvas.title(NAME)
        canvas.sentence(news.sentence, news.role)
        canvas.rows(tuple((label, _reading(value), role) for label, value, role in news.lines))


def news(chains: Iterable[Chain], buses: Iterable[BusStatus], ignition: str, requests: str, fault: str = "") -> News:
    """Put the page's words together.

    Args:
        chains: of all that the panels' pages need.
        buses: newest states.
        ignition: position, in a word.
        requests: how many a second, or why there are none, in a word.
        fault: what failed apart from missing values, "" if nothing.
    """
    chains, buses = list(chains), list(buses)
    chain = worst(chains)
    there = sum(one.fault.cause in THERE for one in chains)
    lines = (
        ("buses", *_buses(buses)),
        ("key", ignition, Role.INK if ignition == "on" else Role.SOFT),
        ("requests", requests, Role.INK if requests.endswith("/s") else Role.SOFT),
        ("values", f"{there}/{len(chains)}", Role.INK if there == len(chains) else Role.CAUTION),
    )
    if chain is not None and chain.fault.cause not in ORDINARY:
        return News(chain.sentence, Role.CAUTION, lines)
    if fault:
        return News(fault, Role.CAUTION, lines)
    if chain is not None and chain.fault.cause not in THERE:
        return News(chain.sentence, Role.INK, lines)
    return News("all is well", Role.INK, lines)


def _buses(buses: list[BusStatus]) -> tuple[str, Role]:
    deaf = [bus for bus in buses if bus.state not in HEARS]
    if not buses:
        return "none", Role.CAUTION
    if not deaf:
        return f"{len(buses)} heard", Role.INK
    return f"{len(buses) - len(deaf)}/{len(buses)} heard", Role.CAUTION


def _reading(text: str) -> Reading:
    return Reading("", text, None, "", 0, Age.FRESH, None, Quality.GOOD, "")
