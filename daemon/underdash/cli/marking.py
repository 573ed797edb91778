"""Marks from the keyboard while a recording runs: a word and Enter at the deed; Enter alone repeats the word."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import threading
from collections.abc import Callable, Iterator

from ..contract.errors import UnderdashError

FIRST_WORD = "mark"
LOOK_S = 0.2
JOIN_S = 1.0
READ_BYTES = 4096
MOST_WORD_LETTERS = 80


class Words:
    """Makes marks of what is typed."""

    def __init__(self) -> None:
        self._rest = b""
        self._word = FIRST_WORD

    def feed(self, typed: bytes) -> list[str]:
        """Return the word of each line that is whole now; an empty line is the word before once more."""
        *lines, self._rest = (self._rest + typed).split(b"\n")
        found = []
        for line in lines:
            self._word = " ".join(line.decode("utf-8", "replace").split())[:MOST_WORD_LETTERS] or self._word
            found.append(self._word)
        return found


@contextlib.contextmanager
def marking(mark: Callable[[str], object], number: int | None = None, *, tell: bool = True) -> Iterator[None]:
    """Call `mark` with a word for every line typed, in a thread of its own so that no mark waits.

    Args:
        mark: sets it; what it raises is told.
        number: file descriptor that is read; standard input if None, where there is one.
        tell: say how it goes and repeat each word.
    """
    if number is None:
        number = _standard_input()
    if number is None:
        yield
        return
    if tell and os.isatty(number):
        print("at each deed press Enter, after a word that names it; Enter alone repeats the word", file=sys.stderr)
    over = threading.Event()
    thread = threading.Thread(target=_read, args=(number, mark, over, tell), name="marks", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(JOIN_S)


def _standard_input() -> int | None:
    try:
        return sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):  # there is none, it is closed, or it is no file
        return None


def _read(number: int, mark: Callable[[str], object], over: threading.Event, tell: bool) -> None:
    words = Words()
    while not over.is_set():
        try:
            if not select.select([number], [], [], LOOK_S)[0]:
                continue
            if not _ours(number):  # who reads a terminal from the background is stopped
                over.wait(LOOK_S)
                continue
            typed = os.read(number, READ_BYTES)
        except (OSError, ValueError):
            return
        if not typed:
            return
        for word in words.feed(typed):
            try:
                mark(word)
            except UnderdashError as exc:
                print(f"underdash: no mark {word!r} was set: {exc}", file=sys.stderr)
            else:
                if tell:
                    print(f"mark: {word}", file=sys.stderr)


def _ours(number: int) -> bool:
    return not os.isatty(number) or os.tcgetpgrp(number) == os.getpgrp()
