"""A button put into recordings of real cars: one bit that never moved moves at irregular presses, marked as people do.

Real traffic, a made-up button: half of them turn over, the others are held for a moment; marks are 0 to 0.7 s late and
one in ten is missing. Beside it the same marks on the untouched recording, where nothing is to be found. No weight was
set on any of this.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from underdash.finding.found import Candidate
from underdash.finding.heard import Heard, Stream
from underdash.finding.marks import LATEST_S, Mark
from underdash.finding.numbering import Numbering
from underdash.finding.pressed.search import pressed
from underdash.finding.reading import read_heard

RECORDINGS = Path(__file__).parents[3] / "shared" / "recordings"
TRACES = ("suv_highway", "hatch_b_start_button", "hatch_c_heater", "truck_idle", "obd_drive")
PRESSES, CASES, MISSED = 5, 12, 0.1

pytestmark = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)


@cache
def recording(trace: str) -> Heard:
    return read_heard(RECORDINGS / f"{trace}.log.gz")


def with_button(heard: Heard, times: np.ndarray, random: np.random.Generator, turns: bool) -> tuple[Heard, Stream, int]:
    """Return the recording with a button in it, in which id and in which bit of its payload."""
    usual = [one for one in heard if len(one) >= 20 and (one.period_s or 9) <= 1.1 and not one.active.all()]
    stream = usual[int(random.integers(len(usual)))]
    bit = int(random.choice(np.flatnonzero(~stream.active)))
    since = stream.at - times[np.maximum(np.searchsorted(times, stream.at, side="right") - 1, 0)]
    held = random.uniform(0.15, 0.6) + (stream.period_s or 0)
    down = np.searchsorted(times, stream.at) % 2 == 1 if turns else (since >= 0) & (since < held)
    data = stream.data.copy()
    data[:, bit // 8] ^= down.astype(np.uint8) << (bit % 8)
    moved = Stream(stream.bus, stream.id, stream.extended, stream.at, stream.length, data)
    return Heard(tuple(moved if one is stream else one for one in heard), heard.begin, heard.end), stream, bit


def is_it(one: Candidate, stream: Stream, bit: int) -> bool:
    same = (one.where.bus, one.where.id, one.where.extended) == (stream.bus, stream.id, stream.extended)
    return same and bit in Numbering.run_of(one.where.bits, 8)


def best(heard: Heard, marks: list[Mark]) -> Candidate | None:
    (answer,) = pressed(heard, {"button": marks})
    return answer.ranks[0][0] if answer.ranks else None


def test_a_button_put_in_is_found_and_none_where_there_is_none() -> None:
    random = np.random.default_rng(7)
    first = sure = sure_right = without = without_sure = asked = 0
    for trace in TRACES:
        heard = recording(trace)
        for case in range(CASES):
            times = np.sort(random.uniform(heard.begin + 1, heard.end - 2, PRESSES))
            late = times + random.uniform(0, LATEST_S, PRESSES)
            kept = random.random(PRESSES) >= MISSED
            marks = [Mark(at, "button") for at in late[kept].tolist()]
            put_in, stream, bit = with_button(heard, times, random, turns=case % 2 == 0)
            found, none = best(put_in, marks), best(heard, marks)
            right = found is not None and is_it(found, stream, bit)
            asked += 1
            first += right
            sure += found is not None and found.confidence >= 0.9
            sure_right += right and found is not None and found.confidence >= 0.9
            without += none is not None
            without_sure += none is not None and none.confidence >= 0.9
    print(
        f"button put in: first {first} of {asked}; believed 90 % or more {sure}, right {sure_right}; "
        f"without a button named {without}, believed 90 % or more {without_sure}"
    )
    assert first >= 0.93 * asked
    assert sure >= 0.8 * asked
    assert sure_right >= 0.97 * sure
    assert without_sure <= 0.03 * asked
