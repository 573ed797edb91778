from __future__ import annotations

from dataclasses import replace

from underdash.bus.templates import services_read
from underdash.bus.vetting import MakerEvidence, is_denied, vet
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, PollRequest
from underdash.diagnostics.batches import Batches, frames_of
from underdash.diagnostics.requests import Compiled, compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Store

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
SIGNALS = ("engine.load", "fuel.level", "fuel.rate", "engine.throttle", "engine.oil_temperature")


def compiled(unit: ControlUnit, identifiers: tuple[int, ...]) -> Compiled:
    car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), (unit,))
    requests = [
        PollRequest(unit.name, "identifier_22", n, (Field(s, Bits(0)),))
        for n, s in zip(identifiers, SIGNALS, strict=False)
    ]
    return compile_polls(car, requests, (), Store(CATALOGUE))


def test_every_batch_of_one_frame_has_a_template_and_every_template_is_let_out() -> None:
    found = compiled(ENGINE, (0x1000, 0x1001, 0x1002, 0x1003))
    assert [poll.most_in_a_frame for poll in found.polls] == [3, 3, 3, 3]
    assert {poll.most for poll in found.polls} == {12}
    assert len(found.templates) == 3
    assert all(vet(one, MakerEvidence()) is None for one in found.templates)
    for count in (2, 3):
        frame = Batches().of(found.polls[:count]).frame
        assert sum(one.matches(frame) for one in found.templates) == 1


def test_a_batch_that_could_be_read_as_a_denied_service_is_not_built() -> None:
    # made up: read with an address byte, "05 22 01 11 .." is a request for reset
    unit = replace(ENGINE, request_id=0x700, response_id=0x708, address=0x5C)
    found = compiled(unit, (0x0111, 0x0122))
    assert all(poll.most_in_a_frame <= 2 for poll in found.polls)
    for one in found.templates:
        refused = vet(one, MakerEvidence())
        values = [one.values_at(at) for at in range(len(one.value))]
        denied = any(is_denied(n) for offset in (0, 1) for n in services_read(values, offset))
        assert (refused is not None) == denied


def test_requests_in_several_frames_are_built_only_where_a_standard_fixes_the_id() -> None:
    unit = replace(ENGINE, request_id=0x700, response_id=0x708)
    assert all(poll.most == poll.most_in_a_frame <= 3 for poll in compiled(unit, (0x1000, 0x1001)).polls)


def test_a_message_becomes_frames_that_are_padded_as_the_unit_wants_them() -> None:
    message = bytes.fromhex("22100010011002100310041005")
    assert [frame.data.hex() for frame in frames_of(ENGINE, message)] == ["100d221000100110", "2102100310041005"]
    bare = replace(ENGINE, padding=None)
    assert [frame.data.hex() for frame in frames_of(bare, message[:9])] == ["1009221000100110", "21021003"]
