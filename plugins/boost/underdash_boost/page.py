"""The page `boost`."""

from __future__ import annotations

from underdash import Canvas, Page, Quality, Role, Scale, Snapshot, Zone, convert

from .reference import AMBIENT, CHARGE, MANIFOLD
from .settings import STORED, Settings

BOOST = "engine.boost_pressure"
KNOWN = "boost.known_pressure"
AGE = "boost.reference_age"

__all__ = ["AGE", "BOOST", "CHARGE", "KNOWN", "MANIFOLD", "boost_page", "scale_for"]


def boost_page(settings: Settings) -> Page:
    """Return the page under these settings."""

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        boost = snapshot.reading(BOOST)
        unit = shown_unit(snapshot)
        scale = scale_for(settings, unit, vacuum=knows_vacuum(settings, snapshot))
        canvas.title("boost")
        canvas.sweep(boost, scale, peak=_peak(snapshot, unit))
        canvas.figure(boost, signed=scale.low < 0)
        canvas.strip(snapshot.history(BOOST), scale, seconds=settings.history_s)
        remark = doubt(snapshot)
        if remark:
            canvas.remark(remark)

    return Page(
        "boost",
        "Boost",
        draw,
        needs=(BOOST,),
        uses=(KNOWN, AMBIENT, AGE, MANIFOLD, CHARGE),
        period_s=0.05,
        peaks=(KNOWN,),
        histories=((BOOST, settings.history_s),),
    )


def shown_unit(snapshot: Snapshot) -> str:
    """Return the unit the owner sees boost in."""
    return snapshot.units.get(BOOST) or snapshot.units.get(STORED) or STORED


def knows_vacuum(settings: Settings, snapshot: Snapshot) -> bool:
    """Say whether the scale has a side below zero: charge pressure, before the throttle, never shows vacuum."""
    if settings.vacuum_side != "auto":
        return settings.vacuum_side == "show"
    # a signal that nobody provides has no unit either; one that is merely gone keeps its own, so the scale stays
    return bool(snapshot.reading(MANIFOLD).unit)


def scale_for(settings: Settings, unit: str, *, vacuum: bool) -> Scale:
    """Return the scale in the shown unit."""

    def shown(pressure: float) -> float:
        return convert(pressure, settings.unit, unit)

    top = shown(settings.full_scale)
    starts = [(settings.caution, Role.CAUTION), (settings.warning, Role.WARNING)]
    known = [(shown(start), role) for start, role in starts if start is not None]
    ends = [start for start, _ in known[1:]] + [top]
    zones = tuple(Zone(start, end, role) for (start, role), end in zip(known, ends, strict=False))
    return Scale(-shown(settings.vacuum) if vacuum else 0.0, top, 0.0, zones)


def doubt(snapshot: Snapshot) -> str:
    """Return what must be said about the value in a few words, "" if nothing."""
    if snapshot.reading(BOOST).value is None:
        return missing(snapshot)
    quality = snapshot.reading(AMBIENT).quality
    if quality is Quality.ASSUMED or snapshot.reading(BOOST).quality is Quality.ASSUMED:
        return "reference assumed"
    age_s = snapshot.number(AGE)
    if quality is Quality.DATED and age_s is not None:
        return f"reference {age_s / 60:.0f} min old"
    return ""


def missing(snapshot: Snapshot) -> str:
    """Return what is missing for boost where nobody provides it; nothing if it is only gone for a while."""
    if snapshot.reading(MANIFOLD).unit or snapshot.reading(CHARGE).unit or snapshot.reading(BOOST).seconds_old:
        return ""
    return "no manifold pressure"


def _peak(snapshot: Snapshot, unit: str) -> float | None:
    peak_kpa = snapshot.stored_peaks.get(KNOWN)
    return None if peak_kpa is None or peak_kpa <= 0 else convert(peak_kpa, STORED, unit)
