from __future__ import annotations

import errno

import pytest

from underdash.bus.port import (
    InterfaceUnknownError,
    PortAbsentError,
    PortBusyError,
    PortDownError,
    PortError,
    PortGoneError,
    PortRightsError,
    QuietEvents,
    from_os_error,
)
from underdash.contract.errors import UnderdashError


@pytest.mark.parametrize(
    ("number", "opened", "kind"),
    [
        (errno.ENODEV, False, PortAbsentError),
        (errno.ENODEV, True, PortGoneError),
        (errno.ENXIO, True, PortGoneError),
        (errno.ENETDOWN, True, PortDownError),
        (errno.EPERM, False, PortRightsError),
        (errno.EACCES, False, PortRightsError),
        (errno.EBUSY, False, PortBusyError),
        (errno.EAFNOSUPPORT, False, InterfaceUnknownError),
        (errno.EIO, False, PortAbsentError),
        (errno.EIO, True, PortGoneError),
    ],
)
def test_what_the_system_says_becomes_an_error_with_a_next_step(
    number: int, opened: bool, kind: type[PortError]
) -> None:
    error = from_os_error(OSError(number, "text"), "can0", opened)
    assert type(error) is kind
    assert isinstance(error, UnderdashError)
    assert ";" in str(error)


def test_quiet_events_hear_everything_and_do_nothing() -> None:
    events = QuietEvents()
    events.opened(0.0)
    events.received(1, 0.0)
    events.sampled(1, b"")
    events.foreign(1, 0.0)
    events.lost(1, 0.0)
    events.failed(PortError("x"), 0.0)
    assert events.tap is None


@pytest.mark.parametrize(("name", "listening"), [("can0", True), ("vcan0", False)])
def test_what_is_down_is_switched_on_without_taking_part_in_its_bus(name: str, listening: bool) -> None:
    said = str(from_os_error(OSError(errno.ENETDOWN, "Network is down"), name))
    assert f"sudo ip link set {name} up" in said
    assert ("listen-only on" in said) is listening
