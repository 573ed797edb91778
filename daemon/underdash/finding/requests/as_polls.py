"""From what a tester asked to lines of a description: units, formats, their evidence, and what can be polled.

A request whose value nobody has named yet comes as a remark, with what was seen of it, to be named by a person.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...bus.legislated import request_id_of
from ...bus.services import Kind, service
from ...bus.vetting import LEAST_ANSWERS, LEAST_TIMES
from ...config.spelling import Table, field_table, signal_table
from ...config.writing import block
from ...contract.layout import Bits, ByteOrder, Field
from ...contract.requests import Part, PartKind, SingleFrameFormat
from ...contract.signals import Signal
from ...contract.units import UNITS
from ...diagnostics import pci
from ...diagnostics.parameters import PARAMETERS
from ...signals.catalogue import CATALOGUE
from ..found import percent
from ..heard import Heard
from .asked_for import Asked, Whom
from .maker import Maker
from .on_show import Candidate, Shown
from .senders import Sender, speaks_to_all
from .testers import Dialogue

PERIODS_S = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
"""How often a person would ask; the tester's own period is rounded up to one of these."""
FOUND_BY = "find requests"
LONGEST_NUMBER = 8
NAMELESS = (
    "its answers do not name what was asked, which a format of a description needs; a plug-in's protocol can read it"
)
STANDARD_FIELDS = ("service_01", "service_09")


