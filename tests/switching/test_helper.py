from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from underdash.bus.controller import Controller
from underdash.switching.client import NoHelperError, socket_path, switch
from underdash.switching.helper import serve
from underdash.switching.orders import Mode, Order, SwitchError, spell

LISTENS = Controller("can0", 7, "can", up=True, bitrate=500_000, listen_only=True)
CONFIGURATION = """
[bus.drive]
channel = "can0"
bitrate = 500000

[bus.comfort]
hardware = "spi0.1"

[bus.played]
interface = "trace"
channel = "drive.log"
"""


class Machine:
    """A machine with one interface, on which ip(8) is only written down."""

    def __init__(self, configuration: Path) -> None:
        self.configuration = configuration
        self.configuration.write_text(CONFIGURATION)
        self.configuration.chmod(0o644)
        self.ran: list[str] = []
        self.fails = ""

    def run(self, arguments: Sequence[str]) -> None:
        self.ran.append(" ".join(arguments[3:]))
        if self.fails and self.fails in arguments:
            raise SwitchError("RTNETLINK answers: Operation not supported")

    def serve(self, line: bytes) -> dict[str, str]:
        return serve(
            line,
            self.configuration,
            run=self.run,
            ask=lambda name: replace(LISTENS, name=name) if name == "can0" else None,
            network=self.configuration.parent / "net",
            owner=os.getuid(),
        )


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path / "underdash.toml")


def test_an_order_is_carried_out(machine: Machine) -> None:
    assert machine.serve(spell(Order("drive", Mode.ACTIVE))) == {"done": "can0"}
    assert machine.ran == ["can0 down", "can0 type can listen-only off", "can0 up"]


def test_an_interface_is_brought_up_again_where_the_change_fails(machine: Machine) -> None:
    machine.fails = "type"
    assert machine.serve(spell(Order("drive", Mode.ACTIVE))) == {"error": "RTNETLINK answers: Operation not supported"}
    assert machine.ran[-1] == "can0 up"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"rm -rf /\n", "an order is a table"),
        (spell(Order("radio", Mode.LISTEN)), "no [bus.radio]"),
        (spell(Order("played", Mode.LISTEN)), "not of interface"),
        (spell(Order("comfort", Mode.LISTEN)), "fits none of the CAN interfaces"),
        (spell(Order("drive", Mode.ACTIVE, 250_000)), "not at 250000"),
    ],
)
def test_what_is_not_allowed_runs_nothing(machine: Machine, line: bytes, said: str) -> None:
    assert said in machine.serve(line)["error"]
    assert not machine.ran


def test_a_configuration_that_others_can_write_says_nothing(machine: Machine) -> None:
    machine.configuration.chmod(0o666)
    assert "written by others than root" in machine.serve(spell(Order("drive", Mode.LISTEN)))["error"]
    assert not machine.ran


@pytest.mark.parametrize("text", ["[bus", "bus = 3", "[bus]\ndrive = 4"])
def test_a_broken_configuration_is_told(machine: Machine, text: str) -> None:
    machine.configuration.write_text(text)
    assert "error" in machine.serve(spell(Order("drive", Mode.LISTEN)))


def test_no_configuration_is_told(machine: Machine) -> None:
    machine.configuration.unlink()
    assert "No such file" in machine.serve(spell(Order("drive", Mode.LISTEN)))["error"]


@pytest.fixture
def started(tmp_path: Path, machine: Machine) -> Iterator[Path]:
    """A socket behind which the real helper is started for each connection, as the service manager does it."""
    place = tmp_path / "switch"
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(place))
    listener.listen()

    def accept() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection:
                subprocess.run(
                    [sys.executable, "-m", "underdash.switching.helper", str(machine.configuration)],
                    stdin=connection.fileno(),
                    check=False,
                )

    thread = threading.Thread(target=accept)
    thread.start()
    yield place
    listener.shutdown(socket.SHUT_RDWR)
    listener.close()
    thread.join()


def test_the_helper_answers_over_its_socket(started: Path) -> None:
    with pytest.raises(SwitchError, match=r"no \[bus.radio\]|written by others"):
        switch(Order("radio", Mode.LISTEN), started)


def test_the_helper_ends_where_nothing_is_ordered(started: Path) -> None:
    with socket.socket(socket.AF_UNIX) as end:
        end.settimeout(20)
        end.connect(str(started))
        end.shutdown(socket.SHUT_WR)
        assert "an order is a table" in json.loads(end.recv(4096))["error"]


def test_without_a_helper_it_is_told_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(NoHelperError, match="systemd/install"):
        switch(Order("drive", Mode.LISTEN), tmp_path / "nobody")


def hang_up(listener: socket.socket) -> None:
    listener.accept()[0].close()


def test_an_end_without_an_answer_is_told(tmp_path: Path) -> None:
    place = tmp_path / "mute"
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(place))
        listener.listen()
        closing = threading.Thread(target=hang_up, args=(listener,))
        closing.start()
        with pytest.raises(SwitchError, match="log may say why"):
            switch(Order("drive", Mode.LISTEN), place)
        closing.join()


def test_by_hand_the_helper_says_that_it_is_not_for_that() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "underdash.switching.helper", "x"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "socket unit" in done.stderr


def test_where_the_helper_listens_may_be_said() -> None:
    assert socket_path({"UNDERDASH_SWITCH": "/elsewhere"}) == Path("/elsewhere")
    assert socket_path({}) == Path("/run/underdash-switch.socket")
