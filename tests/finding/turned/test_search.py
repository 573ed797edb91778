from __future__ import annotations

from random import Random

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.contract.errors import GivenError
from underdash.finding.found import Answer
from underdash.finding.heard import Heard
from underdash.finding.marks import Mark
from underdash.finding.reading import heard_from
from underdash.finding.turned.search import turned
from underdash.finding.turned.sweeps import Sweep, sweeps_of
from underdash.simulator.car import SimulatedCar
from underdash.simulator.cars import simulated
from underdash.simulator.driver import Phase
from underdash.wiring.installed import car_of_any, load_with

from ..made_up import clutter

SCRIPT = (
    Phase("unlocked", 1, "LOCK", lights=True, knob=1.0, daylight=0.1),
    Phase("ignition on", 9, "ON"),
    Phase("engine", 2, "START"),
    Phase("idle", 20),
    Phase("down", 7, knob=0.0),
    Phase("up", 7, knob=1.0),
    Phase("lights off", 4, lights=False),
    Phase("lights on", 4, lights=True),
    Phase("down", 7, knob=0.0),
    Phase("up", 7, knob=1.0),
    Phase("rest", 10),
)
BEGINS = ((32.0, "down"), (39.0, "up"), (54.0, "down"), (61.0, "up"))


def knob(name: str) -> Heard:
    car, _ = car_of_any(name, load_with([]))
    sim = SimulatedCar(car, simulated(name)[0], SCRIPT, 3)
    sim.advance(0.0)
    return heard_from(sim.advance(80.0))


def marked(seed: int, count: int = 4) -> list[Mark]:
    late = Random(seed).uniform
    return [Mark(at + late(0, 0.6), f"dimmer turned {way}", at + 4 + late(0, 0.6)) for at, way in BEGINS[:count]]


def ask(heard: Heard, marks: list[Mark]) -> Answer:
    (answer,) = turned(heard, sweeps_of(marks))
    return answer


@pytest.mark.parametrize(
    ("car", "where", "up", "steps", "flag"),
    [
        ("tarn", "comfort 0C4B2031 byte 2", 200, 40, "byte 3 bit 6"),
        ("loris", "drive 4A9 byte 1 bits 0 to 4", 20, 21, "byte 1 bit 7"),
    ],
)
def test_the_dimming_knob_of_a_simulated_car_is_found_beside_its_flag(
    car: str, where: str, up: int, steps: int, flag: str
) -> None:
    heard = knob(car)
    for seed in range(3):
        answer = ask(heard, marked(seed))
        assert answer.best is not None
        assert str(answer.best.where) == where
        assert answer.best.confidence > 0.9
        assert answer.best.meaning == {0: "turned down", up: "turned up"}
        assert answer.best.figures["steps"] >= steps
        assert answer.remarks == (
            f"{flag} beside it is a flag of its own: it changed 2 times, 2 of them while nothing was turned",
        )


def test_turns_that_nobody_marked_cost_certainty_only() -> None:
    heard = knob("tarn")
    few, all_of = ask(heard, marked(1, 2)), ask(heard, marked(1))
    assert all_of.best is not None
    assert few.ranks[0][0].where == all_of.best.where
    assert few.ranks[0][0].confidence < 0.5 < all_of.best.confidence
    assert "dimmer was turned 2 times; four times from end to end make it sure" in few.remarks


def strokes(*, late_s: float = 0.0, can_id: int = 0x1D0, falls: bool = False) -> list[tuple[str, Frame]]:
    """A pedal pressed to the floor and let go four times, 12 bits big-endian with a sensor's unrest, and a counter."""
    chance = np.random.default_rng(can_id)
    at = 500.0 + np.arange(0.0, 60.0, 0.02)
    into = (at - late_s - 505.0) % 12.0
    pressed = np.clip(np.minimum(into, 4.0 - into), 0.0, 1.5) / 1.5 * (at - late_s >= 505.0) * (at - late_s < 550.0)
    raw = np.rint(400 + 3000 * pressed + chance.uniform(-0.6, 0.6, len(at)) * (pressed > 0.01)).astype(int)
    raw = 4095 - raw if falls else raw
    return [
        ("drive", Frame(can_id, bytes((row % 256, 0x50 | value >> 8, value & 0xFF, 0)), at=when))
        for row, (value, when) in enumerate(zip(raw.tolist(), at.tolist(), strict=True))
    ]


