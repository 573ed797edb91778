"""What the guard is asked to let out: templates of the declared requests, and how many identifiers may go together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from ..bus.legislated import has_legislated_id, speaks_to_all
from ..bus.templates import Parts, Span, Template, TemplateError, template
from ..bus.vetting import MakerEvidence, vet
from .batches import one_frame
from .polls import CompiledPoll


def templates_of(polls: Iterable[CompiledPoll]) -> tuple[list[Template], list[str]]:
    """Return what the guard lets out: a template a unit, protocol and number of identifiers in a request.

    Identifiers are kept to those that are asked for. With it come sentences about requests that make none: a plug-in's
    protocol may say that its identifier sits where it cannot be.
    """
    found: list[Template] = []
    problems: list[str] = []
    for group in groups_of(polls):
        try:
            most = min(len(group), max(poll.most_in_a_frame for poll in group))
            found += [template(group[0].unit, parts_of(group, count)) for count in range(1, most + 1)]
        except TemplateError as exc:
            names = ", ".join(poll.name for poll in group)
            problems.append(f"requests {names}: {exc} The protocol {group[0].speech.name!r} has to be corrected.")
    return found, problems


def groups_of(polls: Iterable[CompiledPoll]) -> list[list[CompiledPoll]]:
    """Return groups of requests that differ in nothing but the identifier."""
    groups: dict[tuple[str, str, bytes], list[CompiledPoll]] = {}
    for poll in polls:
        groups.setdefault((poll.unit.name, poll.speech.name, _pinned(poll)), []).append(poll)
    return list(groups.values())


def parts_of(group: Sequence[CompiledPoll], count: int = 1) -> Parts:
    """Return the parts of requests for so many identifiers of a group."""
    one = group[0]
    speech = one.speech
    payloads = [poll.payload for poll in group]
    spans = [_span(payloads, at, size) for at, size in _runs(speech.varies(one.unit))]
    payload = one.payload
    if count > 1:
        payload = one_frame(one.unit, speech, [one.identifier] * count)
        spans = [replace(spans[0], at=spans[0].at + number * spans[0].size) for number in range(count)]
    maker = speech.name if speech.maker else None
    return Parts(payload, tuple(spans), speech.command_at(one.unit), speech.address_at(one.unit), maker)


def _pinned(poll: CompiledPoll) -> bytes:
    varies = poll.speech.varies(poll.unit)
    return bytes(0 if at in varies else byte for at, byte in enumerate(poll.payload))


def _runs(positions: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield (first, size) of positions that follow each other."""
    start = 0
    for index in range(1, len(positions) + 1):
        if index == len(positions) or positions[index] != positions[index - 1] + 1:
            yield positions[start], index - start
            start = index


def _span(payloads: Iterable[bytes], at: int, size: int) -> Span:
    """Return the span of what really stands there: a plug-in may spell an identifier in its own way."""
    ranges: list[tuple[int, int]] = []
    for number in sorted({int.from_bytes(payload[at : at + size]) for payload in payloads}):
        if ranges and ranges[-1][1] + 1 == number:
            ranges[-1] = (ranges[-1][0], number)
        else:
            ranges.append((number, number))
    return Span(at, size, tuple(ranges))


def limited(polls: Sequence[CompiledPoll]) -> list[CompiledPoll]:
    """Return the polls, each with how many identifiers may be asked for together with it.

    In one frame these are as many as fit and as the guard's rules let out: a request that could be read as one for a
    service that does more than read is not built. Requests in several frames are built only for ids whose meaning
    ISO 15765-4 fixes, since on others a later frame might be read as something else, and
    never for all units at once.
    """
    most = {poll: _most(group) for group in groups_of(polls) for poll in group}
    return [replace(poll, most_in_a_frame=most[poll][0], most=most[poll][1]) for poll in polls]


def _most(group: Sequence[CompiledPoll]) -> tuple[int, int]:
    """Return how many identifiers of a group one frame and one request may ask for."""
    one = group[0]
    if not one.speech.over_isotp or one.speech.most < 2:
        return 1, 1
    in_a_frame = 1
    for count in range(2, min(len(group), one.speech.most_in_a_frame(one.unit)) + 1):
        if vet(template(one.unit, parts_of(group, count)), MakerEvidence()) is not None:
            break
        in_a_frame = count
    alone = has_legislated_id(one.frame.key) and not speaks_to_all(one.unit)
    long = one.speech.several_frames and one.unit.address is None and alone
    return in_a_frame, one.speech.most if long else in_a_frame
