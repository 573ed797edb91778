"""Who counts as a person that is logged in."""

from __future__ import annotations

import ctypes
from typing import Any

import pytest

from underdash.service.sessions import USED_S, Session, somebody, somebody_logged_in


@pytest.mark.parametrize(
    ("session", "counts"),
    [
        (Session(person=True, remote=True, used_s=None), True),
        (Session(person=True, remote=True, used_s=9000.0), True),
        (Session(person=True, remote=False, used_s=20.0), True),
        (Session(person=True, remote=False, used_s=USED_S), False),
        (Session(person=True, remote=False, used_s=None), False),
        (Session(person=False, remote=True, used_s=1.0), False),
    ],
)
def test_a_person_is_one_over_the_network_or_at_a_terminal_in_use(session: Session, counts: bool) -> None:
    assert somebody([session]) is counts


class Login:
    """Stands in for libsystemd: sessions by name, each with (state, class, remote, terminal)."""

    def __init__(self, sessions: dict[str, tuple[str, str, bool, str]]) -> None:
        self.sessions = sessions
        self.kept: list[Any] = []
        self.freed = 0

    def sd_get_sessions(self, into: Any) -> int:
        names = [ctypes.create_string_buffer(name.encode()) for name in self.sessions]
        places = (ctypes.c_void_p * (len(names) + 1))(*[ctypes.addressof(name) for name in names])
        self.kept += [*names, places]
        into._obj.contents = places
        ctypes.cast(into, ctypes.POINTER(ctypes.c_void_p))[0] = ctypes.addressof(places)
        return len(names)

    def _tell(self, index: int, name: bytes, into: Any) -> int:
        text = str(self.sessions[name.decode()][index])
        if not text:
            return -6
        buffer = ctypes.create_string_buffer(text.encode())
        self.kept.append(buffer)
        into._obj.value = ctypes.addressof(buffer)
        return 0

    def sd_session_get_state(self, name: bytes, into: Any) -> int:
        return self._tell(0, name, into)

    def sd_session_get_class(self, name: bytes, into: Any) -> int:
        return self._tell(1, name, into)

    def sd_session_get_tty(self, name: bytes, into: Any) -> int:
        return self._tell(3, name, into)

    def sd_session_is_remote(self, name: bytes) -> int:
        return int(self.sessions[name.decode()][2])

    def free(self, place: Any) -> None:
        self.freed += 1


@pytest.mark.parametrize(
    ("sessions", "counts"),
    [
        ({}, False),
        ({"1": ("online", "user", False, "tty1"), "4": ("active", "user", True, "pts/0")}, True),
        ({"c1": ("active", "greeter", False, ""), "4": ("closing", "user", True, "pts/0")}, False),
        ({"1": ("active", "user", False, "no/such/terminal")}, False),
        ({"1": ("active", "user", False, "null")}, True),
    ],
)
def test_sessions_are_read_from_the_library(sessions: dict[str, tuple[str, str, bool, str]], counts: bool) -> None:
    login = Login(sessions)
    used = __import__("os").stat("/dev/null").st_atime
    assert somebody_logged_in(lambda: login, lambda: used + 5.0) is counts


def test_without_logind_nobody_is_logged_in() -> None:
    def missing() -> Any:
        raise OSError("libsystemd.so.0: cannot open shared object file")

    assert somebody_logged_in(missing) is False


def test_the_real_library_can_be_asked() -> None:
    assert somebody_logged_in() in (True, False)
