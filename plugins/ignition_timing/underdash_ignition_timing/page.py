"""The page `ignition_timing`."""

from __future__ import annotations

from dataclasses import replace

from underdash import Canvas, Page, Reading, Role, Scale, Snapshot

from .settings import Settings

TIMING = "engine.ignition_timing"
KNOCK = "engine.knock_retard"
CYLINDERS = tuple(f"engine.knock_retard_{n}" for n in range(1, 9))
LOAD = "engine.load"


def timing_page(settings: Settings) -> Page:
    """Return the page under these settings."""
    scale = Scale(settings.low, settings.high, 0.0)

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        timing = snapshot.reading(TIMING)
        canvas.title("ignition")
        canvas.sweep(timing, scale)
        canvas.figure(timing)
        knock, load = worst_cylinder(snapshot), snapshot.reading(LOAD)
        rows = [("knock", knock, knock_role(knock, settings))] if knock is not None else []
        if load.provided:
            rows.append(("load", load, Role.INK))
        if rows:
            canvas.rows(tuple(rows))
        else:
            canvas.strip(snapshot.history(TIMING), scale, seconds=settings.history_s)
        if not timing.provided:
            canvas.remark("no source for timing")

    return Page(
        "ignition_timing",
        "Ignition timing",
        draw,
        needs=(TIMING,),
        uses=(KNOCK, *CYLINDERS, LOAD),
        period_s=0.1,
        histories=((TIMING, settings.history_s),),
    )


def worst_cylinder(snapshot: Snapshot) -> Reading | None:
    """Return how much knocking takes back: the car's own worst, or the worst of its cylinders; None if not provided."""
    own = snapshot.reading(KNOCK)
    if own.provided:
        return own
    each = [reading for name in CYLINDERS if (reading := snapshot.reading(name)).provided]
    if not each:
        return None
    known = [reading for reading in each if reading.shown is not None]
    worst = max(known or each, key=lambda reading: reading.shown or 0.0)
    return replace(worst, name=KNOCK)


def knock_role(reading: Reading, settings: Settings) -> Role:
    """Return how a knock retard is shown."""
    if not isinstance(reading.value, float):
        return Role.SOFT
    if reading.value >= settings.knock_warning:
        return Role.WARNING
    return Role.CAUTION if reading.value >= settings.knock_caution else Role.INK
