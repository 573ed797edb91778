"""Who may use which device, in a folder that stands for the machine's root."""

from __future__ import annotations

import os
from typing import Any

import pytest

from underdash.config.findings import Finding, Level
from underdash.config.reading import parse_config
from underdash.contract.pages import PanelDriver
from underdash.display.panels.wire import SpiSettings
from underdash.wiring.needs import Needs, needs
from underdash.wiring.rights import Account, account, asked_as, of_service, rights, written

STRANGER = Account("underdash", 4711, frozenset({4711}), service=True)
CONFIG = 'format = 1\n[car]\nname = "small"\n[power]\nsupply = "switched"\n'


def found(machine: Any, wanted: Needs, who: Account = STRANGER, text: str = "") -> list[Finding]:
    return list(rights(parse_config(CONFIG + text), wanted, who, machine.root))


@pytest.fixture
def named(machine: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The group of what this test makes is no one's own but spi."""
    machine.file("dev/spidev0.0", mode=0o660)
    real = os.stat_result((machine.root / "dev/spidev0.0").stat())
    own = list(real)
    own[5] = 999  # st_gid
    machine.file("etc/group", "spi:x:999:\n")
    monkeypatch.setattr("pathlib.Path.stat", lambda path, **_: os.stat_result(own))
    return machine


@pytest.mark.parametrize(
    ("service", "step"),
    [
        (True, "`sudo usermod -aG spi underdash`, then `sudo systemctl restart underdash`"),
        (False, "`sudo usermod -aG spi underdash`, then log in again"),
    ],
)
def test_a_device_that_may_not_be_used_is_told_with_group_and_command(named: Any, service: bool, step: str) -> None:
    who = Account("underdash", 4711, frozenset({4711}), service=service)
    (finding,) = found(named, Needs(files=(("panel main", "/dev/spidev0.0"),)), who)
    assert finding.level is Level.ERROR
    assert finding.sentence == "panel main: user underdash may not use /dev/spidev0.0"
    assert finding.next_step == step


def test_a_member_of_the_group_and_root_may_use_it(named: Any) -> None:
    wanted = Needs(files=(("panel main", "/dev/spidev0.0"),))
    assert not found(named, wanted, Account("underdash", 4711, frozenset({999})))
    assert not found(named, wanted, Account("root", 0, frozenset({0})))


def test_what_no_group_may_use_needs_the_rules_for_devices(machine: Any) -> None:
    machine.file("dev/ttyACM0", mode=0o600)
    (finding,) = found(machine, Needs(files=(("bus.drive", "/dev/ttyACM0"),)))
    assert "sudo systemd/install" in finding.next_step


def test_a_device_that_is_missing_is_told_elsewhere(machine: Any) -> None:
    assert not found(machine, Needs(files=(("panel main", "/dev/spidev7.0"),)))


def test_those_who_want_one_chip_are_told_in_one_line(machine: Any) -> None:
    machine.file("dev/gpiochip0", mode=0o600)
    lines = (("panel main (dc)", "GPIO24"), ("panel main (reset)", "GPIO23"), ("input key", "/dev/gpiochip0:4"))
    (finding,) = found(machine, Needs(lines=lines))
    assert finding.sentence.startswith("panel main (dc), panel main (reset), input key: user underdash may not use")


def test_what_is_tried_by_the_user_who_asks_is_not_told_twice(machine: Any) -> None:
    machine.file("dev/ttyACM0", mode=0o000)
    wanted = Needs(files=(("panel main", "/dev/ttyACM0"),), tried=frozenset({"panel main"}))
    assert found(machine, wanted)
    assert not found(machine, wanted, Account("me", os.geteuid(), frozenset()))


def test_lights_that_may_not_be_set_are_told(machine: Any) -> None:
    machine.file("sys/class/backlight/lcd/brightness", mode=0o600)
    machine.file("sys/class/pwm/pwmchip0/export", mode=0o600)
    panel = '[panel.{0}]\ndriver = "picture"\ndeck = ["status"]\n[panel.{0}.backlight]\nkind = "{1}"\n'
    text = panel.format("left", "kernel") + panel.format("right", "pwm")
    sentences = [finding.sentence for finding in found(machine, Needs(), text=text)]
    assert sentences == [
        "panel left: user underdash may not write /sys/class/backlight/lcd/brightness",
        "panel right: user underdash may not write /sys/class/pwm/pwmchip0/export",
    ]


# --- who runs the daemon ----------------------------------------------------------------------------------------------


def test_where_the_unit_is_installed_its_user_counts(machine: Any) -> None:
    machine.file("etc/passwd", "root:x:0:0::/root:/bin/sh\nunderdash:x:990:980::/:/bin/false\n")
    machine.file("etc/group", "spi:x:993:pi,underdash\ngpio:x:994:pi\nunderdash:x:980:\n")
    assert account(machine.root).uid == os.getuid()
    machine.file("etc/systemd/system/underdash.service")
    assert account(machine.root) == Account("underdash", 990, frozenset({980, 993}), service=True)


def test_a_broken_list_of_users_leaves_who_asks(machine: Any) -> None:
    machine.file("etc/passwd", "underdash:x:many:980::/:\nnonsense\n")
    machine.file("etc/systemd/system/underdash.service")
    assert account(machine.root).uid == os.getuid()


# --- what is wanted ---------------------------------------------------------------------------------------------------


def test_what_a_configuration_wants_is_gathered() -> None:
    text = """
[bus.drive]
interface = "slcan"
channel = "/dev/ttyACM0"
[input.key]
kind = "gpio"
signal = "vehicle.ignition"
line = "GPIO4"
[panel.main]
driver = "wired"
deck = ["status"]
settings = { spi = "spi1.0", reset = "" }
backlight = { kind = "line", line = "GPIO18" }
[panel.second]
driver = "framebuffer"
deck = ["status"]
[panel.third]
driver = "nobody"
deck = ["status"]
[panel.fourth]
driver = "wired"
deck = ["status"]
settings = { spi = "nonsense" }
"""
    config = CONFIG.replace('"switched"', '"held"\nhold_line = "GPIO5"')
    wanted = needs(parse_config(config + text), {"wired": PanelDriver("wired", lambda table: table, SpiSettings)})
    assert [who for who, _ in wanted.spi] == ["panel main"]
    assert wanted.files == (
        ("panel second", "/dev/fb0"),
        ("panel main", "/dev/spidev1.0"),
        ("bus.drive", "/dev/ttyACM0"),
    )
    assert wanted.lines == (
        ("panel main (dc)", "GPIO24"),
        ("panel main (backlight)", "GPIO18"),
        ("input key", "GPIO4"),
        ("power.hold_line", "GPIO5"),
    )
    assert wanted.tried == {"power.hold_line", "input key", "panel second"}


# --- whose rights, and what the unit lets the service write -----------------------------------------------------------


def test_whose_rights_a_driver_s_own_look_was_judged_by_is_told(machine: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    machine.file("etc/passwd", "pi:x:1000:1000::/:/bin/bash\n")
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    said = asked_as(STRANGER, machine.root)
    assert said.startswith(
        "looked at as pi, and the daemon runs as underdash, who may have other rights: `sudo -u underdash"
    )
    assert asked_as(Account("pi", 1000, frozenset()), machine.root) == ""
    monkeypatch.setattr("os.geteuid", lambda: 0)
    assert asked_as(STRANGER, machine.root) == ""


@pytest.mark.parametrize(
    ("folder", "file", "keys"),
    [
        ("recordings", "panel.png", ["recording.folder", "panel.main.settings.file"]),
        ("/var/lib/underdash/../../../etc", "/run/underdash/panel.png", ["recording.folder"]),
        ("/var/lib/underdash/recordings", "/tmp/panel.png", []),
        ("/var/lib/underdash/recordings", "", []),
    ],
)
def test_what_the_service_may_not_write_is_told_with_a_place_it_may(folder: str, file: str, keys: list[str]) -> None:
    text = f'[recording]\ntraces = true\nfolder = "{folder}"\n[panel.main]\ndriver = "picture"\ndeck = ["boost"]\n'
    read = parse_config(f'{CONFIG}{text}settings = {{ file = "{file}" }}\n', "/etc/underdash/underdash.toml")
    found = list(written(read))
    assert [one.sentence.partition(":")[0] for one in found] == keys
    assert all(one.next_step.startswith('write "/var/lib/underdash/') for one in found)


def test_only_the_service_s_own_configuration_is_judged_by_its_unit(machine: Any) -> None:
    own = machine.file("etc/underdash/underdash.toml", CONFIG)
    assert of_service(parse_config(CONFIG, str(own)), STRANGER, machine.root)
    assert not of_service(parse_config(CONFIG, "/elsewhere/underdash.toml"), STRANGER, machine.root)
    assert not of_service(parse_config(CONFIG, str(own)), Account("pi", 1000, frozenset()), machine.root)
