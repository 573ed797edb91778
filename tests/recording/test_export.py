"""Signals as CSV."""

from __future__ import annotations

import csv
import io

from underdash.contract.signals import Kind, Quality, Signal
from underdash.recording.export import LongTable, WideTable
from underdash.signals.store import Rank, Store

SIGNALS = {
    "p": Signal("p", "kPa", "a pressure", low=0.0, high=300.0),
    "s": Signal("s", "", "a switch", kind=Kind.SWITCH),
    "t": Signal("t", "", "a text", kind=Kind.TEXT),
}


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def test_the_long_table_has_a_row_for_every_sample_in_the_owners_unit() -> None:
    store = Store(SIGNALS, {"kPa": "bar"})
    p, s, t = (store.slot(name, f"broadcast {name}", Rank.BROADCAST) for name in "pst")
    out = io.StringIO(newline="")
    table = LongTable(out, store)
    p.put(255.0, Quality.ABOVE, 1.5)
    s.put(True, Quality.GOOD, 1.75)
    t.put('says "on", then off', Quality.GOOD, 2.0)
    assert rows(out.getvalue()) == [
        ["seconds", "signal", "value", "unit", "quality", "source"],
        ["1.500000", "p", "2.55", "bar", "above", "broadcast p"],
        ["1.750000", "s", "1", "", "good", "broadcast s"],
        ["2.000000", "t", 'says "on", then off', "", "good", "broadcast t"],
    ]
    assert table.written == 3


def test_only_the_source_that_counts_is_written_unless_all_are_wanted() -> None:
    written = {}
    for all_sources in (False, True):
        store = Store(SIGNALS)
        heard = store.slot("p", "broadcast", Rank.BROADCAST, period_s=0.1)
        asked = store.slot("p", "poll", Rank.POLL)
        out = io.StringIO(newline="")
        LongTable(out, store, all_sources=all_sources)
        asked.put(100.0, Quality.GOOD, 1.0)
        heard.put(101.0, Quality.GOOD, 1.5)
        asked.put(102.0, Quality.GOOD, 1.6)
        written[all_sources] = [row[2] for row in rows(out.getvalue())[1:]]
    assert written == {False: ["100", "101"], True: ["100", "101", "102"]}


def test_nothing_is_written_before_something_was_understood() -> None:
    out = io.StringIO(newline="")
    LongTable(out, Store(SIGNALS))
    WideTable(out, Store(SIGNALS), ["p"], hz=1.0)
    assert out.getvalue() == ""


def test_the_wide_table_leaves_a_cell_empty_once_its_value_is_gone() -> None:
    store = Store(SIGNALS)
    p = store.slot("p", "broadcast", Rank.BROADCAST, period_s=0.1)
    out = io.StringIO(newline="")
    table = WideTable(out, store, ["p", "t"], hz=1.0)
    table.advance(10.2)
    p.put(100.0, Quality.GOOD, 10.9)
    table.advance(14.5)
    assert rows(out.getvalue()) == [
        ["seconds", "p [kPa]", "t"],
        ["11.000000", "100", ""],
        ["12.000000", "100", ""],
        ["13.000000", "", ""],
        ["14.000000", "", ""],
    ]


def test_a_clock_that_jumped_by_years_writes_no_row_for_each_moment_between() -> None:
    store = Store(SIGNALS)
    out = io.StringIO(newline="")
    table = WideTable(out, store, ["p"], hz=1000.0)
    table.advance(10.0)
    table.advance(1.7e9)
    table.advance(1.7e9 + 0.002)
    assert [row[0] for row in rows(out.getvalue())[1:]] == ["1700000000.001000", "1700000000.002000"]
