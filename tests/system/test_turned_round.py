"""A key that comes back while a real systemd switches the machine off: a restart is refused, and the unit makes one."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from .conftest import GUEST, LIMIT_S, PROJECT, why_not

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("word", "last"), [("back", "reboot: Restarting system"), ("gone", "reboot: Power down")], ids=["back", "gone"]
)
def test_the_unit_restarts_a_machine_that_goes_off_only_where_the_key_is_back(
    tmp_path: Path, word: str, last: str
) -> None:
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)
    command = [str(GUEST), "-s", "-t", str(LIMIT_S), str(PROJECT), str(tmp_path)]
    done = subprocess.run(
        [*command, f"python3 tests/system/guest/turned_round.py {word}"],
        capture_output=True,
        text=True,
        check=False,
        timeout=LIMIT_S + 600,
    )
    assert last in done.stderr, done.stderr
    # a restart that is asked for in the ordinary way is refused by then, or nobody is left to ask
    assert re.search("Call to Reboot failed|Failed to connect to bus", done.stderr)
