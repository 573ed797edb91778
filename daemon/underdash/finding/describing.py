"""From a finding to lines of a description: the field, what its numbers mean, and the evidence that goes with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..config.spelling import Table
from ..config.writing import Addition
from ..contract.errors import GivenError
from ..contract.layout import BroadcastListener, Field
from ..contract.signals import Kind, Signal, Value
from ..contract.units import UNITS
from .found import Candidate, percent
from .heard import Heard, Stream
from .small import mostly_silent

BUTTON = "button."
IGNITION = "vehicle.ignition"
EVEN = 0.75
"""Share of intervals near the median one in a frame sent by the clock; leaves room for lost frames (our choice)."""
ABOUT = 0.3


def addition(candidate: Candidate, heard: Heard, signal: Signal, found_by: str, use: str = "") -> Addition:
    """Return what a description needs so that a signal is read where it was found.

    Args:
        candidate: where, and what the raw numbers were; its meanings are the words that were searched.
        heard: the trace that shows it.
        signal: what it is; one named ``car.<name>`` is declared with it.
        found_by: the question, such as ``find pressed menu``.
        use: of a button, ``comfort`` or ``driving``.

    Raises:
        GivenError: the finding does not say what that signal needs.
    """
    where = candidate.where
    if where.comes:
        raise GivenError(
            f"{where} is what answers, and nothing in its frames: a description reads what frames hold, so that this "
            "cannot be written down"
        )
    stream = heard.stream(where.bus, where.id, where.extended)
    if stream is None:
        raise GivenError(f"{where} was not heard in {heard.trace}; name the trace in which it was found")
    period_s = period_of(stream)
    field = described(candidate, signal)
    said = {
        "found_by": found_by,
        "checked_by": "; ".join(candidate.because) or f"{percent(candidate.confidence)} sure",
        "trace": heard.sha256,
        "note": f"{percent(candidate.confidence)} sure" if candidate.because else "",
    }
    listener = BroadcastListener(
        where.bus, where.id, (field,), where.extended, period_s=period_s, on_change=period_s is None
    )
    return Addition(
        listener,
        said,
        signals=(signal,) if signal.name.startswith("car.") else (),
        ignition=_ignition(field, heard, stream, on_change=period_s is None) if signal.name == IGNITION else None,
        buttons={signal.name.removeprefix(BUTTON): use} if signal.name.startswith(BUTTON) else {},
    )


def described(candidate: Candidate, signal: Signal) -> Field:
    """Return the field that feeds a signal; raises `GivenError` as `addition` does."""
    where, meaning, figures = candidate.where, candidate.meaning, candidate.figures
    plain = Field(signal.name, where.bits, where.coding, select=where.select)
    if signal.kind is Kind.SWITCH:
        return replace(plain, values=_switch(candidate))
    if signal.kind is Kind.CHOICE:
        if not meaning:
            raise GivenError(f"{signal.name} is one of {', '.join(signal.choices)}, and this finding names no values")
        wrong = [text for text in meaning.values() if text not in signal.choices]
        if wrong:
            raise GivenError(
                f"{signal.name} is one of {', '.join(signal.choices)}; found {', '.join(wrong)}: name the marks so"
            )
        return replace(plain, values=tuple(sorted(meaning.items())))
    if "scale" in figures:
        return replace(plain, scale=figures["scale"], offset=figures.get("offset", 0.0))
    ends = (figures.get("low"), figures.get("high"))
    if None not in ends and ends[0] != ends[1] and signal.low is not None and signal.high is not None:
        if UNITS[signal.unit].quantity != "share":
            raise GivenError(
                f"{signal.name} is a number in {signal.unit or 'no unit'}, and the ends of a turn do not say which; "
                "take another signal, or find its scale with `find like`"
            )
        return replace(plain, points=tuple(sorted(_between(ends, (signal.low, signal.high)))))
    if meaning and not signal.name.startswith("car."):
        raise GivenError(
            f"{signal.name} is a number in {signal.unit or 'no unit'}, and this finding only tells apart "
            f"{', '.join(dict.fromkeys(meaning.values()))}; take another signal, or find its scale with `find like`"
        )
    return plain


def _between(raws: tuple[float | None, float | None], values: tuple[float, float]) -> list[tuple[float, float]]:
    return [(raw, value) for raw, value in zip(raws, values, strict=True) if raw is not None]


def _switch(candidate: Candidate) -> tuple[tuple[int, Value], ...]:
    """Which raw numbers mean on: those that have the word of what was done; of other buttons' words none is on."""
    raws = sorted(candidate.meaning)
    if not raws:
        return ()
    if not any(text in RESTS for text in candidate.meaning.values()):
        raise GivenError(f"{candidate.where}: what it is at rest was not found, so that no switch can be made of it")
    values: tuple[tuple[int, Value], ...] = _widened(candidate, {raw: _on(candidate, raw) for raw in raws})
    return () if values == ((0, False), (1, True)) and candidate.where.bits.length == 1 else values


def _widened(candidate: Candidate, values: dict[int, bool]) -> tuple[tuple[int, bool], ...]:
    """Add the numbers beside ranges, as far as the widest is wide, to the nearest: few presses show not all noise."""
    rest = [raw for raw, text in candidate.meaning.items() if text in RESTS]
    if len(rest) < 2:  # it does not flicker
        return tuple(values.items())
    texts = candidate.meaning.values()
    widths = {text: sum(one == text for one in texts) for text in texts}
    wide = dict(values)
    for by in range(1, max(widths.values())):
        beside = [raw for raw in range(1 << candidate.where.bits.length) if raw not in wide]
        for raw in beside:
            near = {values[one] for one in (raw - by, raw + by) if one in values}
            if len(near) == 1:
                wide[raw] = near.pop()
    return tuple(sorted(wide.items()))


def _on(candidate: Candidate, raw: int) -> bool:
    text = candidate.meaning[raw]
    return text == candidate.word if candidate.word in candidate.meaning.values() else text not in RESTS


RESTS = ("released", "off", "at rest")
"""What a field means while nothing is done."""


def _ignition(field: Field, heard: Heard, stream: Stream, *, on_change: bool) -> Table:
    positions = [str(value) for _, value in field.values]
    table: Table = {"signal": IGNITION}
    table["on"] = [one for one in positions if one == "ON"]
    table["off"] = [one for one in positions if one in ("LOCK", "OFF", "ACC")]
    if "START" in positions:
        table["start"] = ["START"]
    if on_change and (alive := _heartbeat(heard, stream)) is not None:
        table["alive_with"] = {"bus": alive.bus, "id": alive.name, "extended": alive.extended}
    return table


def _heartbeat(heard: Heard, stream: Stream) -> Stream | None:
    """The quickest regular frame of the same bus: while it is heard, the bus is awake."""
    regular = [(period, one) for one in heard if one.bus == stream.bus and (period := period_of(one)) is not None]
    return min(regular, key=lambda pair: pair[0])[1] if regular else None


def period_of(stream: Stream) -> float | None:
    """Return how often a frame is sent, in seconds, rounded as people say it; None where not by the clock."""
    if len(stream) < 5:
        return None
    gaps = np.diff(stream.at)
    middle = float(np.median(gaps))
    even = np.mean(np.abs(gaps - middle) <= ABOUT * middle) if middle > 0 else 0.0
    return float(f"{middle:.2g}") if even >= EVEN and not mostly_silent(stream) else None
