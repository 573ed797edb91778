from __future__ import annotations

import asyncio
import subprocess
import sys
import uuid
from pathlib import Path
from typing import TYPE_CHECKING

import can
import pytest

from underdash.bus.frames import Frame
from underdash.bus.memory import MemoryBus
from underdash.bus.opening import BusConfig, opener, place_of
from underdash.bus.places import interfaces, resolve
from underdash.bus.port import InterfaceUnknownError, LibraryMissingError, PortAbsentError, PortError
from underdash.bus.socketcan import SocketCanPort
from underdash.bus.table import Table

if TYPE_CHECKING:
    from .conftest import Recorder


@pytest.fixture
def network(tmp_path: Path) -> Path:
    """What the kernel shows of a serial-peripheral adapter, a USB one, a virtual bus and an Ethernet card."""
    shown = tmp_path / "class" / "net"
    for name, kind, device in (
        ("can0", "280", "platform/soc/spi0/spi0.1"),
        ("can1", "280", "platform/usb1/1-1/1-1.2/1-1.2:1.0"),
        ("vcan0", "280", ""),
        ("eth0", "1", "pci/eth"),
    ):
        (shown / name).mkdir(parents=True)
        (shown / name / "type").write_text(f"{kind}\n")
        if device:
            place = tmp_path / "devices" / device
            place.mkdir(parents=True)
            (shown / name / "device").symlink_to(place)
    (tmp_path / "devices/platform/usb1/1-1/1-1.2/serial").write_text("004A2B\n")
    return shown


def test_an_interface_is_found_by_where_it_hangs_or_by_its_serial_number(network: Path) -> None:
    assert resolve("spi0.1", network) == "can0"
    assert resolve("soc/spi0/spi0.1", network) == "can0"
    assert resolve("1-1.2", network) == "can1"
    assert resolve("004A2B", network) == "can1"


def test_hardware_that_is_not_there_or_not_clear_lists_what_is(network: Path) -> None:
    with pytest.raises(PortAbsentError, match=r"fits none.*can0 at .*spi0\.1; can1 at .*; vcan0 at no device"):
        resolve("spi9.9", network)
    with pytest.raises(PortAbsentError, match="fits can0 and can1"):
        resolve("platform", network)
    with pytest.raises(PortAbsentError, match="there are: none"):
        resolve("spi0.1", network / "nowhere")


def test_one_adapter_is_one_place_however_it_is_named(network: Path) -> None:
    hung = BusConfig("drive", hardware="spi0.1")
    assert place_of(hung, network) == place_of(BusConfig("drive", channel="can0"), network) == "socketcan-can0"
    assert place_of(hung, network / "nowhere") == "socketcan-spi0.1"


def test_only_can_interfaces_are_listed(network: Path) -> None:
    assert list(interfaces(network)) == ["can0", "can1", "vcan0"]
    assert interfaces(network)["vcan0"] == ""


def test_a_socketcan_bus_is_virtual_if_it_has_no_device(network: Path) -> None:
    for channel, virtual in (("vcan0", True), ("can0", False)):
        port = opener(BusConfig("drive", channel=channel), network=network)()
        assert isinstance(port, SocketCanPort)
        assert port.virtual is virtual
        assert port.silent is None


def test_a_socketcan_bus_needs_a_place_and_an_interface(network: Path, recorder: Recorder) -> None:
    with pytest.raises(PortAbsentError, match="hardware nor channel"):
        opener(BusConfig("drive"), network=network)()

    async def run() -> None:
        port = opener(BusConfig("drive", channel="can77"), network=network)()
        with pytest.raises(PortAbsentError, match="can77 is not there"):
            port.open(asyncio.get_running_loop(), Table(), recorder)

    asyncio.run(run())


def test_a_memory_bus_is_found_by_role_or_channel() -> None:
    bus = MemoryBus("drive")
    assert opener(BusConfig("drive", "memory"), memory={"drive": bus})().virtual
    assert opener(BusConfig("drive", "memory", listen_only=True), memory={"drive": bus})().silent
    with pytest.raises(PortAbsentError, match="there are: drive"):
        opener(BusConfig("comfort", "memory"), memory={"drive": bus})()


def fails_with(config: BusConfig, recorder: Recorder) -> PortError:
    async def run() -> None:
        port = opener(config)()
        port.open(asyncio.get_running_loop(), Table(), recorder)
        await recorder.until(lambda: recorder.failures)
        port.close()

    asyncio.run(run())
    return recorder.failures[0]


def test_a_virtual_interface_of_the_library_opens_and_carries_frames(recorder: Recorder) -> None:
    channel = str(uuid.uuid4())

    async def run() -> None:
        port = opener(BusConfig("drive", "virtual", channel, bitrate=500_000))()
        port.open(asyncio.get_running_loop(), Table(), recorder)
        await recorder.until(lambda: recorder.openings)
        with can.Bus(channel, interface="virtual") as other:
            assert port.send(Frame(0x123, b"\x01"))
            heard = other.recv(5)
            assert heard is not None
            assert heard.arbitration_id == 0x123
        await recorder.until(lambda: recorder.frames == 1)
        port.close()

    asyncio.run(run())


def test_a_kind_of_interface_nobody_knows_is_told_with_a_near_one(recorder: Recorder) -> None:
    error = fails_with(BusConfig("drive", "sockettcan"), recorder)
    assert isinstance(error, InterfaceUnknownError)
    assert "near it: socketcan" in str(error)


def test_an_adapter_that_is_not_plugged_in_is_absent(recorder: Recorder, tmp_path: Path) -> None:
    error = fails_with(BusConfig("drive", "slcan", str(tmp_path / "tty"), bitrate=500_000), recorder)
    assert isinstance(error, PortError)
    assert str(tmp_path / "tty") in str(error)


def test_an_interface_that_cannot_keep_silent_is_not_opened_where_silence_is_asked_for(recorder: Recorder) -> None:
    error = fails_with(BusConfig("drive", "virtual", "x", listen_only=True), recorder)
    assert "cannot be kept from taking part" in str(error)


def test_a_missing_library_is_named(recorder: Recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(can.interfaces.BACKENDS, "lacking", ("no_such_module_of_anybody", "Bus"))
    error = fails_with(BusConfig("drive", "lacking"), recorder)
    assert isinstance(error, LibraryMissingError)
    assert "no_such_module_of_anybody" in str(error)


def test_a_lock_is_named_after_kind_and_place() -> None:
    assert place_of(BusConfig("drive", hardware="spi0.1")) == "socketcan-spi0.1"
    assert place_of(BusConfig("drive", "slcan", "/dev/ttyACM0")) == "slcan-/dev/ttyACM0"


def test_the_library_is_not_imported_before_the_first_opening() -> None:
    program = (
        "import sys, underdash.bus.opening, underdash.bus.link, underdash.bus.trace; sys.exit('can' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
