from __future__ import annotations

import json
import os
import platform
import shutil
import site
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

PROJECT = Path(__file__).resolve().parents[2]
GUEST = PROJECT / "tests" / "system" / "guest" / "run.sh"


def why_not() -> str | None:
    """Say why no guest can run here, or nothing."""
    image = Path(os.environ.get("UNDERDASH_GUEST", Path.home() / ".cache" / "underdash-guest"))
    if platform.machine() != "x86_64" or not Path("/etc/debian_version").exists():
        return "the guest needs a Debian machine of the x86_64 kind"
    if os.getuid() != 0 and not (shutil.which("qemu-system-x86_64") and any(image.glob("*/kernel"))):
        return f"qemu or the guest's image in {image} is missing, and making them takes root"
    return None


@pytest.fixture(scope="session")
def in_guest() -> Callable[[str], dict[str, Any]]:
    """Runs a program of `guest/` in a guest booted for it, and returns what it printed as seen."""
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)

    def run(program: str) -> dict[str, Any]:
        packages = next(
            place for place in [sysconfig.get_path("purelib"), *site.getsitepackages()] if Path(place).is_dir()
        )
        done = subprocess.run(
            [str(GUEST), "-t", "560", str(PROJECT), packages, f"python3 tests/system/guest/{program}"],
            capture_output=True,
            text=True,
            timeout=900,
            check=False,
        )
        lines = [line.removeprefix("SEEN ") for line in done.stdout.splitlines() if line.startswith("SEEN ")]
        if done.returncode == 125:
            pytest.skip(f"the guest does not work here: {done.stderr[-300:]}")
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
        command = [str(GUEST), "-s", "-t", str(limit_s), str(PROJECT), str(wheels)]
        done = subprocess.run(
            [*command, f"python3 tests/system/guest/{program}"],
            capture_output=True,
            text=True,
            timeout=limit_s + 600,
            check=False,
        )
        if done.returncode == 125:
            pytest.skip(f"the guest does not work here: {done.stderr[-300:]}")
        said = done.stdout.splitlines()
        scenes = [line.removeprefix("SCENE ") for line in said if line.startswith("SCENE ")]
        found = [json.loads(line.removeprefix("SEEN ")) for line in said if line.startswith("SEEN ")]
        assert found, f"status {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
        for scene in scenes:
            print(scene)
        return {**found[0], "scenes": scenes}

    return run
