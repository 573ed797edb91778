"""What Linux says about a CAN controller: its rate, whether it only listens, its state and its counters.

Read over rtnetlink (rtnetlink(7), linux/can/netlink.h); setting anything takes a capability that the daemon has not.
`decode` is pure; `read` asks the kernel, which answers at once.
"""

from __future__ import annotations

import contextlib
import os
import socket
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

_MESSAGE = struct.Struct("=IHHII")  # struct nlmsghdr: length, type, flags, sequence, port
_INTERFACE = struct.Struct("=BxHiII")  # struct ifinfomsg: family, type, index, flags, change
_ATTRIBUTE = struct.Struct("=HH")  # struct rtattr: length, type
_TIMING = struct.Struct("=8I")  # struct can_bittiming: bit rate, sample point, ...
_COUNTS = struct.Struct("=6I")  # struct can_device_stats
_PAIR = struct.Struct("=HH")  # struct can_berr_counter: tx, rx
_MODE = struct.Struct("=II")  # struct can_ctrlmode: mask, flags

_NEW_LINK, _GET_LINK = 16, 18  # RTM_NEWLINK, RTM_GETLINK
_REQUEST = 1  # NLM_F_REQUEST
_NAME, _LINK_INFO, _PARENT = 3, 18, 56  # IFLA_IFNAME, IFLA_LINKINFO, IFLA_PARENT_DEV_NAME (Linux 5.14)
_KIND, _DATA, _STATISTICS = 1, 2, 3  # IFLA_INFO_KIND, IFLA_INFO_DATA, IFLA_INFO_XSTATS
_BIT_TIMING, _CLOCK, _STATE, _CONTROL, _RESTART_MS, _ERRORS, _EXTENDED = 1, 3, 4, 5, 6, 8, 17  # IFLA_CAN_*
_SUPPORTED = 1  # IFLA_CAN_CTRLMODE_SUPPORTED
_LISTEN_ONLY, _ONE_SHOT = 0x02, 0x08  # CAN_CTRLMODE_*
_UP = 1  # IFF_UP
_TYPE_MASK = 0x3FFF
_MOST_BYTES = 65536
_WAIT_S = 0.2


class Condition(StrEnum):
    """In what state the controller is (ISO 11898-1 fault confinement), in the order of `enum can_state`."""

    ACTIVE = "error active"
    WARNING = "error warning"
    PASSIVE = "error passive"
    BUS_OFF = "bus off"
    STOPPED = "stopped"
    SLEEPING = "sleeping"


_CONDITIONS = tuple(Condition)


@dataclass(frozen=True, slots=True)
class Counters:
    """How often something happened since the interface exists (struct can_device_stats)."""

    bus_errors: int = 0
    warnings: int = 0
    passives: int = 0
    bus_offs: int = 0
    arbitration_lost: int = 0
    restarts: int = 0


@dataclass(frozen=True, slots=True)
class Controller:
    """A CAN interface as Linux has set it up.

    Attributes:
        name, index: "can0" and the kernel's number for it; an adapter that was unplugged comes back with another one.
        kind: "can" for a real controller; "vcan" and the like have no rate.
        up: it is switched on.
        bitrate: bit/s; None without a rate, or before one was set.
        clock_hz: from which the controller makes its rate; of an oscillator that the kernel was told of, not measured.
        listen_only: it neither sends nor acknowledges.
        one_shot: a frame that is not acknowledged is not repeated.
        may_listen_only, may_one_shot: its driver can do that; None where an older kernel does not tell.
        condition: see `Condition`.
        restart_ms: after so long it returns from bus-off by itself; 0 never.
        tx_errors, rx_errors: its error counters, where its driver gives them.
        counters: see `Counters`.
        place: the device it hangs on, such as "spi0.0"; "" where an older kernel does not tell.
    """

    name: str
    index: int
    kind: str = ""
    up: bool = False
    bitrate: int | None = None
    clock_hz: int | None = None
    listen_only: bool = False
    one_shot: bool = False
    may_listen_only: bool | None = None
    may_one_shot: bool | None = None
    condition: Condition | None = None
    restart_ms: int | None = None
    tx_errors: int | None = None
    rx_errors: int | None = None
    counters: Counters | None = None
    place: str = ""

    @property
    def real(self) -> bool:
        """It drives wires; virtual interfaces do not."""
        return self.kind == "can"


