"""underdash as an owner meets it: installed by one command, driven, broken, upgraded and removed, under a real systemd.

What this cannot show: the machine is emulated, so its seconds are no Pi's; the buses are virtual ones, so nothing is
said about controllers and transceivers; GPIO lines are the kernel's simulated ones, and SPI, backlight and PWM a module
that keeps what it is given, so nothing is said about drivers of a Pi, voltages and speed; and there is no SD card.
"""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import pytest

from .pictures import from_screen, keep

pytestmark = pytest.mark.slow


def test_every_scene_was_played(life: dict[str, Any]) -> None:
    assert "trouble" not in life


def test_bad_use_is_told_in_a_sentence(life: dict[str, Any]) -> None:
    assert "there is no argument '--weels'" in life["bad use"][0]
    assert "--wheels /nowhere: there is no such directory" in life["bad use"][1]


def test_a_fresh_install_is_whole_and_says_what_comes_next(life: dict[str, Any]) -> None:
    fresh = life["fresh"]
    assert fresh["status"] == 0, fresh
    assert "Next: say in /etc/underdash/underdash.toml which car" in fresh["said"][-1]
    assert fresh["groups"] == ["dialout", "gpio", "spi", "underdash", "video"]
    assert fresh["compiled"]
    assert fresh["enabled"] == "enabled"


def test_the_unit_is_verified_and_tight(life: dict[str, Any]) -> None:
    assert life["fresh"]["verify"] == ""
    exposure = float(life["fresh"]["exposure"].split(": ")[1].split()[0])
    assert exposure <= 1.5


def test_a_second_run_changes_nothing(life: dict[str, Any]) -> None:
    assert life["again"]["status"] == 0
    assert life["again"]["same"]


def test_a_can_interface_comes_up_by_its_place_listening_only(life: dict[str, Any]) -> None:
    network = life["network"]
    assert "LISTEN-ONLY" in network["link"]
    assert "bitrate 500000" in network["link"]
    assert "state DOWN" in network["other"]
    assert (network["networkd"], network["waits"]) == ("enabled", "disabled")
    assert network["unmanaged"]


def test_a_strangers_plugin_is_added_and_one_that_would_move_the_daemon_is_not(life: dict[str, Any]) -> None:
    plugin = life["plugin"]
    assert plugin["good"].startswith('added underdash-breaks 1.0. Next: put "breaks" among')
    assert plugin["new"] == ["underdash-breaks @ file:///packages/underdash_breaks-1.0-py3-none-any.whl"]
    assert plugin["status"] == 1
    assert "it wants other versions of what underdash stands on, which is pluggy==" in plugin["bad"]


def test_the_first_picture_is_there_before_ready(life: dict[str, Any]) -> None:
    start = life["start"]
    assert start["picture_s"] < start["ready_s"]
    assert start["status"].startswith("awake, ignition ")


def test_the_service_may_do_its_work_and_nothing_else(life: dict[str, Any]) -> None:
    rights = life["rights"]
    assert rights["user"]
    assert set(rights["capabilities"]) == {"0000000000000000"}
    works = ("can", "serial", "screen", "light", "spi", "lines", "backlight", "pwm")
    assert [rights[what] for what in works] == [True] * len(works)
    assert [rights[what] for what in ("power off", "reboot")] == ['s "yes"'] * 2
    assert True not in [rights[what] for what in ("other sys", "internet", "configuration", "program", "memory")]


def test_from_ignition_on_to_asleep(life: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> None:
    drive = life["journey"]
    assert "awake, ignition on; buses: drive sending, comfort listening; pages: boost on main" in drive["driving"]
    pictures = {"0 first": from_screen(life["start"]["picture"])}
    pictures |= {name: from_screen(text) for name, text in drive["pictures"].items()}
    keep(pictures, tmp_path_factory.mktemp("pictures"))
    assert len(pictures["3 boost"].getcolors(9999) or ()) > 20
    assert [name for name, picture in pictures.items() if picture.getbbox() is None] == ["6 asleep"]
    # with the key off there may be dashes, as with it on and nothing asked yet, or the goodbye
    told = [picture.tobytes() for name, picture in pictures.items() if name != "1 key off"]
    assert all(before != after for before, after in pairwise(told))
    assert drive["asked"] > 50
    assert drive["last_frame_s"] < 0.5
    assert None not in (drive["lingering"], drive["dark"], drive["asleep"])


def test_a_failed_upgrade_leaves_what_was_there_running(life: dict[str, Any]) -> None:
    failed = life["failed upgrade"]
    assert failed["status"] == 1
    assert failed["said"][-1] == "install: nothing was changed, the version that was installed runs on"
    assert failed["same"]


def test_an_upgrade_survives_a_python_that_is_gone_and_keeps_what_is_the_owners(life: dict[str, Any]) -> None:
    upgrade = life["upgrade"]
    assert upgrade["broken"] != "active"
    assert upgrade["status"] == 0, upgrade
    running = [line.split()[:2] for line in upgrade["plugins"].splitlines()]
    assert ["breaks", "1.0"] in running
    assert ["boost", "0.1.7"] in running
    assert upgrade["mine"]
    assert upgrade["ready"] is not None
    assert len(upgrade["environments"]) == 2


def test_removal_keeps_configuration_and_journeys(life: dict[str, Any]) -> None:
    removal = life["removal"]
    assert removal["status"] == removal["twice"] == 0
    assert removal["left"] == []
    assert removal["kept"]
    assert "/var/lib/underdash" in removal["said"][-1]


def test_the_helper_switches_an_interface_for_the_services_user_only(life: dict[str, Any]) -> None:
    switch = life["switch"]
    assert switch["socket"] == "active"
    assert switch["ours"] == "can0"
    assert "LISTEN-ONLY" not in switch["link"]
    assert "bitrate 500000" in switch["link"]
    assert "is for group underdash" in switch["somebody"]


def test_the_scenes_are_told_a_line_each(life: dict[str, Any]) -> None:
    print(json.dumps({key: value for key, value in life.items() if key != "journey"}, indent=1))
    assert len(life["scenes"]) >= 11


@pytest.mark.parametrize("kind", ["loop", "page"])
def test_a_plugin_that_hangs_is_ended_by_the_watchdog(life: dict[str, Any], kind: str) -> None:
    hang = life[f"hang {kind}"]
    assert hang["watchdog"]
    assert hang["back_s"] < 60
    where = "hangs" if kind == "page" else "step"
    assert f"stood still in {where}() of plug-in breaks" in hang["named"]
    assert (f"page 'hangs' of plug-in breaks is off: an earlier life stood still in {where}()" in hang["status"]) == (
        kind == "page"
    )
    assert hang["lit"] is not None


def test_a_killed_daemon_leaves_the_panel_dark_and_comes_back(life: dict[str, Any]) -> None:
    killed = life["killed"]
    assert killed["was_lit"]
    assert None not in (killed["dark_s"], killed["back_s"], killed["lit"])
    # the third bad end within ten minutes, after the loop's and the page's
    assert "fault    safe mode: underdash ended badly 3 times" in killed["status"]
    assert "refused  breaks: safe mode" in killed["status"]
    assert "plug-ins tarn, boost" in killed["status"]
