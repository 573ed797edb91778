"""The pure part of a scan: what is left, what is kept, and what answered as entries of a description."""

from __future__ import annotations

import tomllib

import pytest

from underdash.contract.errors import GivenError
from underdash.diagnostics.scan import (
    HEAD,
    Result,
    Results,
    Target,
    as_polls,
    head,
    how_long,
    identifiers,
    read_results,
)

TARGET = Target("tarn", "gearbox", "identifier_22")
WANTED = range(0x10, 0x14)


def results(*lines: Result) -> Results:
    found = Results(TARGET)
    for line in lines:
        found.add(line)
    return found


@pytest.mark.parametrize(
    ("text", "meant"), [("21C7", range(0x21C7, 0x21C8)), ("00-ff", range(256)), ("0-0", range(1)), ("7", range(7, 8))]
)
def test_an_identifier_or_a_range_is_read(text: str, meant: range) -> None:
    assert identifiers(text) == meant


@pytest.mark.parametrize("text", ["", "x", "12345", "1-", "-1", "1-2-3", "0x12", "2-1", "1_0", " 1"])
def test_what_is_no_identifier_is_said(text: str) -> None:
    with pytest.raises(GivenError, match=r"21C7|smaller"):
        identifiers(text)


def test_everything_is_asked_once_and_what_answered_a_second_time() -> None:
    found = results(Result(1, 0x10, "answered", "01"), Result(1, 0x11, "refused", "31"))
    assert found.left(WANTED) == [(1, 0x12), (1, 0x13), (2, 0x10)]
    found.add(Result(1, 0x12, "silent"))
    found.add(Result(1, 0x13, "late", "02"))
    assert found.left(WANTED) == [(2, 0x10), (2, 0x13)]
    found.add(Result(2, 0x10, "answered", "03"))
    found.add(Result(2, 0x13, "silent"))
    assert found.left(WANTED) == []
    assert found.changed(0x10)
    assert not found.changed(0x13)
    assert found.counts(WANTED) == {"answered": 1, "refused": 1, "silent": 1, "late": 1}


def test_kept_results_are_read_back() -> None:
    kept = [
        Result(1, 0x10, "answered", "01AB"),
        Result(1, 0x11, "left_out", "it could be read as"),
        Result(1, 2, "silent"),
    ]
    lines = [line + "\n" for line in (*head(TARGET), *(one.line(4) for one in kept))]
    assert read_results(lines, TARGET, "here").passes[0] == {one.identifier: one for one in kept}


@pytest.mark.parametrize("cut", range(1, 19))
def test_a_line_that_was_cut_off_is_asked_again(cut: int) -> None:
    last = Result(1, 0x11, "answered", "AB").line(4) + "\n"
    lines = [HEAD + "\n", TARGET.line() + "\n", "1 0010 silent\n", last[:-cut]]
    assert read_results(lines, TARGET, "here").left(range(0x10, 0x12)) == [(1, 0x11)]


@pytest.mark.parametrize("line", ["", "1", "3 10 silent", "1 xx silent", "1 10 loud", "\0\0\0", "1  silent"])
def test_a_line_that_means_nothing_is_passed_over(line: str) -> None:
    found = read_results([HEAD + "\n", TARGET.line() + "\n", line + "\n"], TARGET, "here")
    assert found.passes == ({}, {})


def test_results_of_another_unit_and_other_files_are_refused() -> None:
    with pytest.raises(GivenError, match="--results"):
        read_results(["something else\n"], TARGET, "here")
    with pytest.raises(GivenError, match="unit engine"):
        read_results([HEAD + "\n", Target("tarn", "engine", "service_01").line() + "\n"], TARGET, "here")
    assert read_results([], TARGET, "here").passes == ({}, {})


def test_what_answered_becomes_commented_entries_in_which_nothing_is_guessed() -> None:
    found = results(
        Result(1, 0x10, "answered", "01"),
        Result(2, 0x10, "answered", "02"),
        Result(1, 0x11, "refused", "31"),
        Result(1, 0x12, "answered", "AB"),
    )
    lines = list(as_polls(found, WANTED, 4, {0x12: "fuel.level"}))
    assert "# 1 byte: 01, and later 02: it changed" in lines
    assert "# described already: fuel.level" in lines
    assert all(not line or line.startswith("# ") for line in lines)
    entries = "\n".join(line[2:] for line in lines if "byte" not in line and "described" not in line)
    polls = tomllib.loads(entries)["poll"]
    assert [one["identifier"] for one in polls] == ["0010", "0012"]
    assert all(one["unit"] == "gearbox" and one["fields"] == [] for one in polls)


@pytest.mark.parametrize(("seconds", "said"), [(0.4, "0 s"), (59, "59 s"), (61, "1 min 01 s"), (7300, "2 h 01 min")])
def test_times_are_said_as_people_do(seconds: float, said: str) -> None:
    assert how_long(seconds) == said
