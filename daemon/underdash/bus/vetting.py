"""Which templates may be used at all: decided once, at start-up, before any frame.

A standard request must carry a service that only reads. A maker's command byte counts as reading only with two
things: the owner's permission in the main configuration, and in the description an exchange that shows another
tester using it. For maker formats this is evidence, not proof; so every template is also read the way a unit would
read it that takes it for ISO 15765-2, with and without an address byte, and refused if that finds a denied service.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from ..contract.cars import Exchange
from .frames import id_text
from .legislated import has_legislated_id
from .refusals import Reason, Refusal
from .services import Kind, service
from .templates import Template, services_read

LEAST_TIMES = 10
LEAST_ANSWERS = 2


@dataclass(frozen=True, slots=True)
class MakerEvidence:
    """What speaks for makers' command bytes.

    Args:
        reads: by unit, the command bytes the owner permits (`reads` in the main configuration; never a plug-in's).
        exchanges: from the description, another tester using them.
    """

    reads: Mapping[str, Collection[int]] = field(default_factory=dict)
    exchanges: tuple[Exchange, ...] = ()


def vet(
    template: Template, evidence: MakerEvidence, in_use: Collection[tuple[str, int]] = frozenset()
) -> Refusal | None:
    """Say why a template may not be used.

    Args:
        template: which one.
        evidence: what speaks for makers' command bytes.
        in_use: (bus, key) that the car itself sends: broadcasts and answers.

    Returns:
        None if it may.
    """
    for key in dict.fromkeys((template.key, *(key for key, _ in template.flow))):
        if (template.bus, key) in in_use:
            return Refusal(
                Reason.ID_IN_USE,
                f"{template}: the description says the car itself sends {id_text(key)} on {template.bus}; two "
                "senders of one id disturb a bus. Correct the unit's ids.",
            )
    return _standard(template) if template.maker is None else _makers(template, evidence)


def _standard(template: Template) -> Refusal | None:
    offset = 0 if template.address_at is None else 1
    found = set(services_read(_values(template), offset))
    if found != {template.command} or template.values_at(offset).pop() >> 4:
        return Refusal(
            Reason.SERVICE,
            f"{template}: its bytes are not a single frame with the service where the protocol says it is. This is a "
            "mistake in the protocol, not in your files.",
        )
    known = service(template.command)
    if known.kind is not Kind.READS:
        return Refusal(
            Reason.SERVICE,
            f"{template}: {known} is {known.kind}: it {known.why}. Only services that read are sent, and no setting "
            "changes that; take the request out of the description.",
        )
    if template.address_at is None and has_legislated_id(template.key):
        return None
    return _looks_like(template, allowed=None)


def _makers(template: Template, evidence: MakerEvidence) -> Refusal | None:
    command = template.command
    known = service(command)
    if known.kind in (Kind.DENIED, Kind.LATER):
        return Refusal(
            Reason.SERVICE,
            f"{template}: the command byte of {template.maker} is {command:02X}, which a standard uses for {known}: "
            f"it {known.why}. No evidence opens that number; take the request out of the description.",
        )
    if command not in evidence.reads.get(template.unit, ()):
        return Refusal(
            Reason.MAKER_PERMISSION,
            f"{template}: {command:02X} is a maker's own command, and nothing but its owner's word says that it reads. "
            f'If you stand for it, write {template.unit} = ["{command:02X}"] under [reads] in your configuration.',
        )
    if not any(_shows(exchange, template) for exchange in evidence.exchanges):
        return Refusal(
            Reason.MAKER_EVIDENCE,
            f"{template}: the description has no exchange that shows another tester using command {command:02X} of "
            f"{template.maker} on {template.unit}: the same request at least {LEAST_TIMES} times, at least "
            f"{LEAST_ANSWERS} different answers, and the trace's hash. Record one while a tester reads that unit.",
        )
    return _looks_like(template, allowed=command)


def _shows(exchange: Exchange, template: Template) -> bool:
    """Say whether an exchange shows this very request but for identifiers and padding."""
    request = exchange.request
    return (
        exchange.format == template.maker
        and exchange.unit == template.unit
        and exchange.times >= LEAST_TIMES
        and exchange.answers >= LEAST_ANSWERS
        and bool(exchange.trace)
        and len(request) >= template.used
        and all(request[i] & template.mask[i] == template.value[i] for i in range(template.used))
    )


def _looks_like(template: Template, allowed: int | None) -> Refusal | None:
    """Read a template in both ways of ISO 15765-2."""
    for offset, way in ((0, "without"), (1, "with")):
        number = next((n for n in sorted(set(services_read(_values(template), offset))) if is_denied(n, allowed)), None)
        if number is not None:
            known = service(number)
            return Refusal(
                Reason.LOOKS_LIKE,
                f"{template}: a unit that reads it {way} an address byte finds {known}, which is {known.kind}: it "
                f"{known.why}. Ask for other identifiers, or for fewer in one request.",
            )
    return None


def vet_flow(one: Template) -> Refusal | None:
    """Say why the flow control that its unit's long answers need may not be sent, None if it may.

    Only what the description gives is looked at: block size, separation time, padding and address byte.
    """
    for key, data in one.flow:
        if one.address is None and has_legislated_id(key):
            continue
        found = {number for offset in (0, 1) for number in services_read([{byte} for byte in data], offset)}
        number = next((number for number in sorted(found) if is_denied(number)), None)
        if number is not None:
            known, text = service(number), data.hex(" ").upper()
            return Refusal(
                Reason.LOOKS_LIKE,
                f"{one.unit}: answers of more than one frame never arrive, since the flow control {text} that they need"
                f" is not sent: it could be read as {known}, which is {known.kind}: it {known.why}. Give unit."
                f"{one.unit} another block_size or st_min_ms (0 and 0 are usual), or ask it only for short answers.",
            )
    return None


def is_denied(number: int, allowed: int | None = None) -> bool:
    """Say whether a service is one that must never be sent; `allowed` is a maker's byte there is evidence for."""
    kind = service(number).kind
    return kind in (Kind.DENIED, Kind.LATER) or (kind is Kind.MAKER and number != allowed)


def _values(template: Template) -> list[set[int]]:
    return [template.values_at(index) for index in range(len(template.value))]
