from __future__ import annotations

import json
import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import structlog

PROJECT = Path(__file__).resolve().parents[2]
GUEST = PROJECT / "tests" / "system" / "guest" / "run.sh"
NO_GUEST, BOOTS = 125, 3
"""What run.sh ends with where no guest came up, and how often that is tried."""


def why_not() -> str | None:
    """Say why no guest can run here, or nothing."""
    image = Path(os.environ.get("UNDERDASH_GUEST", Path.home() / ".cache" / "underdash-guest"))
    if platform.machine() != "x86_64" or not Path("/etc/debian_version").exists():
        return "the guest needs a Debian machine of the x86_64 kind"
    if os.getuid() != 0 and not (shutil.which("qemu-system-x86_64") and any(image.glob("*/kernel"))):
        return f"qemu or the guest's image in {image} is missing, and making them takes root"
    return None


def played(command: list[str], program: str, limit_s: int) -> subprocess.CompletedProcess[str]:
    """Run a program of `guest/` in a guest; one that does not come up is booted again, since on a busy machine an
    emulated kernel may lose the timer it boots by."""
    for _ in range(BOOTS):
        done = subprocess.run(
            [*command, f"python3 tests/system/guest/{program}"],
            capture_output=True,
            text=True,
            timeout=limit_s + 600,
            check=False,
        )
        if done.returncode != NO_GUEST or done.stdout.strip():  # one that said something came up, and is not begun anew
            return done
    pytest.skip(f"the guest does not work here: {done.stderr[-300:]}")


Guest = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(scope="session")
def guest() -> Guest:
    """Runs a program of `guest/` (with its arguments) in a guest booted for it; further arguments are for `run.sh`."""
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)
    packages = Path(structlog.__file__).parents[1]  # wherever what we depend on is installed

    def run(program: str, *options: str, limit_s: int = 560) -> subprocess.CompletedProcess[str]:
        return played([str(GUEST), "-t", str(limit_s), *options, str(PROJECT), str(packages)], program, limit_s)

    return run


@pytest.fixture(scope="session")
def in_guest(guest: Guest) -> Callable[[str], dict[str, Any]]:
    """Runs a program of `guest/` in a guest booted for it, and returns what it printed as seen."""

    def run(program: str) -> dict[str, Any]:
        done = guest(program)
        lines = [line.removeprefix("SEEN ") for line in done.stdout.splitlines() if line.startswith("SEEN ")]
        assert lines, f"status {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
        found: dict[str, Any] = json.loads(lines[0])
        print(f"guest with Python {found['python']}, host {sys.version.split()[0]}", json.dumps(found, indent=1))
        return found

    return run


@pytest.fixture(scope="session")
def under_systemd() -> Callable[..., dict[str, Any]]:
    """Runs a program of `guest/` where systemd is the first process, with a directory of wheels as /packages."""
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)

    def run(program: str, wheels: Path, limit_s: int = 1800) -> dict[str, Any]:
        done = played([str(GUEST), "-s", "-t", str(limit_s), str(PROJECT), str(wheels)], program, limit_s)
        said = done.stdout.splitlines()
        scenes = [line.removeprefix("SCENE ") for line in said if line.startswith("SCENE ")]
        found = [json.loads(line.removeprefix("SEEN ")) for line in said if line.startswith("SEEN ")]
        assert found, f"status {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
        for scene in scenes:
            print(scene)
        return {**found[0], "scenes": scenes}

    return run


ALL_SCENES = "UNDERDASH_ALL_SCENES"
OWNERS_LIFE = (
    *("fresh", "again", "network", "plugin", "first picture", "rights", "journey", "with strangers", "loop hangs"),
    *("page hangs", "killed", "upgrade", "removal"),
)
"""Scenes of `guest/service.py` that are always played."""
GUESTS_PYTHON = {"bookworm": (3, 11), "trixie": (3, 13)}


@pytest.fixture(scope="session")
def life(under_systemd: Callable[..., dict[str, Any]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What was seen of an owner's life with the service, from a fresh install to removal; see `guest/service.py`."""
    from .wheels import make_wheels

    wanted = GUESTS_PYTHON.get(platform.freedesktop_os_release().get("VERSION_CODENAME", ""))
    if wanted != sys.version_info[:2]:
        pytest.skip(f"wheels for the guest are made by its own Python: {wanted} is wanted, this is {sys.version}")
    folder = tmp_path_factory.mktemp("wheels")
    make_wheels(folder, tmp_path_factory.mktemp("work"))
    scenes = "" if os.environ.get(ALL_SCENES) else " ".join(f"'{name}'" for name in OWNERS_LIFE)
    return under_systemd(f"service.py {scenes}".rstrip(), folder, limit_s=2700)


@pytest.fixture
def more_scenes() -> None:
    """Leaves a test out whose scene is played on demand only."""
    if not os.environ.get(ALL_SCENES):
        pytest.skip(f"one of the scenes that take another half hour; they are played with {ALL_SCENES}=1")
