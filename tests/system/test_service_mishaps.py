"""Others' plug-ins that hang, raise, crash and leak under the installed service, and what is said of each."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.slow


def test_every_scene_was_played(mishaps: dict[str, Any]) -> None:
    assert "trouble" not in mishaps
    print("\n".join(mishaps["scenes"]))


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


def test_a_page_that_raises_costs_that_page_only(mishaps: dict[str, Any]) -> None:
    raises = mishaps["raises"]
    assert raises["off_s"] is not None
    assert raises["same life"]
    assert "page 'raises' was taken off" in raises["status"]
    assert "broken" in raises["status"]


def test_a_killed_daemon_leaves_the_panel_dark_and_comes_back(life: dict[str, Any]) -> None:
    killed = life["killed"]
    assert killed["was_lit"]
    assert None not in (killed["dark_s"], killed["back_s"], killed["lit"])
    # the third bad end within ten minutes, after the loop's and the page's
    assert "fault    safe mode: underdash ended badly 3 times" in killed["status"]
    assert "refused  breaks: safe mode" in killed["status"]
    assert "plug-ins tarn, boost" in killed["status"]


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
