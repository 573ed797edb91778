"""Input lines on a real kernel, in a guest: simulated chips take the place of a board."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


def test_lines_of_the_kernel_are_followed_by_edge_and_level(in_guest: Callable[[str], dict[str, Any]]) -> None:
    seen = in_guest("inputs.py")
    if "missing" in seen:
        pytest.skip("the guest's image has no simulated GPIO lines")
    assert seen["problems"] == []
    assert (seen["first"], seen["unpressed"]) == ("OFF", False)
    assert seen["holder"] == seen["ours"]
    assert "cannot be taken" in seen["second taker"]
    assert seen["on after ms"] >= seen["stamped after ms"] >= 20
    assert seen["bounced"] in ([], ["ON"])
    assert seen["presses"] == [True, False, True, False]
    assert (seen["gone"], seen["lost"], seen["value of gone"]) == (["absent", "absent"], ["key", "push"], None)
    assert (seen["back"], seen["value of back"]) == (["", ""], "ON")
    assert seen["given back"] == ""
