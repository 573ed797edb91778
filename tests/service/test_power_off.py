"""Switching off and on again: only as a service, and a key that comes back too late is left to the unit."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from underdash.service.power_off import AGAIN, PowerOff

SERVICE = {"INVOCATION_ID": "1"}
UNIT = Path(__file__).parents[2] / "systemd/underdash.service"


class Manager:
    """Stands in for systemctl: takes the first request, as the real one does, and refuses the others."""

    def __init__(self, refuses: str = "", takes: int = 1) -> None:
        self.asked: list[list[str]] = []
        self._refuses = refuses
        self._takes = takes

    def __call__(self, command: list[str], **options: object) -> subprocess.CompletedProcess[str]:
        self.asked.append(command)
        if self._refuses or len(self.asked) > self._takes:
            why = self._refuses or "There's already a shutdown or sleep operation in progress"
            return subprocess.CompletedProcess(command, 1, "", why)
        return subprocess.CompletedProcess(command, 0, "", "")


def test_outside_of_a_service_nothing_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    manager = Manager()
    monkeypatch.setattr("subprocess.run", manager)
    PowerOff(tmp_path, {})(False)
    assert manager.asked == []


def test_a_key_that_comes_back_while_it_goes_off_is_left_to_the_unit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    manager = Manager()
    monkeypatch.setattr("subprocess.run", manager)
    power_off = PowerOff(tmp_path, SERVICE)
    power_off(False)
    before = power_off.under_way
    assert not (tmp_path / AGAIN).exists()
    power_off(True)
    assert manager.asked == [["systemctl", "poweroff", "--no-block"], ["systemctl", "reboot", "--no-block"]]
    assert (before, power_off.under_way) == (True, False)
    assert (tmp_path / AGAIN).exists()
    assert f"/run/underdash/{AGAIN} " in UNIT.read_text()


def test_what_a_life_before_left_is_taken_away(tmp_path: Path) -> None:
    (tmp_path / AGAIN).touch()
    PowerOff(tmp_path, SERVICE).begin()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("reboot", [False, True])
def test_a_refusal_leaves_no_mark_where_nothing_was_under_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reboot: bool
) -> None:
    monkeypatch.setattr("subprocess.run", Manager("Interactive authentication required."))
    power_off = PowerOff(tmp_path, SERVICE)
    power_off(reboot)
    assert not power_off.under_way
    assert list(tmp_path.iterdir()) == []


def test_a_restart_that_is_taken_needs_no_mark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("subprocess.run", Manager(takes=2))
    power_off = PowerOff(tmp_path, SERVICE)
    power_off(False)
    power_off(True)
    assert not power_off.under_way
    assert list(tmp_path.iterdir()) == []


def test_a_manager_that_does_not_answer_is_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(command: list[str], **options: object) -> subprocess.CompletedProcess[str]:
        raise subprocess.TimeoutExpired(command, 10.0)

    monkeypatch.setattr("subprocess.run", never)
    PowerOff(tmp_path, SERVICE)(False)
    assert list(tmp_path.iterdir()) == []
