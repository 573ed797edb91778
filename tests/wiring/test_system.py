"""A root that is only read, and powering off; a folder stands for the machine's root."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from underdash.config.findings import Finding, Level
from underdash.config.reading import parse_config
from underdash.wiring.rights import Account
from underdash.wiring.system import may_power_off, power_off, root_file_system

CARD = "/dev/mmcblk0p2 / ext4 rw,noatime 0 0\n"
OVERLAY = "overlayroot / overlay rw,lowerdir=/media/root-ro 0 0\n"
WHO = Account("underdash", 4711, frozenset(), service=True)


def looked(machine: Any, mounts: str, *, supply: str = "switched", cmdline: str = "", more: str = "") -> list[Finding]:
    machine.file("proc/mounts", "proc /proc proc rw 0 0\n" + mounts)
    machine.file("proc/cmdline", f"console=tty1 {cmdline}\n")
    text = f'format = 1\n[car]\nname = "small"\n[power]\nsupply = "{supply}"\n{more}'
    return list(root_file_system(parse_config(text), machine.root))


def test_a_card_that_is_written_to_under_a_supply_that_is_cut_is_a_warning(machine: Any) -> None:
    machine.board()
    (finding,) = looked(machine, CARD)
    assert finding.level is Level.WARNING
    assert "no overlay root" in finding.sentence
    assert "raspi-config nonint do_overlayfs 0" in finding.next_step
    (finding,) = looked(machine, CARD, supply="held")
    assert finding.level is Level.NOTE


def test_an_overlay_that_was_asked_for_and_is_not_there_is_told(machine: Any) -> None:
    machine.board()
    (finding,) = looked(machine, CARD, supply="held", cmdline="overlayroot=tmpfs")
    assert finding.level is Level.WARNING
    assert "/proc/cmdline asks for a root that is only read (overlayroot)" in finding.sentence
    assert "the package overlayroot has to be installed" in finding.next_step


def test_one_that_is_asked_for_from_the_next_start_is_told_too(machine: Any) -> None:
    machine.board()
    machine.file("boot/firmware/cmdline.txt", "overlayroot=tmpfs console=tty1\n")
    assert "/boot/firmware/cmdline.txt asks" in looked(machine, CARD)[0].sentence


def test_one_that_was_switched_off_is_not_asked_for(machine: Any) -> None:
    machine.board()
    (finding,) = looked(machine, CARD, cmdline="overlayroot=disabled")
    assert "no overlay root" in finding.sentence


def test_what_is_kept_in_memory_only_is_told(machine: Any) -> None:
    machine.board()
    (finding,) = looked(machine, OVERLAY)
    assert finding.level is Level.WARNING
    assert "/var/lib/underdash lies in memory" in finding.sentence
    assert "/etc/fstab" in finding.next_step


def test_a_partition_of_its_own_survives(machine: Any) -> None:
    machine.board()
    assert not looked(machine, f"{CARD}{OVERLAY}/dev/mmcblk0p3 /var/lib/underdash ext4 rw 0 0\n")


def test_recordings_in_memory_are_told(machine: Any) -> None:
    machine.board()
    own = "/dev/mmcblk0p3 /var/lib/underdash ext4 rw 0 0\n"
    kept = '[recording]\ntraces = true\nfolder = "{}"\n'
    (finding,) = looked(machine, OVERLAY + own, more=kept.format("/srv/drives"))
    assert "recording.folder /srv/drives lies in memory" in finding.sentence
    assert not looked(machine, OVERLAY + own, more=kept.format("/var/lib/underdash/drives"))


@pytest.mark.parametrize("mounts", ["/dev/mmcblk0p2 / ext4 ro,noatime 0 0\n", ""])
def test_a_root_that_is_only_read_and_one_nobody_knows_are_not_mentioned(machine: Any, mounts: str) -> None:
    machine.board()
    assert not looked(machine, mounts)


def test_a_machine_that_is_no_board_is_left_alone(machine: Any) -> None:
    assert not looked(machine, CARD)


# --- powering off -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "level", "said"),
    [
        ("challenge", Level.ERROR, "user underdash may not switch this machine off"),
        ("no", Level.ERROR, 'the login manager says "no"'),
        ("na", Level.ERROR, "cannot switch itself off"),
        (None, Level.NOTE, "it cannot be told whether user underdash may switch this machine off"),
    ],
)
def test_what_the_login_manager_says_is_told(answer: str | None, level: Level, said: str) -> None:
    config = parse_config('format = 1\n[car]\nname = "small"\n[power]\nsupply = "held"\n')
    (finding,) = power_off(config, WHO, lambda who: answer)
    assert finding.level is level
    assert said in finding.sentence
    assert finding.next_step


@pytest.mark.parametrize(("supply", "answer"), [("held", "yes"), ("switched", "no")])
def test_who_may_or_need_not_power_off_is_told_nothing(supply: str, answer: str) -> None:
    config = parse_config(f'format = 1\n[car]\nname = "small"\n[power]\nsupply = "{supply}"\n')
    assert not list(power_off(config, WHO, lambda who: answer))


@pytest.mark.parametrize(
    ("script", "told"),
    [
        ("echo 's \"challenge\"'", "challenge"),
        ("echo 's \"yes\"'", "yes"),
        ("echo 'no such bus' >&2; exit 1", None),
        ("echo nonsense", None),
    ],
)
def test_the_answer_of_the_login_manager_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, told: str | None
) -> None:
    shell = shutil.which("sh")
    command = tmp_path / "busctl"
    command.write_text(f"#!{shell}\n{script}\n")
    command.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert may_power_off(Account("me", os.geteuid(), frozenset())) == told


def test_without_the_command_nothing_can_be_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert may_power_off(WHO) is None