@dataclass(slots=True)
class Draft:
    """Lines for a description, in the making.

    Attributes:
        heard: the trace.
        dialogue, makers, asked, shown: what was found in it.
        signals: the signal that each word means; others become signals of this car alone.
    """

    heard: Heard
    dialogue: Dialogue
    makers: Sequence[Maker]
    asked: Sequence[Asked]
    shown: Sequence[Shown]
    signals: Mapping[str, str]
    _names: dict[Whom, str] = field(default_factory=dict)
    _proven: set[tuple[Whom, str]] = field(default_factory=set)
    _taken: set[str] = field(default_factory=set)

    def text(self) -> str:
        """Return the lines, ready to be put into a description of the car; "" for none."""
        nameless = [one.form for one in self.makers if one.form is not None and not _names(one.form)]
        unspoken = {form.name for form in nameless}
        asked = [one for one in self.asked if one.protocol not in unspoken]
        wanted = [one for one in asked if one.protocol and one.values and (one.reads or one.whom.maker)]
        parts: list[list[str]] = [[f"# {form.name}: {NAMELESS}"] for form in dict.fromkeys(nameless)]
        units: dict[str, Table] = {}
        for whom in sorted(dict.fromkeys(one.whom for one in wanted), key=_together):
            remark, table = self._unit(whom)
            # one that was also asked together with all others is the same unit
            same = next((name for name, one in units.items() if one | {"padding": ""} == table | {"padding": ""}), None)
            self._names[whom] = same or _unit_name(whom)
            if same is None:
                units[self._names[whom]] = table
                parts.append([*remark, *block(f"[unit.{self._names[whom]}]", table | {"found_by": FOUND_BY})])
        forms = dict.fromkeys(one.form for one in self.makers if one.form is not None)
        parts += [_format(form) for form in forms if any(one.protocol == form.name for one in wanted)]
        for maker in self.makers:
            parts += self._exchanges(maker, wanted)
        once = {(self._names[one.whom], one.protocol, one.identifier): one for one in wanted}
        parts += [self._poll(one) for one in once.values()]
        return "\n\n".join("\n".join(part) for part in parts) + "\n" if parts else ""

    def _unit(self, whom: Whom) -> tuple[list[str], Table]:
        to, by = whom.to, whom.by
        assert by is not None
        request = None if to is None else to.name
        remark = []
        if to is None or speaks_to_all(to):
            own = next((asks.name for asks, answers in self.dialogue.flows if answers == by and asks != to), None)
            fixed = request_id_of(by.id, wide=by.extended)
            found = own or (None if fixed is None else Sender(by.bus, fixed, by.extended).name)
            how = "its requests were not recorded" if to is None else "asked with all others in the recording"
            remark = [f"# {how}; {found or 'an id that is not known'} should be its own"]
            request = found or request
        table: Table = {"bus": by.bus, "request": request or "", "response": by.name}
        if whom.address is not None:
            table["address"] = f"{whom.address:02X}"
        elif by.prefix is not None and to is not None and to.prefix is not None:
            table["address"] = f"{to.prefix:02X}"
            table |= {"reply_address": f"{by.prefix:02X}"} if by.prefix != to.prefix else {}
        padding = _padding(self.heard, to)
        if whom.maker:
            padding = next((one.padding for one in self.makers if one.to == to), None)
        table["padding"] = "none" if padding is None else f"{padding:02X}"
        return remark, table

    def _exchanges(self, maker: Maker, wanted: Sequence[Asked]) -> Iterator[list[str]]:
        """Yield the evidence that a command reads, for each unit: the request that was heard most often."""
        form = maker.form
        for address in maker.units if form is not None else ():
            assert form is not None
            whom = Whom(maker.to, maker.by, address, maker=True)
            mine = [one for one in wanted if one.whom == whom and one.protocol == form.name]
            best = max(mine, key=lambda one: (one.different >= LEAST_ANSWERS, one.times), default=None)
            if best is None:
                continue
            why_not = self._why_not(form, best)
            if why_not:
                yield [f"# {self._names[whom]}: {why_not}"]
                continue
            self._proven.add((whom, form.name))
            table: Table = {
                "request_format": form.name, "unit": self._names[whom], "request": best.request.hex(" ").upper(),
                "times": best.times, "answers": best.different, "trace": self.heard.sha256,
            }  # fmt: skip
            yield [*_owners_word(form, self._names[whom], best), *block("[[exchange]]", table)]

    def _why_not(self, form: SingleFrameFormat, best: Asked) -> str:
        known = service(form.command)
        if known.kind in (Kind.DENIED, Kind.LATER):
            return f"a standard uses the command {form.command:02X} for {known}; underdash never sends it"
        if known.kind is not Kind.MAKER:
            return (
                f"the command {form.command:02X} ({known}) is none of those that standards leave to makers, A0 to BE; "
                "in a maker's format underdash sends only these"
            )
        if best.times < LEAST_TIMES or best.different < LEAST_ANSWERS:
            return (
                f"no proof that {form.command:02X} reads: {best.name} was asked {best.times} times and brought "
                f"{best.different} different answers, where {LEAST_TIMES} and {LEAST_ANSWERS} are needed; record longer"
            )
        return "" if self.heard.sha256 else "no proof without the hash of a trace; record it to a file"

    def _poll(self, one: Asked) -> list[str]:
        table: Table = {
            "unit": self._names[one.whom], "protocol": one.protocol,
            "identifier": f"{one.identifier:0{one.digits}X}",
        }  # fmt: skip
        table |= {"once": True} if one.protocol == "service_09" else {"period_s": period_of(one)}
        said: Table = {"found_by": FOUND_BY} | ({"trace": self.heard.sha256} if self.heard.sha256 else {})
        lines = self._named(one, table, said)
        if lines:
            usable = not one.whom.maker or (one.whom, one.protocol) in self._proven
            return lines if usable else [f"# {line}" for line in lines]
        if one.protocol in STANDARD_FIELDS and _has_fields(one):
            return block("[[poll]]", table | said)
        return [
            *_seen(one),
            *(f"# {line}" for line in [*block("[[poll]]", table), "fields = []", *block("", said)[1:]]),
        ]

    def _named(self, one: Asked, table: Table, said: Table) -> list[str]:
        """Return the entry of a value that has a name; none if it has not, or cannot be one number."""
        for shown in self.shown:
            best = shown.best
            signal = self.signals.get(shown.word) or own_name(shown.word)
            if best is None or best.asked is not one or signal in self._taken:
                continue
            made = _field(best, signal)
            if made is not None:
                self._taken.add(signal)
                unscaled = "" if best.fit is not None else "; the number as it is sent: its scale is not known"
                note = f"{percent(best.confidence)} sure{unscaled}"
                said = said | {"checked_by": "; ".join(best.because), "note": note}
                return [
                    *_declared(shown.word, signal, best.fit.unit if best.fit is not None else ""),
                    *block("[[poll]]", table | {"fields": [field_table(made)]} | said),
                ]
        return []


def _unit_name(whom: Whom) -> str:
    by = whom.by or whom.to
    assert by is not None
    name = f"unit_{by.name.lower()}" + ("" if whom.address is None else f"_{whom.address:02x}")
    if by.prefix is not None and whom.to is not None and whom.to.prefix is not None:
        name += f"_{whom.to.prefix:02x}"
    return name


