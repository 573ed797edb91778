"""The daemon on a simulated car: the same wiring, on buses inside this process, at any speed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.resources import files
from math import inf
from pathlib import Path

import structlog
from PIL import Image

from ..bus.memory import MemoryBus
from ..config.reading import parse_config
from ..contract.errors import UnderdashError
from ..contract.signals import Snapshot
from ..contract.words import Words
from ..display.deck import find
from ..display.kit import draw_page
from ..display.palettes import DAY, night
from ..power.ignition import Position, Seen
from ..simulator.car import SimulatedCar
from ..simulator.cars import simulated
from ..simulator.driver import Script
from ..simulator.station import Station
from ..simulator.trouble import Trouble, trouble
from .breaking import Breaking
from .building import Built, build
from .chain import Chain
from .daemon import Daemon

_log = structlog.get_logger()

PICTURE_GAP_S = 0.04
"""A drive that runs faster than the clock on the wall draws no more pictures a second than a real one."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment worth a picture: a page, so many seconds into a phase of the drive."""

    name: str
    page: str
    phase: str
    seconds: float


MOMENTS = {
    "tarn": (
        Moment("1_ignition_on", "boost", "ignition on, engine at rest", 6.0),
        Moment("2_idle", "boost", "cold idle", 10.0),
        Moment("3_full_boost", "boost", "pull hard", 6.0),
        Moment("4_lights_on", "boost", "climb", 120.0),
        Moment("5_on_the_climb", "temperatures", "climb", 700.0),
        Moment("6_reference_old", "boost", "pull hard on the climb", 9.0),
        Moment("7_warm", "temperatures", "idle at the top", 20.0),
        Moment("8_reference_renewed", "boost", "engine stopped, ignition on", 7.0),
    ),
    "loris": (
        Moment("1_standing", "boost", "standing, ready", 8.0),
        Moment("2_pull_hard", "boost", "pull hard", 4.0),
        Moment("3_temperatures", "temperatures", "country road", 60.0),
        Moment("4_lights_on", "temperatures", "lights on", 30.0),
    ),
}


