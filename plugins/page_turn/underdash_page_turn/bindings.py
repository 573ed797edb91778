"""From settings and the car's buttons to handlers."""

from __future__ import annotations

from collections.abc import Sequence

from underdash import Action, ButtonHandler, CarDescription, Gesture, GestureKind, Snapshot

from .settings import Binding, Settings
from .words import action

ONWARD = ("next", "right", "up", "plus")
BACK = ("previous", "left", "down", "minus")
STANDS_KMH = 1.0


def bindings_for(car: CarDescription, settings: Settings) -> tuple[Binding, ...]:
    """Return what the owner bound, or holds of the car's own buttons.

    Buttons that act on driving are left alone. Onward goes to the button whose name says so, back likewise; a third
    button, or the second if there are only two, acknowledges and resets the peak.
    """
    if settings.bindings:
        return settings.bindings
    free = [name for name, what in car.buttons if what != "driving"]
    onward = _named(free, ONWARD) or (free[0] if free else None)
    rest = [name for name in free if name != onward]
    back = (_named(rest, BACK) or rest[0]) if len(rest) > 1 else None
    clear = next((name for name in rest if name != back), None)
    wanted = ((onward, ("next",)), (back, ("previous",)), (clear, ("acknowledge", "reset peak")))
    return tuple(Binding(button=name, do=do, hold_s=settings.hold_s) for name, do in wanted if name is not None)


def handler(binding: Binding) -> ButtonHandler:
    """Return the handler of a binding."""
    actions = tuple(action(words) for words in binding.do)

    def on(gesture: Gesture, snapshot: Snapshot) -> Sequence[Action]:
        return actions

    condition = stands if binding.standing else None
    return ButtonHandler(binding.button, GestureKind(binding.gesture), on, binding.hold_s, condition)


def stands(snapshot: Snapshot) -> bool:
    """Say whether the car is known to stand still."""
    speed_kmh = snapshot.number("vehicle.speed")
    return speed_kmh is not None and speed_kmh < STANDS_KMH


def _named(names: Sequence[str], words: Sequence[str]) -> str | None:
    for word in words:
        for name in names:
            if word in name.split("_"):
                return name
    return None
