"""``underdash log``: what the daemon wrote to the journal, in sentences."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

UNIT = "underdash"
SINCE = '"today", "1 hour ago", "2026-01-31 08:00"'
NOTHING = (
    "the journal has nothing of the service; is it running (systemctl status underdash), and may you read the journal "
    "(sudo underdash log, or membership of group systemd-journal)?"
)


def add(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--follow", action="store_true", help="the last lines, then whatever is written, until Ctrl-C")
    parser.add_argument("--since", metavar="WHEN", help=f"as journalctl takes it: {SINCE}")
    parser.add_argument(
        "--file", metavar="F", help="a log that was kept (journalctl -o json, or plain), - for the input"
    )
    parser.description = f"{parser.description} Since the machine's last start, unless told otherwise."


def run(arguments: argparse.Namespace) -> int:
    """Print the sentences."""
    from ..contract.errors import GivenError

    if arguments.file is not None:
        if arguments.follow or arguments.since:
            raise GivenError("--follow and --since are for the journal, not for --file")
        with _opened(arguments.file) as lines:
            _print(lines)
        return 0
    try:
        return _journal(arguments)
    except KeyboardInterrupt:
        if arguments.follow:  # that is how one ends it
            return 0
        raise


def _journal(arguments: argparse.Namespace) -> int:
    from ..contract.errors import UnderdashError

    command = ["journalctl", "-o", "json", "-u", UNIT, "--no-pager", "--quiet"]
    command += [f"--since={arguments.since}"] if arguments.since else ["--boot"]
    command += ["--follow"] if arguments.follow else []
    try:
        child = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            errors="replace",
        )
    except OSError as exc:
        raise UnderdashError("there is no journalctl here; name a log that was kept with --file") from exc
    with child:
        try:
            count = _print(child.stdout or ())
            said = (child.stderr.read() if child.stderr else "").strip()
        except BaseException:
            child.terminate()
            raise
    if child.returncode:
        why = said.splitlines()[0] if said else f"ended with {child.returncode}"
        step = f"; --since takes {SINCE}" if arguments.since else ""
        raise UnderdashError(f"journalctl: {why}{step}")
    if not count:
        raise UnderdashError(NOTHING)
    return 0


def _print(lines: Iterable[str]) -> int:
    from .log_lines import entry, told

    count = 0
    for line in lines:
        found = entry(line)
        if found is not None:
            print(told(found), flush=True)
            count += 1
    return count


@contextmanager
def _opened(name: str) -> Iterator[IO[str]]:
    from ..contract.errors import GivenError

    if name == "-":
        yield sys.stdin
        return
    try:
        with Path(name).open(encoding="utf-8", errors="replace") as opened:
            yield opened
    except OSError as exc:
        if exc.filename != name:
            raise
        step = "keep one with: journalctl -u underdash -o json > drive.log"
        raise GivenError(f"--file {name} cannot be read: {exc.strerror}; {step}, or leave --file out") from exc
