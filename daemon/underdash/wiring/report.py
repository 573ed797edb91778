"""What a drive came to, as a table for JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from .demo import Demo
from .status import told


def report(demo: Demo, wall_s: float) -> dict[str, Any]:
    """Return counts, changes and final values of a drive; final is the last moment the ignition was on.

    Args:
        demo: after its run.
        wall_s: how long it took on the clock on the wall.
    """
    status = demo.daemon.status()
    assembly = demo.built.assembly
    # a whole drive ends with the car asleep and nothing known; what it came to is what was known before
    last = demo.last_on or status.snapshot
    return {
        "format": 1,
        "car": {"name": assembly.car.name, "title": assembly.car.title, "recognised": demo.recognised or status.car},
        "seconds": {"driven": round(demo.seconds, 1), "on_the_wall": round(wall_s, 1)},
        "buses": {
            bus.role: {
                "state": bus.state.value,
                "frames": bus.frames,
                "error_frames": bus.error_frames,
                "lost": bus.lost,
            }
            for bus in status.buses
        },
        "simulated": {"sent": demo.station.sent, "not_taken": demo.station.refused},
        "asking": asdict(status.asking),
        "guard": status.guard,
        "power": [{"at_s": at, "state": state} for at, state in demo.power],
        "actions": demo.daemon.fingers.performed,
        "pages": {screen.name: screen.renderer.frames for screen in demo.daemon.screens},
        "pictures": demo.moments,
        "final": {name: told(reading) for name, reading in sorted(last.readings.items())},
        "peaks": {name: round(value, 3) for name, value in sorted(demo.peaks.items())},
        "problems": assembly.problems,
        "faults": list(status.faults),
        "plugins": {
            "running": [plugin.name for plugin in assembly.loaded.plugins],
            "refused": [str(one) for one in assembly.loaded.refused],
        },
    }
