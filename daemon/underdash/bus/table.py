"""Who wants which frame: a dictionary from a frame's key to what is called with its data.

The hot path of every port is ``handler = table.get(key)`` and ``handler(data, at)``; everything else happens here, at
start-up. Keys carry the extended flag in bit 31 and no other flag, so that a remote or error frame, whose number on
the socket has one of those flags set, never finds a handler.
"""

from __future__ import annotations

from collections.abc import Callable

from .frames import EXTENDED, Handler, id_text

_LARGEST_STANDARD = 0x7FF
_LARGEST_EXTENDED = 0x1FFF_FFFF


class Table(dict[int, Handler]):
    """Handlers by key; use `add` and `remove`, read with ``get``.

    Attributes:
        version: grows with every change of the set of keys, so that a port can renew its filters.
    """

    def __init__(self) -> None:
        super().__init__()
        self.version = 0
        self._handlers: dict[int, list[Handler]] = {}

    def add(self, key: int, handler: Handler) -> None:
        """Have `handler` called with every data frame of this key, after those added before it.

        Raises:
            ValueError: no frame can have this key.
        """
        largest = _LARGEST_EXTENDED if key & EXTENDED else _LARGEST_STANDARD
        if not 0 <= key & ~EXTENDED <= largest:
            raise ValueError(f"key 0x{key:X} is no id of 11 bits, and of 29 bits only with the flag 0x{EXTENDED:X}")
        handlers = self._handlers.setdefault(key, [])
        if not handlers:
            self.version += 1
        handlers.append(handler)
        self[key] = _chain(tuple(handlers))

    def remove(self, key: int, handler: Handler) -> None:
        """Take a handler away again.

        Raises:
            KeyError: it was not added for this key.
        """
        handlers = self._handlers.get(key, [])
        if handler not in handlers:
            raise KeyError(f"no such handler for {id_text(key)}")
        handlers.remove(handler)
        if handlers:
            self[key] = _chain(tuple(handlers))
        else:
            del self._handlers[key], self[key]
            self.version += 1

    def become(self, other: Table) -> None:
        """Have another table's handlers in place of these, from the next frame on; ports keep hold of this one."""
        self.clear()
        self._handlers = {key: [*handlers] for key, handlers in other._handlers.items()}
        self.update(other)
        self.version += 1


def _chain(handlers: tuple[Handler, ...]) -> Handler:
    if len(handlers) == 1:
        return handlers[0]
    return _pair(*handlers) if len(handlers) == 2 else _several(handlers)


def _pair(first: Callable[[bytes, float], None], second: Callable[[bytes, float], None]) -> Handler:
    def call(data: bytes, at: float) -> None:
        first(data, at)
        second(data, at)

    return call


def _several(handlers: tuple[Handler, ...]) -> Handler:
    def call(data: bytes, at: float) -> None:
        for handler in handlers:
            handler(data, at)

    return call
