from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest

from underdash.bus.frames import Frame
from underdash.contract.cars import CarDescription
from underdash.contract.errors import UnderdashError
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.requests import PollRequest
from underdash.simulator.car import AFTER_RUN_S, SimulatedCar
from underdash.simulator.driver import Phase, Press, Script, length_s
from underdash.simulator.turbo_car import TurboDesign

SHORT: Script = (
    Phase("asleep", 1.0, "LOCK", awake=False),
    Phase("unlocked", 1.0, "LOCK"),
    Phase("on", 2.0, "ON"),
    Phase("start", 1.5, "START"),
    Phase("idle", 4.0, presses=(Press("menu", 1.0, 0.5),)),
    Phase("off", 2.0, "OFF"),
    Phase("after-run", 12.0, "LOCK"),
    Phase("asleep again", 5.0, "LOCK", awake=False),
)
START = 1000.0


def simulated(description: CarDescription, seed: int = 1, script: Script = SHORT) -> SimulatedCar:
    return SimulatedCar(description, TurboDesign(), script, seed)


def frames(car: SimulatedCar, seconds: float, tick_s: float = 0.01) -> list[tuple[str, Frame]]:
    heard: list[tuple[str, Frame]] = []
    for tick in range(round(seconds / tick_s) + 1):
        heard += car.advance(START + tick * tick_s)
    return heard


def digest(heard: list[tuple[str, Frame]]) -> str:
    return hashlib.sha256("".join(f"{role}{frame.at:.6f}{frame}" for role, frame in heard).encode()).hexdigest()


def test_one_seed_gives_one_sequence_of_frames_however_time_is_cut(description: CarDescription) -> None:
    first = digest(frames(simulated(description), 20.0))
    assert digest(frames(simulated(description), 20.0)) == first
    assert digest(frames(simulated(description), 20.0, tick_s=0.25)) == first


def test_another_seed_gives_another_sequence(description: CarDescription) -> None:
    assert digest(frames(simulated(description, 2), 20.0)) != digest(frames(simulated(description, 1), 20.0))


def test_frames_come_in_order_of_time_and_never_from_the_future(description: CarDescription) -> None:
    car, last = simulated(description), START
    for tick in range(800):
        now = START + tick * 0.025
        for _, frame in car.advance(now):
            assert last <= frame.at <= now
            last = frame.at


def test_periods_hold_with_a_little_jitter_that_does_not_add_up(description: CarDescription) -> None:
    times = [frame.at for role, frame in frames(simulated(description), 9.0) if frame.id == 0x101]
    gaps = [b - a for a, b in pairwise(times)]
    assert 0.018 < min(gaps) < 0.02 < max(gaps) < 0.022
    assert (times[-1] - times[0]) / (len(times) - 1) == pytest.approx(0.02, abs=0.0001)


def crc8_by_shifting(data: bytes) -> int:
    """Long division, bit by bit: polynomial x^8 + x^4 + x^3 + x^2 + 1, start and end inverted."""
    register = 0xFF
    for byte in data:
        for bit in range(7, -1, -1):
            top = (register >> 7) ^ (byte >> bit & 1)
            register = register << 1 & 0xFF
            if top:
                register ^= 0x1D
    return register ^ 0xFF


def test_counters_step_by_one_and_checksums_are_right(description: CarDescription) -> None:
    checked = [frame.data for _, frame in frames(simulated(description), 9.0) if frame.id == 0x101]
    assert len(checked) > 300
    assert all(b[6] & 0x0F == (a[6] + 1) & 0x0F for a, b in pairwise(checked))
    assert all(data[7] == crc8_by_shifting(data[:7]) for data in checked)


def test_the_bus_with_the_ignition_wakes_first_and_the_other_with_it(description: CarDescription) -> None:
    first: dict[str, float] = {}
    for role, frame in frames(simulated(description), 20.0):
        first.setdefault(role, frame.at - START)
    assert 1.0 <= first["comfort"] < 1.1
    assert 2.0 <= first["drive"] < 2.1


def test_no_frame_after_the_buses_fell_asleep(description: CarDescription) -> None:
    car = simulated(description)
    heard = frames(car, length_s(SHORT) + 60.0)
    last = {role: frame.at - START for role, frame in heard}
    assert last["comfort"] <= length_s(SHORT) - 5.0 + 0.05
    off = sum(phase.seconds for phase in SHORT[:5])
    assert off + AFTER_RUN_S - 0.2 < last["drive"] <= off + AFTER_RUN_S + 0.05
    assert not car.awake("drive")
    assert not car.awake("comfort")


def test_a_frame_sent_on_change_comes_when_something_changes_and_once_on_waking(description: CarDescription) -> None:
    presses = [
        (frame.at - START, frame.data[0]) for _, frame in frames(simulated(description), 20.0) if frame.id == 0x202
    ]
    assert [value for _, value in presses] == [0, 1, 0]
    assert presses[2][0] - presses[1][0] == pytest.approx(0.5, abs=0.051)


