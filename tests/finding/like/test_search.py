from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder, Coding, Select
from underdash.finding.found import Answer
from underdash.finding.heard import Heard
from underdash.finding.like.reference import Reference
from underdash.finding.like.search import like
from underdash.finding.reading import heard_from

from ..made_up import BEGIN, Put, clutter, drive, frames, heard

LITTLE = ByteOrder.LITTLE


def satellites(step_s: float = 0.5, *, noise: float = 0.2, seconds: float = 100.0, seed: int = 1) -> Reference:
    at = BEGIN + np.arange(1.0, seconds - 1.0, step_s)
    return Reference("speed", at, drive(at, seed) + noise * np.random.default_rng(3).standard_normal(len(at)), "km/h")


def found(answer: Answer) -> tuple[object, ...]:
    best = answer.best
    assert best is not None
    return str(best.where), best.figures["scale"], best.figures["offset"]


@pytest.mark.parametrize(
    ("one", "where"),
    [
        (Put(Bits(5, 16), 0.01), "bytes 5 to 6, big-endian"),
        (Put(Bits(2, 16, order=LITTLE), 1 / 128), "bytes 2 to 3, little-endian"),
        (Put(Bits(4), 1.0), "byte 4"),
        (Put(Bits(1, 12, 3), 0.05), "12 bits from byte 1 bit 3, big-endian"),
        (Put(Bits(0, 12, 4, LITTLE), 0.0625), "12 bits from byte 0 bit 4, little-endian"),
        (Put(Bits(3, 24), 0.001), "bytes 3 to 5, big-endian"),
    ],
)
def test_a_field_is_found_with_place_and_scale(one: Put, where: str) -> None:
    # another quantity, in the half bytes that some of these fields leave
    beside = [Put(Bits(byte, 4, bit), 8.0, seed=8) for byte, bit in ((1, 7), (0, 3)) if one.bits.byte == byte]
    answer = like(heard(frames(0xB4, [one, *beside]), clutter()), satellites())
    assert found(answer) == (f"drive 0B4 {where}", pytest.approx(one.scale), 0.0)
    assert answer.best is not None
    assert answer.best.confidence > 0.9
    assert abs(answer.best.figures["fit_scale"] / one.scale - 1) < 0.01
    assert abs(answer.best.figures["fit_offset"]) < 1.0


@pytest.mark.parametrize("late_s", [0.7, -1.8])
def test_the_lag_is_told(late_s: float) -> None:
    answer = like(heard(frames(0xB4, [Put(Bits(5, 16), 0.01, late_s=late_s)]), clutter()), satellites())
    assert answer.best is not None
    assert answer.best.figures["lag_s"] == pytest.approx(late_s, abs=0.05)
    assert f"it comes {abs(late_s):.2f} s {'after' if late_s > 0 else 'before'} the reference" in answer.best.because


def test_a_signed_number_that_crosses_0_is_told_as_one() -> None:
    trace = heard(frames(0xB4, [Put(Bits(2, 16), 0.1, offset=60.0)]), clutter())
    reference = satellites()
    answer = like(trace, replace(reference, value=reference.value - 60.0))
    assert answer.best is not None
    assert answer.best.where.coding is Coding.SIGNED
    assert found(answer) == ("drive 0B4 bytes 2 to 3, big-endian", pytest.approx(0.1), pytest.approx(0.0, abs=0.5))


def test_a_temperature_s_offset_is_a_maker_s() -> None:
    trace = heard(frames(0xB4, [Put(Bits(3), 1.0, offset=-40.0)]), clutter())
    answer = like(trace, replace(satellites(), name="oil", unit="degC"))
    assert found(answer) == ("drive 0B4 byte 3", 1.0, -40.0)


def test_a_field_under_a_multiplexer_is_told_with_its_condition() -> None:
    puts = [
        Put(Bits(2, 16), 0.01, select=1),
        Put(Bits(2, 16), 0.01, seed=5, select=2),
        Put(Bits(4), 1.0, seed=6, select=4),
    ]
    answer = like(heard(frames(0x7E8, puts), clutter()), satellites())
    assert answer.best is not None
    assert answer.best.where.select is not None
    assert answer.best.where.select.values == (1,)
    assert (answer.best.where.bits, answer.best.figures["scale"]) == (Bits(2, 16, 7), 0.01)
    assert isinstance(answer.best.where.select, Select)


