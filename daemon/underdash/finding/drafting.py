"""A description that begins with a recording: its buses, frames to recognise the car by, and a list of what it says."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from ..contract.cars import BusDescription, CarDescription, ExpectedFrame
from .describing import period_of
from .found import bits_text
from .heard import Heard, Stream
from .layout.protection import protection_of
from .reading import Progress
from .requests.search import find_requests
from .requests.senders import Sender, answers_by_standard, asks_by_standard

FRAMES_A_BUS = 3
SHARE = 0.05
"""How much later than the recording a frame may begin, and earlier end, to be always there (our choice)."""
LEAST_FRAMES = 20


def draft(
    heard: Heard, name: str, title: str, bitrates: Mapping[str, int], progress: Progress | None = None
) -> tuple[CarDescription, list[str]]:
    """Return a description, and what there is to say of each frame, as lines.

    Args:
        heard: a recording of the car awake.
        name, title: of the car.
        bitrates: bit/s by role of the bus; buses without one are left out.
        progress: told how far the search for a tester is, 0 to 1.
    """
    buses = tuple(BusDescription(role, rate) for role, rate in bitrates.items())
    asked = find_requests(heard, progress=progress).places | {
        place for stream in heard if _by_standard(Sender(*(place := _place(stream))))
    }
    fingerprint = [frame for role in bitrates for frame in _always_there(heard, role, asked)]
    lines = [f"What {heard.trace or 'the recording'} says, frame by frame:"]
    lines += [
        _line(stream) + (", a tester's or a unit's answer to it" if _place(stream) in asked else "")
        for stream in heard
        if stream.bus in bitrates
    ]
    origin = f"begun with {heard.trace}" if heard.trace else ""
    return CarDescription(name, title, buses, fingerprint=tuple(fingerprint), origin=origin), lines


Place = tuple[str, int, bool]
"""Bus, id, and whether it has 29 bits."""


def _place(stream: Stream) -> Place:
    return stream.bus, stream.id, stream.extended


def _by_standard(sender: Sender) -> bool:
    """Say whether an id is for testers and what answers them: another car, or this one without a tester, has it not."""
    return asks_by_standard(sender) or answers_by_standard(sender)


def _always_there(heard: Heard, role: str, left_out: Collection[Place]) -> list[ExpectedFrame]:
    """Frames by which the car is recognised: by the clock, of one length, from the beginning to the end."""
    margin = SHARE * (heard.end - heard.begin)
    found = []
    for stream in heard:
        period = period_of(stream)
        steady = stream.length.min() == stream.length.max() and len(stream) >= LEAST_FRAMES
        whole = stream.at[0] - heard.begin <= margin and heard.end - stream.at[-1] <= margin
        if stream.bus == role and period is not None and steady and whole and _place(stream) not in left_out:
            found.append((period, stream))
    found.sort(key=lambda pair: (pair[0], pair[1].id))
    # the quick ones are recognised soonest; different periods, since other cars share many
    first = dict(reversed(found))
    others = [pair for pair in found if first[pair[0]] is not pair[1]]
    kept = [*sorted(first.items()), *others][:FRAMES_A_BUS]
    return [ExpectedFrame(role, one.id, one.extended, int(one.length[0]), period) for period, one in kept]


def _line(stream: Stream) -> str:
    period = period_of(stream)
    often = f"every {period * 1000:g} ms" if period is not None else f"{len(stream)} times, not by the clock"
    low, high = int(stream.length.min()), int(stream.length.max())
    parts = [f"{stream}: {often}", f"{low} bytes" if low == high else f"{low} to {high} bytes"]
    found = protection_of(stream)
    parts += [f"counts in {bits_text(one.bits)}" for one in found.counts]
    if found.checksum is not None:
        parts.append(f"{found.checksum.kind} in byte {found.checksum.byte}")
    moving = int((stream.active & ~found.bits(stream)).sum())
    parts.append(f"{moving} other bits moved" if moving else "nothing else moved")
    return ", ".join(parts)
