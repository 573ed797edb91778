"""What the accessory does about power: one table for each kind of supply, and the machine that follows them.

Pure: `Power.step` gets what is known and the time, and returns the state and what is to be done on the way into it.
The tables are data, so the documentation prints them (`tables.py`) instead of repeating them. START never moves
anything, and for some seconds after it, or after a voltage dip, neither does a missing or flapping ignition.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from math import inf

from ..contract.errors import GivenError
from ..contract.signals import PowerState
from .holds import Hold, Holding
from .ignition import Position


class Supply(StrEnum):
    """How the accessory is fed; `power.supply` in the configuration."""

    SWITCHED = "switched"
    """The car cuts it with the ignition."""
    HELD = "held"
    """The accessory holds it on by itself and loses it by halting."""
    WAKEABLE = "wakeable"
    """Always there, and a wake line starts the accessory again after a halt."""
    PERMANENT = "permanent"
    """Always there, and nothing starts the accessory again after a halt."""


class Effect(StrEnum):
    """What is to be done, in the order given."""

    POLL = "polling may begin"
    STOP_POLLING = "stop polling"
    LIGHT = "light the panels"
    GOODBYE = "goodbye on the panels"
    DARK = "panels dark"
    FLUSH = "flush to disk"
    HALT = "power off"
    REBOOT = "reboot instead"


class When(StrEnum):
    """Conditions of a row."""

    KEY_ON = "ignition on"
    KEY_OFF = "ignition off"
    NOTHING_KNOWN = "ignition unknown and all buses silent"
    NOT_ON = "ignition neither on nor start"
    BATTERY_LOW = "battery low"
    ALWAYS = "whatever happens"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: in `state`, once `when` has held for the option `after`, go `to` and do `effects`.

    Args:
        state: where it applies.
        when: what must hold all the time.
        after: name of the option with the seconds, "" for at once; counted from entering the state at the earliest.
        to: the next state; the same one means that only the effects are done, once.
        effects: what is done.
    """

    state: PowerState
    when: When
    after: str
    to: PowerState
    effects: tuple[Effect, ...] = ()


@dataclass(frozen=True, slots=True)
class PowerOptions:
    """Times in seconds, voltages in volts.

    Args:
        off_s: ignition off this long ends `awake`.
        silence_s: ignition unknown and all buses silent this long ends `awake`.
        goodbye_s: how long the goodbye is shown.
        linger_s: how long `lingering` lasts.
        asleep_s: how long `asleep` lasts; None is the supply's default, see `ASLEEP_S`.
        cutoff_v: below it the battery counts as low.
        low_s: how long it must be low.
        after_start_s: after START nothing about the battery counts.
        crank_s: after START or a voltage dip a missing ignition does not count.
        dip_v: falling below it is a dip.
        up_s: no halt by time before the accessory has been up this long, so that a person can get in.
        halt_again_s: a halt that did not happen is asked for again.
        login_hold_s: somebody who is logged in puts a halt by time off for this long at most.
        update_hold_s: an update that runs does so for this long at most.
        accept_drain: the owner knows what a `permanent` supply costs the battery.
    """

    off_s: float = 2.0
    silence_s: float = 30.0
    goodbye_s: float = 3.0
    linger_s: float = 30.0
    asleep_s: float | None = None
    cutoff_v: float = 11.8
    low_s: float = 60.0
    after_start_s: float = 30.0
    crank_s: float = 10.0
    dip_v: float = 10.0
    up_s: float = 60.0
    halt_again_s: float = 90.0
    login_hold_s: float = 3600.0
    update_hold_s: float = 3600.0
    accept_drain: bool = False


@dataclass(frozen=True, slots=True)
class PowerInputs:
    """What is known when `Power.step` is called.

    Args:
        position: of the ignition.
        talking: any bus talks.
        volts: of the car's battery, None without a source for it.
        holds: what speaks against a halt by time; none speaks against one by low battery.
    """

    position: Position
    talking: bool
    volts: float | None = None
    holds: Collection[Hold] = ()


class PowerError(GivenError):
    """The power section of the configuration cannot be used."""


_A, _L, _S, _H = PowerState.AWAKE, PowerState.LINGERING, PowerState.ASLEEP, PowerState.HALTING
_QUIET = (Effect.STOP_POLLING, Effect.GOODBYE, Effect.FLUSH)
_BACK = (Effect.LIGHT, Effect.POLL)
_END = (Effect.DARK, Effect.FLUSH, Effect.HALT)

_COMMON = (
    Row(_A, When.KEY_OFF, "off_s", _L, _QUIET),
    Row(_A, When.NOTHING_KNOWN, "silence_s", _L, _QUIET),
    Row(_L, When.KEY_ON, "", _A, _BACK),
    Row(_L, When.NOT_ON, "goodbye_s", _L, (Effect.DARK,)),
)
_TO_SLEEP = (
    Row(_L, When.NOT_ON, "linger_s", _S, (Effect.DARK, Effect.FLUSH)),
    Row(_S, When.KEY_ON, "", _A, _BACK),
)
_LOW = tuple(Row(state, When.BATTERY_LOW, "low_s", _H, _END) for state in (_L, _S))
_HALTING = (
    Row(_H, When.KEY_ON, "", _H, (Effect.REBOOT,)),
    Row(_H, When.ALWAYS, "halt_again_s", _H, (Effect.HALT,)),
)

