"""A description held against recordings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter
from underdash.config.findings import Level
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, BroadcastListener, Checksum, Field
from underdash.loading import Loaded
from underdash.wiring.against import Journey, findings, held_against
from underdash.wiring.assembly import assemble
from underdash.wiring.listening import TracePlayer

MENU = BroadcastListener("comfort", 0x2C1, (Field("button.menu", Bits(0, 1, 0)),), period_s=0.1)
OIL = BroadcastListener("comfort", 0x310, (Field("engine.oil_temperature", Bits(0), scale=2.0, offset=-170.0),))
SUMMED = BroadcastListener("comfort", 0x320, (Field("vehicle.speed", Bits(0)),), checksum=Checksum("sum8", 1, final=0))
CAR = CarDescription("c", "C", (BusDescription("comfort", 125_000),), broadcasts=(MENU, OIL, SUMMED))


def journey(
    folder: Path, frames: Sequence[tuple[float, int, bytes]], marks: Sequence[tuple[float, str]] = ()
) -> Journey:
    path = folder / "drive.log"
    path.unlink(missing_ok=True)
    with TraceWriter(path) as out:
        for at, can_id, data in frames:
            out.write("comfort", Frame(can_id, data, at=at))
        for at, word in marks:
            out.mark(word, at)
    assembly = assemble(CAR, Loaded())
    return held_against(assembly, TracePlayer(assembly, path, {}), path)


def button(*presses: tuple[float, float]) -> list[tuple[float, int, bytes]]:
    times = [0.1 * n for n in range(1000)]
    return [(at, 0x2C1, bytes([any(a <= at <= b for a, b in presses)])) for at in times]


def told(one: Journey, *, untouched: bool = False) -> list[tuple[Level, str]]:
    found = findings([one], untouched=untouched)
    return [(each.level, each.sentence) for each in found if each.level is not Level.NOTE]


def test_presses_that_were_marked_are_right(tmp_path: Path) -> None:
    one = journey(tmp_path, button((10.0, 10.3), (50.0, 51.0)), [(10.5, "menu"), (50.7, "menu"), (20.0, "ok")])
    (record,) = (each for each in one.records if each.signal == "button.menu")
    assert [round(press.since, 2) for press in record.presses] == [10.0, 50.0]
    assert [round(press.until, 2) for press in record.presses] == [10.4, 51.1]
    assert told(one) == []


def test_presses_that_nobody_marked_are_false_and_marks_without_any_are_told(tmp_path: Path) -> None:
    one = journey(tmp_path, button((10.0, 10.3), (30.0, 30.2)), [(10.2, "menu"), (70.0, "menu")])
    assert told(one) == [
        (Level.ERROR, "drive.log: button.menu: 1 false press (at 30.0 s)"),
        (Level.WARNING, "drive.log: button.menu: 1 mark (at 70.0 s) without a press"),
    ]


def test_without_marks_presses_are_false_only_where_nobody_touched_anything(tmp_path: Path) -> None:
    one = journey(tmp_path, button((10.0, 10.3)))
    assert told(one) == []
    assert told(one, untouched=True) == [(Level.ERROR, "drive.log: button.menu: 1 false press (at 10.0 s)")]


def test_a_button_that_answers_to_none_of_its_marks_is_wrong(tmp_path: Path) -> None:
    one = journey(tmp_path, button(), [(10.2, "menu"), (20.0, "menu"), (70.0, "menu")])
    assert told(one) == [
        (Level.ERROR, "drive.log: button.menu: not one press at 3 marks (at 10.2, 20.0, 70.0 s)"),
    ]


def test_presses_that_no_finger_does_are_odd_and_one_at_the_end_is_not(tmp_path: Path) -> None:
    long = journey(tmp_path, button((5.0, 80.0), (99.0, 101.0)))
    assert told(long) == [
        (Level.WARNING, "drive.log: button.menu: 1 press (at 5.0 s) shorter than 0.03 s or longer than 60 s")
    ]


@pytest.mark.parametrize(("wrong", "level"), [(1, Level.WARNING), (50, Level.ERROR)])
def test_values_that_cannot_be_are_counted(tmp_path: Path, wrong: int, level: Level) -> None:
    frames = [(0.1 * n, 0x310, bytes([255 if n < wrong else 130])) for n in range(500)]
    one = journey(tmp_path, frames)
    sentence = f"drive.log: engine.oil_temperature was outside its plausible range {wrong} of 500 times"
    assert told(one) == [(level, sentence)]
    (record,) = (each for each in one.records if each.signal == "engine.oil_temperature")
    assert (record.low, record.high, record.count) == (90.0, 90.0, 500 - wrong)


def test_frames_with_a_wrong_sum_are_told_and_signals_that_never_came(tmp_path: Path) -> None:
    one = journey(tmp_path, [(0.1 * n, 0x320, bytes([n, n if n else 9])) for n in range(50)])
    assert told(one) == [(Level.WARNING, "drive.log: frames comfort 320 were dropped: 1 with a wrong checksum")]
    notes = [each.sentence for each in findings([one]) if each.level is Level.NOTE]
    assert notes == ["button.menu was never heard", "engine.oil_temperature was never heard"]
