"""underdash as an owner meets it: installed by one command, driven, broken, upgraded and removed, under a real systemd.

What this cannot show: the machine is emulated, so its seconds are no Pi's; the buses are virtual ones, so nothing is
said about controllers and transceivers; there is no SPI and no GPIO line, no backlight, and no SD card.
"""

from __future__ import annotations

import json
import platform
import subprocess
import sys
import zipfile
import zlib
from base64 import b64decode
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from .conftest import PROJECT

pytestmark = pytest.mark.slow

GUESTS_PYTHON = {"bookworm": (3, 11), "trixie": (3, 13)}

HANGS = """
import time
from pathlib import Path
from underdash import Derived, Page, PluginInfo, Signal, hookimpl

@hookimpl
def plugin():
    return PluginInfo("hangs when it is told to")

@hookimpl
def signals():
    return [Signal("hangs.now", "", "nothing")]

def step(state, inputs, dt_s):
    flag = Path("/run/underdash/hang-loop")
    if flag.exists():
        flag.unlink()
        while True:
            pass
    return None, None

@hookimpl
def derived_signals():
    return [Derived("hangs.now", ("vehicle.speed",), step, period_s=0.2)]

def draw(canvas, snapshot):
    canvas.title("hangs")
    flag = Path("/run/underdash/hang-page")
    if flag.exists():
        flag.unlink()
        time.sleep(1000)

@hookimpl
def display_pages():
    return [Page("hangs", "Hangs", draw, ("hangs.now",))]
"""


def tiny_wheel(folder: Path, name: str, code: str, requires: str) -> None:
    """Write a wheel with one module, which is a plug-in (the format is PEP 427)."""
    info = f"underdash_{name}-1.0.dist-info"
    parts = {
        f"underdash_{name}.py": code,
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: underdash-{name}\nVersion: 1.0\nRequires-Dist: {requires}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: a test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        f"{info}/entry_points.txt": f"[underdash]\n{name} = underdash_{name}\n",
    }
    record = "".join(f"{part},,\n" for part in (*parts, f"{info}/RECORD"))
    with zipfile.ZipFile(folder / f"underdash_{name}-1.0-py3-none-any.whl", "w") as wheel:
        for path, text in {**parts, f"{info}/RECORD": record}.items():
            wheel.writestr(path, text)


def make_wheels(folder: Path, work: Path) -> None:
    """Make what the guest, which has no network, is installed from: this version, a newer one, and two plug-ins."""

    def pip(*words: str | Path) -> None:
        command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--disable-pip-version-check", *map(str, words)]
        subprocess.run(command, check=True, cwd=work, timeout=600)

    pip("--wheel-dir", folder, f"{PROJECT}[pi]")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, text=True, check=True)
    for name in filter(None, listed.stdout.split("\0")):
        if name.startswith(("daemon/", "plugins/", "README", "LICENSE", "pyproject")) and (PROJECT / name).is_file():
            (work / name).parent.mkdir(parents=True, exist_ok=True)
            (work / name).write_bytes((PROJECT / name).read_bytes())
    project = work / "pyproject.toml"
    project.write_text(project.read_text().replace('\nversion = "0.1.0"', '\nversion = "0.1.7"'))
    pip("--no-deps", "--wheel-dir", folder / "newer", work)
    tiny_wheel(folder, "hangs", HANGS, "underdash >=0.1")
    tiny_wheel(folder, "moves", HANGS, "pluggy <1.5")


