"""Others' plug-ins that hang, raise, crash and leak under the installed service, and what is said of each."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(life: dict[str, Any]) -> dict[str, Any]:
    """What was seen of the service, installed in a guest that is booted once for all such files."""
    return life


@pytest.mark.parametrize("kind", ["loop", "page"])
def test_a_plugin_that_hangs_is_ended_by_the_watchdog(seen: dict[str, Any], kind: str) -> None:
    hang = seen[f"hang {kind}"]
    assert hang["watchdog"]
    assert hang["back_s"] < 60
    where = "hangs" if kind == "page" else "step"
    assert f"stood still in {where}() of plug-in breaks" in hang["named"]
    assert (f"page 'hangs' of plug-in breaks is off: an earlier life stood still in {where}()" in hang["status"]) == (
        kind == "page"
    )
    assert hang["lit"] is not None


@pytest.mark.usefixtures("more_scenes")
def test_a_page_that_raises_costs_that_page_only(seen: dict[str, Any]) -> None:
    raises = seen["raises"]
    assert raises["off_s"] is not None
    assert raises["same life"]
    assert "page 'raises' was taken off" in raises["status"]
    assert "broken" in raises["status"]


def test_a_killed_daemon_leaves_the_panel_dark_and_comes_back(seen: dict[str, Any]) -> None:
    killed = seen["killed"]
    assert killed["was_lit"]
    assert None not in (killed["dark_s"], killed["back_s"], killed["lit"])
    # the third bad end within ten minutes, after the loop's and the page's
    assert "fault    safe mode: underdash ended badly 3 times" in killed["status"]
    assert "refused  breaks: safe mode" in killed["status"]
    assert "plug-ins tarn, boost" in killed["status"]


@pytest.mark.usefixtures("more_scenes")
def test_a_plugin_that_leaks_is_suspended_and_the_daemon_goes_on(seen: dict[str, Any]) -> None:
    leak = seen["leak"]
    assert leak["found_s"] is not None
    assert leak["same life"]
    assert "plug-in breaks suspended: it holds more and more memory: the daemon took" in leak["status"]
    assert "plug-in breaks is suspended" in leak["why"]
    assert int(leak["taken"]) < int(seen["with strangers"]["most"])


@pytest.mark.usefixtures("more_scenes")
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
    seen: dict[str, Any], scene: str, how: str
) -> None:
    life = seen[scene]
    assert None not in (life["back_s"], life["lit"])
    assert f'how="{how}"' in life["named"]
    assert life["sentences"][0].endswith(f"The daemon before this one ended badly: {how}")
    if "aborts" in how or "crashes" in how:
        assert f"of plug-in breaks is off: an earlier life {how}" in life["status"]


@pytest.mark.usefixtures("more_scenes")
def test_a_leak_of_a_library_in_c_ends_the_daemon_before_the_machine_and_nobody_is_named(seen: dict[str, Any]) -> None:
    life = seen["plug-in leaks in C"]
    assert None not in (life["back_s"], life["lit"])
    # by itself; or by the kernel, where it grew faster than an emulated machine looks
    ended = [line for line in life["memory"] if 'how="took too much memory' in line]
    assert ended
    assert not any("breaks is suspected" in line for line in ended)
    # the third bad end within ten minutes
    assert "fault    safe mode: underdash ended badly 3 times" in life["status"]
    assert "refused  breaks: safe mode" in life["status"]


@pytest.mark.usefixtures("more_scenes")
def test_a_restart_by_hand_forgets_what_was(seen: dict[str, Any]) -> None:
    assert seen["forgotten"] == {"ready": seen["forgotten"]["ready"], "faults": []}
