"""The installed service on a board: lines, SPI, light by PWM, a held supply, and somebody who is logged in."""

from __future__ import annotations

from typing import Any

import pytest

from .pictures import from_spi, keep

pytestmark = pytest.mark.slow


def test_the_unit_reads_a_line_and_drives_one_and_its_panel_gets_picture_then_light(
    mishaps: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> None:
    board = mishaps["board"]
    assert None not in (board["ready"], board["bright"], board["off"], board["on"]), board["log"]
    assert board["held"] == 1
    assert {board["holders"][f"GPIO{line}"].split()[0] for line in (17, 23, 24, 26)} == {"underdash"}
    panel = from_spi(board["sent"])
    keep({"board": panel.seen()}, tmp_path_factory.mktemp("pictures"))
    assert panel.on
    assert panel.seen().getbbox() is not None
    assert 0 < board["bright_percent"] <= 100
    assert float(board["exposure"].split(": ")[1].split()[0]) <= 1.3


def test_udev_gives_devices_to_the_services_groups_and_a_channel_of_pwm_too(mishaps: dict[str, Any]) -> None:
    assert mishaps["board"]["groups"] == {
        "spi": "spi 6",
        "lines": "gpio 6",
        "backlight": "video 6",
        "backlight power": "video 6",
        "pwm": "video 2",
        "pwm channel": "video 6",
    }


def test_somebody_who_is_logged_in_holds_a_power_off_up_and_the_supplys_line_is_held_to_the_end(
    mishaps: dict[str, Any],
) -> None:
    login = mishaps["login"]
    assert login["waits"] is not None, login
    assert login["sentence"] == "power-off waits, 60 min at most: somebody is logged in"
    assert login["while it waits"] == [1, "inactive"]
    assert login["asked"] is not None
    assert "halting" in login["state"]
    assert login["until it ends"] == 1
    low, holders, duty = login["after"]
    assert (low, "GPIO26" in holders, duty) == (0, False, 0)
    assert not from_spi(login["sent"]).on
