"""Traces in formats of other programs."""

from __future__ import annotations

import logging
from pathlib import Path

import can
import pytest

from underdash.bus.trace import TraceError, UnreadableTraceError, read_trace
from underdash.bus.trace_lacks import lacks

CSV = "timestamp,arbitration_id,extended,remote,error,dlc,data\n"


def test_lines_that_the_library_leaves_out_are_counted_and_not_on_the_terminal(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    with can.Logger(path := tmp_path / "a.trc") as out:
        for at in range(20):
            out.on_message_received(can.Message(timestamp=at, arbitration_id=0x123, data=[at], is_extended_id=False))
    path.write_bytes(path.read_bytes()[:-25])
    trace = read_trace(path)
    assert len(list(trace)) == 19
    assert [*lacks(trace)] == ["lines that could not be read and were left out: 1"]
    assert capfd.readouterr() == ("", "")
    assert logging.getLogger("can").propagate
    assert not caplog.records


@pytest.mark.parametrize(
    ("row", "why"),
    [("nan,0x123,0,0,0,1,AQ==", "nan is no time in seconds"), ("1.0,0xFFFFFFFF,1,0,0,1,AQ==", "FFFFFFFF is no id")],
)
def test_what_no_bus_carries_is_refused(tmp_path: Path, row: str, why: str) -> None:
    (path := tmp_path / "a.csv").write_text(f"{CSV}0.5,0x123,0,0,0,1,AQ==\n{row}\n")
    with pytest.raises(TraceError, match=f"cannot be read after frame 2: {why}; export it again"):
        list(read_trace(path))


def test_a_table_that_is_no_trace_is_told_what_one_has(tmp_path: Path) -> None:
    (path := tmp_path / "a.csv").write_text("t,v\n1,2\n")
    with pytest.raises(
        UnreadableTraceError,
        match=r"as a .csv of this kind: a trace as CSV has the columns timestamp, .*; export it again",
    ):
        list(read_trace(path))


def test_a_format_that_needs_another_package_is_no_mistake_of_who_named_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lacking(path: Path) -> None:
        raise NotImplementedError("A package was not found.")

    monkeypatch.setattr("can.LogReader", lacking)
    (path := tmp_path / "a.mf4").write_bytes(b"MDF     4.10    ")
    with pytest.raises(TraceError, match=r"A package was not found\. Or export it as lines") as caught:
        list(read_trace(path))
    assert caught.value.exit_status == 1


def test_text_in_another_encoding_is_named_as_such(tmp_path: Path) -> None:
    (path := tmp_path / "a.asc").write_text("date Mon Jan 1\n", encoding="utf-16")
    with pytest.raises(UnreadableTraceError, match=r"as a .asc of this kind: it is no text in UTF-8; export it again"):
        list(read_trace(path))
