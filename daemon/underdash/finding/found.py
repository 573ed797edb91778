"""What was found: places in frames, ranked, with how sure it is and what speaks for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ..broadcast.bits import place_of
from ..bus.frames import id_text, key_of
from ..contract.layout import Bits, Coding, Select

Plain = str | float | int | bool | None | Sequence["Plain"] | Mapping[str, "Plain"]
"""What JSON can hold."""


@dataclass(frozen=True, slots=True)
class Where:
    """A place: some bits of the frames of one id.

    Attributes:
        bus, id, extended: which frames.
        bits: which of their bits.
        coding: how they spell a number.
        select: the multiplexer's condition under which they are there.
        comes: it is not what is in the frames, but that they come at all; `bits` is then all of a frame.
    """

    bus: str
    id: int
    extended: bool
    bits: Bits
    coding: Coding = Coding.UNSIGNED
    select: Select | None = None
    comes: bool = False

    def __str__(self) -> str:
        """Write as a person reads it, bytes and bits counted from 0: ``comfort 2C1 byte 2 bit 0``.

        Under a multiplexer: ``comfort 2C1 byte 2 bit 0 while byte 0 is 3``.
        """
        frame = f"{self.bus} {id_text(key_of(self.id, self.extended))}"
        if self.comes:
            return f"{frame} being sent at all"
        place = f"{frame} {bits_text(self.bits)}"
        return place if self.select is None else f"{place} while {select_text(self.select)}"

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        table: dict[str, Plain] = {
            "bus": self.bus,
            "id": id_text(key_of(self.id, self.extended)),
            "extended": self.extended,
            **bits_plain(self.bits),
            "coding": str(self.coding),
        }
        if self.select is not None:
            table["select"] = {**bits_plain(self.select.bits), "values": list(self.select.values)}
        if self.comes:
            table["comes"] = True
        return table


@dataclass(frozen=True, slots=True)
class Candidate:
    """One answer among several.

    Attributes:
        where: the place.
        confidence: how likely it is the right one, 0 to 1; of candidates that cannot be told apart, each has its share.
        score: what they were ranked by, larger is better; its meaning is the method's own.
        because: sentences that say what speaks for it and what against.
        meaning: what its raw numbers were while something was done: ``{0: "released", 2: "menu"}``.
        figures: further results by name, such as ``{"scale": 0.01, "scale_error": 0.0001, "lag_s": 0.18}``.
        word: which of the meanings was asked about, where the field has several buttons.
    """

    where: Where
    confidence: float
    score: float
    because: tuple[str, ...] = ()
    meaning: Mapping[int, str] = field(default_factory=dict)
    figures: Mapping[str, float] = field(default_factory=dict)
    word: str = ""

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        return {
            **self.where.plain(),
            "confidence": round(self.confidence, 4),
            "score": round(self.score, 4),
            "because": list(self.because),
            "meaning": {str(raw): text for raw, text in self.meaning.items()},
            "figures": dict(self.figures),
        }


@dataclass(frozen=True, slots=True)
class Answer:
    """What a search came to.

    Attributes:
        question: what was searched, in words: ``menu``.
        ranks: best first; those within one rank cannot be told apart by this recording.
        remarks: sentences a person should read: why nothing was found, what another recording should do.
    """

    question: str
    ranks: tuple[tuple[Candidate, ...], ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def best(self) -> Candidate | None:
        """The best candidate; None where none or several are equally good."""
        return self.ranks[0][0] if self.ranks and len(self.ranks[0]) == 1 else None

    def plain(self) -> dict[str, Plain]:
        """Return what ``--json`` writes."""
        return {
            "question": self.question,
            "ranks": [[candidate.plain() for candidate in rank] for rank in self.ranks],
            "remarks": list(self.remarks),
        }


def percent(confidence: float) -> str:
    """Write how likely something is: no recording makes it certain, nor rules it out."""
    if confidence < 0.005:
        return "below 1 %"
    return "above 99 %" if confidence >= 0.995 else f"{100 * confidence:.0f} %"


def meaning_text(meaning: Mapping[int, str]) -> str:
    """Write meanings, neighbours of one meaning together: ``0 released, 2 menu``, ``248 to 250 released, 16 menu``."""
    runs: list[tuple[int, int, str]] = []
    for raw, said in meaning.items():
        if runs and runs[-1][1:] == (raw - 1, said):
            runs[-1] = runs[-1][0], raw, said
        else:
            runs.append((raw, raw, said))
    return ", ".join(f"{low} {said}" if low == high else f"{low} to {high} {said}" for low, high, said in runs)


def bits_text(bits: Bits) -> str:
    """Write where bits are, counted from 0: ``byte 2 bit 0``, ``byte 2 bits 0 to 3``, ``bytes 4 to 5, big-endian``."""
    place = place_of(bits)
    if place.first == place.last:
        if place.length == 8:
            return f"byte {place.first}"
        if place.length == 1:
            return f"byte {place.first} bit {place.shift}"
        return f"byte {place.first} bits {place.shift} to {place.shift + place.length - 1}"
    order = f"{bits.order}-endian"
    if place.whole:
        return f"bytes {place.first} to {place.last}, {order}"
    return f"{bits.length} bits from byte {bits.byte} bit {bits.bit}, {order}"


def select_text(select: Select) -> str:
    """Write a multiplexer's condition: ``byte 0 is 3``, ``byte 0 bits 0 to 3 is 1 or 2 and byte 1 is 4``."""
    text = f"{bits_text(select.bits)} is {' or '.join(map(str, select.values))}"
    return text if select.within is None else f"{text} and {select_text(select.within)}"


def bits_plain(bits: Bits) -> dict[str, Plain]:
    """Return bits as ``--json`` writes them, with the bit's number as DBC files count it (`start`)."""
    bit = bits.bit if bits.bit is not None else (0 if bits.order == "little" else 7)
    return {
        "byte": bits.byte,
        "bit": bit,
        "length": bits.length,
        "order": str(bits.order),
        "start": 8 * bits.byte + bit,
    }
