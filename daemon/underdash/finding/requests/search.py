"""Another tester's requests and answers in a trace: who asked whom for what, how, and which value is which."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ...bus.services import Kind, service
from ...contract.errors import GivenError
from ...signals.catalogue import CATALOGUE
from ..found import Plain
from ..heard import Heard
from ..marks import EARLY_S, LATEST_S, Mark, marks_of
from ..reading import Progress
from .as_polls import Draft, own_name, part_text
from .asked_for import Asked, Whom, asked_for
from .maker import Maker
from .makers import makers
from .on_show import Shown, on_show, split
from .readings import Reading
from .senders import Sender
from .strays import strays_of, told_of
from .testers import Dialogue, dialogue

NEVER_SENT = "not reading; underdash never sends this"
_CHANNEL = re.compile(r"v?s?l?can\d+")
NOT_READING = (Kind.DENIED, Kind.LATER, Kind.UNKNOWN)
SIMULATED_ONLY = (
    "how well one-frame formats are worked out was only tried on simulated control units, since no open recording has "
    "one: check what is read from it against something known"
)


@dataclass(slots=True)
class Requests:
    """What a tester did.

    Attributes:
        dialogue: requests and answers in ISO-TP.
        makers: one-frame formats.
        asked: sums by unit and value.
        shown: which values the words of a person mean.
        description: lines for a description of the car.
        remarks: sentences about the whole.
    """

    dialogue: Dialogue
    makers: list[Maker]
    asked: list[Asked]
    shown: list[Shown] = field(default_factory=list)
    description: str = ""
    remarks: list[str] = field(default_factory=list)

    @property
    def anything(self) -> bool:
        """Whether there is a tester at all."""
        return bool(self.asked or self.makers)

    @property
    def places(self) -> set[tuple[str, int, bool]]:
        """The ids (bus, id, extended) on which testers ask and units answer."""
        ends = (end for one in self.makers for end in (one.to, one.by))
        return {_place(one) for one in (*self.dialogue.spoken, *ends)}

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        units: dict[Whom, list[Asked]] = {}
        for one in self.asked:
            units.setdefault(one.whom, []).append(one)
        return {
            "units": [
                {
                    "name": str(whom),
                    "bus": whom.bus,
                    "request": None if whom.to is None else whom.to.name,
                    "response": None if whom.by is None else whom.by.name,
                    "address": None if whom.address is None else f"{whom.address:02X}",
                    "asked": [one.plain() for one in asked],
                }
                for whom, asked in units.items()
            ],
            "formats": [_format(one) for one in self.makers],
            "shown": [one.plain() for one in self.shown],
            "description": self.description,
            "remarks": [*self.remarks],
        }


def _format(one: Maker) -> Plain:
    form = one.form
    return {
        "request": one.to.name,
        "response": one.by.name,
        "spelt": round(one.spelt, 4),
        "remarks": [*one.remarks],
        "format": None
        if form is None
        else {
            "name": form.name,
            "command": f"{form.command:02X}",
            "reply_adds": f"{form.reply_adds:02X}",
            "request": [*map(part_text, form.request)],
            "reply": [*map(part_text, form.reply)],
        },
    }


def find_requests(
    heard: Heard, marks: Sequence[Mark] = (), typed: Mapping[str, Sequence[Reading]] | None = None,
    signals: Mapping[str, str] | None = None, progress: Progress | None = None,
) -> Requests:  # fmt: skip
    """Find a tester's requests.

    Args:
        heard: the trace.
        marks: intervals of what was on show, and numbers read off it.
        typed: further such numbers, by word.
        signals: the signal that a word means.
        progress: told now and then how far it is, 0 to 1.

    Raises:
        GivenError: marks or numbers lie outside the trace.
    """
    if marks:
        marks_of(marks, heard)
    windows, readings = split(marks)
    for word, more in (typed or {}).items():
        outside = [one for one in more if not heard.begin - EARLY_S <= one.at <= heard.end + LATEST_S]
        if outside:
            raise GivenError(
                f"the number typed for {word} at {outside[0].at:.1f} s lies outside the trace, which goes from "
                f"{heard.begin:.1f} to {heard.end:.1f} s: another time base, or numbers of another trace?"
            )
        readings[word] = sorted([*readings.get(word, ()), *more], key=lambda one: one.at)
    found = dialogue(heard, _part(progress, 0.0))
    known = {_place(one) for one in found.spoken} - _makers_own(found)
    strays = strays_of(heard, [one for one in found.spoken if _place(one) in known])
    others = [one for one in heard if (one.bus, one.id, one.extended) not in known]
    formats = makers(replace(heard, streams=(*others, *strays)), _part(progress, 0.5))
    found.leave_out({_place(end) for one in formats if one.form is not None for end in (one.to, one.by)} - known)
    asked = asked_for(found, formats)
    result = Requests(found, formats, asked, on_show(asked, windows, readings) if asked else [])
    result.description = Draft(heard, found, formats, asked, result.shown, signals or {}).text()
    result.remarks = [*_remarks(result, signals or {}), *told_of(strays, formats)]
    return result


def _part(progress: Progress | None, begin: float) -> Progress | None:
    """Return what tells the progress of half of the work."""
    return None if progress is None else lambda share: progress(begin + share / 2)


def _place(sender: Sender) -> tuple[str, int, bool]:
    return sender.bus, sender.id, sender.extended


def _makers_own(found: Dialogue) -> set[tuple[str, int, bool]]:
    """Return ids on which ISO-TP carries makers' services only, each in one frame: that may as well be a format of one.

    A count from 0 in front of a command of the maker's spells just what ISO-TP does.
    """
    own: set[tuple[str, int, bool]] = set()
    others: set[tuple[str, int, bool]] = set()
    for sender, spoken in found.spoken.items():
        said = [*spoken.requests, *spoken.answers]
        mine = all(message.frames == 1 and service(message.service).kind is Kind.MAKER for message in said)
        (own if mine else others).add(_place(sender))
    return own - others


def _remarks(result: Requests, signals: Mapping[str, str]) -> list[str]:
    found = []
    if not result.anything:
        return [
            "nobody asks anything here that could be recognised: no requests and answers of ISO-TP, and no pair of ids "
            "that repeats what was asked; record while the tester shows values, at the wires it is on"
        ]
    alone = sum(one.request is None for one in result.dialogue.exchanges)
    if alone:
        found.append(f"{alone} answers without requests: those were not recorded, or sent on a bus that was not")
    if result.dialogue.unclear:
        found.append(f"{result.dialogue.unclear} flow control frames for answers whose first frame was not recorded")
    if any(one.form is not None for one in result.makers):
        found.append(SIMULATED_ONLY)
    own = [shown.word for shown in result.shown if shown.best is not None and own_name(shown.word) not in CATALOGUE]
    # what is no number, such as a vehicle's number, is not written down
    if nameless := [word for word in own if word not in signals and f'"{own_name(word)}"' in result.description]:
        given = shlex.quote(f"{nameless[0]}=SIGNAL")
        found.append(
            f"{', '.join(nameless)}: written down as {', '.join(map(own_name, nameless))}; `underdash signals WORD` "
            f"lists the names that pages know, and --name {given} gives it one of them"
        )
    channels = sorted({one.whom.bus for one in result.asked if _CHANNEL.fullmatch(one.whom.bus)})
    if result.description and channels:
        found.append(f"buses are called as in the recording; --bus drive={channels[0]} gives {channels[0]} its role")
    return found
