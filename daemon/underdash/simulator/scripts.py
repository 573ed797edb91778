"""The drives of the invented cars, as data."""

from __future__ import annotations

from .driver import Phase, Press, Script

TARN_DRIVE: Script = (
    Phase("parked, buses asleep", 3, "LOCK", awake=False),
    Phase("unlocked", 3, "LOCK", lights=False, knob=1.0, daylight=1.0),
    Phase("key in", 2, "OFF"),
    Phase("accessory", 3, "ACC"),
    Phase("ignition on, engine at rest", 12, "ON"),
    Phase("starter", 1.6, "START"),
    Phase("cold idle", 50),
    Phase("through the village", 70, speed_kmh=48, presses=(Press("up", 20), Press("down", 21.2))),
    Phase("pull hard", 24, speed_kmh=96, pedal=0.97),
    Phase(
        "cruise",
        90,
        speed_kmh=84,
        presses=(Press("cruise_set", 5, 0.3), Press("menu", 20, 0.15), Press("menu", 40, 1.6)),
    ),
    Phase("dusk falls", 45, speed_kmh=80, daylight=0.15),
    Phase("lights on, knob turned down", 30, speed_kmh=80, lights=True, knob=0.6, presses=(Press("menu", 15, 1.6),)),
    Phase("cruise in the dark", 120, speed_kmh=82, knob=0.45, daylight=0.02, presses=(Press("menu", 60, 1.6),)),
    Phase("climb", 960, speed_kmh=64, climb_to_m=1160, presses=(Press("menu", 300, 1.6), Press("menu", 600, 1.6))),
    Phase("pull hard on the climb", 22, speed_kmh=98, pedal=0.97, climb_to_m=1188),
    Phase("climb on", 280, speed_kmh=62, climb_to_m=1500, knob=0.5, presses=(Press("menu", 120, 1.6),)),
    Phase("stop at the top", 35),
    Phase("idle at the top", 45),
    Phase("engine stopped, ignition on", 10, engine_stop=True),
    Phase("ignition off", 6, "OFF", lights=False),
    Phase("locked, after-run", 35, "LOCK"),
    Phase("buses asleep", 20, "LOCK", awake=False),
)

LORIS_DRIVE: Script = (
    Phase("parked, buses asleep", 2, "LOCK", awake=False),
    Phase("unlocked", 3, "LOCK", lights=False, knob=1.0, daylight=1.0),
    Phase("accessory", 2, "ACC"),
    Phase("ignition on", 6, "ON"),
    Phase("ready", 1.2, "START"),
    Phase("standing, ready", 15),
    Phase("town", 150, speed_kmh=42, presses=(Press("right", 30, 0.15), Press("right", 60, 1.6))),
    Phase("pull hard", 18, speed_kmh=88, pedal=0.95),
    Phase("country road", 120, speed_kmh=76, presses=(Press("right", 60, 1.6),)),
    Phase("lights on", 40, speed_kmh=70, lights=True, knob=0.5, daylight=0.1, presses=(Press("right", 20, 1.6),)),
    Phase("up the hill", 120, speed_kmh=60, climb_to_m=110),
    Phase("down the hill", 120, speed_kmh=46, climb_to_m=5),
    Phase("back in town", 90, speed_kmh=36, presses=(Press("right", 30, 1.6),)),
    Phase("stop", 25),
    Phase("off", 5, "OFF", lights=False, knob=1.0),
    Phase("locked, after-run", 20, "LOCK"),
    Phase("buses asleep", 10, "LOCK", awake=False),
)

STANDING: Script = (
    Phase("unlocked", 1, "LOCK", lights=False, knob=1.0, daylight=1.0),
    Phase("accessory", 1, "ACC"),
    Phase("standing, ignition on", 7 * 24 * 3600.0, "ON"),
)
"""No drive at all: somebody sits in the standing car and asks its control units."""
