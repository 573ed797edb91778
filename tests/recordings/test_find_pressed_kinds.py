"""Which kinds of buttons are found: each put into real traffic, and marked well or badly.

The kinds are made up; nothing was tuned on how many are found. One rule was learnt here: an id is not sent all the time
where it comes in bursts with silence between, however many frames a burst has.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pytest

from underdash.finding.heard import Floats
from underdash.finding.marks import LATEST_S, Mark
from underdash.finding.pressed.search import pressed

from . import put_in
from .put_in import RECORDINGS, Bench, PutIn, recording

TRACES = ("suv_highway", "hatch_b_start_button", "hatch_c_heater", "truck_idle", "obd_drive")
CASES, MISSED = 3, 0.1

pytestmark = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)

Marking = Callable[[Floats, np.random.Generator], Floats]


def usual(times: Floats, random: np.random.Generator) -> Floats:
    late = times + random.uniform(0, LATEST_S, len(times))
    return late[random.random(len(times)) >= MISSED]


def one_twice(times: Floats, random: np.random.Generator) -> Floats:
    late = usual(times, random)
    return np.sort(np.append(late, late[int(random.integers(len(late)))] + 0.25))


def each_twice(times: Floats, random: np.random.Generator) -> Floats:
    late = usual(times, random)
    return np.sort(np.concatenate([late, late + random.uniform(0.12, 0.3, len(late))]))


def all_late(times: Floats, _: np.random.Generator) -> Floats:
    return times + LATEST_S


def two_missing(times: Floats, random: np.random.Generator) -> Floats:
    late = times + random.uniform(0, LATEST_S, len(times))
    return np.delete(late, random.permutation(len(late))[:2])


class Kind(NamedTuple):
    name: str
    make: Callable[[Bench], PutIn]
    first: int
    """Of 15, how many at least have to be found first."""
    marks: Marking = usual
    presses: int = 5


KINDS = (
    Kind("a bit while held", put_in.held, 12),
    Kind("a bit that turns over", put_in.turned, 13),
    Kind("a code that three buttons share", put_in.code, 12),
    Kind("such a code over a border of bytes", put_in.border, 11),
    Kind("a bit under a multiplexer", put_in.multiplexed, 11),
    Kind("the same, its other contents empty", put_in.multiplexed_empty, 13),
    Kind("a frame sent while held", put_in.while_held, 13),
    Kind("the same, counting", put_in.while_held_counting, 9),
    Kind("a frame on change, for three buttons", put_in.on_change, 13),
    Kind("a level with noise, for three buttons", put_in.ladder, 12),
    Kind("a count of presses", put_in.count, 13),
    Kind("80 ms in a frame of 100 ms", put_in.short, 13, presses=6),
    Kind("a bit, one press marked twice", put_in.held, 12, one_twice),
    Kind("a bit, each press marked twice", put_in.held, 8, each_twice),
    Kind("a bit, all marks 0.7 s late", put_in.held, 12, all_late),
    Kind("a bit, 2 of 6 presses unmarked", put_in.held, 9, two_missing, 6),
)


@dataclass
class Row:
    first: int = 0
    five: int = 0
    sure: int = 0
    sure_right: int = 0
    less: int = 0
    less_right: int = 0
    asked: int = 0


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
def test_each_kind_is_found_and_what_is_sure_is_right(kind: Kind) -> None:
    row = Row()
    for number, trace in enumerate(TRACES):
        for case in range(CASES):
            random = np.random.default_rng([case, number, KINDS.index(kind)])
            bench = Bench(recording(trace), random, kind.presses)
            made = kind.make(bench)
            marks = [Mark(float(at), "button") for at in kind.marks(bench.times, random)]
            (answer,) = pressed(made.heard, {"button": marks})
            flat = [one for rank in answer.ranks for one in rank]
            hits = [made.is_it(one) for one in flat]
            row.asked += 1
            row.first += any(hits[:1])
            row.five += any(hits[:5])
            if flat and flat[0].confidence >= 0.9:
                row.sure += 1
                row.sure_right += hits[0]
            elif flat:
                row.less += 1
                row.less_right += hits[0]
    print(
        f"{kind.name}: first {row.first}, five {row.five} of {row.asked}; believed 90 % or more {row.sure}, right "
        f"{row.sure_right}; less {row.less}, right {row.less_right}; nothing named {row.asked - row.sure - row.less}"
    )
    assert row.first >= kind.first
    assert row.sure_right >= 0.97 * row.sure


@pytest.mark.slow
@pytest.mark.parametrize(("noisy", "least"), [(True, 36), (False, 36)], ids=["ladder", "code"])
def test_three_buttons_of_one_field_are_read_each_alone(noisy: bool, least: int) -> None:
    """Of 45: three words in each recording and case; "alone" is in the right frames, whatever the other buttons do."""
    row, alone, sure_alone = Row(), 0, 0
    for number, trace in enumerate(TRACES):
        for case in range(CASES):
            random = np.random.default_rng([case, number, 100 + noisy])
            bench = Bench(recording(trace), random, 10)
            made, held = put_in.three(bench, noisy=noisy)
            times = {"menu": bench.times, "up": bench.others[::2], "down": bench.others[1::2]}
            marks = {word: [Mark(float(at), word) for at in usual(some, random)] for word, some in times.items()}
            for answer in pressed(made.heard, marks):
                row.asked += 1
                if answer.ranks:
                    best = answer.ranks[0][0]
                    right = made.reads_alone(best, answer.question, held[answer.question])
                    row.first += made.is_it(best)
                    alone += right
                    row.sure += best.confidence >= 0.9
                    sure_alone += right and best.confidence >= 0.9
    print(
        f"three buttons on a {'ladder with noise' if noisy else 'code'}: first {row.first} of {row.asked}, reading the "
        f"button alone {alone}; believed 90 % or more {row.sure}, of which alone {sure_alone}"
    )
    assert alone >= least
    assert sure_alone >= 0.97 * row.sure
