from __future__ import annotations

import pytest

from underdash import Limits


@pytest.mark.parametrize(
    ("limits", "allowed", "refused", "text"),
    [
        (Limits(low=0.0, high=1.0), [0, 0.5, 1], [-0.1, 1.1], "at least 0 and at most 1"),
        (Limits(above=0.0, below=5.0, unit="s"), [0.1, 4.9], [0, 5], "more than 0 and less than 5 s"),
        (Limits(low=3), [3, 1e9], [2], "at least 3"),
        (Limits(high=125_000_000, unit="Hz"), [125e6], [126e6], "at most 125000000 Hz"),
        (Limits(), [-1e9, 1e9], [], ""),
    ],
)
def test_a_limit_holds_and_says_what_is_allowed(
    limits: Limits, allowed: list[float], refused: list[float], text: str
) -> None:
    assert all(limits.hold(value) for value in allowed)
    assert not any(limits.hold(value) for value in refused)
    assert limits.text == text
