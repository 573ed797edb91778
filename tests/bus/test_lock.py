from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from underdash.bus.lock import BusLock
from underdash.bus.port import PortBusyError, PortRightsError
from underdash.bus.runtime import runtime_directory


def test_a_second_owner_is_refused_and_the_first_is_named(tmp_path: Path) -> None:
    with BusLock("socketcan-can0", tmp_path), pytest.raises(PortBusyError, match=f"process {os.getpid()}"):
        BusLock("socketcan-can0", tmp_path).acquire()


def test_a_released_bus_can_be_owned_again_and_taking_it_twice_is_harmless(tmp_path: Path) -> None:
    lock = BusLock("can0", tmp_path / "made")
    lock.acquire()
    lock.acquire()
    lock.release()
    lock.release()
    with BusLock("can0", tmp_path / "made"):
        pass


def test_the_owner_that_dies_leaves_the_bus_free(tmp_path: Path) -> None:
    program = "import os, pathlib, sys; from underdash.bus.lock import BusLock as L; " + (
        "L('can0', pathlib.Path(sys.argv[1])).acquire(); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=True)
    with BusLock("can0", tmp_path):
        pass


def test_two_interfaces_have_two_owners(tmp_path: Path) -> None:
    with BusLock("slcan-/dev/ttyACM0", tmp_path), BusLock("slcan-/dev/ttyACM1", tmp_path):
        assert sorted(file.name for file in tmp_path.iterdir()) == [
            "slcan-_dev_ttyACM0.lock",
            "slcan-_dev_ttyACM1.lock",
        ]


def test_a_directory_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(PortRightsError, match="RUNTIME_DIRECTORY"):
        BusLock("can0", tmp_path / "file" / "below").acquire()


def test_the_directory_is_the_services_then_the_users_then_a_temporary_one() -> None:
    assert runtime_directory({"RUNTIME_DIRECTORY": "/run/underdash:/x", "XDG_RUNTIME_DIR": "/u"}) == Path(
        "/run/underdash"
    )
    assert runtime_directory({"XDG_RUNTIME_DIR": "/run/user/5"}) == Path("/run/user/5/underdash")
    assert str(os.getuid()) in runtime_directory({}).name
