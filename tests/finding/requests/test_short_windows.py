"""Simulated only: which value was on show, and how its numbers are scaled, in short windows with marks that are off."""

from __future__ import annotations

from collections import Counter

import pytest

from underdash.finding.requests.search import find_requests

from ..short_windows import OnShow

SEEDS = range(12)


def test_short_windows_name_the_right_value_and_scales_lie_within_their_errors(
    capsys: pytest.CaptureFixture[str],
) -> None:
    came: Counter[str] = Counter()
    for seed in SEEDS:
        made = OnShow(seed)
        for shown in find_requests(made.heard(), made.marks).shown:
            value, best = made.values[shown.word], shown.best
            came["words"] += 1
            came["none"] += best is None
            if best is None:
                continue
            came["right" if best.asked.identifier == value.identifier else "wrong"] += 1
            if best.fit is not None:
                line = best.fit.line
                off = abs(line.scale - value.scale)
                came["scales"] += 1
                came["within three errors"] += off <= 3.0 * line.scale_error
                came["within 5 %"] += off <= 0.05 * value.scale
    with capsys.disabled():
        print(f"\nvalues on show for 5 to 20 s, simulated only: {dict(came)}")
    assert came["wrong"] == 0
    assert came["right"] >= 0.95 * came["words"]
    assert came["within three errors"] >= 0.85 * came["scales"]
    assert came["within 5 %"] >= 0.75 * came["scales"]
