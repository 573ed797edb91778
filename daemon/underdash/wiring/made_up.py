"""Values a page is tried with where no car is: in what is plausible, and ordinary ones that raise no eyebrow."""

from __future__ import annotations

from collections.abc import Mapping

from ..contract.pages import ALARMS, Page
from ..contract.signals import Kind, Quality, Signal, Snapshot, Value
from ..display.elements import Picture
from ..display.recorder import record
from ..display.sweep import role_of
from .assembly import Assembly

NOW = 1000.0
MIDDLE = 0.5
STEP = 0.05
SHARES = tuple(sorted((round(STEP * n, 2) for n in range(1, 20)), key=lambda share: abs(share - MIDDLE)))
"""Where in its plausible range an ordinary value is looked for, from the middle outwards."""

Shares = Mapping[str, float]


def made_up(assembly: Assembly, page: Page, share: float | Shares | None, quality: Quality = Quality.GOOD) -> Snapshot:
    """Return a snapshot in which every signal of a page that has a source has a value.

    Args:
        assembly: who provides what.
        page: whose signals.
        share: where in its plausible range each number is, 0..1, for all or by signal; None gives no values.
        quality: of all of them.
    """
    store = assembly.store.empty()
    for name in _signals(assembly, page):
        slot = store.slot(name, "made up", 0, period_s=1.0)
        there = share.get(name, MIDDLE) if isinstance(share, Mapping) else share
        value = None if there is None else _value(slot.signal, there)
        if value is not None:
            slot.put(value, quality, NOW)
    return store.snapshot(NOW)


def ordinary(assembly: Assembly, page: Page, size: tuple[int, int] = (240, 240)) -> Shares:
    """Return where in its plausible range each signal of a page is on an ordinary day: out of zones, if it can be.

    One signal after the other takes the place nearest to the middle at which the fewest values are told as a caution
    or a warning. A page that raises does so here.
    """
    shares = dict.fromkeys(_signals(assembly, page), MIDDLE)

    def alarms(name: str, share: float) -> int:
        return _alarms(record(page, made_up(assembly, page, shares | {name: share}), size))

    for name in shares:
        shares[name] = min(SHARES, key=lambda share, name=name: alarms(name, share))  # type: ignore[misc]
    return shares


def _signals(assembly: Assembly, page: Page) -> list[str]:
    there = assembly.store.names()
    return [name for name in dict.fromkeys((*page.needs, *page.uses)) if name in there]


def _alarms(picture: Picture) -> int:
    """Count the values of a picture that are told as a caution or a warning."""
    sweeps = [picture.sweep] if picture.sweep else []
    sweeps += [column.sweep for column in picture.columns]
    roles = [role_of(sweep) for sweep in sweeps]
    roles += [row.role for row in picture.rows]
    roles += [lamp.role for lamp in picture.lamps if lamp.lit]
    return sum(role in ALARMS for role in roles)


def _value(signal: Signal, share: float) -> Value | None:
    match signal.kind:
        case Kind.NUMBER:
            low, high = signal.low or 0.0, 100.0 if signal.high is None else signal.high
            return low + share * (high - low)
        case Kind.SWITCH:
            return share > MIDDLE
        case Kind.CHOICE if signal.choices:
            return signal.choices[round(share * (len(signal.choices) - 1))]
    return None
