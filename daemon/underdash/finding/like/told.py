"""What `find like` says: sentences about fields and about what another recording should do."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from ..found import Candidate
from .close import Close
from .fitting import MOST_DRIFT, MOST_LAG_S
from .reference import SPARSE, Reference

NEAR_S = 0.1
"""So near to the largest lag that is tried, a lag is rather none."""

FEW_TURNS = 2
"""A quantity that turned round less often than this may be told from a mere trend by luck only."""


def candidate(one: Close, reference: Reference, confidence: float, best: Close, tied: bool) -> Candidate:
    """Tell one field."""
    line, said = one.line, one.spelling
    # the line is surest in the middle of the numbers, and less so at 0, where the offset is read
    offset_error = hypot(line.middle_error, line.scale_error * line.mean)
    figures = {
        "scale": said.scale,
        "scale_error": line.scale_error,
        "offset": said.offset,
        "offset_error": offset_error,
        "fit_scale": line.scale,
        "fit_offset": line.middle - line.scale * line.mean,
        "lag_s": round(one.timing.lag_s, 4),
        "drift": one.timing.drift,
        "r2": round(1.0 - line.left, 6),
        "rms": line.spread,
    }
    return Candidate(one.where, confidence, one.weight, tuple(_because(one, reference, offset_error)), {}, figures)


def _because(one: Close, reference: Reference, offset_error: float) -> list[str]:
    line, said = one.line, one.spelling
    unit = f" {reference.unit}" if reference.unit else ""
    text = [
        f"{reference.name} = raw * {said.scale:.6g} {'-' if said.offset < 0 else '+'} {abs(said.offset):.6g}{unit}"
        f" (fitted: {line.scale:.6g} ± {line.scale_error:.2g}, {line.middle - line.scale * line.mean:+.4g} ± "
        f"{offset_error:.2g})",
        f"R2 {1 - line.left:.5f} over {len(line.kept)} values, {line.spread:.3g}{unit} apart (rms)"
        + (f"; {(~line.kept).sum()} values far off were left out" if not line.kept.all() else ""),
        f"it comes {abs(one.timing.lag_s):.2f} s {'after' if one.timing.lag_s >= 0 else 'before'} the reference"
        + (f", whose clock runs {1e6 * one.timing.drift:+.0f} ppm{_or_more(one)} apart" if one.timing.drift else ""),
    ]
    if one.zeros or one.beyond:
        text.append(_always_zero(one))
    return text


def _or_more(one: Close) -> str:
    return " or more" if one.timing.drift_at_its_end else ""


def _always_zero(one: Close) -> str:
    highest = ("the highest bit was" if one.zeros == 1 else f"the {one.zeros} highest bits were") if one.zeros else ""
    above = f"the {one.beyond} above it" if one.beyond > 1 else "the one above it"
    if not one.beyond:
        return f"{highest} always 0 here"
    if not one.zeros:
        return f"{above} {'were' if one.beyond > 1 else 'was'} always 0; the field may be longer"
    return f"{highest} always 0 here, and so {'were' if one.beyond > 1 else 'was'} {above}; the field may be longer"


def by_chance(reference: Reference, fields: int) -> tuple[str, ...]:
    """Say that nothing follows the reference more closely than chance would bring."""
    name, count = reference.name, len(reference)
    more = (
        f"give more than {count} numbers, over a longer time in which it goes up and down"
        if count < SPARSE
        else "record again while it goes up and down several times"
    )
    return (
        f"nothing fits {name}: {fields} {'field follows' if fields == 1 else 'fields follow'} it, but of all that were "
        f"tried so many would by chance; {more}",
    )


def remarks(reference: Reference, best: Sequence[Close]) -> tuple[str, ...]:
    """Say what a person should know of the whole answer."""
    name = reference.name
    if not best:
        return (
            f"nothing follows {name}: it may not be on this bus, or only in answers to a tester; check that its time "
            "is right, within 2 s from beginning to end",
        )
    text = []
    if len(best) > 1:
        text.append(
            f"{len(best)} fields follow {name} equally well; record what sets them apart (four wheels in a tight bend, "
            f"two temperatures from cold), or take {_taken(reference, best)}"
        )
    if abs(lag := best[0].timing.lag_s) > MOST_LAG_S - NEAR_S:
        move = "take some seconds from" if lag < 0 else "add some seconds to"
        text.append(
            f"{name} fits best {abs(lag):.0f} s apart, and further is not looked: its clock may be off by more; {move} "
            "its first column and try again"
        )
    if best[0].timing.drift_at_its_end:
        text.append(
            f"the clocks seem to run apart by {1e6 * MOST_DRIFT:.0f} ppm or more, and further is not looked: scale and "
            f"lag are less sure than they look; see that {name}'s seconds are those of the trace, or give a shorter "
            "piece of it"
        )
    if best[0].turns < FEW_TURNS:
        text.append(
            f"{name} turned round {('never', 'only once')[best[0].turns]} in this recording, so that other things that "
            "rise or fall may look like it; record again while it goes up and down several times"
        )
    if len(reference) < SPARSE:
        text.append(f"{len(reference)} values are few; 30 or more would make it surer")
    if best[0].line.scale < 0:
        text.append("its number falls while the quantity rises")
    return tuple(text)


def _taken(reference: Reference, best: Sequence[Close]) -> str:
    """Say which of several to take: the one that comes before the others, which may be its copies, if that is known."""
    if len(reference) < SPARSE:
        return "the first"
    first = min(best, key=lambda one: one.timing.lag_s)
    return f"{'the first' if first is best[0] else first.where}, which comes before the others"
