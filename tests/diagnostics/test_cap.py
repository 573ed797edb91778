from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.diagnostics.cap import Cap


def eager(cap: Cap, seconds: float, step: float = 0.0005) -> list[float]:
    """Send whenever it is allowed."""
    sent = []
    for tick in range(int(seconds / step)):
        now = tick * step
        if now >= cap.free_at():
            cap.spend(now)
            sent.append(now)
    return sent


def test_after_a_pause_a_few_go_out_closely_and_then_evenly() -> None:
    sent = eager(Cap(40.0, 4, 0.001), 0.2)
    gaps = [round(b - a, 4) for a, b in pairwise(sent)]
    assert gaps[:3] == [0.001] * 3
    assert all(0.02 <= gap <= 0.03 for gap in gaps[3:])


@settings(deadline=None)
@given(st.integers(1, 60), st.integers(1, 8))
def test_no_second_ever_sees_more_than_the_cap(per_s: int, burst: int) -> None:
    sent = eager(Cap(float(per_s), burst, 0.001), 3.0, 0.001)
    for start in sent:
        assert sum(start <= at < start + 1.0 for at in sent) <= per_s
    assert len(sent) >= 2 * per_s


def test_without_a_cap_only_the_spacing_counts() -> None:
    sent = eager(Cap(None, 4, 0.001), 0.1, 0.0001)
    assert len(sent) >= 90
    assert all(b - a >= 0.00099 for a, b in pairwise(sent))
