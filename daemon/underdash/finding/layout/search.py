"""What a frame holds, worked out from a recording alone: for each id its rhythm, fields, counters and checksums."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...contract.layout import Bits, Coding, Select
from ..found import Where
from ..heard import Flags, Heard, Integers, Stream
from ..numbering import Numbering
from .boundaries import Cut, Part, cuts
from .checksums import takes_in
from .laid import Found, Layout
from .multiplex import Multiplexer, multiplexer_of, without_toggles
from .protection import Protection, protection_of
from .rhythm import rhythm
from .steps import MOST_STEPS

FEWEST_FRAMES = 8
"""Frames of one id below which nothing is said about its fields."""
SURE_OF_ORDER = 3.0
"""Bits by which one byte order must tell a whole bus more shortly to count as its habit, and what the habit weighs."""
FROM_ONE_ID = 10.0
"""Bits that one id adds to the habit at most."""
BELIEVED, CHECKED = 0.85, 0.9
"""What is left of a field's own confidence, squared: on the two recordings the method was chosen on, 85 of 100 fields
that seemed certain were right, and far fewer of those in doubt than it said; of counters and checksums, nine of ten."""
UNDIVIDED = 0.5
"""What is left of it where noise fills several bytes: nothing in it tells whether they are one field."""
ALIKE = "takes any value alike, as a checksum does by a rule that is not among those known here"
FEW_VALUES, DENSE = 4, 0.6
"""Different values up to which a field is called a choice; and with more, the share of its range from which on it is a
number."""
SMOOTH = 0.05
"""A number is smooth if nine of ten steps are at most this share of its range."""


@dataclass(frozen=True, slots=True)
class _Read:
    """One id, or one content of it, with its two cuts."""

    stream: Stream
    protection: Protection
    both: tuple[Cut, Cut]
    select: Select | None = None


def layouts(heard: Heard) -> tuple[Layout, ...]:
    """Work out the layout of every id."""
    kept = {id(stream): _usual(stream) for stream in heard}
    reads = {key: _read(stream) for key, stream in kept.items()}
    habits = _habits(heard, reads)
    return tuple(_layout(stream, kept[id(stream)], *reads[id(stream)], habits) for stream in heard)


def _usual(stream: Stream) -> Stream:
    """Only the frames of the commonest length, so that what others lack is no change."""
    length = int(np.bincount(stream.length).argmax())
    rows = stream.length == length
    return stream if rows.all() else _only(stream, rows, length)


def _only(stream: Stream, rows: Flags, width: int) -> Stream:
    return replace(
        stream, at=stream.at[rows], length=stream.length[rows], data=np.ascontiguousarray(stream.data[rows, :width])
    )


def _read(stream: Stream) -> tuple[Multiplexer | None, Sequence[_Read]]:
    """Cut an id, or each content of it by itself where there is a multiplexer."""
    if len(stream) < FEWEST_FRAMES or not 0 < stream.width <= Numbering.MOST_BYTES:
        return None, ()
    protection = protection_of(stream)
    found = multiplexer_of(stream, protection)
    if found is None or not _shorter(stream, protection, found):
        return None, (_Read(stream, protection, cuts(stream, protection)),)
    protection, value = without_toggles(protection), stream.raw(found.bits)
    each = [(one, _only(stream, value == one, stream.width)) for one in found.values]
    return found, [_Read(part, protection, cuts(part, protection), Select(found.bits, (one,))) for one, part in each]


def _shorter(stream: Stream, protection: Protection, found: Multiplexer) -> bool:
    """Whether each content by itself, and which of them comes when, is told in fewer bits than all frames as one.

    The low bits of a number that is there twice, as of four wheels on a straight road, are no multiplexer.
    """
    some = _only(stream, np.arange(len(stream)) < MOST_STEPS, stream.width)
    whole = min(cut.cost for cut in cuts(some, protection))
    protection, value = without_toggles(protection), some.raw(found.bits)
    parts = (_only(some, value == one, some.width) for one in np.unique(value))
    apart = sum(min(cut.cost for cut in cuts(part, protection)) for part in parts)
    return apart + _bits_of_order(value) < whole


def _bits_of_order(value: Integers) -> float:
    """How many bits tell which value follows which."""
    (before, _), times = np.unique(np.stack((value[:-1], value[1:])), axis=1, return_counts=True)
    _, place = np.unique(before, return_inverse=True)
    return float(-(times * np.log2(times / np.bincount(place, times)[place])).sum())


def _habits(heard: Heard, reads: Mapping[int, tuple[Multiplexer | None, Sequence[_Read]]]) -> dict[str, float]:
    """How many bits speak for little-endian on each bus, all ids together, cut to what a habit may weigh."""
    total: dict[str, float] = {}
    for stream in heard:
        for read in reads[id(stream)][1]:
            little, big = read.both
            gain = min(FROM_ONE_ID, max(-FROM_ONE_ID, big.cost - little.cost))
            total[stream.bus] = total.get(stream.bus, 0.0) + gain
    return {bus: min(SURE_OF_ORDER, max(-SURE_OF_ORDER, gain)) for bus, gain in total.items()}


def _layout(
    stream: Stream, kept: Stream, multiplexer: Multiplexer | None, reads: Sequence[_Read], habits: Mapping[str, float]
) -> Layout:
    own = reads[0].protection.bits(kept) if reads else None
    made = rhythm(stream, own if kept is stream else None)
    remarks = []
    if len(made.lengths) > 1:
        remarks.append(f"its frames differ in length; what follows is from the {made.lengths[0][1]} of "
                       f"{made.lengths[0][0]} bytes")  # fmt: skip
    if not reads:
        remarks.append(f"too few frames to tell its fields; record until there are {FEWEST_FRAMES} at least")
    fields: list[Found] = []
    for number, read in enumerate(reads):
        little, big = read.both
        chosen = little if big.cost - little.cost + habits.get(stream.bus, 0.0) >= 0.0 else big
        found = [_field(part, chosen, read) for part in chosen.parts]
        # what belongs to all contents is told once
        fields += [one for one in found if number == 0 or one.kind not in ("counter", "checksum")]
    unsure = [read for read in reads if abs(read.both[0].cost - read.both[1].cost) < SURE_OF_ORDER]
    if unsure and any(_spans(one) for one in fields):
        remarks.append("its byte order is hardly to be told from these frames alone; record while its numbers move far")
    if multiplexer is not None:
        where = Where(stream.bus, stream.id, stream.extended, multiplexer.bits)
        fields.insert(0, _seen(Found(where, "multiplexer", BELIEVED), kept))
    # a counter that lies across the bytes of the other order is met once for each of its parts
    fields = sorted(dict.fromkeys(fields), key=lambda one: (_chosen_by(one), _place(one)))
    protection = reads[0].protection if reads else Protection()
    bits = multiplexer.bits if multiplexer else None
    return Layout(stream, made, tuple(fields), bits, tuple(remarks), protection)


def _spans(one: Found) -> bool:
    run = Numbering.run_of(one.where.bits, Numbering.MOST_BYTES)
    return run[0] // 8 != run[-1] // 8


def _chosen_by(one: Found) -> int:
    return one.where.select.values[0] if one.where.select is not None else -1


def _place(one: Found) -> tuple[int, int]:
    run = Numbering.run_of(one.where.bits, Numbering.MOST_BYTES)
    return min(bit // 8 for bit in run), -max(run)


def _field(part: Part, cut: Cut, read: _Read) -> Found:
    """Make a part of a cut a field: its bits, what it took, and what is to be said."""
    stream = read.stream
    bits, about = _protecting(part, cut, read) if _protects(part) else (cut.numbering.bits(*_grown(part, cut)), "")
    about = ALIKE if part.kind == "noise" else about
    coding = Coding.SIGNED if part.signed else Coding.UNSIGNED
    where = Where(stream.bus, stream.id, stream.extended, bits, coding, None if _protects(part) else read.select)
    share = CHECKED if _protects(part) else BELIEVED * part.confidence**2
    share *= UNDIVIDED if part.kind == "noise" and bits.length > 8 else 1.0
    return _seen(Found(where, part.kind, share, about=about), stream)


def _protects(part: Part) -> bool:
    return part.kind in ("counter", "checksum")


def _grown(part: Part, cut: Cut) -> tuple[int, int]:
    """Take bits that never change to a number, up to the end of its byte and down to the start, where nobody else is.

    A number rarely uses its highest bits, and its lowest not always; flags are left as they are.
    """
    if part.kind != "number" and not (part.kind == "choice" and part.length > 2):
        return part.low, part.length
    taken = {at for one in cut.parts if one is not part for at in range(one.low, one.low + one.length)}
    low, high = part.low, part.low + part.length
    down = range(low - 1, low // 8 * 8 - 1, -1)
    up = range(high, -(-high // 8) * 8)
    if not taken & set(up):
        high = -(-high // 8) * 8
    if not taken & set(down):
        low = low // 8 * 8
    return low, high - low


def _protecting(part: Part, cut: Cut, read: _Read) -> tuple[Bits, str]:
    """Return the whole place of a counter or checksum, and how it counts or by which rule it is made."""
    run, width = set(cut.numbering.run(part.low, part.length)), read.stream.width
    for one in read.protection.counts:
        if part.kind == "counter" and run & set(Numbering.run_of(one.bits, width)):
            return one.bits, str(one)
    checksum = read.protection.checksum
    if checksum is None:
        bits = read.protection.unexplained or cut.numbering.bits(part.low, part.length)
        return bits, "moves like one, by a rule that is not among those known here"
    taken = takes_in(checksum, read.stream)
    text = f"{checksum}" + (f" ({taken})" if taken else "")
    return checksum.bits, text + (f"; {', '.join(checksum.rivals[:3])} would fit as well" if checksum.rivals else "")


def _seen(one: Found, stream: Stream) -> Found:
    """Add what the field took over the recording."""
    signed = one.where.coding is Coding.SIGNED
    bits = one.where.bits
    raw = stream.raw(bits, signed=signed or bits.length >= 64)
    step = np.abs(np.diff(raw))
    moved = step[step != 0]
    lowest, highest = int(raw.min()), int(raw.max())
    values = len(np.unique(raw))
    calm = len(moved) > 0 and float(np.quantile(moved, 0.9)) <= SMOOTH * (highest - lowest)
    kind = one.kind
    if kind in ("choice", "number"):
        stepping = values > FEW_VALUES and (bits.length > 8 or values >= DENSE * (highest - lowest + 1))
        kind = "choice" if values <= FEW_VALUES else "number" if stepping else kind
    smooth = kind == "number" and calm
    return replace(one, kind=kind, lowest=lowest, highest=highest, values=values, changes=len(moved), smooth=smooth)
