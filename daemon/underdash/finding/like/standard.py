"""A signal as answers of service 01 in a trace carry it, whoever asked."""

from __future__ import annotations

import numpy as np

from ...bus.frames import key_of
from ...contract.cars import BusDescription, CarDescription
from ...contract.errors import GivenError
from ...contract.requests import ControlUnit
from ...diagnostics import obd
from ...diagnostics.asking import Asking
from ...diagnostics.parameters import PARAMETERS
from ...diagnostics.requests import compile_polls
from ...signals.catalogue import CATALOGUE
from ...signals.store import Slot, Store
from ..heard import Heard, Stream
from .reference import Reference

FIRST, LAST = 0x7E8, 0x7EF
"""Ids of answers with 11 bits; the request's is 8 less (ISO 15765-4)."""
EXTENDED_FIRST, EXTENDED_LAST = 0x18DAF100, 0x18DAF1FF
"""Ids of answers with 29 bits to a tester at F1; the last byte is the unit's address (ISO 15765-4)."""


def from_answers(heard: Heard, signal: str) -> Reference:
    """Return a signal that service 01 has (SAE J1979), from the unit that answers it most often.

    Raises:
        GivenError: the service has no such signal, or no answer in the trace carries it.
    """
    pids = [pid for pid, one in PARAMETERS.items() if any(field.signal == signal for field in one.fields)]
    if not pids:
        raise GivenError(
            f"--reference {signal}: no file of that name, and service 01 has no such signal; name a car with --car "
            "that knows it, or a CSV file"
        )
    found = [one for stream in heard if _answers(stream) for one in _read(stream, signal, pids)]
    if not found:
        raise GivenError(
            f"--reference {signal}: no answer of service 01 in {heard.trace or 'the trace'} carries it; name a car "
            "with --car whose description knows it, or a CSV file"
        )
    return max(found, key=len)


def _answers(stream: Stream) -> bool:
    if stream.extended:
        return EXTENDED_FIRST <= stream.id <= EXTENDED_LAST
    return FIRST <= stream.id <= LAST


def _read(stream: Stream, signal: str, pids: list[int]) -> list[Reference]:
    request = 0x18DA00F1 | (stream.id & 0xFF) << 8 if stream.extended else stream.id - 8
    unit = ControlUnit("unit", stream.bus, request, stream.id, extended=stream.extended)
    car = CarDescription("heard", "Heard", (BusDescription(stream.bus, 500_000),), (unit,))
    store = Store(CATALOGUE)
    asking = Asking(compile_polls(car, obd.polls("unit", pids), (), store).polls)
    samples: list[tuple[float, float]] = []

    def keep(slot: Slot) -> None:
        if isinstance(slot.value, float):
            samples.append((slot.at, slot.value))

    store.watch(signal, keep)
    key = key_of(stream.id, stream.extended)
    for row, at, length in zip(stream.data, stream.at.tolist(), stream.length.tolist(), strict=True):
        asking.handle(stream.bus, key, row[:length].tobytes(), at)
    if not samples:
        return []
    at, value = np.array(samples).T
    source = ((stream.bus, stream.id, stream.extended),)
    return [Reference(signal, at, value, CATALOGUE[signal].unit, source)]
