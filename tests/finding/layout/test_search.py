from __future__ import annotations

import random

import pytest

from underdash.bus.frames import Frame
from underdash.contract.layout import Bits, ByteOrder, Coding
from underdash.finding.heard import Heard
from underdash.finding.layout.laid import Found, Layout
from underdash.finding.layout.search import layouts
from underdash.finding.reading import heard_from

FRAMES = 400


def walk(seed: int, step: float, middle: int, least: int, most: int) -> list[int]:
    dice, out = random.Random(seed), [middle]
    while len(out) < FRAMES:
        out.append(min(most, max(least, out[-1] + round(dice.gauss(0, step)))))
    return out


def car() -> Heard:
    """Two ids of one bus: speed, torque, a door, a counter and a checksum; and one that holds a lamp."""
    frames = []
    speed, torque = walk(1, 40, 6000, 0, 12000), walk(2, 6, 0, -40, 40)
    for n in range(FRAMES):
        door = 0x04 if 100 < n < 180 else 0
        data = speed[n].to_bytes(2, "big") + bytes([torque[n] & 0xFF, door, 0, n % 16])
        frames.append(("drive", Frame(0x2C1, data + bytes([sum(data) & 0xFF]), at=0.02 * n)))
        frames.append(("drive", Frame(0x3B0, bytes([0x80 if n > 300 else 0, 0x11]), at=0.02 * n + 0.004)))
        frames.append(("drive", Frame(0x3F0, b"\x01\x02", at=0.02 * n + 0.007)))
    return heard_from(frames)


@pytest.fixture(scope="module")
def found() -> dict[int, Layout]:
    return {one.stream.id: one for one in layouts(car())}


def kinds(one: Layout) -> dict[str, Found]:
    return {field.kind: field for field in one.fields}


def test_the_fields_of_a_frame_are_found_in_their_order(found: dict[int, Layout]) -> None:
    speed, torque, door, counter, checksum = found[0x2C1].fields
    assert speed.where.bits == Bits(0, 16)
    assert (speed.kind, speed.where.coding, speed.smooth) == ("number", Coding.UNSIGNED, True)
    assert (torque.where.bits, torque.where.coding) == (Bits(2), Coding.SIGNED)
    assert torque.lowest < 0 < torque.highest
    assert (door.kind, door.where.bits, door.changes) == ("flag", Bits(3, 1, 2), 2)
    assert (counter.where.bits, counter.about) == (Bits(5, 4, 3), "counts every frame, 0 to 15")
    assert (checksum.where.bits, checksum.about) == (Bits(6), "sum8 over all others, plus 00")


def test_the_rhythm_is_told_and_what_never_changes_has_no_fields(found: dict[int, Layout]) -> None:
    assert found[0x2C1].rhythm.manner == "periodic"
    assert found[0x2C1].rhythm.period_s == pytest.approx(0.02)
    assert (found[0x3F0].fields, found[0x3F0].remarks) == ((), ())


def test_nobody_is_told_to_be_surer_than_such_fields_turned_out(found: dict[int, Layout]) -> None:
    for one in found[0x2C1].fields + found[0x3B0].fields:
        assert one.confidence <= (0.9 if one.kind in ("counter", "checksum") else 0.85)


def test_json_names_every_field(found: dict[int, Layout]) -> None:
    plain = found[0x2C1].plain()
    assert (plain["id"], plain["manner"], plain["frames"]) == ("2C1", "periodic", FRAMES)
    assert isinstance(plain["fields"], list)
    assert [one["kind"] for one in plain["fields"]] == ["number", "number", "flag", "counter", "checksum"]


def test_an_order_that_only_the_bus_can_tell_follows_its_habit() -> None:
    numbers = [walk(seed, 40, 6000, 0, 12000) for seed in (1, 2, 3)]
    frames = [
        ("drive", Frame(0x100 + at, numbers[at][n].to_bytes(2, "little"), at=0.01 * n))
        for n in range(FRAMES)
        for at in range(3)
    ]
    assert {one.where.bits.order for made in layouts(heard_from(frames)) for one in made.fields} == {ByteOrder.LITTLE}


def test_each_content_behind_a_multiplexer_has_fields_of_its_own() -> None:
    one, two = walk(1, 2, 60, 0, 120), walk(2, 30, 3000, 0, 65535)
    frames = []
    for n in range(FRAMES):
        frames.append(("drive", Frame(0x7E8, bytes([3, 0x41, 0x0D, one[n], 0xFF, 0xAA]), at=0.1 * n)))
        frames.append(
            ("drive", Frame(0x7E8, bytes([4, 0x41, 0x0C, *two[n].to_bytes(2, "big"), 0x55]), at=0.1 * n + 0.05))
        )
    (made,) = layouts(heard_from(frames))
    assert made.multiplexer is not None
    assert made.fields[0].kind == "multiplexer"
    numbers = [field for field in made.fields if field.kind == "number"]
    assert [field.where.bits for field in numbers if field.where.select] == [Bits(3, 16), Bits(3)]


