"""The power goes while state and trace are being written: what was told to be on the disk is there, and is whole.

What this cannot show: no torn sectors, no disk that lies about having written, and no SD card.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.slow

ROUNDS, FRAMES_A_ROUND = 25, 200


@pytest.fixture(scope="module")
def seen(
    guest: Callable[..., subprocess.CompletedProcess[str]], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Any]:
    """What was told before the cut, and what a machine that starts again finds."""
    disk = tmp_path_factory.mktemp("disk") / "disk"
    subprocess.run(["mke2fs", "-q", "-t", "ext4", str(disk), "64M"], check=True)
    cut = guest("power_cut.py write", "-d", str(disk), "-k", f"DURABLE {ROUNDS} ")
    told = [line.split() for line in cut.stdout.splitlines() if line.startswith("DURABLE")]
    after = guest("power_cut.py look", "-d", str(disk))
    found = next(line for line in after.stdout.splitlines() if line.startswith("SEEN "))
    checked = subprocess.run(["e2fsck", "-fn", str(disk)], capture_output=True, text=True, check=False)
    table: dict[str, Any] = json.loads(found.removeprefix("SEEN "))
    return {**table, "cut": cut.returncode, "told": int(told[-1][1]), "fsck": (checked.returncode, checked.stdout)}


def test_the_power_went_while_it_was_being_written(seen: dict[str, Any]) -> None:
    assert seen["cut"] == 137
    assert seen["told"] == ROUNDS


def test_the_state_is_whole_and_not_older_than_what_was_told(seen: dict[str, Any]) -> None:
    # the cut may have come some rounds after the line was printed; in each the trace comes before the state
    assert ROUNDS <= seen["cars"] <= seen["frames"] // FRAMES_A_ROUND + 1
    assert set(seen["files"]) <= {"drive.log", "lost+found", "state.json", "state.json.part"}


def test_the_trace_has_everything_that_was_told_and_ends_with_a_whole_line(seen: dict[str, Any]) -> None:
    assert seen["frames"] >= FRAMES_A_ROUND * ROUNDS
    assert seen["in order"]


def test_the_file_system_needs_no_repair(seen: dict[str, Any]) -> None:
    status, said = seen["fsck"]
    assert status == 0, said
