"""The page `temperatures`."""

from __future__ import annotations

from underdash import Canvas, CarDescription, Page, Snapshot

from .limits import KNOWN, STORED, limits_for, role_for, scale_for
from .settings import Settings

PAGE = "temperatures"
MOST = 4


def provided(car: CarDescription) -> set[str]:
    """Return the signals a car's description provides."""
    listened = {field.signal for listener in car.broadcasts for field in listener.fields}
    return listened | {field.signal for poll in car.polls for field in poll.fields}


def candidates(car: CarDescription, settings: Settings) -> tuple[str, ...]:
    """Return the signals of the page, the main one first.

    What the owner named is taken as it is. Otherwise it is what the car's description has of those this plug-in
    knows, and all of them if it has none: another plug-in may ask for them.
    """
    there = provided(car)
    chosen = list(settings.signals) or [signal for signal in KNOWN if signal in there][:MOST] or list(KNOWN)
    if settings.main:
        chosen = [settings.main, *(signal for signal in chosen if signal != settings.main)]
        chosen = chosen[:MOST] if there & set(chosen) else chosen
    return tuple(chosen)


def temperatures_page(car: CarDescription, settings: Settings) -> Page:
    """Return the page for a car under these settings."""
    wanted = candidates(car, settings)

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        there = [signal for signal in wanted if snapshot.reading(signal).unit]
        main = settings.main or (there or wanted)[0]
        rest = [signal for signal in there if signal != main][: MOST - 1]
        _draw_main(canvas, snapshot, main, settings)
        canvas.rows(
            tuple(
                (
                    limits_for(signal, settings.limits).label or signal,
                    snapshot.reading(signal),
                    role_for(snapshot.number(signal), limits_for(signal, settings.limits)),
                )
                for signal in rest
            )
        )

    return Page(PAGE, "Temperatures", draw, needs=wanted, period_s=1.0)


def shown_unit(signal: str, snapshot: Snapshot) -> str:
    """Return the unit the owner sees a temperature in."""
    return snapshot.units.get(signal) or snapshot.units.get(STORED) or STORED


def _draw_main(canvas: Canvas, snapshot: Snapshot, signal: str, settings: Settings) -> None:
    limits = limits_for(signal, settings.limits)
    reading = snapshot.reading(signal)
    canvas.title(limits.label or signal)
    canvas.sweep(reading, scale_for(limits, shown_unit(signal, snapshot)))
    canvas.figure(reading)
    if not reading.unit:
        canvas.remark(f"no source for {limits.label or signal}")
