"""A real town drive: answers to service 01 that somebody else asked for, read by us and by an independent decoder."""

from __future__ import annotations

import logging
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from underdash.bus.trace import read_trace
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit
from underdash.diagnostics import obd
from underdash.diagnostics.asking import Asking
from underdash.diagnostics.requests import Compiled, compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
TRACE = RECORDINGS / "obd_drive.log.gz"
SATELLITE = RECORDINGS / "obd_drive.speed_reference.csv"

pytestmark = pytest.mark.skipif(not TRACE.exists(), reason=f"the recordings are not beside the project ({RECORDINGS})")

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
PIDS = (0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x11, 0x2F, 0x33, 0x42, 0x62)


class Drive:
    """The recording and an `Asking` that only listens: nothing is wanted, so nothing is asked."""

    def __init__(self) -> None:
        car = CarDescription("recorded", "Recorded", (BusDescription("drive", 500_000),), (ENGINE,))
        self.store = Store(CATALOGUE)
        self.compiled: Compiled = compile_polls(car, obd.polls("engine", PIDS), (), self.store)
        self.asking = Asking(self.compiled.polls)
        self.frames = [frame for _, frame in read_trace(TRACE)]

    def heard(self, signal: str) -> list[tuple[float, float]]:
        """Every sample of a signal, in its order: (seconds, value)."""
        found: list[tuple[float, float]] = []
        self.store.watch(signal, lambda slot: found.append((slot.at, float(slot.value or 0.0))))
        for frame in self.frames:
            if frame.key == 0x7E8:
                self.asking.handle("drive", frame.key, frame.data, frame.at)
        return found


@pytest.fixture
def drive() -> Drive:
    return Drive()


@pytest.fixture(scope="module")
def scapy_obd() -> Any:
    """The independent decoder; importing it warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib.automotive.obd.obd import OBD

        return OBD


def test_every_answer_reads_as_the_independent_decoder_reads_it(
    drive: Drive, scapy_obd: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    by_pid = {poll.identifier: poll for poll in drive.compiled.polls}
    compared: Counter[int] = Counter()
    for frame in drive.frames:
        if frame.key != 0x7E8:
            continue
        drive.asking.handle("drive", frame.key, frame.data, frame.at)
        message = frame.data[1 : 1 + frame.data[0]]
        (slot,) = by_pid[message[1]].slots.values()
        (record,) = scapy_obd(message).data_records
        assert slot.at == frame.at
        assert slot.value == pytest.approx(float(record.payload.data), abs=6e-4), f"{frame} at {frame.at}"
        compared[message[1]] += 1
    with capsys.disabled():
        kinds = ", ".join(f"{pid:02X}: {number}" for pid, number in sorted(compared.items()))
        print(f"\n{compared.total()} answers of the drive equal scapy's ({kinds})")
    assert compared.total() == sum(frame.key == 0x7E8 for frame in drive.frames)
    assert set(compared) == set(PIDS)


def test_answers_to_another_tester_are_read_without_asking(drive: Drive) -> None:
    drive.heard("vehicle.speed")
    counts = drive.asking.counts
    assert (counts.sent, counts.answered, counts.unrelated, counts.dropped) == (0, 0, 0, 0)
    assert counts.overheard == sum(frame.key == 0x7E8 for frame in drive.frames)
    assert drive.asking.due(10_000.0) == []
    assert drive.asking.deadline(10_000.0) is None


def test_speed_follows_the_satellites(drive: Drive, capsys: pytest.CaptureFixture[str]) -> None:
    times, speeds = np.array(drive.heard("vehicle.speed")).T
    reference = np.loadtxt(SATELLITE, delimiter=",", skiprows=1)
    seen_at, seen = reference[:, 0], reference[:, 1] * 3.6
    lag_s = best_lag(times, speeds, seen_at, seen)
    ours = np.interp(seen_at + lag_s, times, speeds)
    scale, offset = np.polyfit(seen, ours, 1)
    r2 = np.corrcoef(seen, ours)[0, 1] ** 2
    with capsys.disabled():
        print(
            f"\nspeed against satellites, {len(seen)} points: R2 {r2:.4f}, scale {scale:.4f},"
            f" offset {offset:+.2f} km/h, lag {lag_s:+.2f} s"
        )
    assert r2 >= 0.99
    assert scale == pytest.approx(1.0, abs=0.03)


def best_lag(times: Any, values: Any, seen_at: Any, seen: Any) -> float:
    """The shift at which the cross-correlation of both, on a grid of 10 ms, is largest."""
    step = 0.01
    grid = np.arange(max(times[0], seen_at[0]), min(times[-1], seen_at[-1]), step)
    ours = np.interp(grid, times, values)
    theirs = np.interp(grid, seen_at, seen)
    lags = range(-200, 201)
    # the ends are left out so that each lag compares equally many points
    middle = theirs[200:-200]
    scores = [np.corrcoef(ours[200 + lag : len(ours) - 200 + lag], middle)[0, 1] for lag in lags]
    return float(lags[int(np.argmax(scores))] * step)