def test_equal_fields_are_told_as_ties() -> None:
    puts = [Put(Bits(byte, 16), 0.01, noise=0.1) for byte in (0, 2, 4, 6)]
    answer = like(heard(frames(0xAA, puts), clutter()), satellites())
    assert answer.best is None
    assert {str(one.where) for one in answer.ranks[0]} == {
        f"drive 0AA bytes {byte} to {byte + 1}, big-endian" for byte in (0, 2, 4, 6)
    }
    assert sum(one.confidence for one in answer.ranks[0]) <= 1.0
    assert "4 fields follow speed equally well" in answer.remarks[0]


def test_of_equal_fields_the_one_that_comes_before_the_others_is_told() -> None:
    # a copy that is filtered on the way fits a little better
    copies = [frames(can_id, [Put(Bits(2, 16), 0.01, late_s=late)]) for can_id, late in ((0x10, 0.1), (0x12, 0.2))]
    trace = heard(frames(0x11, [Put(Bits(2, 16), 0.01, late_s=0.02, noise=0.08)]), *copies, clutter())
    (remark,) = like(trace, satellites()).remarks
    assert remark.endswith("or take drive 011 bytes 2 to 3, big-endian, which comes before the others")


@pytest.mark.parametrize(("late_s", "move"), [(3.0, "take some seconds from"), (-3.0, "add some seconds to")])
def test_a_clock_that_is_further_off_than_is_looked_is_told(late_s: float, move: str) -> None:
    reference = satellites()
    answer = like(heard(frames(0xB4, [Put(Bits(5, 16), 0.01)])), replace(reference, at=reference.at + late_s))
    assert any(f"its clock may be off by more; {move} its first column" in remark for remark in answer.remarks)


def test_high_bits_that_stand_still_are_counted_in_and_told() -> None:
    answer = like(heard(frames(0xB4, [Put(Bits(4, 16, order=LITTLE), 1.0)]), clutter()), satellites())
    assert answer.best is not None
    assert str(answer.best.where) == "drive 0B4 byte 4"
    assert answer.best.because[-1] == (
        "the highest bit was always 0 here, and so were the 24 above it; the field may be longer"
    )


def test_a_quantity_that_is_not_there_is_not_found() -> None:
    answer = like(heard(frames(0xB4, [Put(Bits(5, 16), 0.01, seed=9)]), clutter()), satellites())
    assert all(one.confidence < 0.5 for rank in answer.ranks for one in rank)


def test_the_frames_a_reference_was_read_from_are_not_searched() -> None:
    trace = heard(frames(0xB4, [Put(Bits(5, 16), 0.01)]), frames(0xB5, [Put(Bits(0), 1.0)]), clutter())
    answer = like(trace, replace(satellites(), sources=(("drive", 0xB4, False),)))
    assert found(answer) == ("drive 0B5 byte 0", 1.0, 0.0)


def test_ten_numbers_typed_by_hand_find_it_and_are_believed_less() -> None:
    trace = heard(frames(0xB4, [Put(Bits(5, 16), 0.01)]), clutter())
    chance = np.random.default_rng(4)
    at = np.sort(BEGIN + chance.uniform(2.0, 96.0, 12))
    typed = Reference("typed", at + chance.uniform(0.3, 0.9, 12), np.rint(drive(at)), "km/h")
    answer, sure = like(trace, typed), like(trace, satellites())
    assert answer.ranks[0][0].where.id == 0xB4
    assert answer.ranks[0][0].figures["scale"] == pytest.approx(0.01, rel=0.05)
    assert sure.best is not None
    assert answer.ranks[0][0].confidence < sure.best.confidence
    assert any("12 values are few" in text for text in answer.remarks)


@cache
def many_speeds() -> Heard:
    """Forty bytes, each with a speed of its own."""
    bodies = ([Put(Bits(byte, 8), 1.0, seed=9 * n + byte) for byte in range(8)] for n in range(5))
    return heard(*(frames(0x100 + n, body) for n, body in enumerate(bodies)))


@pytest.mark.parametrize("count", [5, 8, 12, 30])
def test_numbers_that_nothing_carries_are_told_to_fit_nothing(count: int) -> None:
    trace = many_speeds()
    beliefs = []
    for seed in range(3):
        chance = np.random.default_rng(seed)
        at = np.sort(BEGIN + chance.uniform(2.0, 96.0, count))
        answer = like(trace, Reference("typed", at, chance.uniform(0.0, 100.0, count).round(1)))
        beliefs.append(sum(one.confidence for rank in answer.ranks for one in rank))
        assert answer.ranks or answer.remarks[0].startswith(("nothing fits typed: ", "nothing follows typed: "))
    assert max(beliefs) < 0.5


