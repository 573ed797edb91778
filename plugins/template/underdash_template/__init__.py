"""How well the charge air cooler works: a plug-in to copy from. It imports from `underdash` only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from underdash import (
    Alert,
    Bits,
    BroadcastListener,
    ButtonHandler,
    Canvas,
    CarDescription,
    Derived,
    Field,
    Gesture,
    GestureKind,
    Limits,
    Page,
    PluginInfo,
    PowerState,
    Reading,
    Result,
    Role,
    Scale,
    ShowPage,
    Signal,
    Snapshot,
    Zone,
    hookimpl,
)

COMPRESSOR = "template.compressor_temperature"
EFFICIENCY = "template.cooler_efficiency"
INPUTS = (COMPRESSOR, "engine.charge_temperature", "ambient.temperature")
STRIP_C = (0.0, 200.0)
"""Ends of the scale of the compressor's temperature."""
LEAST_HEAT_K = 15.0
"""Below this much heat from the compressor the share says nothing."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Keys of ``[plugin.template]``; each has a default, so that the plug-in runs without any."""

    caution_below: Annotated[float, Limits(low=0.0, high=100.0, unit="%")] = 40.0
    button: str = ""


@hookimpl
def plugin() -> PluginInfo:
    """Say who this is."""
    return PluginInfo("how well the charge air cooler works", settings=Settings)


@hookimpl
def signals() -> list[Signal]:
    """Declare what the catalogue does not have."""
    return [
        Signal(COMPRESSOR, "degC", "air that leaves the compressor", low=-60.0, high=350.0),
        Signal(EFFICIENCY, "%", "share of the compressor's heat that the cooler takes out", low=-50.0, high=120.0),
    ]


@hookimpl
def broadcast_listeners(car: CarDescription) -> list[BroadcastListener]:
    """Listen for the compressor's temperature, where the car has the bus. The frame is invented."""
    if "drive" not in [bus.role for bus in car.buses]:
        return []
    field = Field(COMPRESSOR, Bits(3), scale=1.5, offset=-40.0, unavailable=((0xFF, 0xFF),))
    return [BroadcastListener("drive", 0x3A6, (field,), period_s=0.1)]


def efficiency(state: None, inputs: Mapping[str, Reading], dt_s: float) -> tuple[None, Result | None]:
    """Compute the share of heat taken out; nothing while a value is missing or there is hardly any heat."""
    hot, cooled, outside = (inputs[name].value for name in INPUTS)
    if not (isinstance(hot, float) and isinstance(cooled, float) and isinstance(outside, float)):
        return None, None
    if hot - outside < LEAST_HEAT_K:
        return None, None
    return None, Result(100.0 * (hot - cooled) / (hot - outside))


@hookimpl
def derived_signals() -> list[Derived]:
    """Compute the efficiency from three temperatures; asking for it asks for them."""
    return [Derived(EFFICIENCY, INPUTS, efficiency, period_s=0.2)]


@hookimpl
def display_pages(settings: Settings) -> list[Page]:
    """Show the efficiency, and below it the last two minutes of the temperature that the cooler has to deal with."""
    share = Scale(0.0, 100.0, 0.0, (Zone(0.0, settings.caution_below, Role.CAUTION),))

    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        reading = snapshot.reading(EFFICIENCY)
        canvas.sweep(reading, share)
        canvas.figure(reading)
        canvas.title("charge cooler")
        # what is shown is in the owner's unit, perhaps degF: the history is already, limits of ours are brought there
        cold, hot = (snapshot.shown(COMPRESSOR, celsius) for celsius in STRIP_C)
        canvas.strip(snapshot.history(COMPRESSOR), Scale(cold, hot, cold), seconds=120.0)
        if snapshot.reading("ambient.temperature").value is None:
            canvas.remark("no outside temperature")

    return [Page("template", "Charge cooler", draw, (EFFICIENCY,), period_s=0.5, histories=((COMPRESSOR, 120.0),))]


@hookimpl
def alerts(settings: Settings) -> list[Alert]:
    """Say so when the cooler works badly for a while."""
    limit = settings.caution_below
    return [Alert("template_weak", EFFICIENCY, "charge cooler weak", below=limit, clears_by=5.0, delay_s=10.0)]


def show(gesture: Gesture, snapshot: Snapshot) -> list[ShowPage]:
    """Show the page."""
    return [ShowPage("template")]


@hookimpl
def button_handlers(settings: Settings) -> list[ButtonHandler]:
    """Holding the button that the owner named shows the page; without one nothing is bound."""
    return [ButtonHandler(settings.button, GestureKind.HOLD, show, hold_s=1.0)] if settings.button else []


@hookimpl
def power_changed(state: PowerState) -> None:
    """Let go of what should not be held while asleep; this plug-in holds nothing."""
