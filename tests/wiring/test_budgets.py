"""The budgets of a machine."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from typing import Any

import pytest

from underdash.wiring.measuring.budgets import Figure, Machine, measured, table, this_machine

KEPT = Figure("drawing", 1.2, "ms", 1.5)
MISSED = Figure("start to first page", 700.0, "ms", 350.0)
BARE = Figure("a Python that does nothing", 24.0, "ms")
BOARD = Machine("Raspberry Pi 4 Model B Rev 1.2", 4, "aarch64", "6.12.1", "3.11.2", 0.1)


def test_a_figure_is_judged_by_its_budget() -> None:
    assert (KEPT.verdict, MISSED.verdict, BARE.verdict) == ("kept", "missed, 2.0 times", "")
    assert replace(KEPT, value=1.5).verdict == "kept"


def test_each_figure_stands_beside_its_budget_and_what_is_kept_is_counted() -> None:
    lines = list(table([BARE, KEPT, MISSED]))
    assert re.fullmatch(r"a Python that does nothing +24\.0 +ms", lines[1])
    assert re.fullmatch(r"drawing +1\.2 +1\.5 ms +kept", lines[2])
    assert re.fullmatch(r"start to first page +700\.0 +350 ms +missed, 2\.0 times", lines[3])
    assert lines[4] == "1 of 2 budgets kept"


def test_it_says_which_machine_it_is(machine: Any) -> None:
    machine.file("proc/cpuinfo", "processor : 0\nmodel name : Some processor\n")
    assert this_machine(machine.root).model == "Some processor"
    machine.board()
    assert this_machine(machine.root).model == "Raspberry Pi 4 Model B Rev 1.2"
    assert str(BOARD) == "Raspberry Pi 4 Model B Rev 1.2, 4 cores (aarch64), Linux 6.12.1, Python 3.11.2"


@pytest.mark.parametrize(("load", "remarked"), [(1.9, False), (2.1, True)])
def test_a_machine_that_others_use_is_remarked_on(load: float, remarked: bool) -> None:
    assert bool(replace(BOARD, load=load).busy) is remarked


def test_everything_is_measured_on_this_machine() -> None:
    steps: list[str] = []
    figures = measured(steps.append, runs=1, frames=64, images=3, settle_s=0.0)
    assert steps == ["start to first page", "receiving and decoding", "drawing"]
    assert len(figures) == 11
    assert all(figure.value > 0 for figure in figures)
    by_name = {figure.what: figure.value for figure in figures}
    assert by_name["start to first page"] > by_name["a Python that does nothing"]


def test_no_socket_that_could_reach_a_bus_is_opened_while_measuring() -> None:
    # a process of its own, since what an audit hook sees it sees for ever
    script = """
import socket, sys
from underdash.wiring.measuring.budgets import measured
WITHIN = socket.AF_UNIX, socket.AF_NETLINK
def hook(event, arguments):
    if event == "socket.__new__":
        print("opened within" if arguments[1] in WITHIN else f"opened {arguments}")
sys.addaudithook(hook)
measured(lambda step: None, runs=1, frames=64, images=2, settle_s=0.0)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert {line for line in done.stdout.splitlines() if line.startswith("opened")} == {"opened within"}
