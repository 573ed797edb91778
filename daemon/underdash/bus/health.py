"""In what state a bus is, as a table, and what a person can do about it.

Pure: an event and a state give the next state. Time comes in as events (`QUIET`, `IDLE`), made by the link.
"""

from __future__ import annotations

from enum import StrEnum


class BusState(StrEnum):
    """What a bus is doing."""

    ABSENT = "absent"
    """The interface is not open."""
    SILENT = "silent"
    """Open, and nobody is heard."""
    LISTENING = "listening"
    """Frames are heard; we send none."""
    SENDING = "sending"
    """Frames are heard, and ours get out."""
    BLOCKED = "blocked"
    """Our frames do not get out."""
    BUS_OFF = "bus_off"
    """The controller has taken itself off the bus after too many errors."""


class BusEvent(StrEnum):
    """What can happen to a bus."""

    OPENED = "opened"
    FAILED = "failed"
    HEARD = "heard"
    QUIET = "quiet"
    """Nothing was heard for a while."""
    SENT = "sent"
    """A frame of ours was taken."""
    IDLE = "idle"
    """No frame of ours was sent for a while."""
    FULL = "full"
    """Several of ours in a row were not taken, or not confirmed."""
    CONTROLLER_OFF = "controller off"
    RESTARTED = "restarted"


_S, _E = BusState, BusEvent

TRANSITIONS: dict[tuple[BusState, BusEvent], BusState] = {
    (_S.ABSENT, _E.OPENED): _S.SILENT,
    (_S.SILENT, _E.HEARD): _S.LISTENING,
    (_S.SILENT, _E.FULL): _S.BLOCKED,
    (_S.LISTENING, _E.QUIET): _S.SILENT,
    (_S.LISTENING, _E.SENT): _S.SENDING,
    (_S.LISTENING, _E.FULL): _S.BLOCKED,
    (_S.SENDING, _E.QUIET): _S.SILENT,
    (_S.SENDING, _E.IDLE): _S.LISTENING,
    (_S.SENDING, _E.FULL): _S.BLOCKED,
    # what is heard proves nothing about what gets out
    (_S.BLOCKED, _E.SENT): _S.SENDING,
    (_S.BLOCKED, _E.IDLE): _S.SILENT,
    # a controller that is off hears nothing: whoever hears is on again
    (_S.BUS_OFF, _E.HEARD): _S.LISTENING,
    (_S.BUS_OFF, _E.RESTARTED): _S.SILENT,
}


def after(state: BusState, event: BusEvent) -> BusState:
    """Return the state that follows; an event that has no row in the table changes nothing."""
    if event is BusEvent.FAILED:
        return BusState.ABSENT
    if event is BusEvent.CONTROLLER_OFF and state is not BusState.ABSENT:
        return BusState.BUS_OFF
    return TRANSITIONS.get((state, event), state)


def sentence(
    role: str,
    state: BusState,
    *,
    failure: str | None = None,
    quiet_s: float | None = None,
    errors: int = 0,
    hint: str = "",
) -> str:
    """Say how a bus is and what to do next.

    Args:
        role: "drive".
        state: see `BusState`.
        failure: for an absent bus, the sentence that opening it ended with.
        quiet_s: how long nothing has been heard; None if nothing ever was.
        errors: error frames of the last seconds.
        hint: what is perhaps to blame where errors are all that is heard.
    """
    noisy = f", with {errors} error frames in the last second; check the bit rate and the wiring" if errors else ""
    if state is BusState.ABSENT:
        return f"{role} is not open: {failure}" if failure else f"{role} is not open yet"
    if state is BusState.BUS_OFF:
        return f"{role}: the controller is off the bus after too many errors; check the bit rate and the termination"
    if state is BusState.BLOCKED:
        return f"{role}: our frames do not get out{noisy or '; check that the car is awake and the wires hold'}"
    if state is BusState.SILENT and noisy:
        return f"{role} is open and hears no frame{noisy}" + (f"; {hint}" if hint else "")
    if state is BusState.SILENT:
        since = "nothing yet" if quiet_s is None else f"nothing for {quiet_s:.0f} s"
        return f"{role} is open and hears {since}; the car may be asleep, else check plug, pins and gateway"
    doing = "heard, and our requests get out" if state is BusState.SENDING else "heard"
    return f"{role} is {doing}{noisy}"
