"""Others' plug-ins that raise, crash and leak under the installed service, a version that does not start, a board."""

from __future__ import annotations

from typing import Any

import pytest

from .pictures import from_spi, keep

pytestmark = pytest.mark.slow


def test_every_scene_was_played(mishaps: dict[str, Any]) -> None:
    assert "trouble" not in mishaps
    print("\n".join(mishaps["scenes"]))


def test_a_page_that_raises_costs_that_page_only(mishaps: dict[str, Any]) -> None:
    raises = mishaps["raises"]
    assert raises["off_s"] is not None
    assert raises["same life"]
    assert "page 'raises' was taken off" in raises["status"]
    assert "broken" in raises["status"]


def test_a_plugin_that_leaks_is_suspended_and_the_daemon_goes_on(mishaps: dict[str, Any]) -> None:
    leak = mishaps["leak"]
    assert leak["found_s"] is not None
    assert leak["same life"]
    assert "plug-in breaks suspended: it holds more and more memory: the daemon took" in leak["status"]
    assert "plug-in breaks is suspended" in leak["why"]
    assert int(leak["taken"]) < int(mishaps["with strangers"]["most"])


@pytest.mark.parametrize(
    ("scene", "how"),
    [
        ("page crashes in C", "crashed (Segmentation fault) in crashes() of plug-in breaks"),
        ("page ends the process", "left with status 7, without a word"),
        ("page aborts in C", "crashed (Aborted) in aborts() of plug-in breaks"),
        ("plug-in takes all memory at once", "took too much memory, and the kernel ended it"),
    ],
)
def test_the_service_is_back_after_a_plugin_took_the_process_with_it_and_says_how(
    mishaps: dict[str, Any], scene: str, how: str
) -> None:
    life = mishaps[scene]
    assert None not in (life["back_s"], life["lit"])
    assert f'how="{how}"' in life["named"]
    assert life["sentences"][0].endswith(f"The daemon before this one ended badly: {how}")
    if "aborts" in how or "crashes" in how:
        assert f"of plug-in breaks is off: an earlier life {how}" in life["status"]


def test_a_leak_of_a_library_in_c_ends_the_daemon_before_the_machine_and_nobody_is_named(
    mishaps: dict[str, Any],
) -> None:
    life = mishaps["plug-in leaks in C"]
    assert None not in (life["back_s"], life["lit"])
    # by itself; or by the kernel, where it grew faster than an emulated machine looks
    ended = [line for line in life["memory"] if 'how="took too much memory' in line]
    assert ended
    assert not any("breaks is suspected" in line for line in ended)
    # the third bad end within ten minutes
    assert "fault    safe mode: underdash ended badly 3 times" in life["status"]
    assert "refused  breaks: safe mode" in life["status"]


def test_a_restart_by_hand_forgets_what_was(mishaps: dict[str, Any]) -> None:
    assert mishaps["forgotten"] == {"ready": mishaps["forgotten"]["ready"], "faults": []}


def test_a_version_that_does_not_start_gives_way_to_the_one_from_before(mishaps: dict[str, Any]) -> None:
    failed = mishaps["upgrade that does not start"]
    assert failed["status"] == 1
    assert "the new version does not start" in failed["said"][-1]
    assert "the one from before runs again" in failed["said"][-1]
    assert failed["same"]
    assert failed["ready"] is not None
    assert failed["environments"] == ["a", "current"], failed


def test_a_root_that_cannot_be_written_any_more_keeps_no_page_from_being_shown(mishaps: dict[str, Any]) -> None:
    worn = mishaps["worn out"]
    assert worn["before"] is not None
    assert worn["read only"]
    assert worn["goes on"]
    assert None not in (worn["ready"], worn["lit"]), worn["log"]
    assert not any("level=error" in line for line in worn["log"]), worn["log"]


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
