"""A few numbers typed by hand, on real traffic: how often they find their field, and that random ones find none.

Nothing here is left out of the search, so that a number's own field is the right answer, and so is every field that the
pairs of a recording name beside it.
"""

from __future__ import annotations

import numpy as np
import pytest

from underdash.finding.like.reference import Reference
from underdash.finding.like.search import like
from underdash.finding.reading import read_heard

from .test_find_like import PAIRED, RECORDINGS, Case, paired

COUNTS = (5, 8, 12, 30)
TIMES = 16
LATE_S = (0.3, 0.9)
"""From looking at a display to the key that notes the number (common practice)."""
SIGNALS = ("549 V_BAT_SNSR", "595 IBatt", "596 Voltage_12V", "5D6 IBatt", "B4 SPEED", "610 UI_SPEED")
ALSO = {"B4 SPEED": 0x498, "610 UI_SPEED": 0x498}
"""Byte 5 of 498 is no field of the truth, but a speed in whole km/h: it goes with the whole recording by 0.997."""

pytestmark = pytest.mark.skipif(
    not (RECORDINGS / "suv_highway.log.gz").exists(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)


def test_random_numbers_are_hardly_believed(capsys: pytest.CaptureFixture[str]) -> None:
    heard = read_heard(RECORDINGS / "suv_highway.log.gz")
    half = sure = 0
    for seed in range(TIMES):
        chance = np.random.default_rng(seed)
        count = COUNTS[seed % len(COUNTS)]
        at = np.sort(chance.uniform(heard.begin + 2.0, heard.end - 2.0, count))
        answer = like(heard, Reference("made up", at, chance.integers(0, 100, count).astype(float)))
        said = max((one.confidence for rank in answer.ranks for one in rank), default=0.0)
        half, sure = half + (said >= 0.5), sure + (said >= 0.9)
    with capsys.disabled():
        print(f"\nlike, random numbers: {half} of {TIMES} believed 50 % or more, {sure} 90 % or more")
    assert (half, sure) == (0, 0)


def typed(case: Case, count: int) -> Reference:
    """Return numbers of three figures, read off now and then and noted late."""
    chance = np.random.default_rng(count)
    every = case.reference
    rows = np.sort(chance.choice(len(every.at) - 1, count, replace=False))
    value = np.array([float(f"{number:.3g}") for number in every.value[rows]])
    return Reference(every.name, every.at[rows] + chance.uniform(*LATE_S, count), value)


@pytest.mark.parametrize(("count", "fewest"), [(8, 4), (12, 5), (20, 5)])
def test_typed_numbers_find_their_field(count: int, fewest: int, capsys: pytest.CaptureFixture[str]) -> None:
    cases = [case for name in PAIRED for case in paired(name) if case.reference.name.partition(" ")[2] in SIGNALS]
    assert len(cases) == len(SIGNALS)
    first = wrong = 0
    for case in cases:
        answer = like(case.heard, typed(case, count))
        told = [one for rank in answer.ranks for one in rank]
        right = (
            {ALSO.get(case.reference.name.partition(" ")[2])}
            | {can_id for _, can_id, _ in case.reference.sources}
            | {int(one["id"], 16) for one in case.targets}
        )
        first += bool(told) and told[0].where.id in right
        wrong += bool(told) and told[0].where.id not in right and told[0].confidence >= 0.5
    with capsys.disabled():
        print(f"\nlike, {count} numbers typed late: of {len(cases)} {first} first, {wrong} wrong at 50 % or more")
    assert first >= fewest
    assert not wrong