def test_frames_that_differ_in_length_are_read_by_the_commonest_and_that_is_said() -> None:
    frames = [("drive", Frame(0x100, bytes([1, n // 40]) if n % 5 else b"\x01", at=0.1 * n)) for n in range(100)]
    (made,) = layouts(heard_from(frames))
    assert made.remarks == ("its frames differ in length; what follows is from the 80 of 2 bytes",)
    assert [field.where.bits.byte for field in made.fields] == [1]


@pytest.mark.parametrize("frames", [[], [Frame(0x100, b"\x01", at=1.0)], [Frame(0x100, b"", at=n) for n in range(20)]])
def test_nothing_one_frame_and_empty_frames_give_no_fields(frames: list[Frame]) -> None:
    made = layouts(heard_from(("drive", frame) for frame in frames))
    assert [field for one in made for field in one.fields] == []
    assert all(one.remarks for one in made)


def test_stamps_that_repeat_leave_the_fields_alone() -> None:
    frames = [("drive", Frame(0x100, bytes([n // 50 % 2]), at=5.0)) for n in range(300)]
    (made,) = layouts(heard_from(frames))
    assert (made.rhythm.period_s, [field.kind for field in made.fields]) == (None, ["flag"])


def test_a_byte_order_that_the_frames_tell_is_not_doubted() -> None:
    number = walk(1, 3, 0x8000, 0x7F00, 0x80FF)
    frames = [("drive", Frame(0x100, value.to_bytes(2, "big"), at=0.1 * n)) for n, value in enumerate(number)]
    (made,) = layouts(heard_from(frames))
    assert (made.remarks, [one.where.bits for one in made.fields]) == ((), [Bits(0, 16)])


def test_a_field_of_few_values_is_a_choice_even_if_it_steps_like_a_number() -> None:
    steps = [0, 1, 2, 1, 0, 1, 2, 3, 2, 1] * 4
    frames = [("drive", Frame(0x100, bytes([steps[n // 9]]), at=0.1 * n)) for n in range(360)]
    (made,) = layouts(heard_from(frames))
    assert [(one.kind, one.values) for one in made.fields] == [("choice", 4)]


def test_a_field_that_takes_every_value_of_its_range_is_a_number() -> None:
    steps = [abs(n % 18 - 9) for n in range(60)]
    frames = [("drive", Frame(0x100, bytes([100 + steps[n // 6]]), at=0.1 * n)) for n in range(360)]
    (made,) = layouts(heard_from(frames))
    assert [(one.kind, one.lowest, one.highest) for one in made.fields] == [("number", 100, 109)]


def wheels(step: float) -> list[bytes]:
    """Four speeds of twelve bits, one behind the other, that are always alike."""
    return [sum(speed << 12 * at for at in range(4)).to_bytes(6, "little") for speed in walk(5, step, 900, 0, 2000)]


@pytest.mark.parametrize("step", [3, 10, 30])
def test_low_bits_of_a_number_that_is_there_four_times_are_no_multiplexer(step: float) -> None:
    (one,) = layouts(heard_from([("drive", Frame(0x1C4, data, at=0.02 * n)) for n, data in enumerate(wheels(step))]))
    assert one.multiplexer is None


def test_contents_that_take_turns_have_their_multiplexer() -> None:
    hot, far = walk(3, 1, 80, 40, 120), walk(4, 30, 9000, 0, 20000)
    rows = []
    for n in range(0, FRAMES, 2):
        rows += [bytes([0, hot[n], 0, 0, 0]), b"\1\0" + far[n].to_bytes(3, "big"), b"\2\x77\x12\x34\x56"]
    (one,) = layouts(heard_from([("drive", Frame(0x2B3, data, at=0.02 * n)) for n, data in enumerate(rows)]))
    assert one.multiplexer is not None
    assert one.multiplexer.byte == 0


def test_a_counter_across_the_bytes_of_the_other_order_is_told_once() -> None:
    speed, torque = walk(1, 40, 6000, 0, 12000), walk(2, 40, 6000, 0, 12000)
    numbers = [speed[n].to_bytes(2, "big") + torque[n].to_bytes(2, "big") for n in range(FRAMES)]
    rows = [data + (n % 512 << 7 | torque[n] >> 8).to_bytes(2, "little") for n, data in enumerate(numbers)]
    (one,) = layouts(heard_from([("drive", Frame(0x2C1, data, at=0.02 * n)) for n, data in enumerate(rows)]))
    assert [field.kind for field in one.fields].count("counter") == 1


@pytest.mark.parametrize("seed", range(4))
def test_a_byte_of_noise_is_one_field_and_several_are_not_believed_in(seed: int) -> None:
    dice = random.Random(seed)
    for length, believed in ((1, True), (2, False), (3, False)):
        rows = [
            bytes([speed >> 8, speed & 0xFF, 0x11, *dice.randbytes(length)]) for speed in walk(1, 40, 6000, 0, 12000)
        ]
        (made,) = layouts(heard_from([("drive", Frame(0x2C1, row, at=0.02 * n)) for n, row in enumerate(rows)]))
        (noise,) = [one for one in made.fields if one.where.bits.byte >= 2]
        assert (noise.kind, noise.where.bits.length, noise.where.coding) == ("noise", 8 * length, Coding.UNSIGNED)
        assert (noise.confidence > 0.5) == believed
        assert "any value alike" in noise.about
