"""A simulated car: a description, a model and a driver, as frames on buses.

Pure: time is handed in, and one seed gives one sequence of frames. The first call of `advance` is the script's
beginning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from heapq import heapify, heappush, heapreplace
from math import inf
from random import Random
from types import MappingProxyType

from ..bus.frames import Frame, key_of
from ..bus.legislated import FUNCTIONAL_11, FUNCTIONAL_29, own_id
from ..contract.cars import CarDescription
from ..contract.errors import UnderdashError
from ..contract.signals import Value
from ..diagnostics.obd import with_fields
from ..signals.catalogue import BUTTON
from .driver import Driver, Phase, Script
from .manners import DEFAULT, Manners
from .models import Model, ModelMaker
from .spelling import answerable
from .traffic import Source, described, undescribed
from .units import Fault, SimulatedUnit

STEP_S = 0.05
AFTER_RUN_S = 10.0
"""How long a bus that wakes with the ignition goes on talking after it."""

_Entry = tuple[float, int, Source]


class SimulatedCar:
    """A car that stands in until the wiring is done.

    The bus that tells the position of the ignition is awake from the moment somebody touches the car until its
    after-run ends; other buses wake with the ignition. Control units answer while the ignition is ON.

    Args:
        description: which frames it sends and what it answers.
        model: how it behaves.
        script: what the driver does.
        seed: everything that is not steady comes from it.
        manners: how its control units behave where the standards leave them a choice, by name.

    Raises:
        UnderdashError: the description has signals that the model does not know.
    """

    def __init__(
        self,
        description: CarDescription,
        model: ModelMaker,
        script: Script,
        seed: int = 1,
        manners: Mapping[str, Manners] = MappingProxyType({}),
    ) -> None:
        self.description = description
        self.model: Model = model.model(Random(f"{seed} model"))
        self.driver = Driver(script, Random(f"{seed} driver"))
        self._rng = Random(f"{seed} jitter")
        self._described = described(description)
        self._sources: list[Source] = [*self._described, *undescribed(description, Random(f"{seed} traffic"))]
        self._on_change = [s for s in self._described if s.listener.on_change and s.listener.period_s is None]
        self._periodic = [source for source in self._sources if source not in self._on_change]
        self._leading = {s.bus for s in self._described if "vehicle.ignition" in s.names}
        self._released = {
            **{f"{BUTTON}{name}": False for name, _ in description.buttons},
            **{name: False for source in self._described for name in source.names if name.startswith(BUTTON)},
        }
        self._values = self._true_values()
        self._known(source.names for source in self._described)
        # what the model does not know is refused when it is asked for, as by a car that was built without it
        polls = [poll for poll in description.polls if answerable(with_fields(poll).fields, self._values)]
        self.units = [
            SimulatedUnit(
                unit, polls, description.formats, Random(f"{seed} {unit.name}"), manners.get(unit.name, DEFAULT)
            )
            for unit in description.units
        ]
        self._start: float | None = None
        self._steps = 0
        self._awake: set[str] = set()
        self._on_until_s = -inf
        self._heap: list[_Entry] = []
        self._kept: list[tuple[str, Frame]] = []

    @property
    def phase(self) -> Phase:
        """What the driver is doing."""
        return self.driver.phase

    def unit(self, name: str) -> SimulatedUnit:
        """Return a control unit, for a fault to be set.

        Raises:
            UnderdashError: the car has none of this name.
        """
        for unit in self.units:
            if unit.unit.name == name:
                return unit
        names = ", ".join(unit.unit.name for unit in self.units)
        raise UnderdashError(f"car {self.description.name!r} has no control unit {name!r}; it has {names or 'none'}")

    def fail(self, name: str, fault: Fault) -> None:
        """Set what is wrong with a control unit; raises as `unit` does."""
        self.unit(name).fault = fault

    def awake(self, bus: str) -> bool:
        """Say whether a bus talks."""
        return bus in self._awake

    def advance(self, now: float) -> list[tuple[str, Frame]]:
        """Return the frames due since the last call, in order of time.

        Args:
            now: monotonic seconds; must not go back.
        """
        if self._start is None:
            self._start = now
        out, self._kept = self._kept, []
        start, heap, random = self._start, self._heap, self._rng.random
        until = now - start
        while True:
            step_s = self._steps * STEP_S
            end = until if until < step_s else step_s
            values = self._values
            while heap and heap[0][0] < end:
                due_s, order, source = heap[0]
                out.append((source.bus, Frame(source.id, source.data(values), source.extended, start + due_s)))
                heapreplace(heap, (source.move_on(random()), order, source))
            if step_s > until:
                return out
            self._step(step_s, out)
            heap = self._heap

    def next_at(self) -> float:
        """Return when `advance` has something to do next; minus infinity before its first call."""
        if self._start is None:
            return -inf
        step_s = self._steps * STEP_S
        return self._start + (min(step_s, self._heap[0][0]) if self._heap else step_s)

    def truth(self, now: float) -> dict[str, Value]:
        """Return the true values at `now`, in stored units by signal name.

        Where `advance` has not come that far yet, this does it; the frames are handed out by its next call.
        """
        if self._start is None or now >= self._start + self._steps * STEP_S:
            self._kept = self.advance(now)
        return dict(self._values)

    def keys(self, bus: str) -> set[int]:
        """Return the dispatch keys of a bus on which something may be asked."""
        units = [simulated for simulated in self.units if simulated.unit.bus == bus]
        return {key for simulated in units for key in (_request_key(simulated), _functional_key(simulated))}

    def answer(self, bus: str, frame: Frame, now: float) -> list[tuple[float, Frame]]:
        """Return what control units send because of a frame, as (seconds from now, frame).

        An answer in several frames begins with its first one; the rest comes when flow control is handed in.
        """
        if frame.remote or frame.error or frame.fd or self._values["vehicle.ignition"] != "ON":
            return []
        answers = []
        for simulated in self.units:
            unit = simulated.unit
            if unit.bus != bus:
                continue
            functional = simulated.functional and frame.key == _functional_key(simulated)
            if not functional and frame.key != _request_key(simulated):
                continue
            for delay_s, payload in simulated.answer(frame.data, self._values, now, functional=functional):
                padded = payload if unit.padding is None else payload.ljust(8, bytes((unit.padding,)))
                answers.append((delay_s, Frame(unit.response_id, padded, unit.extended, now + delay_s)))
        return answers

    # --- steps

    def _step(self, at_s: float, out: list[tuple[str, Frame]]) -> None:
        self._steps += 1
        controls = self.driver.step(at_s, self.model.speed_kmh, self.model.world.altitude_m, STEP_S)
        self.model.step(controls, STEP_S)
        self._values = self._true_values()
        on = controls.ignition in {"ON", "START"}
        if on:
            self._on_until_s = at_s + AFTER_RUN_S
        for bus in self.description.buses:
            leading = bus.role in self._leading or not self._leading
            awake = controls.awake if leading else controls.awake and at_s < self._on_until_s
            if awake != (bus.role in self._awake):
                self._wake(bus.role, at_s) if awake else self._sleep(bus.role)
        for source in self._on_change:
            if source.bus in self._awake and source.changed(self._values):
                at = (self._start or 0.0) + at_s
                out.append((source.bus, Frame(source.id, source.data(self._values), source.extended, at)))

    def _true_values(self) -> dict[str, Value]:
        return {**self._released, **self.model.values()}

    def _wake(self, role: str, at_s: float) -> None:
        self._awake.add(role)
        for changing in self._on_change:
            if changing.bus == role:
                changing.forget()
        for order, source in enumerate(self._periodic):
            if source.bus == role:
                heappush(self._heap, (source.wake(at_s, self._rng.random()), order, source))

    def _sleep(self, role: str) -> None:
        self._awake.discard(role)
        self._heap = [entry for entry in self._heap if entry[2].bus != role]
        heapify(self._heap)

    def _known(self, names: Iterable[tuple[str, ...]]) -> None:
        missing = sorted({name for each in names for name in each} - set(self._values))
        if missing:
            raise UnderdashError(
                f"car {self.description.name!r} cannot be simulated: its model does not know {', '.join(missing)}; "
                "leave these out of the broadcasts or choose another model"
            )


def _request_key(simulated: SimulatedUnit) -> int:
    unit = simulated.unit
    can_id = own_id(unit)
    return key_of(unit.request_id if can_id is None else can_id, unit.extended)


def _functional_key(simulated: SimulatedUnit) -> int:
    extended = simulated.unit.extended
    return key_of(FUNCTIONAL_29 if extended else FUNCTIONAL_11, extended)
