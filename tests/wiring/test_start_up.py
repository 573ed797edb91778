"""What delayed the last start is read off the service manager's own numbers."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from underdash.wiring.start_up import Step, _compiled, blame, chain, findings, seconds

CHAIN = """The time when unit became active or started is printed after the "@" character.
The time the unit took to start is printed after the "+" character.

underdash.service +1.812s
└─basic.target @6.204s
  └─sockets.target @6.201s
    └─cloud-init.service @3.120s +2.940s
      └─system.slice @402ms
"""
BLAME = """1min 2.500s apt-daily.service
     2.940s cloud-init.service
     1.100s NetworkManager-wait-online.service
      812ms keyboard-setup.service
      299ms bluetooth.service
     9.000s something-of-the-owners.service
"""


def said(chain_says: str = CHAIN, blame_says: str = BLAME, root: Path = Path("/nowhere")) -> list[str]:
    answers = {"critical-chain": chain_says, "blame": blame_says}
    return [str(one) for one in findings(root, lambda *words: answers[words[0]])]


@pytest.mark.parametrize(("text", "found"), [("345ms", 0.345), ("1.812s", 1.812), ("1min 2.5s", 62.5), ("2min", 120.0)])
def test_spans_are_read_as_systemd_writes_them(text: str, found: float) -> None:
    assert seconds(text) == pytest.approx(found)


@pytest.mark.parametrize("text", ["", "soon", "12", "s"])
def test_what_is_no_span_is_not_guessed(text: str) -> None:
    with pytest.raises(ValueError):
        seconds(text)


def test_a_chain_is_read() -> None:
    steps = chain(CHAIN)
    assert [step.unit for step in steps][:2] == ["underdash.service", "basic.target"]
    assert steps[3] == Step("cloud-init.service", 3.12, 2.94)


def test_blame_is_read_and_odd_lines_are_left_alone() -> None:
    assert blame(BLAME)["apt-daily.service"] == 62.5
    assert blame("Bootup is not yet finished\n\n  x y z.service\n") == {}


def test_the_way_to_the_first_page_is_told_with_its_seconds() -> None:
    first = said()[0]
    assert first.startswith(
        "note: start: underdash was begun 6.2 s after systemd and took 1.8 s to its first page; "
        "on its way: cloud-init.service 2.9 s ->"
    )


def test_what_a_car_can_do_without_is_told_with_what_it_took() -> None:
    notes = {line.split()[2]: line for line in said()[1:]}
    assert sorted(notes) == [
        "NetworkManager-wait-online.service", "apt-daily.service", "cloud-init.service", "keyboard-setup.service",
    ]  # fmt: skip
    assert "took 2.9 s of the last one, underdash waited for it -> once the" in notes["cloud-init.service"]
    assert "beside underdash" in notes["NetworkManager-wait-online.service"]
    assert "sudo systemctl disable --now apt-daily.timer" in notes["apt-daily.service"]


def test_a_service_that_waits_for_the_network_is_warned_of() -> None:
    warned = [line for line in said(CHAIN.replace("sockets.target", "network-online.target")) if "warning" in line]
    assert warned[0].startswith("warning: start: underdash waits for the network, which it does not need")


def test_where_the_service_manager_says_nothing_nothing_is_said() -> None:
    assert said("", "") == []
    assert list(findings(Path("/nowhere"))) == []


@pytest.mark.parametrize(("words", "told"), [("console=tty1 root=/dev/x", True), ("console=tty1 quiet", False)])
def test_a_pi_whose_kernel_talks_is_told(tmp_path: Path, words: str, told: bool) -> None:
    (tmp_path / "proc/device-tree").mkdir(parents=True)
    (tmp_path / "proc/device-tree/model").write_text("Raspberry Pi 4 Model B Rev 1.4\x00")
    (tmp_path / "proc/cmdline").write_text(words + "\n")
    assert any("add `quiet`" in line for line in said("", "", tmp_path)) is told


def test_modules_that_cannot_be_compiled_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "one.py").write_text("")
    assert list(_compiled(tmp_path)) == []
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    (warned,) = _compiled(tmp_path)
    assert "1 of 1 modules are compiled anew each time" in str(warned)
    (tmp_path / "__pycache__").mkdir()
    import importlib.util

    Path(importlib.util.cache_from_source(str(tmp_path / "one.py"))).write_text("")
    assert list(_compiled(tmp_path)) == []
