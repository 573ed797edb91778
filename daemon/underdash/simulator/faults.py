"""What can be wrong with a simulated control unit, and when its answers come then."""

from __future__ import annotations

from enum import StrEnum

PENDING_AT_S = (0.02, 2.0, 4.0)
"""When a unit that is pending says so; each is well within the five seconds that one such word gives it."""
ANSWER_AFTER_PENDING_S = 5.0
ENDLESS_EVERY_S = 2.0
ENDLESS_S = 60.0
"""How long a request keeps a unit busy that never comes to an end; longer than anybody should wait."""
LATE_BY_S = 0.1


class Fault(StrEnum):
    """What is wrong with a control unit."""

    NONE = "none"
    SILENT = "silent"
    """It does not answer."""
    SLOW = "slow"
    """It answers at the last moment that is still in time."""
    LATE = "late"
    """It answers after the time is up."""
    PENDING = "pending"
    """It says three times that the answer is pending, and answers after 5 s; meanwhile it hears nothing else."""
    ENDLESS = "endless"
    """It says again and again that the answer is pending, and never answers; meanwhile it hears nothing else."""
    BUSY = "busy"
    """It refuses everything: busy, ask again."""
    CONDITIONS = "conditions"
    """It refuses everything: conditions not correct."""
    REFUSING = "refusing"
    """It refuses everything, without a reason."""
    FOREIGN = "foreign"
    """It answers something that was not asked."""
    WRONG_LENGTH = "wrong length"
    """Its answers are one byte short."""
    BROKEN_SEQUENCE = "broken sequence"
    """The last frame of its longer answers has a number that is not the next one."""
    MISSING_FRAME = "missing frame"
    """The last frame of its longer answers never comes."""
    IMPATIENT = "impatient"
    """It gives its longer answers up before any flow control can come."""
    HASTY = "hasty"
    """It does not wait for flow control: its longer answers come in one go."""
    NO_FLOW_CONTROL = "no flow control"
    """It never says how a request in several frames is to go on."""
    WAITS = "waits"
    """It has the sender of a request in several frames wait, again and again."""
    OVERFLOW = "overflow"
    """It has no room for a request in several frames."""
    RESERVED_STATUS = "reserved status"
    """It says something of a request in several frames that has no meaning (a reserved flow status)."""


REFUSALS = {Fault.BUSY: 0x21, Fault.CONDITIONS: 0x22, Fault.REFUSING: 0x10}
"""The code with which a unit says no to everything (ISO 14229-1 annex A)."""


def pending_at_s(fault: Fault) -> tuple[tuple[float, ...], float | None]:
    """Return when a unit with a fault says "pending", and when it answers then, in seconds after the request.

    Nothing and None for a fault that has no pending; None after some for an answer that never comes.
    """
    if fault is Fault.PENDING:
        return PENDING_AT_S, ANSWER_AFTER_PENDING_S
    if fault is Fault.ENDLESS:
        return tuple(0.02 + n * ENDLESS_EVERY_S for n in range(int(ENDLESS_S / ENDLESS_EVERY_S))), None
    return (), None
