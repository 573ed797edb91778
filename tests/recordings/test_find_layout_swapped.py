"""What the fields of one real car took, put into the frames of another, for which nobody chose a constant.

Each id of the layouts is sent when some id of the values is, and each field of it takes what a field of the same length
took (of the next shorter one, where there is none), that is signed or unsigned as it is and was sent about as often.
Counters and checksums are left out. The values of the hatchback are mostly little-endian and from being switched on and
off, those of the suv big-endian and from a drive. A border is right or wrong as in `test_find_layout`, bits that never
change passed over. That flags are seldom busy, and how finely steps are told, was chosen on the same values in frames
of twelve other makers, whose descriptions are public.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest

from underdash.finding.heard import Bytes, Floats, Heard, Stream
from underdash.finding.layout.search import layouts

from .test_find_layout import RECORDINGS, Known, Truth, answer_of, by_flips, heard, scored_by, truth

pytestmark = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason=f"the recordings are not beside the project ({RECORDINGS})"
)
Field = tuple[Stream, Known]
FEWEST_FRAMES, TIMES = 60, 3


def fields(trace: str) -> list[Field]:
    by_id = {(one.bus, one.id): one for one in heard(trace)}
    return [
        (by_id[key], known)
        for key, every in truth(trace).items()
        for known in every
        if known.kind not in ("counter", "checksum") and max(known.run) < 8 * by_id[key].width
    ]


def taken_by(known: Known, at: Floats, values: Sequence[Field], dice: random.Random) -> Bytes:
    """What a field of these values took at these times, one bit a column; no field is taken that is sent too seldom."""
    often = [one for one in values if 0.25 <= len(one[0]) / len(at) <= 4]
    for length in range(len(known.run), 0, -1):
        alike = [one for one in often if len(one[1].run) == length and one[1].signed == known.signed]
        if alike:
            stream, field = dice.choice(alike)
            rows = np.maximum(np.searchsorted(stream.at, at, side="right") - 1, 0)
            bits = stream.bits[rows][:, list(field.run)]
            above = bits[:, -1:] if known.signed else np.zeros((len(at), 1), dtype=np.uint8)
            return np.concatenate((bits, np.repeat(above, len(known.run) - length, axis=1)), axis=1)
    return np.zeros((len(at), len(known.run)), dtype=np.uint8)


def swapped(values: str, frames: str, seed: int) -> tuple[list[Stream], Truth]:
    dice, every = random.Random(seed), fields(values)
    sent = [one for one in heard(values) if len(one) >= FEWEST_FRAMES]
    streams: list[Stream] = []
    made: dict[tuple[str, int], tuple[Known, ...]] = {}
    for number, (stream, layout) in enumerate((one, truth(frames).get((one.bus, one.id), ())) for one in heard(frames)):
        kept = [one for one in layout if one.kind not in ("counter", "checksum") and max(one.run) < 8 * stream.width]
        at = dice.choice(sent).at
        bits = np.zeros((len(at), 8 * stream.width), dtype=np.uint8)
        for known in kept:
            bits[:, list(known.run)] = taken_by(known, at, every, dice)
        data = np.packbits(bits, axis=1, bitorder="little")
        streams.append(Stream(stream.bus, number, False, at, np.full(len(at), stream.width, dtype=np.uint8), data))
        made[stream.bus, number] = tuple(kept)
    return streams, made


@pytest.mark.parametrize(
    ("values", "frames", "big", "borders", "exact"),
    [
        ("hatch_a_power_cycle", "suv_highway", True, 0.84, 0.85),
        ("suv_highway", "hatch_a_power_cycle", False, 0.85, 0.79),
    ],
)
def test_values_of_one_car_in_the_frames_of_another(
    values: str, frames: str, big: bool, borders: float, exact: float
) -> None:
    streams: list[Stream] = []
    known: dict[tuple[str, int], tuple[Known, ...]] = {}
    for seed in range(TIMES):
        for stream in (made := swapped(values, frames, seed))[0]:
            known[f"{stream.bus} {seed}", stream.id] = made[1][stream.bus, stream.id]
            streams.append(Stream(f"{stream.bus} {seed}", stream.id, False, stream.at, stream.length, stream.data))
    ours = scored_by(streams, known, answer_of(layouts(Heard(tuple(streams)))), strict=False)
    plain = scored_by(streams, known, lambda stream: by_flips(stream, big=big), strict=False)
    print(
        f"\nlayout, values of {values} in frames of {frames}: F1 {ours.f1:.3f} (by flips {plain.f1:.3f}), "
        f"{ours.right} right, {ours.wrong} wrong, {ours.missed} missed; exact {ours.exact} of {ours.fields} "
        f"({plain.exact}), order {ours.order} of {ours.ordered}, sign {ours.sign} of {ours.numbers}"
    )
    assert ours.f1 >= borders
    assert ours.exact >= exact * ours.fields
    assert ours.order >= 0.95 * ours.ordered
