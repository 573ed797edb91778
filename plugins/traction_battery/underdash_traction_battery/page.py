"""The page `traction_battery`."""

from __future__ import annotations

from collections.abc import Mapping

from underdash import Canvas, Page, Reading, Result, Role, Scale, Snapshot, Zone

from .settings import Settings

CHARGE = "traction_battery.charge"
VOLTAGE = "traction_battery.voltage"
CURRENT = "traction_battery.current"
HOTTEST = "traction_battery.temperature_highest"
MEAN = "traction_battery.temperature"
SPREAD = "traction_battery.cell_voltage_spread"
HIGHEST = "traction_battery.cell_voltage_highest"
LOWEST = "traction_battery.cell_voltage_lowest"
CHARGING = "traction_battery.charging"
POWER = "traction_battery.power"


def power_step(state: object, inputs: Mapping[str, Reading], dt_s: float) -> tuple[object, Result | None]:
    """Compute the power in kW; nothing while voltage or current are not known."""
    voltage, current = inputs[VOLTAGE].value, inputs[CURRENT].value
    if not (isinstance(voltage, float) and isinstance(current, float)):
        return state, None
    return state, Result(voltage * current / 1000.0)


def spread_step(state: object, inputs: Mapping[str, Reading], dt_s: float) -> tuple[object, Result | None]:
    """Compute the spread of the cells in mV; nothing while the ends are not known."""
    highest, lowest = inputs[HIGHEST].value, inputs[LOWEST].value
    if not (isinstance(highest, float) and isinstance(lowest, float)):
        return state, None
    return state, Result(max(0.0, (highest - lowest) * 1000.0))


def traction_battery_page(settings: Settings) -> Page:
    """Return the page under these settings."""
    reserve = settings.low < settings.reserve < settings.high
    zones = (Zone(settings.low, settings.reserve, Role.CAUTION),) if reserve else ()
    scale = Scale(settings.low, settings.high, settings.low, zones)

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        charge = snapshot.reading(CHARGE)
        canvas.title("charging" if snapshot.reading(CHARGING).value is True else "traction")
        canvas.sweep(charge, scale)
        canvas.figure(charge)
        canvas.rows(tuple(_rows(snapshot, settings)))
        if not charge.provided:
            canvas.remark("no source for charge")

    uses = (HOTTEST, MEAN, POWER, SPREAD, CHARGING)
    return Page("traction_battery", "Traction battery", draw, needs=(CHARGE,), uses=uses, period_s=0.5)


def temperature_role(celsius: float | None, settings: Settings) -> Role:
    """Return how a temperature in degC is shown."""
    if celsius is None or celsius < settings.cold:
        return Role.SOFT
    if celsius >= settings.hot:
        return Role.WARNING
    return Role.CAUTION if celsius >= settings.warm else Role.INK


def _rows(snapshot: Snapshot, settings: Settings) -> list[tuple[str, Reading, Role]]:
    rows = []
    name = HOTTEST if snapshot.reading(HOTTEST).provided else MEAN
    if snapshot.reading(name).provided:
        label = "hottest" if name == HOTTEST else "mean"
        rows.append((label, snapshot.reading(name), temperature_role(snapshot.number(name), settings)))
    if snapshot.reading(POWER).provided:
        rows.append(("power", snapshot.reading(POWER), Role.INK))
    if snapshot.reading(SPREAD).provided:
        spread = snapshot.number(SPREAD)
        wide = spread is not None and spread >= settings.spread
        rows.append(("cells", snapshot.reading(SPREAD), Role.CAUTION if wide else Role.INK))
    return rows
