"""Runs in the guest: the simulated Tarn as a process of its own on vcan0 and vcan1.

    car.py POSITION:SECONDS ...    # of the key; SLEEP is LOCK with every bus asleep

SIGUSR1 turns it to the next position at once, by a car that begins there.
A line of JSON a phase says when it began (seconds, monotonic), and how many requests came before it, the last one when.
"""

from __future__ import annotations

import asyncio
import json
import signal
import sys

from underdash.bus.frames import Frame
from underdash.bus.opening import BusConfig, opener
from underdash.simulator.car import SimulatedCar
from underdash.simulator.cars import simulated
from underdash.simulator.driver import Phase
from underdash.simulator.station import Station
from underdash.wiring.assembly import choose_car, load_bundled

CHANNELS = {"drive": "vcan0", "comfort": "vcan1"}


class Told(SimulatedCar):
    """A simulated car that says what it is doing, and when it was asked last."""

    said = ""
    asked = 0
    asked_at = 0.0

    def advance(self, now: float) -> list[tuple[str, Frame]]:
        """See `Participant`."""
        frames = super().advance(now)
        if self.phase.what != self.said:
            self.said = self.phase.what
            told = {"phase": self.said, "at": now, "asked": self.asked, "asked_at": self.asked_at}
            print(json.dumps(told), flush=True)
        return frames

    def answer(self, bus: str, frame: Frame, now: float) -> list[tuple[float, Frame]]:
        """See `Participant`."""
        self.asked, self.asked_at = self.asked + 1, now
        return super().answer(bus, frame, now)


def main() -> None:
    """Drive what the arguments say."""
    phases = [
        Phase(f"{number} {key}", float(seconds), "LOCK" if key == "SLEEP" else key, awake=key != "SLEEP")
        for number, (key, _, seconds) in enumerate(word.partition(":") for word in sys.argv[1:])
    ]
    model, _ = simulated("tarn")
    description, _ = choose_car("tarn", load_bundled())
    loop = asyncio.SelectorEventLoop()
    ports = {role: opener(BusConfig(role, channel=channel))() for role, channel in CHANNELS.items()}
    station = Station(Told(description, model, tuple(phases), 1), ports, loop)

    def turn() -> None:
        del phases[0]
        station.car = Told(description, model, tuple(phases), 1)

    loop.add_signal_handler(signal.SIGUSR1, turn)
    station.start()
    loop.call_later(sum(phase.seconds for phase in phases), loop.stop)
    loop.run_forever()
    station.stop()
    loop.close()


main()
