"""Demand: who wants which signal how often, and what that asks of the sources.

Pages, alerts and the recorder want signals; a derived signal passes the wish on to its inputs, an alert's condition
to the signal it rests on. The result says of every signal how strongly and how often it is wanted.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum

from ..contract.pages import Alert, Page
from ..contract.sources import Derived

ALERT_PERIOD_S = 1.0
RECORDER_PERIOD_S = 1.0
HIDDEN_SLOWER = 10.0
HIDDEN_PERIOD_S = 2.0


class WantKind(IntEnum):
    """Who wants a signal; of two who want the same the first outweighs the second."""

    PAGE = 0
    ALERT = 1
    RECORDER = 2
    HIDDEN = 3


@dataclass(frozen=True, slots=True)
class Want:
    """A wish for a signal: who has it, and the longest time between two samples that would satisfy it."""

    kind: WantKind
    period_s: float

    def joined(self, other: Want) -> Want:
        """Return the one wish that satisfies both."""
        return Want(min(self.kind, other.kind), min(self.period_s, other.period_s))


def gather(
    shown: Iterable[Page] = (),
    hidden: Iterable[Page] = (),
    alerts: Iterable[Alert] = (),
    recorded: Iterable[str] = (),
    watched: Iterable[str] = (),
) -> dict[str, Want]:
    """Return what pages on a panel, pages that are not, alerts and the recorder want, by signal.

    What is `watched` is wanted like an alert's signal: it decides what may be done.
    """
    wants: dict[str, Want] = {}
    for page in shown:
        _add(wants, page.signals, Want(WantKind.PAGE, page.period_s))
    for page in hidden:
        slower = max(HIDDEN_PERIOD_S, page.period_s * HIDDEN_SLOWER)
        _add(wants, page.signals, Want(WantKind.HIDDEN, slower))
    for alert in alerts:
        condition = () if alert.only_while is None else (alert.only_while[0],)
        _add(wants, (alert.signal, *condition), Want(WantKind.ALERT, ALERT_PERIOD_S))
    _add(wants, watched, Want(WantKind.ALERT, ALERT_PERIOD_S))
    _add(wants, recorded, Want(WantKind.RECORDER, RECORDER_PERIOD_S))
    return wants


def expand(wants: Mapping[str, Want], derived: Iterable[Derived]) -> dict[str, Want]:
    """Pass wishes on through derived signals to their inputs, however deep.

    Args:
        wants: wishes by signal.
        derived: all derived signals; several may give one signal, all of them pass its wish on.

    Returns:
        The wishes given, joined with those that follow. An input is not wanted more often than its derived signal
        is computed.
    """
    by_signal: dict[str, list[Derived]] = {}
    for item in derived:
        by_signal.setdefault(item.signal, []).append(item)
    result: dict[str, Want] = {}
    todo = list(wants.items())
    while todo:
        name, want = todo.pop()
        known = result.get(name)
        joined = want if known is None else known.joined(want)
        if joined == known:
            continue
        result[name] = joined
        for item in by_signal.get(name, ()):
            passed_on = Want(joined.kind, max(joined.period_s, item.period_s))
            todo.extend((source, passed_on) for source in item.inputs)
    return result


def _add(wants: dict[str, Want], names: Iterable[str], want: Want) -> None:
    for name in names:
        known = wants.get(name)
        wants[name] = want if known is None else known.joined(want)