def _together(whom: Whom) -> bool:
    return whom.to is not None and speaks_to_all(whom.to)


def _padding(heard: Heard, to: Sender | None) -> int | None:
    """Return what the tester fills its requests with; 0 where they were not recorded."""
    stream = None if to is None else heard.stream(to.bus, to.id, to.extended)
    if stream is None:
        return 0
    if (stream.length < pci.FRAME_BYTES).all():
        return None
    start = 0 if to is None or to.prefix is None else 1
    short = (stream.data[:, start] < pci.FRAME_BYTES - 1 - start) & (stream.length == pci.FRAME_BYTES)
    return int(np.bincount(stream.data[short, -1]).argmax()) if short.any() else 0


# --- makers' formats --------------------------------------------------------------------------------------------------


def part_text(part: Part) -> str:
    """Return a part of a format as a description writes it."""
    match part.kind:
        case PartKind.COUNT:
            return f"count from {part.value:02X}"
        case PartKind.IDENTIFIER:
            return "identifier" + (f" {part.size}" if part.size > 1 else "")
        case PartKind.MODE | PartKind.FIXED:
            return f"{part.kind} {part.value:02X}"
    return str(part.kind)


def _names(form: SingleFrameFormat) -> bool:
    """Say whether an answer names what was asked."""
    return any(part.kind is PartKind.IDENTIFIER for part in form.reply)


def _format(form: SingleFrameFormat) -> list[str]:
    table: Table = {
        "command": f"{form.command:02X}", "reply_adds": f"{form.reply_adds:02X}",
        "request": [*map(part_text, form.request)], "reply": [*map(part_text, form.reply)], "found_by": FOUND_BY,
    }  # fmt: skip
    return block(f"[request_format.{form.name}]", table)


def _owners_word(form: SingleFrameFormat, unit: str, best: Asked) -> list[str]:
    return [
        f"# Another tester asked {best.name} {best.times} times and got {best.different} different answers: evidence,",
        f"# no proof, that {form.command:02X} only reads. It is asked once the owner writes into the configuration,",
        f'# under [reads], to stand for it:  {unit} = ["{form.command:02X}"]',
    ]


# --- polls ------------------------------------------------------------------------------------------------------------


def _has_fields(one: Asked) -> bool:
    if one.protocol == "service_09":
        return one.identifier == 0x02
    parameter = PARAMETERS.get(one.identifier or 0)
    return parameter is not None and bool(parameter.fields)


def _seen(one: Asked) -> list[str]:
    data = one.values[-1][1]
    count = len(data)
    text = data[:16].hex(" ").upper() + (" ..." if count > 16 else "")
    return [
        f"# {one.name}: {count} byte{'s' if count != 1 else ''}, last {text or 'none'}; {one.different} different in "
        f"{len(one.values)}. Not named yet."
    ]


def _field(candidate: Candidate, signal: str) -> Field | None:
    """Return the field of a value: as typed numbers have it, else all its bytes as one number."""
    fit = candidate.fit
    if fit is not None:
        known = CATALOGUE.get(signal)
        unit = fit.unit if fit.unit in UNITS and known is not None and known.unit != fit.unit else None
        scale, offset = (float(f"{number:.12g}") for number in (fit.line.scale, fit.line.offset))
        return Field(signal, fit.bits, fit.coding, scale=scale, offset=offset, unit=unit)
    width = min(len(data) for _, data in candidate.asked.values)
    return Field(signal, Bits(0, 8 * width, None, ByteOrder.BIG)) if 0 < width <= LONGEST_NUMBER else None


def _declared(word: str, signal: str, unit: str) -> list[str]:
    """Return the entry of a signal that only this car has, in the unit that was typed."""
    if signal in CATALOGUE:
        return []
    known = unit if unit in UNITS else ""
    return [*block("[[signal]]", signal_table(Signal(signal, known, f"{word}, as the tester calls it"))), ""]


def own_name(word: str) -> str:
    """Return the name of a signal that only this car has: ``car.charge_temperature``."""
    bare = re.sub(r"[^a-z0-9]+", "_", word.casefold()).strip("_") or "value"
    return word if word in CATALOGUE else f"car.{bare if bare[0].isalpha() else 'value_' + bare}"


def period_of(one: Asked) -> float:
    """Return how often to ask."""
    period_s = one.period_s or 1.0
    return next((usual for usual in PERIODS_S if usual >= 0.9 * period_s), PERIODS_S[-1])
