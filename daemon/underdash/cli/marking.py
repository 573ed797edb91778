"""Marks from the keyboard while a recording runs: a word and Enter at the deed; Enter alone repeats the word."""

from __future__ import annotations

import contextlib
import os
import select
import stat
import sys
import threading
from collections.abc import Callable, Iterator

from ..bus.interval_marks import BEGIN, END
from ..contract.errors import GivenError, UnderdashError

FIRST_WORD = "mark"
LOOK_S = 0.2
JOIN_S = 1.0
READ_BYTES = 4096
MOST_WORD_LETTERS = 80


class Words:
    """Makes marks of what is typed.

    Args:
        repeats: whether an empty line is the word before once more, and not always `FIRST_WORD`.
    """

    def __init__(self, *, repeats: bool = True) -> None:
        self._rest = b""
        self._word = FIRST_WORD
        self._repeats = repeats

    def feed(self, typed: bytes) -> list[str]:
        """Return the word of each line that is whole now; an empty line is the word before once more."""
        *lines, self._rest = (self._rest + typed).split(b"\n")
        found = []
        for line in lines:
            before = _next(self._word) if self._repeats else FIRST_WORD
            self._word = " ".join(line.decode("utf-8", "replace").split())[:MOST_WORD_LETTERS] or before
            found.append(self._word)
        return found


def _next(word: str) -> str:
    """The word that an empty line stands for after this one: what began ends, and may begin once more."""
    for this, other in ((BEGIN, END), (END, BEGIN)):
        if word.endswith(this) and word != this:
            return word.removesuffix(this) + other
    return word


@contextlib.contextmanager
def marking(
    mark: Callable[[str], None], number: int | None = None, *, led: bool = False,
    ended: Callable[[], None] = lambda: None,
) -> Iterator[None]:  # fmt: skip
    """Call `mark` with a word for every line typed, in a thread of its own so that no mark waits.

    Args:
        mark: sets it; what it raises is told.
        number: file descriptor that is read; standard input if None, where there is one.
        led: somebody else says what to do and what was marked; an empty line is always `FIRST_WORD`.
        ended: called in that thread where nothing more can be typed.
    """
    if number is None:
        number = _standard_input()
    if number is None:
        yield
        return
    if os.isatty(number) and not led:
        print("at each deed press Enter, after a word that names it; Enter alone repeats the word", file=sys.stderr)
    over = threading.Event()
    thread = threading.Thread(target=_read, args=(number, mark, over, led, ended), name="marks", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(JOIN_S)


def keyboard_needed() -> None:
    """Raise `GivenError` where nobody can type: there is no standard input, or it is a file."""
    number = _standard_input()
    mode = 0 if number is None else os.fstat(number).st_mode
    if number is None or stat.S_ISREG(mode) or (stat.S_ISCHR(mode) and not os.isatty(number)):
        raise GivenError("--live needs a keyboard, and the standard input is none; say it in a terminal")


def _standard_input() -> int | None:
    try:
        return sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):  # there is none, it is closed, or it is no file
        return None


def _read(
    number: int, mark: Callable[[str], None], over: threading.Event, led: bool, ended: Callable[[], None]
) -> None:
    words = Words(repeats=not led)
    while not over.is_set():
        try:
            if not select.select([number], [], [], LOOK_S)[0]:
                continue
            if not _ours(number):  # who reads a terminal from the background is stopped
                over.wait(LOOK_S)
                continue
            typed = os.read(number, READ_BYTES)
        except (OSError, ValueError):
            return ended()
        if not typed:
            return ended()
        for word in words.feed(typed):
            try:
                mark(word)
            except UnderdashError as exc:
                print(f"underdash: no mark {word!r} was set: {exc}", file=sys.stderr)
            else:
                if not led:
                    print(f"mark: {word}", file=sys.stderr)
    return None


def _ours(number: int) -> bool:
    return not os.isatty(number) or os.tcgetpgrp(number) == os.getpgrp()