def test_there_is_traffic_that_the_description_does_not_explain(description: CarDescription) -> None:
    counts = Counter(role for role, frame in frames(simulated(description), 9.0) if frame.at > START + 5.0)
    assert 250 < counts["drive"] / 4.0 < 350
    assert 80 < counts["comfort"] / 4.0 < 120
    ids = {frame.id for _, frame in frames(simulated(description), 6.0)}
    asked = {unit.request_id for unit in description.units} | {unit.response_id for unit in description.units}
    assert len(ids) > 10
    assert not ids & asked


def test_the_fingerprint_fits(description: CarDescription) -> None:
    heard = frames(simulated(description), 9.0)
    for expected in description.fingerprint:
        mine = [frame for role, frame in heard if role == expected.bus and frame.id == expected.id]
        assert {len(frame.data) for frame in mine} == {expected.length}
        period = (mine[-1].at - mine[0].at) / (len(mine) - 1)
        assert period == pytest.approx(expected.period_s, rel=0.02)


def test_looking_at_the_truth_loses_no_frame(description: CarDescription) -> None:
    plain = digest(frames(simulated(description), 5.0))
    car, heard = simulated(description), []
    for tick in range(501):
        car.truth(START + tick * 0.01)
        heard += car.advance(START + tick * 0.01)
    assert digest(heard) == plain


def test_every_button_of_the_car_is_in_the_truth(description: CarDescription) -> None:
    truth = simulated(description).truth(START)
    assert truth["button.menu"] is False
    assert truth["button.up"] is False


def test_the_next_moment_is_known_so_that_nobody_has_to_poll(description: CarDescription) -> None:
    car = simulated(description)
    car.advance(START)
    assert car.next_at() == pytest.approx(START + 0.05)
    frames(car, 4.0)
    assert car.next_at() - (START + 4.0) < 0.011


def test_a_broadcast_the_model_knows_nothing_of_is_named(description: CarDescription) -> None:
    odd = BroadcastListener("drive", 0x155, (Field("exhaust.filter_load", Bits(0)),))
    with pytest.raises(UnderdashError, match=r"does not know exhaust\.filter_load"):
        simulated(replace(description, broadcasts=(*description.broadcasts, odd)))


def test_what_the_model_does_not_know_is_refused_when_asked_for(description: CarDescription) -> None:
    odd = PollRequest("engine", "identifier_22", 0x4321, (Field("exhaust.filter_load", Bits(0)),))
    car = simulated(replace(description, polls=(*description.polls, odd)))
    frames(car, 3.0)
    [(_, answer)] = car.answer("drive", Frame(0x7E0, bytes.fromhex("0322432100000000")), START + 3.0)
    assert answer.data[:4] == bytes.fromhex("037F2231")


def test_an_unknown_control_unit_is_named(description: CarDescription) -> None:
    with pytest.raises(UnderdashError, match="no control unit 'gearbox'; it has engine, turbo, exhaust"):
        simulated(description).unit("gearbox")


def test_units_answer_while_the_ignition_is_on_and_only_then(description: CarDescription) -> None:
    car, request = simulated(description), Frame(0x7E0, bytes.fromhex("0201050000000000"))
    answered = []
    for tick in range(round(length_s(SHORT) * 10)):
        now = START + tick * 0.1
        car.advance(now)
        if car.answer("drive", request, now):
            answered.append(car.truth(now)["vehicle.ignition"])
    assert set(answered) == {"ON"}
    assert len(answered) > 50


def test_an_answer_goes_out_on_the_units_own_id_padded_and_late(description: CarDescription) -> None:
    car = simulated(description)
    frames(car, 3.0)
    [(delay_s, answer)] = car.answer("drive", Frame(0x7E0, bytes.fromhex("0201050000000000")), START + 3.0)
    assert 0.005 <= delay_s <= 0.025
    assert answer.id == 0x7E8
    assert answer.data[:3] == bytes.fromhex("034105")
    assert answer.data[4:] == bytes(4)
    truth = float(car.truth(START + 3.0)["engine.coolant_temperature"])
    assert answer.data[3] - 40 == pytest.approx(truth, abs=0.5)


def test_frames_that_are_no_requests_are_not_answered(description: CarDescription) -> None:
    car = simulated(description)
    frames(car, 3.0)
    data = bytes.fromhex("0201050000000000")
    for frame in (Frame(0x7E1, data), Frame(0x7E0, data, extended=True), Frame(0x7E0, data, remote=True),
                  Frame(0x7E0, b""), Frame(0x7E0, bytes.fromhex("300000"))):  # fmt: skip
        assert car.answer("drive", frame, START + 3.0) == []
    assert car.answer("comfort", Frame(0x7E0, data), START + 3.0) == []
