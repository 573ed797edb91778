"""From what the owner wrote about a bus to a port, python-can being imported only when the first one is opened."""

from __future__ import annotations

import difflib
import errno
import importlib
import inspect
import socket
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .library import LibraryPort
from .memory import MemoryBus
from .places import NETWORK, resolve
from .port import InterfaceUnknownError, LibraryMissingError, Port, PortAbsentError, PortError, from_os_error
from .socketcan import SocketCanPort

if TYPE_CHECKING:
    import can


@dataclass(frozen=True, slots=True)
class BusConfig:
    """A bus as configured.

    Args:
        role: "drive".
        interface: "socketcan", "memory", "trace", "virtual", or any other kind that python-can knows.
        channel: "can0", "/dev/ttyACM0" or what that kind calls it; for "memory" the role if left empty; for "trace" the
            path.
        hardware: for SocketCAN instead of a channel: part of the device's path, or its USB serial number.
        bitrate: bit/s; None where there is no rate.
        listen_only: ask the adapter not to take part, where its kind can do so.
        recorded_as: for "trace", what the bus is called in it; the role if left empty.
        speed: for "trace", 2.0 is twice as fast as it was.
    """

    role: str
    interface: str = "socketcan"
    channel: str = ""
    hardware: str = ""
    bitrate: int | None = None
    listen_only: bool = False
    recorded_as: str = ""
    speed: float = 1.0


def opener(
    config: BusConfig, *, memory: Mapping[str, MemoryBus] | None = None, network: Path = NETWORK
) -> Callable[[], Port]:
    """Return what a `Link` opens its ports with.

    Args:
        config: see `BusConfig`.
        memory: the process's own buses, by channel or role.
        network: where the kernel shows interfaces.
    """

    if config.interface == "trace":
        from .playing import trace_opener

        return trace_opener(Path(config.channel), config.recorded_as or config.role, config.speed)

    def make() -> Port:
        if config.interface == "memory":
            return _memory_port(config, memory or {})
        if config.interface == "socketcan":
            return _socketcan_port(config, network)
        return _library_port(config)

    return make


def place_of(config: BusConfig, network: Path = NETWORK) -> str:
    """Return what an owner's lock is named after: kind of interface and its name there.

    One adapter has one name, whether it was given by channel or by where it hangs; one that is not there yet is named
    after where it should hang.
    """
    if config.hardware:
        try:
            return f"{config.interface}-{resolve(config.hardware, network)}"
        except PortAbsentError:
            return f"{config.interface}-{config.hardware}"
    return f"{config.interface}-{config.channel or config.role}"


def load_library() -> None:
    """Import python-can ahead of the first opening, in whatever thread is idle; it takes a while on a Pi.

    Raises:
        LibraryMissingError: it is not installed.
    """
    try:
        import can
    except ImportError as exc:
        raise LibraryMissingError(
            f"python-can cannot be imported ({exc}); install it with: pip install python-can"
        ) from exc
    del can


def _memory_port(config: BusConfig, memory: Mapping[str, MemoryBus]) -> Port:
    name = config.channel or config.role
    bus = memory.get(name)
    if bus is None:
        raise PortAbsentError(
            f"bus {config.role}: there is no memory bus {name!r}; there are: {', '.join(sorted(memory)) or 'none'}"
        )
    return bus.port(silent=config.listen_only)


def _socketcan_port(config: BusConfig, network: Path) -> Port:
    name = resolve(config.hardware, network) if config.hardware else config.channel
    if not name:
        raise PortAbsentError(f"bus {config.role} has neither hardware nor channel; give one, such as channel = 'can0'")
    held: list[can.BusABC] = []

    def open_socket() -> socket.socket:
        load_library()
        from can.interfaces.socketcan import SocketcanBus

        try:
            socket.if_nametoindex(name)
        except OSError as exc:
            raise from_os_error(OSError(errno.ENODEV, exc.strerror), name) from exc
        bus = SocketcanBus(channel=name, receive_own_messages=True, fd=True)
        held.append(bus)
        return bus.socket

    def release() -> None:
        while held:
            held.pop().shutdown()

    virtual = not (network / name / "device").exists() and (network / name).exists()
    return SocketCanPort(name, open_socket, release, virtual=virtual, network=network)


def _library_port(config: BusConfig) -> Port:
    name = f"{config.interface} {config.channel or config.role}"
    return LibraryPort(
        name,
        lambda: _open_with_library(config, name),
        # a listen-only that was asked for is not proven; one that was not asked for is none
        silent=None if config.listen_only else False,
        virtual=config.interface in ("virtual", "udp_multicast"),
    )


def _open_with_library(config: BusConfig, name: str) -> can.BusABC:
    """Open in the reader's thread, which is where python-can is imported."""
    load_library()
    import can

    options: dict[str, Any] = {"receive_own_messages": True, "bitrate": config.bitrate}
    if config.listen_only:
        options["listen_only"] = True
    taken = _parameters(config.interface, name)
    if config.listen_only and "listen_only" not in taken:
        raise PortError(f"interface {name} cannot be kept from taking part in the bus; use another kind of adapter")
    given = {key: value for key, value in options.items() if key in taken and value is not None}
    try:
        return can.Bus(channel=config.channel or None, interface=config.interface, ignore_config=True, **given)
    except can.CanInterfaceNotImplementedError as exc:
        raise _library_missing(name, exc) from exc
    except can.CanInitializationError as exc:
        raise PortAbsentError(f"interface {name} does not open: {exc}; check its plug, channel and rights") from exc
    except OSError as exc:
        raise from_os_error(exc, name) from exc


def _parameters(interface: str, name: str) -> Collection[str]:
    """Return the names of the options that this kind of interface takes."""
    from can.interfaces import BACKENDS

    if interface not in BACKENDS:
        near = ", ".join(difflib.get_close_matches(interface, BACKENDS, 3))
        raise InterfaceUnknownError(
            f"there is no kind of interface {interface!r}{f'; near it: {near}' if near else ''}; "
            "the usual one is socketcan"
        )
    module, kind = BACKENDS[interface]
    try:
        return inspect.signature(getattr(importlib.import_module(module), kind).__init__).parameters
    except Exception as exc:
        raise _library_missing(name, exc) from exc


def _library_missing(name: str, error: Exception) -> LibraryMissingError:
    return LibraryMissingError(
        f"interface {name} needs a library that is not installed or does not fit ({error}); "
        "install it into the same environment"
    )
