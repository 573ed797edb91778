"""A knob put into recordings of real cars: a byte that never moved follows slow turns from end to end.

Real traffic, a made-up knob with 15 to 200 steps: four turns of 4 s, up and down in turn, marks 0 to 0.7 s late at both
ends, one turn in ten unmarked. Beside it the same marks on the untouched recording, where nothing is to be found. No
recording has a knob or pedal that somebody moved from end to end and told so, and no weight was set on any of this.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from underdash.finding.found import Candidate
from underdash.finding.heard import Heard, Stream
from underdash.finding.marks import LATEST_S, Mark
from underdash.finding.reading import read_heard
from underdash.finding.turned.search import turned
from underdash.finding.turned.sweeps import sweeps_of

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
TRACES = ("suv_highway", "truck_idle", "obd_drive", "hatch_c_heater")
CASES, TURNS, TURN_S, REST_S, MISSED = 12, 4, 4.0, 3.0, 0.1

pytestmark = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)


@cache
def recording(trace: str) -> Heard:
    return read_heard(RECORDINGS / f"{trace}.log.gz")


def with_knob(heard: Heard, begins: np.ndarray, random: np.random.Generator) -> tuple[Heard, Stream, int]:
    """Return the recording with a knob in it, in which id and in which byte of its payload."""
    usual = [one for one in heard if (one.period_s or 9) <= 0.3 and len(_still(one))]
    stream = usual[int(random.integers(len(usual)))]
    byte = int(random.choice(_still(stream)))
    way = np.tile([0.0, 1.0, 1.0, 0.0], TURNS // 2)
    place = np.interp(stream.at, np.ravel([(at, at + TURN_S) for at in begins]), way)
    data = stream.data.copy()
    data[:, byte] = np.rint(place * int(random.integers(15, 200)))
    moved = Stream(stream.bus, stream.id, stream.extended, stream.at, stream.length, data)
    return Heard(tuple(moved if one is stream else one for one in heard), heard.begin, heard.end), stream, byte


def _still(stream: Stream) -> np.ndarray:
    """Bytes that every frame of an id has, and that never change."""
    moving = stream.active.reshape(-1, 8).max(axis=1)
    return np.flatnonzero(~moving[: int(stream.length.min())])


def is_it(one: Candidate, stream: Stream, byte: int) -> bool:
    same = (one.where.bus, one.where.id, one.where.extended) == (stream.bus, stream.id, stream.extended)
    return same and one.where.bits.byte == byte and one.where.bits.length <= 8


def best(heard: Heard, marks: list[Mark]) -> Candidate | None:
    (answer,) = turned(heard, sweeps_of(marks))
    return answer.ranks[0][0] if answer.ranks else None


def test_a_knob_put_in_is_found_and_none_where_there_is_none() -> None:
    random = np.random.default_rng(7)
    first = sure = sure_right = without = asked = 0
    for trace in TRACES:
        heard = recording(trace)
        for _ in range(CASES):
            whole = TURNS * (TURN_S + REST_S)
            begins = random.uniform(heard.begin + 2, heard.end - whole) + (TURN_S + REST_S) * np.arange(TURNS)
            late = random.uniform(0, LATEST_S, (TURNS, 2))
            ways = ("up", "down") * (TURNS // 2)
            marks = [
                Mark(at + soon, f"knob turned {way}", at + TURN_S + later)
                for at, (soon, later), way in zip(begins.tolist(), late.tolist(), ways, strict=True)
                if random.random() >= MISSED
            ]
            put_in, stream, byte = with_knob(heard, begins, random)
            found, none = best(put_in, marks), best(heard, marks)
            right = found is not None and is_it(found, stream, byte)
            asked += 1
            first += right
            sure += found is not None and found.confidence >= 0.9
            sure_right += right and found is not None and found.confidence >= 0.9
            without += none is not None and none.confidence >= 0.5
    print(
        f"knob put in: first {first} of {asked}; believed 90 % or more {sure}, right {sure_right}; "
        f"without a knob believed 50 % or more {without}"
    )
    assert first >= 0.95 * asked
    assert sure >= 0.65 * asked
    assert sure_right >= 0.97 * sure
    assert without <= 0.03 * asked
