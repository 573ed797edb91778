from __future__ import annotations

import compileall
import json
import os
import platform
import shlex
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
LIMIT_S = 2700
"""For a guest that hangs; the longest takes a quarter of an hour, and more where the machine has other work."""


def why_not() -> str | None:
    """Say why no guest can run here, or nothing."""
    image = Path(os.environ.get("UNDERDASH_GUEST", Path.home() / ".cache" / "underdash-guest"))
    if platform.machine() != "x86_64" or not Path("/etc/debian_version").exists():
        return "the guest needs a Debian machine of the x86_64 kind"
    if os.getuid() != 0 and not (shutil.which("qemu-system-x86_64") and any(image.glob("*/kernel"))):
        return f"qemu or the guest's image in {image} is missing, and making them takes root"
    return None


def played(words: list[str], program: str) -> subprocess.CompletedProcess[str]:
    """Run a program of `guest/` in a guest; one that does not come up is booted again, since on a busy machine an
    emulated kernel may lose the timer it boots by."""
    for _ in range(BOOTS):
        done = subprocess.run(
            [str(GUEST), "-t", str(LIMIT_S), *words, f"python3 tests/system/guest/{program}"],
            capture_output=True,
            text=True,
            timeout=LIMIT_S + 600,
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
    for folder in ("daemon", "plugins"):  # the guest cannot write here, and would compile it for each process anew
        compileall.compile_dir(PROJECT / folder, quiet=2)

    def run(program: str, *options: str) -> subprocess.CompletedProcess[str]:
        return played([*options, str(PROJECT), str(packages)], program)

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

    def run(program: str, wheels: Path) -> dict[str, Any]:
        done = played(["-s", str(PROJECT), str(wheels)], program)
        said = done.stdout.splitlines()
        scenes = [line.removeprefix("SCENE ") for line in said if line.startswith("SCENE ")]
        found = [json.loads(line.removeprefix("SEEN ")) for line in said if line.startswith("SEEN ")]
        assert found, f"status {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
        for scene in scenes:
            print(scene)
        return {**found[0], "scenes": scenes}

    return run


LIFE = (
    *("fresh", "again", "network", "plugin", "first picture", "rights", "journey"),
    *("with strangers", "loop hangs", "page hangs", "killed", "upgrade", "removal"),
)
MISHAPS = (
    *("installed", "with strangers", "page raises", "plug-in leaks", "broken version", "out of safe mode"),
    *("page crashes", "page exits", "leaks in C", "out of safe mode again", "page aborts", "leaks at once"),
    *("board", "login", "worn out"),
)
"""Scenes of `guest/service.py`, as they are played in two guests; the third bad end in a row leads to safe mode."""
GUESTS_PYTHON = {"bookworm": (3, 11), "trixie": (3, 13)}


@pytest.fixture(scope="session")
def installed(
    under_systemd: Callable[..., dict[str, Any]], tmp_path_factory: pytest.TempPathFactory
) -> Callable[[tuple[str, ...]], dict[str, Any]]:
    """Plays scenes of `guest/service.py` in a guest that is installed from wheels of this project."""
    from .wheels import make_environment, make_wheels

    wanted = GUESTS_PYTHON.get(platform.freedesktop_os_release().get("VERSION_CODENAME", ""))
    if wanted != sys.version_info[:2]:
        pytest.skip(f"wheels for the guest are made by its own Python: {wanted} is wanted, this is {sys.version}")
    folder = tmp_path_factory.mktemp("wheels")
    make_wheels(folder, tmp_path_factory.mktemp("work"))
    make_environment(folder, tmp_path_factory.mktemp("environment"))
    return lambda scenes: under_systemd(f"service.py {shlex.join(scenes)}", folder)


@pytest.fixture(scope="session")
def life(installed: Callable[[tuple[str, ...]], dict[str, Any]]) -> dict[str, Any]:
    """What was seen of an owner's life with the service, from a fresh install to removal."""
    return installed(LIFE)


@pytest.fixture(scope="session")
def mishaps(installed: Callable[[tuple[str, ...]], dict[str, Any]]) -> dict[str, Any]:
    """What was seen of a service with others' plug-ins that do harm, a version that does not start, and a board."""
    return installed(MISHAPS)