def read(name: str) -> Controller | None:
    """Ask the kernel about an interface; None where there is none of that name, or nothing is told."""
    try:
        with socket.socket(socket.AF_NETLINK, socket.SOCK_RAW | socket.SOCK_CLOEXEC, socket.NETLINK_ROUTE) as opened:
            opened.settimeout(_WAIT_S)
            opened.bind((0, 0))
            opened.send(request(name))
            return decode(opened.recv(_MOST_BYTES))
    except (OSError, AttributeError):
        return None


def request(name: str) -> bytes:
    """Return the message that asks for an interface."""
    text = os.fsencode(name) + b"\0"
    attribute = _ATTRIBUTE.pack(_ATTRIBUTE.size + len(text), _NAME) + text
    body = _INTERFACE.pack(socket.AF_UNSPEC, 0, 0, 0, 0) + attribute + bytes(-len(attribute) % 4)
    return _MESSAGE.pack(_MESSAGE.size + len(body), _GET_LINK, _REQUEST, 1, 0) + body


def decode(message: bytes) -> Controller | None:
    """Read the kernel's answer; None where it says that there is no such interface, or is broken off."""
    with contextlib.suppress(struct.error):
        length, kind, _, _, _ = _MESSAGE.unpack_from(message)
        if kind == _NEW_LINK and length <= len(message):
            return _link(message[_MESSAGE.size : length])
    return None


def _link(body: bytes) -> Controller:
    _, _, index, flags, _ = _INTERFACE.unpack_from(body)
    found = dict(_attributes(body[_INTERFACE.size :]))
    name, place = (os.fsdecode(found.get(key, b"").rstrip(b"\0")) for key in (_NAME, _PARENT))
    info = dict(_attributes(found.get(_LINK_INFO, b"")))
    kind = info.get(_KIND, b"").rstrip(b"\0").decode("ascii", "replace")
    up = bool(flags & _UP)
    if kind != "can":
        return Controller(name, index, kind, up, place=place)
    data = dict(_attributes(info.get(_DATA, b"")))
    mode = _unpack(_MODE, data.get(_CONTROL))
    supported = _number(dict(_attributes(data.get(_EXTENDED, b""))).get(_SUPPORTED))
    state = _number(data.get(_STATE))
    timing = _unpack(_TIMING, data.get(_BIT_TIMING))
    errors = _unpack(_PAIR, data.get(_ERRORS))
    counts = _unpack(_COUNTS, info.get(_STATISTICS))
    return Controller(
        name,
        index,
        kind,
        up,
        bitrate=(timing[0] or None) if timing else None,
        clock_hz=_number(data.get(_CLOCK)) or None,
        listen_only=bool(mode and mode[1] & _LISTEN_ONLY),
        one_shot=bool(mode and mode[1] & _ONE_SHOT),
        may_listen_only=None if supported is None else bool(supported & _LISTEN_ONLY),
        may_one_shot=None if supported is None else bool(supported & _ONE_SHOT),
        condition=None if state is None or state >= len(_CONDITIONS) else _CONDITIONS[state],
        restart_ms=_number(data.get(_RESTART_MS)),
        tx_errors=errors[0] if errors else None,
        rx_errors=errors[1] if errors else None,
        counters=Counters(*counts) if counts else None,
        place=place,
    )


def _attributes(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Walk attributes; one that reaches beyond the end, or has no length, ends the walk."""
    at = 0
    while at + _ATTRIBUTE.size <= len(data):
        length, kind = _ATTRIBUTE.unpack_from(data, at)
        if length < _ATTRIBUTE.size or at + length > len(data):
            return
        yield kind & _TYPE_MASK, data[at + _ATTRIBUTE.size : at + length]
        at += length + -length % 4


def _unpack(layout: struct.Struct, data: bytes | None) -> tuple[int, ...] | None:
    return None if data is None or len(data) < layout.size else layout.unpack_from(data)


def _number(data: bytes | None) -> int | None:
    return None if data is None or len(data) < 4 else int(struct.unpack_from("=I", data)[0])
