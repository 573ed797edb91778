from __future__ import annotations

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits
from underdash.finding.like.fields import bits_of
from underdash.finding.like.lanes import Lane, lanes
from underdash.finding.like.moments import bound, moments, sequences, trials
from underdash.finding.reading import heard_from


def lane(seed: int) -> Lane:
    chance = np.random.default_rng(seed)
    walk = np.cumsum(chance.integers(-40, 41, 200)) + 2000
    rows = [int(number).to_bytes(2) + chance.bytes(1) for number in walk.tolist()]
    heard = heard_from([("drive", Frame(0x10, data, at=0.1 * row)) for row, data in enumerate(rows)])
    return next(lanes(heard))


@pytest.mark.parametrize("seed", range(3))
def test_every_field_correlates_as_its_numbers_do(seed: int) -> None:
    """Against numpy's own correlation of the numbers read from each field."""
    one = lane(seed)
    at = np.arange(0.05, 19.8, 0.1)
    value = np.interp(at, one.at, one.raw(Bits(0, 16))) + np.random.default_rng(seed).standard_normal(len(at))
    seen = moments(one, at, value, np.array([0.0, 0.1]), one.active)
    compared = 0
    for sequence in sequences(3):
        for trial in trials(seen, sequence, one):
            for column, start in enumerate(trial.starts.tolist()):
                raw = one.raw(bits_of(sequence, start, trial.length), signed=trial.signed).astype(float)
                for row, lag in enumerate(seen.lags.tolist()):
                    r = np.corrcoef(np.interp(at + lag, one.at, raw), value)[0, 1]
                    assert trial.left[row, column] == pytest.approx(1 - r * r, abs=1e-6)
                    compared += 1
    assert compared > 500
    assert (bound(seen) <= min(trial.left.min() for s in sequences(3) for trial in trials(seen, s, one)) + 1e-6).any()


def test_a_lane_that_is_not_there_is_not_compared() -> None:
    one = lane(0)
    at = np.arange(1000.0, 1010.0, 0.1)
    assert not moments(one, at, at, np.array([0.0]), one.active).used.any()