@pytest.fixture(scope="module")
def seen(under_systemd: Callable[..., dict[str, Any]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    wanted = GUESTS_PYTHON.get(platform.freedesktop_os_release().get("VERSION_CODENAME", ""))
    if wanted != sys.version_info[:2]:
        pytest.skip(f"wheels for the guest are made by its own Python: {wanted} is wanted, this is {sys.version}")
    folder = tmp_path_factory.mktemp("wheels")
    make_wheels(folder, tmp_path_factory.mktemp("work"))
    return under_systemd("service.py", folder)


def test_every_scene_was_played(seen: dict[str, Any]) -> None:
    assert "trouble" not in seen


def test_bad_use_is_told_in_a_sentence(seen: dict[str, Any]) -> None:
    assert "there is no argument '--weels'" in seen["bad use"][0]
    assert "--wheels /nowhere: there is no such directory" in seen["bad use"][1]


def test_a_fresh_install_is_whole_and_says_what_comes_next(seen: dict[str, Any]) -> None:
    fresh = seen["fresh"]
    assert fresh["status"] == 0, fresh
    assert "Next: say in /etc/underdash/underdash.toml which car" in fresh["said"][-1]
    assert fresh["groups"] == ["dialout", "gpio", "spi", "underdash", "video"]
    assert fresh["compiled"]
    assert fresh["enabled"] == "enabled"


def test_the_unit_is_verified_and_tight(seen: dict[str, Any]) -> None:
    assert seen["fresh"]["verify"] == ""
    exposure = float(seen["fresh"]["exposure"].split(": ")[1].split()[0])
    assert exposure <= 1.5


def test_a_second_run_changes_nothing(seen: dict[str, Any]) -> None:
    assert seen["again"]["status"] == 0
    assert seen["again"]["same"]


def test_a_can_interface_comes_up_by_its_place_listening_only(seen: dict[str, Any]) -> None:
    network = seen["network"]
    assert "LISTEN-ONLY" in network["link"]
    assert "bitrate 500000" in network["link"]
    assert "state DOWN" in network["other"]
    assert (network["networkd"], network["waits"]) == ("enabled", "disabled")
    assert network["unmanaged"]


def test_a_strangers_plugin_is_added_and_one_that_would_move_the_daemon_is_not(seen: dict[str, Any]) -> None:
    plugin = seen["plugin"]
    assert plugin["good"].startswith('added underdash-hangs 1.0. Next: put "hangs" among')
    assert plugin["new"] == ["underdash-hangs @ file:///packages/underdash_hangs-1.0-py3-none-any.whl"]
    assert plugin["status"] == 1
    assert "it wants other versions of what underdash stands on, which is pluggy==" in plugin["bad"]


def test_the_first_picture_is_there_before_ready(seen: dict[str, Any]) -> None:
    start = seen["start"]
    assert start["picture_s"] < start["ready_s"]
    assert start["status"].startswith("awake, ignition ")


def test_the_service_may_do_its_work_and_nothing_else(seen: dict[str, Any]) -> None:
    rights = seen["rights"]
    assert rights["user"]
    assert set(rights["capabilities"]) == {"0000000000000000"}
    assert [rights[what] for what in ("can", "serial", "screen", "light")] == [True] * 4
    assert [rights[what] for what in ("power off", "reboot")] == ['s "yes"'] * 2
    assert True not in [rights[what] for what in ("other sys", "internet", "configuration", "program", "memory")]


def test_from_ignition_on_to_asleep(seen: dict[str, Any], tmp_path: Path) -> None:
    drive = seen["journey"]
    assert "awake, ignition on; buses: drive sending, comfort listening; pages: boost on main" in drive["driving"]
    picture = zlib.decompress(b64decode(drive["picture"]))
    (tmp_path / "driving.rgb565").write_bytes(picture)
    assert len(set(picture)) > 20
    assert drive["asked"] > 50
    assert drive["last_frame_s"] < 0.5
    assert None not in (drive["lingering"], drive["dark"], drive["asleep"])


@pytest.mark.parametrize("kind", ["loop", "page"])
def test_a_plugin_that_hangs_is_ended_by_the_watchdog(seen: dict[str, Any], kind: str) -> None:
    hang = seen[f"hang {kind}"]
    assert hang["watchdog"]
    assert hang["back_s"] < 60
    where = "draw" if kind == "page" else "step"
    assert f"stood still in {where}() of plug-in hangs" in hang["named"]
    assert (f"page 'hangs' of plug-in hangs is off: an earlier life stood still in {where}()" in hang["status"]) == (
        kind == "page"
    )
    assert hang["lit"] is not None


def test_a_killed_daemon_leaves_the_panel_dark_and_comes_back(seen: dict[str, Any]) -> None:
    killed = seen["killed"]
    assert killed["was_lit"]
    assert None not in (killed["dark_s"], killed["back_s"], killed["lit"])
    # the third bad end within ten minutes, after the loop's and the page's
    assert "fault    safe mode: underdash ended badly 3 times" in killed["status"]
    assert "refused  hangs: safe mode" in killed["status"]
    assert "plug-ins tarn, boost, temperatures" in killed["status"]


def test_a_failed_upgrade_leaves_what_was_there_running(seen: dict[str, Any]) -> None:
    failed = seen["failed upgrade"]
    assert failed["status"] == 1
    assert failed["said"][-1] == "install: nothing was changed, the version that was installed runs on"
    assert failed["same"]


def test_an_upgrade_survives_a_python_that_is_gone_and_keeps_what_is_the_owners(seen: dict[str, Any]) -> None:
    upgrade = seen["upgrade"]
    assert upgrade["broken"] != "active"
    assert upgrade["status"] == 0, upgrade
    running = [line.split()[:2] for line in upgrade["plugins"].splitlines()]
    assert ["hangs", "1.0"] in running
    assert ["boost", "0.1.7"] in running
    assert upgrade["mine"]
    assert upgrade["ready"] is not None
    assert len(upgrade["environments"]) == 2


def test_removal_keeps_configuration_and_journeys(seen: dict[str, Any]) -> None:
    removal = seen["removal"]
    assert removal["status"] == removal["twice"] == 0
    assert removal["left"] == []
    assert removal["kept"]
    assert "/var/lib/underdash" in removal["said"][-1]


def test_the_helper_switches_an_interface_for_the_services_user_only(seen: dict[str, Any]) -> None:
    switch = seen["switch"]
    assert switch["socket"] == "active"
    assert switch["ours"] == "can0"
    assert "LISTEN-ONLY" not in switch["link"]
    assert "bitrate 500000" in switch["link"]
    assert "is for group underdash" in switch["somebody"]


def test_the_scenes_are_told_a_line_each(seen: dict[str, Any]) -> None:
    print(json.dumps({key: value for key, value in seen.items() if key != "journey"}, indent=1))
    assert len(seen["scenes"]) >= 11