def test_what_chance_brings_is_said_with_what_to_do() -> None:
    trace = many_speeds()
    chance = np.random.default_rng(0)
    at = np.sort(BEGIN + chance.uniform(2.0, 96.0, 5))
    (remark,) = like(trace, Reference("typed", at, chance.uniform(0.0, 100.0, 5).round(1))).remarks
    assert "of all that were tried so many would by chance; give more than 5 numbers, over a longer time" in remark


def test_nothing_is_listed_that_is_as_good_as_impossible() -> None:
    puts = [Put(Bits(0, 16), 0.01), Put(Bits(3, 8), 1.0, noise=8.0), Put(Bits(5, 8), 1.0, noise=15.0)]
    answer = like(heard(frames(0xB4, puts), clutter()), satellites())
    assert answer.ranks[0][0].where.bits.byte == 0
    assert 5 not in {one.where.bits.byte for rank in answer.ranks for one in rank}


def test_clocks_that_run_apart_are_told_with_their_drift() -> None:
    trace = heard(frames(0xB4, [Put(Bits(5, 16), 0.01)], seconds=300.0), clutter())
    reference = satellites(seconds=300.0, noise=0.05)
    middle = float(reference.at.mean())
    slow = replace(reference, at=reference.at - 0.3 - 4e-4 * (reference.at - middle))
    answer = like(trace, slow)
    assert answer.best is not None
    assert answer.best.figures["lag_s"] == pytest.approx(0.3, abs=0.03)
    assert answer.best.figures["drift"] == pytest.approx(4e-4, abs=1e-4)
    assert "clock runs" in " ".join(answer.best.because)


def test_a_drift_is_found_however_long_the_recording() -> None:
    trace = heard(frames(0xB4, [Put(Bits(5, 16), 0.01)], seconds=380.0))
    reference = satellites(seconds=380.0, noise=0.05)
    drifting = replace(reference, at=reference.at + 8e-4 * (reference.at - float(reference.at.mean())))
    answer = like(trace, drifting)
    assert answer.best is not None
    assert answer.best.figures["drift"] == pytest.approx(-8e-4, abs=5e-5)
    assert "ppm or more" not in " ".join((*answer.best.because, *answer.remarks))


@pytest.mark.parametrize("apart", [3.3e-3, -3.3e-3])
def test_clocks_that_run_apart_by_more_than_is_looked_for_are_told_so(apart: float) -> None:
    trace = heard(frames(0xB4, [Put(Bits(5, 16), 0.01)], seconds=300.0), clutter())
    reference = satellites(seconds=300.0, noise=0.05)
    answer = like(trace, replace(reference, at=reference.at - apart * (reference.at - float(reference.at.mean()))))
    best = answer.ranks[0][0]
    assert f"whose clock runs {'+' if apart > 0 else '-'}1000 ppm or more apart" in " ".join(best.because)
    assert "the clocks seem to run apart by 1000 ppm or more, and further is not looked" in " ".join(answer.remarks)


def test_readings_of_a_sensor_that_is_off_do_not_lead_astray() -> None:
    reference = satellites()
    value = reference.value.copy()
    value[[20, 90, 91, 150]] = 500.0
    answer = like(heard(frames(0xB4, [Put(Bits(5, 16), 0.01)]), clutter()), replace(reference, value=value))
    assert found(answer)[:2] == ("drive 0B4 bytes 5 to 6, big-endian", 0.01)


@pytest.mark.parametrize(
    ("reference", "sentence"),
    [
        (Reference("speed", BEGIN + np.arange(50.0), np.full(50, 30.0), "km/h"), "hardly changes (30 km/h throughout)"),
        (Reference("speed", np.arange(50.0), np.arange(50.0)), "0.0 to 49.0 s, does not overlap the trace's, 500.0 to"),
        (Reference("speed", BEGIN + np.arange(3.0), np.arange(3.0)), "only 2 of speed's values lie within the trace"),
        (Reference("speed", np.empty(0), np.empty(0)), "speed has no values"),
    ],
)
def test_a_reference_that_shows_nothing_is_refused_with_the_next_step(reference: Reference, sentence: str) -> None:
    answer = like(heard(frames(0xB4, [Put(Bits(5, 16), 0.01)])), reference)
    assert answer.ranks == ()
    assert sentence in answer.remarks[0]


