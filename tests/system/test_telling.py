"""What the daemon writes to a real journal, and what a real login manager answers to check."""

from __future__ import annotations

import json
from typing import Any

import pytest

from .conftest import Guest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def seen(guest: Guest) -> dict[str, Any]:
    """What the program in the guest saw; the guest is booted once."""
    done = guest("telling.py", "-s")
    lines = [line.removeprefix("SEEN ") for line in done.stdout.splitlines() if line.startswith("SEEN ")]
    assert lines, f"status {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
    found: dict[str, Any] = json.loads(lines[0])
    return found


def test_lines_in_the_journal_have_their_priority_and_no_time_of_their_own(seen: dict[str, Any]) -> None:
    assert seen["journal"]
    for message, priority in seen["journal"]:
        assert message.startswith("level=")
        assert priority == {"info": "6", "warning": "4", "error": "3"}[message.split()[0].removeprefix("level=")]


def test_the_log_is_told_in_sentences(seen: dict[str, Any]) -> None:
    status, lines, err = seen["log"]
    assert (status, err) == (0, "")
    assert any(line.endswith("The daemon runs for car obd2_11bit, with buses drive") for line in lines)
    assert not any("event=" in line for line in lines)


def test_who_may_power_off_is_asked_of_the_login_manager(seen: dict[str, Any]) -> None:
    root, nobody = seen["may power off"]
    assert root == "yes"
    assert nobody in ("no", "challenge")


def test_a_serial_port_of_a_group_is_told_with_the_group(seen: dict[str, Any]) -> None:
    (finding,) = seen["serial"]
    assert "user nobody may not use /dev/ttyS0" in finding
    assert "`sudo usermod -aG dialout nobody`" in finding
