"""Boost itself: manifold pressure, or else charge pressure, minus ambient."""

from __future__ import annotations

from collections.abc import Mapping

from underdash import Quality, Reading, Result, worst

from .reference import AMBIENT, CHARGE, MANIFOLD


def boost_step(state: None, inputs: Mapping[str, Reading], dt_s: float) -> tuple[None, Result | None]:
    """Give boost in kPa with the worst quality of what it rests on; nothing if a part of it is gone."""
    absolute, ambient = _absolute(inputs), inputs[AMBIENT]
    if absolute is None or not isinstance(absolute.value, float) or not isinstance(ambient.value, float):
        return None, None
    quality = worst(absolute.quality, ambient.quality)
    return None, Result(absolute.value - ambient.value, quality, (absolute.name, AMBIENT))


def known_step(state: None, inputs: Mapping[str, Reading], dt_s: float) -> tuple[None, Result | None]:
    """Give boost as `boost_step` does, but nothing while ambient pressure is only assumed.

    Peaks are held of this one: on a pass the constant is 17 kPa off, and a peak would carry that error through the
    day, long after the reference was measured.
    """
    if inputs[AMBIENT].quality is Quality.ASSUMED:
        return None, None
    return boost_step(state, inputs, dt_s)


def _absolute(inputs: Mapping[str, Reading]) -> Reading | None:
    return next((inputs[name] for name in (MANIFOLD, CHARGE) if inputs[name].value is not None), None)
