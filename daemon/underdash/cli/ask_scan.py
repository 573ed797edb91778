"""A gentle scan from the command line: progress, results that survive a kill, and what answered at the end."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from ..contract.errors import GivenError, StoppedError, UnderdashError
from ..diagnostics.scan import (
    LEFT_OUT,
    WITH_BYTES,
    Result,
    Results,
    Target,
    as_polls,
    head,
    how_long,
    read_results,
)
from ..wiring.by_hand import HELD, PACE_S
from ..wiring.wanted import standard_ids
from .ask_ways import Way

KEYBOARD = StoppedError.exit_status
AGAIN_S = 1.0
PATIENT_S = 120.0
"""How long a request of a scan waits for what ends by itself; four times what another tester costs."""
PLAIN_S = 10.0
"""How often progress is told where no line can be drawn anew."""


def scan(way: Way, query: Mapping[str, Any], wanted: range, out: str | None, stop: threading.Event) -> int:
    """Ask for a range, one identifier after the other; returns the exit status."""
    plan = way.plan({**query, "identifier": wanted[0]})
    way.plan({**query, "identifier": wanted[-1]})
    target = Target(plan["car"], plan["unit"], plan["protocol"])
    path = Path(out or f"ask_{target.car}_{target.unit}_{target.protocol}.txt")
    with _kept(path, target) as (file, results):
        one = Scan(way, {**query, "protocol": target.protocol}, wanted, results, plan["digits"])
        held = one.run(file, stop)
    _list(results, wanted, plan)
    counts = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in results.counts(wanted).items())
    print(f"{counts or 'nothing asked'}; results in {path}", file=sys.stderr)
    left = len(results.left(wanted))
    if held:
        raise UnderdashError(f"{held}; {left} requests are left, the same command goes on from here")
    if left:
        print(f"stopped; {left} requests are left, the same command goes on from here", file=sys.stderr)
    return KEYBOARD if left else 0


def _list(results: Results, wanted: range, plan: Mapping[str, Any]) -> None:
    """Print what answered, for a description."""
    described = {int(number, 16): signals for number, signals in plan["described"].items()}
    lines = list(as_polls(results, wanted, plan["digits"], described))
    if lines:
        unit, protocol = plan["unit"], plan["protocol"]
        print(f"# {unit}, {protocol}: what answered. Write the fields, then take the comment signs away.\n")
        print("\n".join(lines))


@dataclass(frozen=True)
class Scan:
    """A scan: what is asked in which way, and what came of it so far."""

    way: Way
    query: Mapping[str, Any]
    wanted: range
    results: Results
    digits: int

    def run(self, file: TextIO, stop: threading.Event) -> str:
        """Ask for all that is left; returns why it could not go on, "" if it is done or was stopped."""
        progress = Progress()
        begun, done = time.monotonic(), 0
        try:
            while (left := self.results.left(self.wanted)) and not stop.is_set():
                number, identifier = left[0]
                each_s = (time.monotonic() - begun) / done if done else PACE_S
                progress.tell(f"{self._where(number, identifier, len(left))}, {how_long(each_s * len(left))} left")
                came = patiently(self.way, {**self.query, "identifier": identifier}, progress, stop)
                if came["kind"] == HELD:
                    return "" if stop.is_set() else str(came["sentence"])
                result = Result(number, identifier, came["kind"], _said(came))
                self.results.add(result)
                _keep(file, result.line(self.digits))
                if number == 1 and came["kind"] in WITH_BYTES:
                    progress.say(f"{came['name']} answered {came['data']}")
                done += 1
        finally:
            progress.end()
        return ""

    def _where(self, number: int, identifier: int, left: int) -> str:
        answered = len(self.results.answered(self.wanted))
        again = " a second time" if number == 2 else ""
        return f"{identifier:0{self.digits}X}{again}: {left} to ask, {answered} answered"


def patiently(way: Way, query: Mapping[str, Any], progress: Progress, stop: threading.Event) -> Mapping[str, Any]:
    """Ask, and ask again while what holds it back ends by itself: a cap, the starter, another tester.

    The reason is shown. Returns what came of it; still held is what a person has to end, or what went on for too long.
    """
    begun, said = time.monotonic(), False
    while True:
        came = way.ask(query)
        waited = time.monotonic() - begun
        if came["kind"] != HELD or not came.get("momentary") or stop.is_set() or waited > PATIENT_S:
            return came
        text = f"waits: {came['sentence']}"
        progress.tell(text) if said else progress.say(text)
        said = True
        way.wait(AGAIN_S)


def _said(came: Mapping[str, Any]) -> str:
    kind = came["kind"]
    if kind in WITH_BYTES:
        return str(came["data"])
    return str(came.get("code", "")) if kind == "refused" else str(came["sentence"]) if kind == LEFT_OUT else ""


# --- results ------------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _kept(path: Path, target: Target) -> Iterator[tuple[TextIO, Results]]:
    """Yield the open file of results, and what it holds already."""
    try:
        with path.open("a+", encoding="utf-8", errors="replace", newline="\n") as file:
            file.seek(0)
            results = read_results(file, target, str(path))
            _cut_off(path)
            if not path.stat().st_size:
                for line in head(target):
                    _keep(file, line)
            yield file, results
    except OSError as exc:
        raise GivenError(f"results {path} cannot be kept: {exc.strerror or exc}; name another file, --results") from exc


def _cut_off(path: Path) -> None:
    """Take a last line away that has no end, so that the next one does not become part of it."""
    data = path.read_bytes()
    whole = data.rfind(b"\n") + 1
    if whole < len(data):
        os.truncate(path, whole)


def _keep(file: TextIO, line: str) -> None:
    """Write a line so that it survives whatever comes next."""
    file.write(line + "\n")
    file.flush()
    os.fsync(file.fileno())


# --- who is there -------------------------------------------------------------------------------------------------


def discover(way: Way, bus: str, stop: threading.Event) -> int:
    """Ask each id of ISO 15765-4 once; returns the exit status."""
    ids = standard_ids()
    way.plan({"bus": bus, "request": ids[0]})
    progress, found, begun = Progress(), 0, time.monotonic()
    for done, request in enumerate(ids):
        if stop.is_set():
            break
        each_s = (time.monotonic() - begun) / done if done else PACE_S
        left = len(ids) - done
        progress.tell(f"{request}: {left} to ask, {found} there, {how_long(each_s * left)} left")
        try:
            came = patiently(way, {"bus": bus, "request": request}, progress, stop)
        except GivenError as exc:
            progress.say(f"{request}: {exc}")
            continue
        if came["kind"] == HELD:
            progress.end()
            if stop.is_set():
                break
            raise UnderdashError(f"{came['sentence']}; nothing more was asked")
        if came["kind"] not in ("silent", LEFT_OUT):
            found += 1
            progress.end()
            print(f"{request}  {came['unit']}: {came['sentence']}  {came.get('data', '')}".rstrip())
    progress.end()
    print(f"{found} control unit{'s' if found != 1 else ''} answered", file=sys.stderr)
    return KEYBOARD if stop.is_set() else 0


# --- progress -----------------------------------------------------------------------------------------------------


class Progress:
    """Tells on the standard error how it goes: a line drawn anew on a terminal, else a line now and then."""

    def __init__(self) -> None:
        self._drawn = sys.stderr.isatty()
        self._said_at = time.monotonic()
        self._open = False

    def tell(self, text: str) -> None:
        """Say how it goes."""
        if self._drawn:
            sys.stderr.write(f"\r\x1b[K{text}")
            sys.stderr.flush()
            self._open = True
        elif time.monotonic() - self._said_at >= PLAIN_S:
            self._said_at = time.monotonic()
            print(text, file=sys.stderr)

    def say(self, text: str) -> None:
        """Say something that stays."""
        self.end()
        print(text, file=sys.stderr)

    def end(self) -> None:
        """Leave the line."""
        if self._open:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
            self._open = False