def test_what_only_rises_is_told_as_little_evidence() -> None:
    at = BEGIN + np.arange(0.0, 100.0, 0.05)
    rising = [("drive", Frame(0xB4, int(row).to_bytes(2), at=when)) for row, when in enumerate(at.tolist())]
    reference = Reference("oil", at[::20], 20.0 + 0.3 * (at[::20] - BEGIN), "degC")
    answer = like(heard(rising, clutter()), reference)
    assert all(one.confidence < 0.5 for rank in answer.ranks for one in rank)
    assert any("turned round never" in text for text in answer.remarks)


@pytest.mark.parametrize(
    "trace",
    [
        heard_from([("drive", Frame(0xB4, b"\x01\x02", at=BEGIN + 5.0))]),
        heard_from([("drive", Frame(0xB4, b"", at=BEGIN + n)) for n in range(100)]),
        heard_from([("drive", Frame(0xB4, bytes(1 + n % 8), at=BEGIN + 50.0)) for n in range(100)]),
        heard_from([("drive", Frame(0xB4, b"\xff" * (n % 9), at=BEGIN + n // 3)) for n in range(300)]),
        heard_from([("drive", Frame(0, b"", error=True, at=BEGIN + n)) for n in range(100)]),
    ],
    ids=["one frame", "no data", "one time", "lengths that change", "error frames only"],
)
def test_poor_traces_find_nothing_and_break_nothing(trace: Heard) -> None:
    answer = like(trace, satellites())
    assert answer.ranks == ()
    assert answer.remarks


def test_a_gap_and_frames_with_the_same_stamp_do_no_harm() -> None:
    whole = frames(0xB4, [Put(Bits(5, 16), 0.01)])
    holed = [one for one in whole if not BEGIN + 40 < one[1].at < BEGIN + 50]
    twice = [one for pair in zip(holed, holed, strict=True) for one in pair]
    assert found(like(heard(twice, clutter()), satellites()))[:2] == ("drive 0B4 bytes 5 to 6, big-endian", 0.01)


def coarse(seed: int) -> tuple[list[tuple[str, Frame]], Reference]:
    """A byte of two numbers, and a quantity that is mostly at 50 or at 0, seen now and then."""
    chance = np.random.default_rng(seed)
    at = BEGIN + np.sort(chance.uniform(2, 98, 14))
    grid = BEGIN + np.arange(0, 100, 0.05)
    rows = [
        ("drive", Frame(0x120, bytes((3 + 3 * int(fast), 7)), at=float(when)))
        for when, fast in zip(grid, drive(grid) > 60, strict=True)
    ]
    return rows, Reference("speed", at, np.where(drive(at) > 60, 50.0, 0.0) + chance.uniform(-1, 1, len(at)), "km/h")


def test_a_field_of_few_numbers_is_not_believed_for_being_close() -> None:
    rows, reference = coarse(4)
    answer = like(heard(rows, clutter()), reference)
    assert all(one.confidence < 0.5 for rank in answer.ranks for one in rank)


def test_a_round_offset_is_told_where_numbers_were_typed() -> None:
    grid = BEGIN + np.arange(0, 100, 0.05)
    value = np.rint(drive(grid) / 0.5 + 400).astype(int).tolist()
    rows = [("drive", Frame(0x120, n.to_bytes(2), at=when)) for when, n in zip(grid.tolist(), value, strict=True)]
    at = BEGIN + np.sort(np.random.default_rng(8).uniform(15, 98, 25))
    answer = like(heard(rows, clutter()), Reference("boost", at + 0.3, np.rint(drive(at)), "kPa"))
    assert found(answer)[1:] == (0.5, -200.0)


@pytest.mark.parametrize(("scale", "offset"), [(1.0, -50.0), (2.0, 0.0), (0.75, -48.0)])
def test_bits_below_that_are_never_used_do_not_lend_a_scale(scale: float, offset: float) -> None:
    """A byte, and half a byte of nothing below it: it could be one number of 1/16 a bit."""
    at = BEGIN + np.sort(np.random.default_rng(8).uniform(2, 96, 12))
    typed = Reference("oil", at, np.rint(drive(at)), "degC")
    answer = like(heard(frames(0xB4, [Put(Bits(4, 8, 3), scale, offset)]), clutter()), typed)
    assert found(answer) == ("drive 0B4 12 bits from byte 4 bit 7, big-endian", scale, offset)
