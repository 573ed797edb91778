"""A round panel on the kernel's SPI, GPIO lines and backlights, in a guest, since build machines have none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(in_guest: Callable[[str], dict[str, Any]]) -> dict[str, Any]:
    return in_guest("panel.py")


def test_the_controllers_model_rebuilds_each_picture_from_what_went_over_spi(seen: dict[str, Any]) -> None:
    pictures = seen["pictures"]
    assert pictures["equal"] == [True] * 4
    assert pictures["bytes"] > 2 * 240 * 240
    assert pictures["longest"] == 4096


def test_it_is_reset_by_its_line_and_has_its_time_to_wake(seen: dict[str, Any]) -> None:
    # low while it resets, and low before anybody drives it, as a sampler of a slow guest sees it
    assert seen["pictures"]["reset"] in ([0, 1], [0, 1, 0, 1])
    assert seen["pictures"]["after_waking_s"] >= 0.12


def test_an_error_of_spi_is_told_and_the_whole_picture_sent_again(seen: dict[str, Any]) -> None:
    assert "SPI does not take what is sent" in seen["pictures"]["told"]
    assert seen["pictures"]["again"]
    assert seen["pictures"]["dark"], "asleep once it was given back"


@pytest.mark.parametrize("kind", ["kernel", "line"])
def test_the_light_comes_after_the_picture_and_goes_with_the_daemon(seen: dict[str, Any], kind: str) -> None:
    orderly = seen[kind]["SIGTERM"]
    # the kernel's backlight comes up lit, and is put out until there is a picture
    assert orderly["before"] == {"kernel": 255, "line": 0}[kind]
    assert orderly["lit"], orderly["log"]
    assert orderly["picture_first"]
    assert orderly["bright"] > 0
    assert (orderly["after"], orderly["sleeps"]) == (0, True)


def test_after_a_daemon_that_was_killed_the_panel_is_put_out(seen: dict[str, Any]) -> None:
    killed = seen["kernel"]["SIGKILL"]
    assert killed["lit"]
    assert killed["after"] == killed["bright"] > 0, "nobody was left to do it"
    assert seen["kernel"]["dark"] == [0, "", 0]
    assert seen["line"]["dark"] == [0, "", 0]
