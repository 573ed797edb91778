"""What of `systemd/install` can be tried without changing a machine; the rest is played in a guest (tests/system)."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[1] / "systemd" / "install"


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["--weels"], 2, "there is no argument '--weels'; see systemd/install --help"),
        (["--wheels"], 2, "--wheels takes the directory that holds the wheels"),
        (["--remove", "--wheels", "here"], 2, "--remove and --wheels do not go together"),
    ],
)
def test_bad_use_is_told_before_anything_is_looked_at(words: list[str], status: int, says: str) -> None:
    done = subprocess.run([SCRIPT, *words], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (status, "")
    assert done.stderr.startswith(f"install: {says}")


def test_help_tells_every_argument() -> None:
    done = subprocess.run([SCRIPT, "--help"], capture_output=True, text=True, check=True)
    assert all(word in done.stdout for word in ("--wheels DIR", "--remove", "configuration and journeys stay"))


@pytest.mark.parametrize(
    ("refused", "told"),
    [
        ("refused: none", ""),
        ("refused:\n  a: raised; b", "install: plug-in that does not run now: a: raised; b\n"),
        (
            "refused:\n  a: c\n  b: d",
            "install: plug-in that does not run now: a: c\ninstall: plug-in that does not run now: b: d\n",
        ),
    ],
)
def test_an_upgrade_tells_which_plugins_do_not_run_any_more(tmp_path: Path, refused: str, told: str) -> None:
    command = tmp_path / "current" / "bin" / "underdash"
    command.parent.mkdir(parents=True)
    listing = f"running:\n  x  1.0  about\n{refused}\ninstalled, not enabled:\n  y  1.0\n"
    command.write_text(f"#!/bin/sh\ncat <<'END'\n{listing}END\nexit 1\n")
    command.chmod(0o755)
    function = re.search(r"^say_refused\(\) \{.*?^\}", SCRIPT.read_text(), re.MULTILINE | re.DOTALL)
    assert function is not None
    text = f"set -Eeuo pipefail\nplace={tmp_path} configuration={tmp_path}\n{function[0]}\nsay_refused"
    done = subprocess.run(["bash", "-c", text], capture_output=True, text=True, check=True)
    assert done.stdout == told
