"""The page `battery`."""

from __future__ import annotations

from dataclasses import replace

from underdash import Age, Canvas, Page, Quality, Reading, Role, Scale, Snapshot, Zone

from .rest import ENGINE_SPEED, VOLTAGE, runs
from .settings import Settings

CHARGE = "battery.rest_charge"
CURRENT = "low_voltage_battery.current"
TEMPERATURE = "low_voltage_battery.temperature"
DECIMALS = 2
"""At rest a tenth of a volt is a tenth of the charge, so it is shown finer than while it moves."""
RESTING = "resting"


def battery_page(settings: Settings) -> Page:
    """Return the page under these settings."""
    full = settings.rest[-1][0]
    zones = (
        Zone(settings.scale_low, settings.low, Role.CAUTION),
        Zone(settings.high, settings.scale_high, Role.WARNING),
    )
    scale = Scale(settings.scale_low, settings.scale_high, full, zones)

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        voltage = snapshot.reading(VOLTAGE)
        canvas.title("battery")
        canvas.sweep(voltage, scale)
        rests = state(snapshot, settings)[0] == RESTING
        canvas.figure(replace(voltage, digits=DECIMALS) if rests else voltage)
        canvas.rows(tuple(_rows(snapshot, settings)))
        remark = doubt(snapshot)
        if remark:
            canvas.remark(remark, Role.SOFT if voltage.provided else Role.CAUTION)

    return Page("battery", "Battery", draw, (VOLTAGE,), uses=(ENGINE_SPEED, CHARGE, CURRENT, TEMPERATURE), period_s=0.5)


def state(snapshot: Snapshot, settings: Settings) -> tuple[str, Role]:
    """Return what happens to the battery, in a word or two."""
    volts = snapshot.number(VOLTAGE)
    if volts is None:
        return "--", Role.SOFT
    if volts >= settings.charging:
        return "charging", Role.INK
    inputs = {name: snapshot.reading(name) for name in (VOLTAGE, ENGINE_SPEED)}
    # no caution: the alternators of newer cars pause on purpose
    return ("in use" if runs(inputs, settings.charging) else RESTING), Role.INK


def doubt(snapshot: Snapshot) -> str:
    """Return what must be said about the page in a few words, "" if nothing."""
    if not snapshot.reading(VOLTAGE).provided:
        return "no source for voltage"
    charge = snapshot.reading(CHARGE)
    if charge.value is None:
        return ""
    return "if it has rested for hours" if charge.quality is Quality.ASSUMED else "charge is rough"


def _rows(snapshot: Snapshot, settings: Settings) -> list[tuple[str, Reading, Role]]:
    words, role = state(snapshot, settings)
    rows = [("state", _said(words), role)]
    charge = snapshot.reading(CHARGE)
    if charge.value is not None:
        rows.append(("charge", charge, Role.INK))
    for label, name in (("current", CURRENT), ("temp.", TEMPERATURE)):
        if snapshot.reading(name).provided:
            rows.append((label, snapshot.reading(name), Role.INK))
    return rows[:3]


def _said(words: str) -> Reading:
    return Reading("", words, None, "", 0, Age.FRESH, None, Quality.GOOD, "")
