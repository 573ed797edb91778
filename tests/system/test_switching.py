from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    return in_guest("switching.py")


def test_the_kernel_tells_us_what_it_tells_others(seen: dict[str, Any]) -> None:
    for part in ("first", "active"):
        told = seen["listens_then_takes_part"][part]
        assert told["kind"] == "can"
        assert told["up"]
        assert told["bitrate"] == [500_000, 500_000]
        assert told["condition"] == ["error active", "ERROR-ACTIVE"]
        ours, theirs = told["listen only"]
        assert ours is theirs
        ours, theirs = told["restart"]
        assert ours == theirs


def test_an_interface_listens_only_until_its_rate_is_proven_and_again_at_the_end(seen: dict[str, Any]) -> None:
    part = seen["listens_then_takes_part"]
    assert part["first"]["listen only"] == [True, True]
    assert part["silent"]
    assert not part["sent while silent"]
    assert part["took part"]
    assert part["proof held"]
    assert part["active"]["listen only"] == [False, False]
    assert part["sent"]
    assert part["heard"]
    assert part["at the end"]


def test_an_interface_left_active_is_named_and_made_to_listen(seen: dict[str, Any]) -> None:
    part = seen["made_to_listen"]
    assert "can0 takes part in the bus before its bit rate is proven" in part["warning"]
    assert part["listens"]
    assert part["after"] == ""


def test_a_bus_that_is_silent_until_asked_is_proven_by_one_request(seen: dict[str, Any]) -> None:
    part = seen["asked_once"]
    assert part["trial"]
    assert part["one shot"]
    assert not part["a second one"]
    assert part["proven"]
    assert part["active"]
    assert part["held"]


def test_what_waits_in_a_queue_goes_out_later_unless_the_helper_empties_it(seen: dict[str, Any]) -> None:
    assert seen["emptied"] == {"left alone": True, "emptied": False}


def test_the_helper_does_nothing_beyond_the_configuration(seen: dict[str, Any]) -> None:
    said = list(seen["refused"].values())
    assert "may only take part at the configured 500000 bit/s" in said[0]
    assert "no [bus.radio]" in said[1]
    assert "no rate to listen at" in said[2]