class Demo:
    """A simulated drive with the real daemon.

    Args:
        car: name of the invented car.
        loop: the event loop; its pace is the drive's.
        seed: of the drive.
        pictures: called with each moment and its picture.
        script: what the driver does instead of the car's usual drive.
        faults: what goes wrong and when, see `simulator.trouble`.

    Attributes:
        built: the daemon and what belongs to it.
        station: the simulated car on its buses.
        power: (seconds of the drive, power state) at each change.
        peaks: highest value of each number, in the stored unit.
        last_on: what was known when the ignition was last on; None if it never was.
        recognised: whether the car was recognised, in a sentence.

    Raises:
        UnderdashError: this car cannot be simulated.
    """

    def __init__(
        self,
        car: str,
        loop: asyncio.AbstractEventLoop,
        *,
        seed: int = 1,
        pictures: Callable[[Moment, Image.Image], None] | None = None,
        script: Script | None = None,
        faults: Iterable[str] = (),
    ) -> None:
        model, drive = simulated(car)
        script = script or drive
        config = parse_config(files("underdash.simulator").joinpath(f"demo_{car}.toml").read_text(), f"demo_{car}.toml")
        self._buses = {role: MemoryBus(role) for role in config.bus}
        self.built: Built = build(config, loop, memory=self._buses)
        description = self.built.assembly.car
        self.simulated = SimulatedCar(description, model, script, seed)
        ports = {role: bus.port() for role, bus in self._buses.items()}
        units = [unit.name for unit in description.units]
        self._troubles = [trouble(one, units, list(self._buses)) for one in faults]
        self.breaking = Breaking(self.simulated, self._buses, ports, loop, self._missing, looked=self._broke)
        self.station = Station(self.simulated, ports, loop)
        self.script = script
        self.power: list[tuple[float, str]] = []
        self.peaks: dict[str, float] = {}
        self.moments: list[str] = []
        self.last_on: Snapshot | None = None
        self.recognised = ""
        self._loop = loop
        self._pictures = pictures
        self._left = list(MOMENTS.get(car, ()))
        self._start = loop.time()
        self._phase = ""
        self._phase_at = -inf
        # this car was driven before: its key has been seen on and off
        signals = {one.signal for one in description.ignition}
        self.daemon.key.ignition.restore({name: Seen(True, True) for name in signals})
        self.daemon.observers.append(self._observe)

    @property
    def daemon(self) -> Daemon:
        """The daemon."""
        return self.built.daemon

    @property
    def length_s(self) -> float:
        """How long the drive takes, in seconds of the loop."""
        return float(sum(phase.seconds for phase in self.script))

    @property
    def seconds(self) -> float:
        """Seconds of the drive so far."""
        return self._loop.time() - self._start

    @property
    def phase(self) -> str:
        """What the driver is doing."""
        return self.simulated.phase.what

    def run(self, seconds: float | None = None) -> None:
        """Drive for so long, or to the end.

        Raises:
            KeyboardInterrupt: somebody stopped it; everything was ended in order.
        """
        self._start = self._loop.time()
        length_s = self.length_s if seconds is None else seconds
        self._loop.call_later(length_s, self._loop.stop)
        self.breaking.begin(self._troubles, self._start, self._start + length_s)
        try:
            self.station.start()
            self.daemon.start()
            for screen in self.daemon.screens:
                screen.wall_gap_s = PICTURE_GAP_S
            self._loop.run_forever()
        finally:
            self.daemon.stop()
            self.station.stop()

    def _observe(self, now: float, snapshot: Snapshot) -> None:
        state = snapshot.power.value
        if not self.power or self.power[-1][1] != state:
            self.power.append((round(now - self._start, 2), state))
        guard = self.daemon.sending.guard
        if guard.ignition.position is Position.ON:
            self.last_on = snapshot
            self.recognised = guard.fingerprint.sentence
        for name, reading in snapshot.readings.items():
            if isinstance(reading.value, float):
                self.peaks[name] = max(self.peaks.get(name, -inf), reading.value)
        if self._pictures is not None:
            self._look_for_moments(now, snapshot)

    def _missing(self) -> list[Chain]:
        return self.daemon.telling.missing(self._loop.time())

    def _broke(self, one: Trouble) -> None:
        if self._pictures is not None and self.daemon.screens:
            page = self.daemon.screens[0].deck.current
            moment = Moment(f"fault_{len(self.breaking.told)}_{one}", page.name, self.phase, 0.0)
            snapshot = self.daemon.snapshot(self._loop.time())
            self._pictures(moment, draw_page(page, snapshot, palette=DAY, banner=self.daemon.acting.alerts.banner()))

    def _look_for_moments(self, now: float, snapshot: Snapshot) -> None:
        if self.phase != self._phase:
            self._phase, self._phase_at = self.phase, now
        for moment in self._left:
            if moment.phase == self._phase and now - self._phase_at >= moment.seconds:
                self._left.remove(moment)
                self.moments.append(moment.name)
                if self._pictures is not None:
                    self._pictures(moment, self._drawn(moment, snapshot))
                return

    def _drawn(self, moment: Moment, snapshot: Snapshot) -> Image.Image:
        page = find(self.built.assembly.pages, moment.page, "demo")
        palette = night(self.built.config.dimming.night_hue) if snapshot.night else DAY
        banner: Words | None = self.daemon.acting.alerts.banner()
        return draw_page(page, snapshot, palette=palette, banner=banner)


def save_into(folder: Path) -> Callable[[Moment, Image.Image], None]:
    """Return what keeps pictures in a folder, which is made.

    Raises:
        UnderdashError: the folder cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise UnderdashError(f"--pictures {folder}: {exc.strerror}; choose a folder that can be written") from exc

    def save(moment: Moment, image: Image.Image) -> None:
        path = folder / f"{moment.name}.png"
        part = path.with_suffix(".part")
        try:
            image.save(part, "PNG")
            part.replace(path)
        except OSError as exc:
            # the drive is worth more than its pictures
            _log.warning("picture_not_kept", path=str(path), error=exc.strerror or str(exc))
            part.unlink(missing_ok=True)

    return save