TABLES: dict[Supply, tuple[Row, ...]] = {
    # never halts: a Pi that halted while its supply stayed would not start again
    Supply.SWITCHED: _COMMON + _TO_SLEEP,
    # never sleeps: halting is what lets the supply go, the key brings it back
    Supply.HELD: (*_COMMON, _LOW[0], Row(_L, When.NOT_ON, "linger_s", _H, _END), *_HALTING),
    Supply.WAKEABLE: (*_COMMON, *_LOW, *_TO_SLEEP, Row(_S, When.NOT_ON, "asleep_s", _H, _END), *_HALTING),
    Supply.PERMANENT: (*_COMMON, *_LOW, *_TO_SLEEP, Row(_S, When.NOT_ON, "asleep_s", _H, _END), *_HALTING),
}

ASLEEP_S = {Supply.SWITCHED: inf, Supply.HELD: 0.0, Supply.WAKEABLE: 600.0, Supply.PERMANENT: 72 * 3600.0}
"""How long `asleep` lasts where the configuration does not say, by supply."""

REARM_V = 1.0
"""A dip counts again only after the voltage was this much above the threshold."""


class Power:
    """Follows the table of a supply.

    Call `step` about once a second and at each change of the ignition; the first call is taken as the start-up, which
    is `awake`.

    Args:
        supply: kind of supply.
        options: times and voltages.

    Raises:
        PowerError: the supply drains the battery and the owner has not accepted that.
    """

    def __init__(self, supply: Supply, options: PowerOptions | None = None) -> None:
        self.supply = supply
        self.options = options or PowerOptions()
        if supply is Supply.PERMANENT and not self.options.accept_drain:
            raise PowerError(
                'power: supply = "permanent" has no wake line, so the accessory has to stay up in a parked car and '
                'drains its battery. Write accept_drain = true if you accept that, or supply = "wakeable" with a wake '
                'line, "held" or "switched".'
            )
        self.state = PowerState.AWAKE
        self._rows = TABLES[supply]
        self._entered: float | None = None
        self._up_since = 0.0
        self._held: dict[When, float] = {}
        self._done: set[Row] = set()
        self._rebooting = False
        self.holding = Holding({Hold.LOGGED_IN: self.options.login_hold_s, Hold.UPDATING: self.options.update_hold_s})
        self._start_at = -inf
        self._dip_at = -inf
        self._dip_armed = False

    def step(self, inputs: PowerInputs, now: float) -> tuple[PowerState, tuple[Effect, ...]]:
        """Move on.

        Args:
            inputs: what is known.
            now: monotonic seconds.

        Returns:
            The state, and what is to be done now, in this order; usually nothing.
        """
        if self._entered is None:
            self._entered = self._up_since = now
        self._note_cranking(inputs, now)
        self._note_conditions(inputs, now)
        effects: list[Effect] = []
        self.holding.by = ()
        for row in self._rows:
            if row.state is self.state and self._due(row, inputs, now):
                effects += self._take(row, now)
                if row.to is not row.state:
                    break
        return self.state, tuple(effects)

    # --- inside -------------------------------------------------------------------------------------------------

    def _note_cranking(self, inputs: PowerInputs, now: float) -> None:
        if inputs.position is Position.START:
            self._start_at = now
        if inputs.volts is None:
            return
        if inputs.volts < self.options.dip_v and self._dip_armed:
            # only the fall counts: a battery that stays that low must not keep the accessory awake
            self._dip_at = now
            self._dip_armed = False
        elif inputs.volts >= self.options.dip_v + REARM_V:
            self._dip_armed = True

    def _note_conditions(self, inputs: PowerInputs, now: float) -> None:
        for when in When:
            if self._holds(when, inputs, now):
                self._held.setdefault(when, now)
            else:
                self._held.pop(when, None)

    def _holds(self, when: When, inputs: PowerInputs, now: float) -> bool:
        position = inputs.position
        nothing = position is Position.UNKNOWN and not inputs.talking
        cranking = now - max(self._start_at, self._dip_at) < self.options.crank_s
        match when:
            case When.KEY_ON:
                return position is Position.ON
            case When.KEY_OFF:
                return position is Position.OFF and not cranking
            case When.NOTHING_KNOWN:
                return nothing and not cranking
            case When.NOT_ON:
                return position in (Position.OFF, Position.UNKNOWN)
            case When.BATTERY_LOW:
                started = now - max(self._start_at, self._dip_at) < self.options.after_start_s
                # a sleeping car says nothing any more; it was off when it fell silent
                off = position is Position.OFF or (nothing and self.state is not PowerState.AWAKE)
                return inputs.volts is not None and inputs.volts < self.options.cutoff_v and off and not started
            case When.ALWAYS:
                return True

    def _due(self, row: Row, inputs: PowerInputs, now: float) -> bool:
        since = self._held.get(row.when)
        if since is None or row in self._done:
            return False
        if row.when is not When.BATTERY_LOW:
            since = max(since, self._entered or 0.0)
        if now - since < self.seconds(row.after):
            return False
        by_time = row.to is PowerState.HALTING and row.state is not PowerState.HALTING
        if not by_time or row.when is When.BATTERY_LOW:
            return True
        return now - self._up_since >= self.options.up_s and not self.holding.holds(inputs.holds, now)

    def _take(self, row: Row, now: float) -> tuple[Effect, ...]:
        if row.to is row.state:
            self._done.add(row)
            if Effect.REBOOT in row.effects:
                self._rebooting = True
            if row.when is When.ALWAYS:
                self._entered = now
                self._done.clear()
                return (Effect.REBOOT,) if self._rebooting else row.effects
            return row.effects
        self.state = row.to
        self.holding.over()
        self._entered = now
        self._done.clear()
        return row.effects

    def seconds(self, after: str) -> float:
        """Return the seconds behind the name of an option, "" being none."""
        if not after:
            return 0.0
        if after == "asleep_s" and self.options.asleep_s is None:
            return ASLEEP_S[self.supply]
        return float(getattr(self.options, after))
