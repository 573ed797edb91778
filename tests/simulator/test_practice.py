"""Recordings to practise on: what a lesson shows, and that a person is late and never early."""

from __future__ import annotations

import pytest

from underdash.broadcast.bits import unsigned
from underdash.contract.cars import CarDescription
from underdash.contract.errors import GivenError
from underdash.simulator.cars import simulated
from underdash.simulator.practice import LATE_S, Practice, lessons, practice
from underdash.wiring.assembly import choose_car, load_bundled


@pytest.fixture(scope="module")
def tarn() -> CarDescription:
    return choose_car("tarn", load_bundled())[0]


def made(car: CarDescription, lesson: str, seed: int = 1) -> Practice:
    return practice(car, simulated(car.name)[0], lesson, seed)


def changes(car: CarDescription, lesson: Practice, signal: str) -> list[tuple[float, int]]:
    """When the raw number of a signal became another one."""
    frame, bits = next((b, f.bits) for b in car.broadcasts for f in b.fields if f.signal == signal)
    read, last, found = unsigned(bits), None, []
    for role, one in lesson.frames:
        if (role, one.id) == (frame.bus, frame.id):
            value = read(one.data)
            if last is not None and value != last:
                found.append((one.at, value))
            last = value
    return found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_five_presses_are_noted_a_little_late(tarn: CarDescription, seed: int) -> None:
    lesson = made(tarn, "menu", seed)
    pressed = [at for at, _ in changes(tarn, lesson, "button.menu")][::2]
    marks = [at for at, _, word in lesson.marks if word == "menu"]
    assert len(pressed) == len(marks) == 5
    for press, mark in zip(pressed, marks, strict=True):
        assert 0.0 < mark - press <= LATE_S[1] + 0.05
    assert changes(tarn, lesson, "button.up") == []


def test_the_ignition_goes_through_every_position(tarn: CarDescription) -> None:
    lesson = made(tarn, "ignition")
    words = [word for _, _, word in lesson.marks]
    assert words == ["LOCK", "OFF", "ACC", "ON", "START", "ON", "ON", "OFF", "LOCK"]
    assert [value for _, value in changes(tarn, lesson, "vehicle.ignition")] == [1, 2, 3, 4, 3, 1, 0]


def test_the_knob_goes_from_end_to_end_within_its_marks(tarn: CarDescription) -> None:
    lesson = made(tarn, "knob")
    turns = [at for at, _ in changes(tarn, lesson, "dashboard.brightness") if at > 128.0]
    assert len(lesson.marks) == 4
    assert all(any(begin - 1.0 <= at <= (end or begin) + 1.0 for begin, end, _ in lesson.marks) for at in turns)


def test_a_drive_comes_with_its_speed_by_satellite(tarn: CarDescription) -> None:
    lesson = made(tarn, "drive")
    speeds = [speed for _, speed in lesson.speed]
    assert len(speeds) > 200
    assert max(speeds) > 70.0
    assert min(speeds) == 0.0


def test_a_tester_shows_one_value_at_a_time(tarn: CarDescription) -> None:
    lesson = made(tarn, "tester")
    units = {unit.name: unit for unit in tarn.units}
    windows = [(begin, end, word) for begin, end, word in lesson.marks if end is not None]
    assert [word for _, _, word in windows][:2] == ["engine.manifold_pressure only", "engine.charge_pressure only"]
    asked = [f for _, f in lesson.frames if f.id == units["charge_air"].request_id and f.data[1] == 0x5C]
    answers = [f for _, f in lesson.frames if f.id == units["charge_air"].response_id]
    assert len(asked) > 300
    assert len(answers) >= len(asked)
    typed = [word for _, end, word in lesson.marks if end is None]
    assert all(float(word.split()[1]) for word in typed)
    assert len(typed) == 5 * len(windows)


def test_frames_are_in_order_and_repeatable(tarn: CarDescription) -> None:
    for name in ("menu", "tester"):
        times = [frame.at for _, frame in made(tarn, name).frames]
        assert times == sorted(times)
    assert made(tarn, "menu", 7) == made(tarn, "menu", 7)
    assert made(tarn, "menu", 7) != made(tarn, "menu", 8)


def test_each_car_has_its_lessons(tarn: CarDescription) -> None:
    loris = choose_car("loris", load_bundled())[0]
    assert lessons(tarn) == ("ignition", "menu", "up", "down", "cruise_set", "knob", "drive", "tester")
    assert lessons(loris) == ("ignition", "left", "right", "knob", "drive")
    with pytest.raises(GivenError, match="there is no lesson 'tester' for loris; there are ignition, left"):
        made(loris, "tester")
