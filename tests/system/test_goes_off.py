"""The daemon ends a drive by switching a real machine off, and a key that comes back starts that again.

Nothing on the disk can be written all the time. The supply is a stand-in: the guest's own power is switched, no relay.
"""

from __future__ import annotations

import pytest

from .conftest import Guest

pytestmark = pytest.mark.slow

SCENES = [
    "nothing on the disk can be written",
    "the daemon runs, and shows its page",
    "the ignition is on",
    "the ignition is off, and the daemon asks for the power-off",
]


@pytest.mark.parametrize(
    ("words", "last"), [("", "reboot: Power down"), (" back", "reboot: Restarting system")], ids=["gone", "back"]
)
def test_the_machine_goes_off_by_itself_and_starts_again_where_the_key_is_back(
    guest: Guest, words: str, last: str
) -> None:
    done = guest(f"goes_off.py{words}", "-s")
    scenes = [line.removeprefix("SCENE ") for line in done.stdout.splitlines() if line.startswith("SCENE ")]
    assert scenes == SCENES, done.stdout + done.stderr
    assert "STILL UP" not in done.stdout, done.stdout
    assert last in done.stderr, done.stderr
