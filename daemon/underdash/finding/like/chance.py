"""How often chance makes something look as good: of many fields that are tried, one follows any few numbers."""

from __future__ import annotations

from math import lgamma, log

from .plain import ANY_OFFSET, ANY_SCALE

TRIES_A_BIT = 50.0
"""Fields, lags, signs and byte orders tried for each bit that changes, as far as they say something different (seen on
random numbers in three recordings of 6 to 184 lanes: 30 to 80)."""

PLAIN = 5.0
"""What plain numbers count for at most, in nats: some field in 150 has a plain scale and no offset by chance."""

EVENLY = 30.0
"""The evidence for right fields, in nats, lies anywhere up to this: what chance brings once in a hundred trials is no
sure sign, since a right one would rarely show just that little (a choice)."""


def log_chance(left: float, free: float) -> float:
    """Return the logarithm of the chance that a line through unrelated numbers leaves no more of them.

    The part left is distributed as Beta(free / 2, 1 / 2); this is that distribution's lower end, within 1 / (1 - left).

    Args:
        left: 1 - R2.
        free: independent numbers beyond those that the fit takes up.
    """
    if free <= 0:
        return 0.0
    half = free / 2
    whole = log(half) + lgamma(half) + lgamma(0.5) - lgamma(half + 0.5)
    return min(0.0, half * log(max(left, 1e-9)) - whole)


def log_expected(left: float, free: float, bonus: float, bits: int) -> float:
    """Return the logarithm of how many of the fields that were tried would look as good by chance.

    Args:
        left, free: as in `log_chance`.
        bonus: what speaks for the scale and offset, as in `plain.Spelling`.
        bits: that change, in all lanes that were searched.
    """
    # how much likelier plain numbers are than any; the bonus also holds how often makers choose plain ones
    plain = min(PLAIN, max(0.0, bonus + log(ANY_SCALE * ANY_OFFSET)))
    # being close and being plain are two ways to look good: chance may bring any mixture of them
    return log(TRIES_A_BIT * (1.0 + PLAIN) * max(1, bits)) + log_chance(left, free) - plain
