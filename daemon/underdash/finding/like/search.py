"""``find like``: which field is a known quantity, with its place, scale, offset and lag."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp

from ..found import Answer
from ..heard import Heard
from .chance import EVENLY, log_expected
from .close import Close, close_look
from .fields import Rough, lag_step, rough_fields
from .lanes import lanes
from .reference import SPARSE, Reference, refusal, trusted, within
from .told import by_chance, candidate, remarks

LOOKED_AT = 16
"""Fields that are looked at closely."""

ENOUGH = 0.3
"""A field that leaves more than this part of the reference does not follow it."""

AS_GOOD = 1.5
"""A field of all frames is preferred to one under a multiplexer that leaves this many times less."""

TIED = 2.3
"""Fields that differ by less than this, in nats, cannot be told apart: one is at most ten times as likely."""

BELIEVED, TOLD = 0.1, 0.005
"""Less likely ones than this are not told of: what is found at all with few numbers, and any one field (a choice)."""

ITSELF = 0.5
"""How likely a field has to be the quantity by itself to be told beside a better one."""

RISEN = 0.4
"""How sure it may be at most of a quantity that never turned round: whatever rises evenly looks like it."""

RELATED = 0.03
"""What another quantity that moves along leaves of a reference, typically: engine speed beside road speed."""


def like(heard: Heard, reference: Reference) -> Answer:
    """Search for the field that is a known quantity.

    Args:
        heard: the trace.
        reference: the quantity; what is outside the trace is left out.

    Returns:
        The fields, best first, with `figures` scale, scale_error, offset, offset_error, fit_scale, fit_offset, lag_s,
        drift, r2; no rank and a remark where nothing follows the reference more closely than chance would bring, or the
        reference shows nothing.
    """
    question = f"like {reference.name}"
    if (why := refusal(reference, heard)) is not None:
        return Answer(question, remarks=(why,))
    known = trusted(within(reference, heard))
    step_s = lag_step(known)
    searched = list(lanes(heard, reference.sources))
    rough = _distinct(rough_fields(searched, known))[:LOOKED_AT]
    looked = [found for field in rough if (found := close_look(field, known, step_s)) is not None]
    close = _once([one for one in looked if one.line.left <= ENOUGH])
    if not close:
        return Answer(question, remarks=remarks(known, ()))
    close.sort(key=lambda one: -one.weight)
    shares = _shares(close)
    bits = sum(len(lane.active) for lane in searched)
    sure = found_at_all(close[0], bits)
    if sure < (BELIEVED if len(known) < SPARSE else TOLD):
        return Answer(question, remarks=by_chance(known, len(close)))
    # what follows beyond chance, though less closely than the best, carries the quantity too
    close = [
        one
        for one, share in zip(close, shares, strict=True)
        if one is close[0] or sure * share >= TOLD or found_at_all(one, bits) >= ITSELF
    ]
    ranks: list[list[int]] = []
    for number, one in enumerate(close):
        if ranks and close[ranks[-1][0]].weight - one.weight < TIED:
            ranks[-1].append(number)
        else:
            ranks.append([number])
    told = tuple(
        tuple(candidate(close[n], known, sure * shares[n], close[0], len(rank) > 1) for n in rank) for rank in ranks
    )
    return Answer(question, told, remarks(known, [close[n] for n in ranks[0]]))


def found_at_all(best: Close, bits: int) -> float:
    """Return how likely the best field is the quantity at all, rather than one that moved like it for a while.

    Args:
        best: the field.
        bits: that change, in all lanes that were searched.
    """
    # a line and a lag fit any three numbers; a quantity tells its ends and each turn, and how it went there and on
    free = min(best.line.worth - 3.0, 4.0 + 2.0 * best.turns)
    # a field of few numbers is right by luck as often as two of them are the same, however close that then is
    expected = log_expected(max(best.line.left, best.alike**2), free, best.spelling.bonus, bits)
    no_chance = 1.0 / (1.0 + EVENLY * exp(min(50.0, expected)))
    related = 1.0 / (1.0 + best.line.left / RELATED)
    return min(1.0 if best.turns else RISEN, no_chance * related)


def _shares(close: Sequence[Close]) -> list[float]:
    weights = [exp(max(-50.0, one.weight - close[0].weight)) for one in close]
    return [weight / sum(weights) for weight in weights]


def _distinct(rough: Sequence[Rough]) -> list[Rough]:
    """Leave out fields that are part of another one of the same id, in the whole or under a multiplexer."""
    kept: list[Rough] = []
    by_size = sorted(rough, key=lambda one: (one.lane.select is not None, -one.gain))
    for field in by_size:
        numbers = field.numbers()
        same = [one for one in kept if one.lane.stream is field.lane.stream and one.numbers() & numbers]
        if all(field.left * AS_GOOD < one.left for one in same) or not same:
            kept.append(field)
    return sorted(kept, key=lambda one: -one.gain)


def _once(close: Sequence[Close]) -> list[Close]:
    """Leave out fields that turned out to be parts of a better one."""
    kept: list[Close] = []
    for one in sorted(close, key=lambda close_one: -close_one.weight):
        numbers = one.field.numbers()
        if not any(
            other.field.lane.stream is one.field.lane.stream and other.field.numbers() & numbers for other in kept
        ):
            kept.append(one)
    return kept
