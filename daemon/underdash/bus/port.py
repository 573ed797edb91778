"""What an opened interface offers, what it reports, and how it fails.

A port reads frames and calls the handlers of a `Table`; everything else it tells its `PortEvents`, once a batch of
frames at most. `socketcan.py`, `library.py`, `memory.py` and `playing.py` are the four kinds.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Protocol

from ..contract.errors import UnderdashError
from .errors import ErrorFrame
from .frames import Frame, fits
from .table import Table

if TYPE_CHECKING:
    import asyncio

    from .controller import Controller

Tap = Callable[[Frame], None]


class PortError(UnderdashError):
    """An interface does not work; the message ends with the next step."""


class PortAbsentError(PortError):
    """The interface is not there (not plugged in, not set up, wrong name)."""


class PortBusyError(PortError):
    """Somebody else holds it."""


class PortRightsError(PortError):
    """This user may not open it."""


class PortDownError(PortError):
    """It is there and switched off (ENETDOWN)."""


class PortGoneError(PortError):
    """It was there and vanished while it was open."""


class InterfaceUnknownError(PortError):
    """There is no such kind of interface."""


class LibraryMissingError(PortError):
    """The kind of interface needs a library that is not installed."""


class PortEvents(Protocol):
    """What a port tells; `at` is monotonic seconds. All calls come from the loop's thread.

    Attributes:
        tap: called with every frame as a whole (error and FD frames too) while somebody records; None is much faster.
    """

    tap: Tap | None

    def opened(self, at: float) -> None:
        """The interface is open; comes once, within `Port.open` or later."""

    def received(self, count: int, at: float) -> None:
        """`count` data frames came, wanted or not; once a batch."""

    def sampled(self, key: int, data: bytes) -> None:
        """One frame of the batch just reported, for estimates; each is chosen about as often as it comes."""

    def error_frame(self, error: ErrorFrame, at: float) -> None:
        """The controller reported an error."""

    def foreign(self, count: int, at: float) -> None:
        """`count` frames came that are no classic data frames: remote, FD, or broken ones."""

    def lost(self, total: int, at: float) -> None:
        """`total` frames were lost since opening because nobody read them in time."""

    def failed(self, error: PortError, at: float) -> None:
        """The port is of no use any more; it is to be closed and opened again."""


class Port(Protocol):
    """An interface.

    Attributes:
        silent: True if it cannot disturb the bus (listen-only, proven), False if it can, None if that cannot be told.
        virtual: there is no wire, so there is no rate to prove.
        controller: how Linux has set the interface up; None where it cannot be asked.
    """

    silent: bool | None
    virtual: bool
    controller: Controller | None

    def open(self, loop: asyncio.AbstractEventLoop, table: Table, events: PortEvents) -> None:
        """Open and begin to read; slow interfaces go on opening by themselves and report `opened` later.

        Raises:
            PortError: it cannot be opened.
        """

    def send(self, frame: Frame) -> bool:
        """Hand a frame to the interface; False means that there is no room now, which is normal."""

    def listen(self, keys: Collection[int] | None) -> None:
        """Let the interface pass only these keys; None passes all."""

    def totals(self) -> tuple[int, int] | None:
        """Return (frames, data bytes) heard since the interface exists, filtered ones included, where it counts."""

    def probe(self) -> PortError | None:
        """Return what is wrong with the interface as far as that can be seen from outside."""

    def close(self) -> None:
        """Stop reading and give the interface back; harmless if it is closed already."""


class QuietEvents:
    """Events that nobody listens to; a base for listeners that want a few."""

    tap: Tap | None = None

    def opened(self, at: float) -> None:
        """See `PortEvents`."""

    def received(self, count: int, at: float) -> None:
        """See `PortEvents`."""

    def sampled(self, key: int, data: bytes) -> None:
        """See `PortEvents`."""

    def error_frame(self, error: ErrorFrame, at: float) -> None:
        """See `PortEvents`."""

    def foreign(self, count: int, at: float) -> None:
        """See `PortEvents`."""

    def lost(self, total: int, at: float) -> None:
        """See `PortEvents`."""

    def failed(self, error: PortError, at: float) -> None:
        """See `PortEvents`."""


def sendable(frame: Frame) -> bool:
    """Say whether a frame is one that a port sends: classic, an id, at most eight bytes, and no report of an error."""
    return not (frame.fd or frame.error) and len(frame.data) <= 8 and fits(frame.id, frame.extended)


_ABSENT = (errno.ENODEV, errno.ENXIO, errno.ENOENT)
_RIGHTS = (errno.EPERM, errno.EACCES)
_NO_FAMILY = (errno.EAFNOSUPPORT, errno.EPROTONOSUPPORT)

_SENTENCES: tuple[tuple[tuple[int, ...], type[PortError], str], ...] = (
    ((errno.ENETDOWN,), PortDownError, "interface {name} is down; switch it on{how}"),
    (_ABSENT, PortAbsentError, "interface {name} is not there; check its plug, and its name with: ip -details link"),
    (_RIGHTS, PortRightsError, "interface {name} may not be opened by this user ({text}); check the service's groups"),
    ((errno.EBUSY,), PortBusyError, "interface {name} is held by another program; end that program first"),
    (_NO_FAMILY, InterfaceUnknownError, "this kernel has no CAN sockets; load them: modprobe can-raw"),
)


def _up(name: str) -> str:
    """Say how an interface is switched on, without its taking part in a bus whose rate is not proven."""
    if name.startswith("vcan"):
        return f": sudo ip link set {name} up"
    step = f"sudo ip link set {name} up type can bitrate RATE listen-only on"
    return f" with the rate of its bus, listening only: {step} (systemd/README.md says how that is kept)"


def from_os_error(error: OSError, name: str, opened: bool = False) -> PortError:
    """Turn what the system says about an interface into an error with a next step.

    Args:
        error: what was raised.
        name: the interface as the owner knows it.
        opened: it worked before.
    """
    text = error.strerror or str(error)
    if opened and error.errno in _ABSENT:
        return PortGoneError(f"interface {name} has gone; check plug and supply; it is opened again when it is back")
    for numbers, kind, sentence in _SENTENCES:
        if error.errno in numbers:
            return kind(sentence.format(name=name, text=text, how=_up(name)))
    unknown = PortGoneError if opened else PortAbsentError
    return unknown(f"interface {name} does not work ({text}); look at it with: ip -details link")
