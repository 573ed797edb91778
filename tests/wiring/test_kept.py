"""The state file: whatever became of it, a start goes on as if nothing had been seen."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from underdash.contract.cars import BusDescription, CarDescription, IgnitionEvidence
from underdash.contract.layout import Bits, BroadcastListener, Field
from underdash.contract.requests import ControlUnit
from underdash.power.ignition import Seen
from underdash.wiring.kept import Kept, Learned, car_mark, units_mark

CAR = CarDescription(
    "small",
    "Small",
    (BusDescription("drive", 500_000),),
    ignition=(IgnitionEvidence("vehicle.ignition", on=("ON",), off=("OFF",)),),
)
SEEN = {"vehicle.ignition": Seen(on=True, off=True)}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "state.json"


def test_what_was_seen_is_there_on_the_next_journey(path: Path) -> None:
    Kept(path).keep(CAR, SEEN)
    assert Kept(path).seen(CAR) == SEEN
    assert [file.name for file in path.parent.iterdir()] == ["state.json"]


def test_nothing_is_kept_without_a_file(tmp_path: Path) -> None:
    kept = Kept(None)
    kept.keep(CAR, SEEN)
    assert kept.seen(CAR) == {}
    assert not list(tmp_path.iterdir())


def test_another_ignition_field_has_to_be_seen_anew(path: Path) -> None:
    Kept(path).keep(CAR, SEEN)
    others = (
        replace(CAR, name="other"),
        replace(CAR, buses=(BusDescription("drive", 250_000),)),
        replace(CAR, ignition=(IgnitionEvidence("vehicle.ignition", on=("ON", "ACC"), off=("OFF",)),)),
    )
    for other in others:
        assert car_mark(other) != car_mark(CAR)
        assert Kept(path).seen(other) == {}


def test_the_same_signal_read_off_other_bits_has_to_be_seen_anew(path: Path) -> None:
    key = Field("vehicle.ignition", Bits(0), values=((0, "OFF"), (1, "ON")))
    speed = Field("vehicle.speed", Bits(1))
    car = replace(CAR, broadcasts=(BroadcastListener("drive", 0x123, (key, speed)),))
    Kept(path).keep(car, SEEN)
    moved = (
        BroadcastListener("drive", 0x124, (key, speed)),
        BroadcastListener("drive", 0x123, (replace(key, bits=Bits(2)), speed)),
        BroadcastListener("drive", 0x123, (replace(key, values=((1, "OFF"), (0, "ON"))), speed)),
    )
    for one in moved:
        assert Kept(path).seen(replace(car, broadcasts=(one,))) == {}
    # what else the frame carries, and what is noted beside it, is no evidence
    same = BroadcastListener("drive", 0x123, (key, replace(speed, bits=Bits(3))), period_s=0.1, note="found again")
    assert Kept(path).seen(replace(car, broadcasts=(same,))) == SEEN


def test_a_second_car_does_not_take_the_first_ones_place(path: Path) -> None:
    other = replace(CAR, name="other")
    Kept(path).keep(CAR, SEEN)
    Kept(path).keep(other, {"vehicle.ignition": Seen(on=True)})
    assert Kept(path).seen(CAR) == SEEN
    assert Kept(path).seen(other) == {"vehicle.ignition": Seen(on=True)}


def test_no_news_is_not_written(path: Path) -> None:
    kept = Kept(path)
    kept.keep(CAR, SEEN)
    before = path.stat().st_mtime_ns, path.stat().st_ino
    kept.keep(CAR, dict(SEEN))
    Kept(path).keep(CAR, SEEN)
    assert (path.stat().st_mtime_ns, path.stat().st_ino) == before


def test_a_file_cut_off_at_any_byte_means_nothing_was_seen(path: Path) -> None:
    Kept(path).keep(CAR, SEEN)
    whole = path.read_bytes()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        assert Kept(path).seen(CAR) in ({}, SEEN)
        assert length > len(whole) - 3 or Kept(path).seen(CAR) == {}


@pytest.mark.parametrize(
    "content",
    [
        b"\x00\xff\xfe",
        b"null",
        b"[]",
        b"3",
        b'"text"',
        b"{}",
        b'{"ignition_seen": 3}',
        b'{"ignition_seen": {"MARK": []}}',
        b'{"ignition_seen": {"MARK": {"vehicle.ignition": 7}}}',
        b'{"ignition_seen": {"MARK": {"vehicle.ignition": {"on": true}}}}',
        b'{"ignition_seen": {"MARK": {"vehicle.ignition": {"on": "no", "off": "no"}}}}',
        b"[" * 100_000,
        b'{"ignition_seen": {"MARK": NaN}}',
    ],
    ids=lambda content: str(content[:40]),
)
def test_nonsense_means_nothing_was_seen(path: Path, content: bytes) -> None:
    path.parent.mkdir()
    path.write_bytes(content.replace(b"MARK", car_mark(CAR).encode()))
    kept = Kept(path)
    assert Seen() == kept.seen(CAR).get("vehicle.ignition", Seen())
    kept.keep(CAR, SEEN)
    assert Kept(path).seen(CAR) == SEEN


def test_a_folder_in_its_place_or_a_file_in_its_way_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "state.json").mkdir()
    (tmp_path / "file").write_text("")
    for path in (tmp_path / "state.json", tmp_path / "file" / "state.json", Path("/proc/nosuch/state.json")):
        kept = Kept(path)
        kept.keep(CAR, SEEN)
        assert kept.seen(CAR) == SEEN  # this journey still knows
    assert not (tmp_path / "state.json.part").exists()


def test_a_failure_in_the_middle_leaves_the_old_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Kept(path).keep(CAR, SEEN)
    before = path.read_bytes()

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    Kept(path).keep(CAR, {"vehicle.ignition": Seen(on=True)})
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == ["state.json"]
    assert json.loads(before)["format"] == 1


def test_quiet_is_kept_until_it_is_released(path: Path) -> None:
    assert Kept(path).keep(CAR, SEEN, quiet=True)
    assert Kept(path).quiet
    assert Kept(path).seen(CAR) == SEEN
    assert Kept(path).keep(CAR, SEEN, quiet=False)
    assert not Kept(path).quiet


def test_quiet_that_could_not_be_kept_is_told_and_tried_again(path: Path) -> None:
    path.parent.mkdir(parents=True)
    path.mkdir()
    kept = Kept(path)
    assert not kept.keep(CAR, SEEN, quiet=True)
    path.rmdir()
    assert kept.keep(CAR, SEEN, quiet=True)
    assert Kept(path).quiet


UNITS = replace(
    CAR, units=(ControlUnit("engine", "drive", 0x7E0, 0x7E8), ControlUnit("gearbox", "drive", 0x7E1, 0x7E9))
)
LEARNED: Learned = {"engine service_01": {"most": 3, "alone": [12], "sizes": {"C": 2}}}


def test_what_units_take_in_a_request_is_there_on_the_next_journey(path: Path) -> None:
    Kept(path).keep(UNITS, SEEN, learned=LEARNED)
    assert Kept(path).learned(UNITS) == LEARNED
    assert Kept(path).keep(UNITS, SEEN)  # nobody says anything about it: it stays
    assert Kept(path).learned(UNITS) == LEARNED


def test_other_units_have_to_show_anew_what_they_take(path: Path) -> None:
    Kept(path).keep(UNITS, SEEN, learned=LEARNED)
    engine, gearbox = UNITS.units
    others = (
        replace(UNITS, name="other"),
        replace(UNITS, units=(replace(engine, request_id=0x7E2, response_id=0x7EA), gearbox)),
        replace(UNITS, units=(engine,)),
    )
    for other in others:
        assert Kept(path).learned(other) == {}
    assert Kept(path).learned(replace(UNITS, units=(gearbox, engine))) == LEARNED  # their order means nothing
    assert Kept(path).learned(replace(UNITS, ignition=())) == LEARNED


def test_what_was_learned_is_news(path: Path) -> None:
    kept = Kept(path)
    kept.keep(UNITS, SEEN)
    before = path.stat().st_ino
    kept.keep(UNITS, SEEN, learned={})
    assert path.stat().st_ino == before
    kept.keep(UNITS, SEEN, learned=LEARNED)
    assert Kept(path).learned(UNITS) == LEARNED


def test_a_file_cut_off_at_any_byte_means_nothing_was_learned(path: Path) -> None:
    Kept(path).keep(UNITS, SEEN, learned=LEARNED)
    whole = path.read_bytes()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        assert Kept(path).learned(UNITS) in ({}, LEARNED)
        assert length > len(whole) - 3 or Kept(path).learned(UNITS) == {}


@pytest.mark.parametrize(
    "foreign",
    [
        "3",
        "[]",
        "null",
        '"text"',
        '{"MARK": 3}',
        '{"MARK": []}',
        '{"MARK": {"engine service_01": 7}}',
        '{"MARK": null}',
    ],
)
def test_a_foreign_shape_means_nothing_was_learned_and_costs_nothing_else(path: Path, foreign: str) -> None:
    Kept(path).keep(UNITS, SEEN)
    table = json.loads(path.read_text())
    table["learned"] = json.loads(foreign.replace("MARK", units_mark(UNITS)))
    path.write_text(json.dumps(table))
    assert Kept(path).learned(UNITS) == {}
    assert Kept(path).seen(UNITS) == SEEN


def test_a_file_from_before_it_was_kept_is_read(path: Path) -> None:
    Kept(path).keep(UNITS, SEEN)
    table = json.loads(path.read_text())
    del table["learned"]
    path.write_text(json.dumps(table))
    assert Kept(path).seen(UNITS) == SEEN
    assert Kept(path).learned(UNITS) == {}
