"""What another tester did, in sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from ...diagnostics.negative import meaning
from ...diagnostics.parameters import PARAMETERS
from ..found import percent
from .as_polls import part_text
from .asked_for import Asked, Whom
from .maker import Maker
from .on_show import Shown
from .search import NEVER_SENT, NOT_READING, Requests

MOST_ROWS = 12
"""Values of one unit that are listed; ``--json`` has all."""


def lines(found: Requests) -> list[str]:
    """Write all of it for a person."""
    units: dict[Whom, list[Asked]] = {}
    for one in found.asked:
        units.setdefault(one.whom, []).append(one)
    out: list[str] = []
    nobody = [whom for whom in units if whom.by is None]
    for whom, asked in units.items():
        if whom.by is not None:
            out += [str(whom) + ":", *_unit(asked)]
    if nobody:
        out += _unanswered(nobody, units)
    for maker in found.makers:
        out += ["", *_maker(maker)]
    for shown in found.shown:
        out += ["", *_shown(shown)]
    out += ["", *found.remarks] if found.remarks else []
    if found.description:
        out += ["", "# --- for the description of the car " + 80 * "-", "", found.description.rstrip()]
    return out if out[:1] != [""] else out[1:]


def _unit(asked: list[Asked]) -> Iterator[str]:
    others: dict[int, list[Asked]] = {}
    for one in asked:
        if not one.reads and not one.whom.maker:
            others.setdefault(one.service, []).append(one)
    for some in others.values():
        yield "  " + (_row(some[0]) if len(some) == 1 else _together(some))
    rows = [one for one in asked if one.reads or one.whom.maker]
    for one in rows[:MOST_ROWS]:
        yield "  " + _row(one)
    if len(rows) > MOST_ROWS:
        yield f"  and {len(rows) - MOST_ROWS} more (--json lists all)"


def _together(asked: list[Asked]) -> str:
    """Tell in one row what was asked of a service that does not only read: each request of it has other bytes."""
    one, times = asked[0], sum(one.times for one in asked)
    refused = sum(sum(one.refusals.values()) for one in asked)
    parts = [f"{one.service:02X} ({one.known.name}): {_count(times, 'time')} in {len(asked)} different requests"]
    parts += [f"refused {_count(refused, 'time')}"] if refused else []
    return "; ".join(parts + ([NEVER_SENT] if one.known.kind in NOT_READING else []))


def _row(one: Asked) -> str:
    first = f"{one.name} ({_what(one)}): " + (_count(one.times, "time") if one.times else "requests not recorded")
    parts = [first + (f", about every {one.period_s:.2g} s" if one.period_s is not None else "")]
    if one.values:
        lengths = sorted({len(data) for _, data in one.values})
        size = _count(lengths[-1], "byte") if len(lengths) == 1 else f"{lengths[0]} to {lengths[-1]} bytes"
        changed = (
            "" if len(one.values) == 1 else f", {one.different} different" if one.different > 1 else ", all the same"
        )
        parts.append(f"{_count(len(one.values), 'answer')} of {size}{changed}")
    parts += [f"refused {_count(times, 'time')}: {meaning(code, one.service)}" for code, times in one.refusals.items()]
    parts += [f'{_count(one.pending, "time")} "still working"'] if one.pending else []
    parts += [f"{_count(times, 'answer')} broke: {_fault(fault)}" for fault, times in one.broken.items()]
    parts += [f"{one.silent} without an answer"] if one.silent and one.times else []
    if not one.whom.maker and one.known.kind in NOT_READING:
        parts.append(NEVER_SENT)
    return "; ".join(parts)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'s' if number != 1 else ''}"


def _what(one: Asked) -> str:
    if one.whom.maker:
        return f"command {one.service:02X} of {one.protocol}"
    parameter = PARAMETERS.get(one.identifier or 0) if one.protocol == "service_01" else None
    return f"{one.known.name}, {parameter.name}" if parameter is not None else one.known.name


def _fault(fault: str) -> str:
    return {
        "sequence": "a frame was missing",
        "no next frame": "the next frame did not come",
        "length": "a frame contradicted itself",
        "interrupted": "another message began before the end",
        "too long": "longer than 4095 bytes",
    }.get(fault, fault)


def _unanswered(nobody: list[Whom], units: dict[Whom, list[Asked]]) -> list[str]:
    ids = sorted({str(whom.to) for whom in nobody})
    what: Counter[str] = Counter()
    denied = set()
    for whom in nobody:
        for one in units[whom]:
            what[f"{one.service:02X} ({one.known.name})"] += one.times
            if one.known.kind in NOT_READING:
                denied.add(f"{one.service:02X}")
    text = ", ".join(f"{name} {times} times" for name, times in what.most_common())
    out = [f"asked without any answer, on {len(ids)} ids ({', '.join(ids)}): {text}"]
    return out + ([f"  {', '.join(sorted(denied))}: {NEVER_SENT}"] if denied else [])


def _maker(one: Maker) -> Iterator[str]:
    yield f"{one.to.bus} {one.to} asks and {one.by} answers in one frame each, in a format of the maker's own:"
    if one.form is not None:
        yield f"  request: {' | '.join(map(part_text, one.form.request))}"
        yield f"  reply:   {' | '.join(map(part_text, one.form.reply))}"
        yield (
            f"  command {one.form.command:02X}, the reply adds {one.form.reply_adds:02X}; it spells and reads "
            f"{100 * one.spelt:.4g} % of {len(one.exchanges)} exchanges to the byte"
        )
    yield from (f"  {remark}" for remark in one.remarks)


def _shown(one: Shown) -> Iterator[str]:
    yield f"{one.word}:"
    tied = f", one of {len(one.candidates)} that this recording cannot tell apart" if len(one.candidates) > 1 else ""
    for candidate in one.candidates[:MOST_ROWS]:
        yield f"  {candidate.asked.name} of {candidate.asked.whom}: {percent(candidate.confidence)}{tied}"
        yield from (f"     {sentence}" for sentence in candidate.because)
    if not one.candidates:
        yield "  nothing found"
    yield from (f"  {remark}" for remark in one.remarks)