STROKES = [Mark(505.0 + 12.0 * n, "pedal end to end", 509.5 + 12.0 * n) for n in range(4)]


def put(*parts: list[tuple[str, Frame]]) -> Heard:
    return heard_from(sorted((one for part in parts for one in part), key=lambda pair: pair[1].at))


def test_a_pedal_that_springs_back_is_found() -> None:
    answer = ask(put(strokes(), clutter(60.0)), STROKES)
    assert answer.best is not None
    assert str(answer.best.where).startswith("drive 1D0 12 bits from byte 1 bit 3, big-endian")
    assert answer.best.confidence > 0.9
    assert answer.best.figures["low"] == pytest.approx(400, abs=2)
    assert answer.best.figures["high"] == pytest.approx(3400, abs=2)


def test_what_follows_later_is_told_after_what_moves_first() -> None:
    answer = ask(put(strokes(), strokes(late_s=0.4, can_id=0x2D0)), STROKES)
    assert [str(rank[0].where.id) for rank in answer.ranks] == [str(0x1D0), str(0x2D0)]


def test_one_value_in_two_frames_is_a_tie() -> None:
    answer = ask(put(strokes(), strokes(can_id=0x2D0)), STROKES)
    assert {one.where.id for one in answer.ranks[0]} == {0x1D0, 0x2D0}
    assert "2 fields follow pedal alike" in answer.remarks[0]


def test_a_number_that_falls_when_turned_up_is_told() -> None:
    marks = [Mark(505.0 + 12.0 * n, "pedal up", 506.6 + 12.0 * n) for n in range(4)]
    answer = ask(put(strokes(falls=True)), marks)
    assert answer.best is not None
    assert answer.best.figures["low"] > answer.best.figures["high"]
    assert answer.best.because[-1] == "its number falls when it is turned up"


@pytest.mark.parametrize(
    "heard",
    [
        put(clutter(60.0)),
        heard_from([("drive", Frame(0x10, b"\x01\x02", at=510.0))]),
        heard_from([("drive", Frame(0x10, b"", at=500.0 + n)) for n in range(60)]),
        heard_from([("drive", Frame(0x10, bytes(n % 9), at=500.0 + n)) for n in range(60)]),
    ],
    ids=["counters and noise", "one frame", "no data", "lengths that change"],
)
def test_nothing_that_follows_is_told_with_the_next_step(heard: Heard) -> None:
    answer = ask(heard, STROKES)
    assert all(one.confidence < 0.5 for rank in answer.ranks for one in rank)
    if not answer.ranks:
        assert "nothing follows pedal: it may not be on this bus" in answer.remarks[0]


def test_marks_name_the_control_and_the_way() -> None:
    found = sweeps_of([
        Mark(1.0, "dimmer up", 2.0), Mark(3.0, "dimmer turned down", 4.0), Mark(5.0, "end to end", 6.0),
        Mark(7.0, "pedal", 8.0),
    ])  # fmt: skip
    assert found == {
        "dimmer": (Sweep(1.0, 2.0, 1), Sweep(3.0, 4.0, -1)),
        "control": (Sweep(5.0, 6.0, 0),),
        "pedal": (Sweep(7.0, 8.0, 0),),
    }


def test_a_mark_without_a_length_is_refused_with_how_to_write_it() -> None:
    with pytest.raises(GivenError, match=r"a turn is marked as 3\.0\.\.7\.0 dimmer up, from its begin to its end"):
        sweeps_of([Mark(3.0, "dimmer up")])
