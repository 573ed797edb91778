"""A scan that is held back: by what ends by itself it is delayed, by what a person has to end it is stopped."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from threading import Event
from typing import Any

import pytest

from underdash.cli import ask_scan
from underdash.cli.ask_scan import PATIENT_S, Scan
from underdash.diagnostics.scan import Results, Target

ANSWER = {"kind": "refused", "code": "31", "name": "gearbox 22 2100", "sentence": "no"}
TESTER = {"kind": "held", "sentence": "another tester uses 7E1", "momentary": True}
QUIET = {"kind": "held", "sentence": "quiet was asked for", "momentary": False}


class FakeWay:
    """Gives what was prepared, one after the other; the last one for ever. Time passes only by waiting."""

    def __init__(self, gives: Iterable[Mapping[str, Any]]) -> None:
        self.gives = list(gives)
        self.asked: list[int] = []
        self.now = 0.0

    def plan(self, query: Mapping[str, Any]) -> Mapping[str, Any]:
        return query

    def ask(self, query: Mapping[str, Any]) -> Mapping[str, Any]:
        self.asked.append(query["identifier"])
        return self.gives.pop(0) if len(self.gives) > 1 else self.gives[0]

    def wait(self, seconds: float) -> None:
        self.now += seconds


def scanned(way: FakeWay, monkeypatch: pytest.MonkeyPatch) -> tuple[str, Results]:
    monkeypatch.setattr("underdash.cli.ask_scan.time.monotonic", lambda: way.now)
    results = Results(Target("tarn", "gearbox", "identifier_22"))
    monkeypatch.setattr(ask_scan, "_keep", lambda file, line: file.write(line))
    return Scan(way, {}, range(0x2100, 0x2103), results, 4).run(io.StringIO(), Event()), results


def test_what_ends_by_itself_delays_a_scan_and_shows_why(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    way = FakeWay([ANSWER, *([TESTER] * 30), ANSWER, ANSWER])
    held, results = scanned(way, monkeypatch)
    assert held == ""
    assert results.left(range(0x2100, 0x2103)) == []
    assert way.now == 30.0
    assert way.asked == [0x2100, *([0x2101] * 31), 0x2102]
    said = capsys.readouterr().err.splitlines()
    assert said[0] == "waits: another tester uses 7E1"
    assert 2 <= len(said) <= 5


def test_what_a_person_has_to_end_stops_a_scan_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    way = FakeWay([ANSWER, QUIET])
    held, results = scanned(way, monkeypatch)
    assert held == "quiet was asked for"
    assert way.now == 0.0
    assert results.left(range(0x2100, 0x2103)) == [(1, 0x2101), (1, 0x2102)]


def test_a_tester_that_never_leaves_stops_a_scan_in_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    way = FakeWay([TESTER])
    held, _ = scanned(way, monkeypatch)
    assert held == "another tester uses 7E1"
    assert PATIENT_S <= way.now <= PATIENT_S + 2.0
