"""A broadcast listener becomes a handler: length, checksum and counter first, then the fields."""

from __future__ import annotations

from collections.abc import Mapping

from ..bus.frames import Handler, id_text, key_of
from ..contract.layout import BroadcastListener
from ..signals.store import Slot
from .bits import LayoutError
from .checks import Check, checksum_check, checksum_length, counter_check, counter_length
from .counts import Counts
from .fields import compile_unchecked, length_of

CLASSIC_BYTES = 8
"""The most a classic CAN frame carries (ISO 11898-1)."""


class Decoder:
    """A compiled listener.

    Attributes:
        listener: what it was compiled from.
        key: the key it is dispatched by.
        handle: called with the data and the monotonic time (s) of every frame of that key.
        counts: frames dropped and values not available.
        wanted: names of the signals it feeds; empty means that it need not be registered.
    """

    __slots__ = ("counts", "handle", "key", "listener", "wanted")

    def __init__(self, listener: BroadcastListener, handle: Handler, counts: Counts, wanted: tuple[str, ...]) -> None:
        self.listener = listener
        self.key = key_of(listener.id, listener.extended)
        self.handle = handle
        self.counts = counts
        self.wanted = wanted


def compile_listener(listener: BroadcastListener, slots: Mapping[str, Slot]) -> Decoder:
    """Compile what is wanted of a listener.

    Args:
        listener: the declaration.
        slots: by signal; fields whose signal is not in it are skipped.

    Raises:
        LayoutError: the listener contradicts itself, does not fit a frame or does not fit its signals.
    """
    counts = Counts()
    least = shortest_frame(listener)
    checks: list[Check] = []
    if listener.checksum is not None:
        checks.append(checksum_check(listener.checksum, counts))
    if listener.counter is not None:
        checks.append(counter_check(listener.counter, counts))
    read = compile_unchecked(listener.fields, slots, counts, least)
    wanted = tuple(dict.fromkeys(field.signal for field in listener.fields if field.signal in slots))
    return Decoder(listener, _checked(checks, read, least, counts), counts, wanted)


def shortest_frame(listener: BroadcastListener) -> int:
    """Return how many bytes a frame must have to be decoded; its checks always have to be there.

    Raises:
        LayoutError: more than a classic frame can have.
    """
    checks = 0
    if listener.counter is not None:
        checks = counter_length(listener.counter)
    if listener.checksum is not None:
        checks = max(checks, checksum_length(listener.checksum))
    needed = max(checks, length_of(listener.fields))
    if max(needed, listener.shortest or 0) > CLASSIC_BYTES:
        raise LayoutError(
            f"frame {id_text(key_of(listener.id, listener.extended))} on {listener.bus} needs "
            f"{max(needed, listener.shortest or 0)} bytes; a frame has {CLASSIC_BYTES} at most: correct its fields"
        )
    return needed if listener.shortest is None else max(checks, listener.shortest)


def _checked(checks: list[Check], read: Handler, least: int, counts: Counts) -> Handler:
    if not checks:

        def handle(data: bytes, at: float) -> None:
            if len(data) < least:
                counts.short += 1
            else:
                read(data, at)

        return handle

    every = tuple(checks)

    def handle_checked(data: bytes, at: float) -> None:
        if len(data) < least:
            counts.short += 1
            return
        for check in every:
            if not check(data):
                return
        read(data, at)

    return handle_checked
