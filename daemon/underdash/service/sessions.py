"""Whether a person is logged in, as logind knows it; asked through libsystemd (sd-login(3)), which needs no rights."""

from __future__ import annotations

import ctypes
import os
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

USED_S = 600.0
"""A terminal that nobody used for so long is one that logs in by itself, or was forgotten."""


@dataclass(frozen=True, slots=True)
class Session:
    """One session: `used_s` ago its terminal was used, None where it has none that can be looked at."""

    person: bool
    remote: bool
    used_s: float | None


def somebody(sessions: Iterable[Session]) -> bool:
    """Say whether a person is there: over the network, or at a terminal that was used lately."""
    return any(one.person and (one.remote or (one.used_s is not None and one.used_s < USED_S)) for one in sessions)


def somebody_logged_in(library: Callable[[], Any] | None = None, now: Callable[[], float] = time.time) -> bool:
    """Say whether a person is logged in; nobody where there is no logind.

    Args:
        library: gives libsystemd.
        now: seconds of the clock that files have their times by.
    """
    try:
        return somebody(_sessions((library or _libsystemd)(), now()))
    except OSError:
        return False


def _sessions(login: Any, now: float) -> Iterator[Session]:
    names = ctypes.POINTER(ctypes.c_void_p)()
    count = login.sd_get_sessions(ctypes.byref(names))
    for index in range(max(0, count)):
        place = names[index]
        name = ctypes.string_at(place)
        login.free(place)
        if _text(login, login.sd_session_get_state, name) == "closing":
            continue
        person = _text(login, login.sd_session_get_class, name) == "user"
        used = _used(_text(login, login.sd_session_get_tty, name), now)
        yield Session(person, login.sd_session_is_remote(name) > 0, used)
    login.free(names)


def _text(login: Any, call: Any, name: bytes) -> str:
    found = ctypes.c_void_p()
    if call(name, ctypes.byref(found)) < 0 or not found.value:
        return ""
    text = ctypes.string_at(found.value).decode(errors="replace")
    login.free(found)
    return text


def _used(terminal: str, now: float) -> float | None:
    try:
        return now - os.stat(f"/dev/{terminal}").st_atime if terminal else None
    except OSError:
        return None


@cache
def _libsystemd() -> Any:
    library: Any = ctypes.CDLL("libsystemd.so.0")
    library.free = ctypes.CDLL(None).free
    library.free.argtypes = [ctypes.c_void_p]
    library.free.restype = None
    return library
