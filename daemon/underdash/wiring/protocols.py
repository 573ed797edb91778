"""Protocols that plug-ins bring: their requests made plain bytes, and their `decode` watched while it runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from ..contract.errors import UnderdashError, raised
from ..contract.requests import Answer, ControlUnit, Protocol
from ..diagnostics.asking import Asking
from ..diagnostics.speech import misread
from ..loading import GUARDED

FAILURES_ALLOWED = 3
"""So often `decode` may fail without a single answer in between; what it finds on the bus may be anything once."""

Suspend = Callable[[str, str], None]


def owners(brought: Iterable[tuple[str, Protocol]]) -> dict[str, str]:
    """Return the plug-in of each protocol; the first one of a name counts."""
    found: dict[str, str] = {}
    for plugin, protocol in brought:
        found.setdefault(protocol.name, plugin)
    return found


def silencing(brought: Iterable[tuple[str, Protocol]], asking: Asking) -> Suspend:
    """Return what has nothing asked and read any more in the protocols of a plug-in that is suspended."""
    spoken_by = owners(brought)

    def silence(plugin: str, reason: str) -> None:
        asking.stop([name for name, its in spoken_by.items() if its == plugin], f"{plugin}: {reason}")

    return silence


def watched(plugin: str, protocol: Protocol, suspend: Suspend) -> Protocol:
    """Return a plug-in's protocol, plainly spelt, whose plug-in is suspended once its `decode` only fails.

    Args:
        plugin: its name.
        protocol: what it brings.
        suspend: called with (plug-in's name, reason).
    """
    return replace(plainly_spelt(protocol), decode=_Watched(plugin, protocol, suspend))


def plainly_spelt(protocol: Protocol) -> Protocol:
    """Return a plug-in's protocol whose requests are plain bytes of our own, which nobody can change any more."""

    def encode(unit: ControlUnit, identifier: int) -> bytes:
        try:
            spelt: object = protocol.encode(unit, identifier)
        except GUARDED as exc:
            raise UnderdashError(f"encode of protocol {protocol.name!r} raised {raised(exc)}") from exc
        if not isinstance(spelt, bytes | bytearray):
            kind = type(spelt).__name__
            raise UnderdashError(f"encode of protocol {protocol.name!r} gave {kind}, it has to give bytes")
        return bytes(memoryview(spelt))

    return replace(protocol, encode=encode)


class _Watched:
    """Calls a plug-in's `decode`, and counts."""

    def __init__(self, plugin: str, protocol: Protocol, suspend: Suspend) -> None:
        self._plugin = plugin
        self._protocol = protocol
        self._suspend = suspend
        self._failures = 0

    def __call__(self, unit: ControlUnit, data: bytes) -> Answer | None:
        try:
            answer = self._protocol.decode(unit, data)
        except GUARDED as exc:
            self._failed(f"raised {raised(exc)}")
            raise
        wrong = misread(answer)
        if wrong:
            self._failed(wrong)
        elif answer is not None:
            self._failures = 0
        return answer

    def _failed(self, what: str) -> None:
        self._failures += 1
        if self._failures == FAILURES_ALLOWED:
            name = f"decode of protocol {self._protocol.name!r}"
            self._suspend(self._plugin, f"{name} {what} ({self._failures} times)")
