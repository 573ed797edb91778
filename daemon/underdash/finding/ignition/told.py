"""What is said of a field that goes with the ignition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...signals.catalogue import IGNITION_POSITIONS
from ..found import Candidate, Where
from ..heard import Stream
from ..lacks import counted
from .positions import DARK, RUNNING, Led, Stay
from .turning import Turning

FIRST_S = 0.05
SHOWN = 4


def meaning(raws: Mapping[str, int]) -> dict[int, str]:
    """Name raw numbers by the position of the ignition; several that are off are OFF, several that are on are ON."""
    names: dict[int, str] = {}
    for raw in sorted(set(raws.values())):
        positions = ["ON" if position == RUNNING else position for position, one in raws.items() if one == raw]
        for usual in ("ON", "OFF", *IGNITION_POSITIONS):
            if usual in positions or (usual == "OFF" and {"LOCK", "ACC"} <= set(positions)):
                names[raw] = usual
                break
    return names


def because(
    field: Turning, late_s: float, copies: Sequence[Turning], said: Led, *, early: int = 1
) -> tuple[str, ...]:  # fmt: skip
    """Return what speaks for a field, and what against it.

    Args:
        field: which one.
        late_s: how much later it changes than the first.
        copies: fields that read the same.
        said: what was led.
        early: how many fields change no later than `FIRST_S` after the first.
    """
    sentences = [_apart(field), _rounds(said)]
    if late_s > FIRST_S:
        sentences.append(f"it follows the first of all that go with the ignition after {late_s:.2f} s")
    elif early > 1:
        sentences.append(f"it is one of {early} that change together before all others that go with the ignition")
    else:
        sentences.append("it changes first of all that go with the ignition")
    if said.others:
        sentences.append(f"it does not answer to {listed(list(said.others))}")
    if field.start_is_dark:
        sentences.append("against it: it reads as off while the starter turns")
    if field.missed or field.odd:
        sentences.append(
            f"against it: {counted(field.odd, 'change')} that no mark explains, {counted(field.missed, 'turn')} "
            "without the change that was due"
        )
    sentences.append(_sent(field.stream, said))
    if copies:
        sentences.append(f"the same reads {listed([place(one) for one in copies[:SHOWN]])}")
    return tuple(sentence for sentence in sentences if sentence)


def nothing(said: Led) -> str:
    """Say that no field goes with the ignition, and what that may mean."""
    return (
        f"no field reads otherwise with the ignition on than with it off, the same in all {len(said.stays)} stays: the "
        "ignition may not be on these buses, the bus may sleep while it is off, or the marks belong to another trace"
    )


def mark_missing(stay: Stay, said: Led) -> str:
    """Say where a turn of the ignition seems to have gone unmarked."""
    return (
        f"after {stay.position} at second {stay.begin - said.heard.begin:.1f} a mark seems to be missing; what follows "
        "goes by the others"
    )


def turned_away(fields: Sequence[Turning]) -> tuple[str, ...]:
    """Name fields that would go with the ignition, but answer to other deeds as well."""
    by_byte: dict[tuple[int, int], str] = {}
    for one in sorted(fields, key=lambda one: one.high - one.low):
        by_byte.setdefault((id(one.stream), one.byte), f"{place(one)} ({listed(one.answers)})")
    names = list(by_byte.values())
    if not names:
        return ()
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return (f"not the ignition, since they answer to other deeds too: {listed(names[:SHOWN])}{more}",)


def advice(best: Turning, said: Led, ranks: Sequence[Sequence[Candidate]]) -> tuple[str, ...]:
    """Return what another recording should do to be surer."""
    remarks = []
    if ranks and len(ranks[0]) > 1:
        remarks.append(
            f"{len(ranks[0])} fields go with the ignition alike: rest two seconds in each position, go through them "
            "twice, and stop the engine once with the ignition left on; what tells most positions apart remains"
        )
    seen = {stay.position for stay in said.stays}
    lacking = [position for position in IGNITION_POSITIONS if position not in seen]
    if lacking:
        remarks.append(f"no mark says {listed(lacking)}; where the car has them, mark them too")
    same = _same(best)
    if same:
        remarks.append(f"the best one reads the same in {same}")
    if not said.rounds:
        remarks.append("each position was marked once: a second round rules out chance")
    if not said.others:
        remarks.append(
            "nothing else was marked: open a door, use the key's buttons and set the alarm with marks of their own, "
            "so that what answers to these is ruled out"
        )
    return tuple(remarks)


def place(field: Turning) -> str:
    """Write where a field is."""
    stream = field.stream
    return str(Where(stream.bus, stream.id, stream.extended, field.bits))


def listed(parts: Sequence[str]) -> str:
    """Join words with commas and an "and"."""
    return " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))


def _apart(field: Turning) -> str:
    groups: dict[int, list[str]] = {}
    for position in (*IGNITION_POSITIONS, RUNNING):
        if position in field.raws:
            groups.setdefault(field.raws[position], []).append("running" if position == RUNNING else position)
    return "it tells apart " + listed(["/".join(group) for group in groups.values()])


def _same(field: Turning) -> str:
    groups: dict[int, list[str]] = {}
    for position in IGNITION_POSITIONS:
        if position in field.raws:
            groups.setdefault(field.raws[position], []).append(position)
    return "; ".join(listed(group) for group in groups.values() if len(group) > 1)


def _rounds(said: Led) -> str:
    return f"it reads the same when a position comes again ({counted(said.rounds, 'time')})" if said.rounds else ""


def _sent(stream: Stream, said: Led) -> str:
    heard, last = said.heard, said.stays[-1]
    if stream.every_s is None:
        return "its frame is sent on change only: tell the description by which other frame the bus is awake"
    comes = f"its frame comes every {stream.every_s:.2g} s"
    if last.position not in DARK:
        return f"{comes}; the recording ends with the ignition on, so nothing is known of the after-run"
    talked = stream.at[-1] - last.begin
    if heard.end - stream.at[-1] > max(1.0, 5 * stream.every_s):
        return f"{comes} and ends {talked:.1f} s after {last.position}, while others talk on"
    ends = [float(one.at[-1]) for one in heard if one.bus == stream.bus and one.every_s is not None]
    alike = np.ptp(ends) <= max(1.0, 5 * stream.every_s)
    after = f"{comes}, for the last time {talked:.1f} s after {last.position}"
    return f"{after}, when its bus falls silent or the recording ends" if alike else after
