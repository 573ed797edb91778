"""The unit beside well-kept ones of the same machine, by the same judge (systemd-analyze(1), security --offline)."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MOST = 1.5
NEIGHBOURS = ("systemd-timesyncd", "systemd-networkd", "systemd-logind", "systemd-resolved")

pytestmark = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="there is no systemd-analyze here")


def exposure(unit: Path) -> float:
    command = ["systemd-analyze", "security", "--offline=true", "--no-pager", str(unit)]
    said = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    found = re.search(r"exposure level for \S+: ([\d.]+)", said)
    if found is None:
        pytest.skip("this systemd-analyze cannot judge a unit that is not running")
    return float(found[1])


def test_the_daemon_s_unit_is_tighter_than_its_neighbours() -> None:
    ours = exposure(ROOT / "systemd" / "underdash.service")
    there = [path for name in NEIGHBOURS if (path := Path(f"/lib/systemd/system/{name}.service")).exists()]
    assert ours <= MOST
    assert [path.name for path in there if exposure(path) <= ours] == []


def test_the_root_helper_s_unit_is_tight_too() -> None:
    assert exposure(ROOT / "systemd" / "underdash-switch@.service") <= MOST
