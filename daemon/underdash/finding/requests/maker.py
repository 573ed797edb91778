"""A maker's one-frame format with its use on one pair of ids."""

from __future__ import annotations

from dataclasses import dataclass, field

from ...contract.requests import Answer, ControlUnit, PartKind, SingleFrameFormat
from ...diagnostics import single_frame
from ...diagnostics.isotp import FRAME_BYTES
from .asked import Exchange
from .senders import Sender


@dataclass(slots=True)
class Maker:
    """A one-frame format and its use on one pair of ids.

    Attributes:
        to, by: the ids, without an address byte.
        form: the format; None where one is spoken that could not be worked out.
        padding: what requests are filled with, None where they are not.
        units: addresses that were asked; None for a format without.
        exchanges: all that was asked in it, and what came of it; an answer to a request in another mode is left out.
        spelt: share of the answered exchanges that the format spells and reads to the byte.
        remarks: sentences: what else the format could be, why it is none, what on its ids was not understood.
    """

    to: Sender
    by: Sender
    form: SingleFrameFormat | None = None
    padding: int | None = None
    units: tuple[int | None, ...] = ()
    exchanges: list[Exchange] = field(default_factory=list)
    spelt: float = 0.0
    remarks: list[str] = field(default_factory=list)

    def unit(self, address: int | None) -> ControlUnit:
        """Return the control unit with an address."""
        return ControlUnit(
            "", self.to.bus, self.to.id, self.by.id, self.to.extended, address=address, padding=self.padding
        )

    @property
    def answered(self) -> list[Exchange]:
        """The exchanges with an answer."""
        return [one for one in self.exchanges if one.answer is not None]

    def read(self, exchange: Exchange) -> tuple[int | None, int | None, Answer | None]:
        """Return the address and the identifier that were asked for, and the answer, each None where there is none."""
        assert exchange.request is not None
        address, identifier = self.named(exchange.request.data)
        answer = exchange.answer
        return address, identifier, None if answer is None else self.said(address, answer.data)

    def named(self, request: bytes) -> tuple[int | None, int | None]:
        """Return the address and the identifier that a request names."""
        assert self.form is not None
        at = 0
        address = identifier = None
        for part in self.form.request:
            number = int.from_bytes(request[at : at + part.size])
            at += part.size
            if part.kind is PartKind.ADDRESS:
                address = number
            elif part.kind is PartKind.IDENTIFIER:
                identifier = number
        return address, identifier

    def said(self, address: int | None, reply: bytes) -> Answer | None:
        """Return what a unit answered with a frame; None if that is no answer of it."""
        assert self.form is not None
        said = single_frame.decode(self.form, self.unit(address), reply)
        return said if isinstance(said, Answer) else None

    def spells(self, request: bytes) -> bool:
        """Say whether the format spells a request to the byte."""
        assert self.form is not None
        address, identifier = self.named(request)
        if identifier is None or sum(part.size for part in self.form.request) > len(request):
            return False
        spelt = single_frame.encode(self.form, self.unit(address), identifier)
        return request == (spelt if self.padding is None else spelt.ljust(FRAME_BYTES, bytes((self.padding,))))
