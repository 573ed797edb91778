from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.layout import Bits, Field
from underdash.contract.requests import ControlUnit, Part, PartKind, PollRequest, Protocol, SingleFrameFormat
from underdash.diagnostics import obd
from underdash.diagnostics.parameters import own_signals
from underdash.diagnostics.requests import Compiled, compile_polls
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Store

ENGINE = ControlUnit("engine", "drive", 0x18DA10F1, 0x18DAF110, extended=True)
GEARBOX = ControlUnit("gearbox", "drive", 0x7E1, 0x7E9, padding=None)
OIL = Field("gearbox.oil_temperature", Bits(0), offset=-40.0)
COOLANT = Field("engine.coolant_temperature", Bits(0), offset=-40.0)
CAR = CarDescription("tarn", "Halden Tarn", (BusDescription("drive", 500_000),), (ENGINE, GEARBOX))
SIGNALS = CATALOGUE.with_signals(own_signals())


def compiled(*requests: PollRequest, car: CarDescription = CAR, protocols: tuple[Protocol, ...] = ()) -> Compiled:
    return compile_polls(car, requests, protocols, Store(SIGNALS), SIGNALS)


def coolant(**changes: object) -> PollRequest:
    return replace(PollRequest("engine", "service_01", 0x05, (COOLANT,), period_s=2.0), **changes)  # type: ignore[arg-type]


def test_a_request_becomes_a_frame_a_key_and_slots() -> None:
    found = compiled(coolant())
    (poll,) = found.polls
    assert found.problems == []
    assert str(poll.frame) == "18DA10F1#0201050000000000"
    assert poll.response_key == 0x18DAF110 | 0x8000_0000
    assert poll.name == "engine 01 05"
    assert poll.signals == ("engine.coolant_temperature",)
    slot = poll.slots["engine.coolant_temperature"]
    assert (slot.source, slot.rank, slot.elastic, slot.period_s) == ("poll engine 01 05", Rank.POLL, True, 2.0)


def test_padding_is_the_units_own_and_zero_is_one_too() -> None:
    request = PollRequest("gearbox", "identifier_22", 0x1234, (OIL,))
    assert compiled(request).polls[0].frame.data == bytes.fromhex("03221234")
    for padding in (0x00, 0x55):
        car = replace(CAR, units=(replace(GEARBOX, padding=padding),))
        assert compiled(request, car=car).polls[0].frame.data == bytes.fromhex("03221234") + bytes((padding,)) * 4


def test_equal_requests_merge_into_one_with_all_their_fields() -> None:
    other = Field("engine.coolant_temperature_radiator", Bits(1), offset=-40.0)
    (poll,) = compiled(coolant(), coolant(period_s=0.5, fields=(COOLANT, other), once=True)).polls
    assert set(poll.signals) == {"engine.coolant_temperature", "engine.coolant_temperature_radiator"}
    assert poll.period_s == 0.5
    assert not poll.once


def test_a_field_too_far_out_costs_the_others_nothing() -> None:
    far = Field("engine.coolant_temperature_radiator", Bits(3), offset=-40.0)
    request = PollRequest("engine", "identifier_22", 0x1234, (COOLANT, far))
    (poll,) = compiled(request).polls
    poll.read(b"\x7b", 1.0)
    assert poll.slots["engine.coolant_temperature"].value == 83.0
    assert poll.slots["engine.coolant_temperature_radiator"].value is None
    assert poll.longest == 4


def test_what_is_asked_once_does_not_age() -> None:
    (poll,) = compiled(coolant(once=True)).polls
    slot = poll.slots["engine.coolant_temperature"]
    assert (slot.period_s, slot.elastic) == (inf, False)


def test_a_full_scale_comes_from_the_other_answer_of_the_same_unit() -> None:
    found = compiled(*obd.polls("engine", [0x0B, 0x4F]))
    pressure, scales = found.polls
    assert pressure.references == {"obd2.full_scale_manifold_pressure"}
    scales.read(bytes.fromhex("0000003C"), 1.0)
    pressure.read(b"\x55", 1.0)
    assert pressure.slots["engine.manifold_pressure"].value == pytest.approx(200.0)


def test_two_units_names_do_not_share_their_full_scales() -> None:
    (other,) = compiled(obd.poll("engine", 0x0B), replace(obd.poll("gearbox", 0x4F), period_s=1.0)).polls[:1]
    other.read(b"\x55", 1.0)
    assert other.slots["engine.manifold_pressure"].value == 85.0


FORM = SingleFrameFormat(
    "made_up", 0xA3, (Part(PartKind.ADDRESS), Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER)), ()
)


def raises(unit: ControlUnit, identifier: int) -> bytes:
    raise ZeroDivisionError("plug-in")


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        (coolant(unit="enigne"), ("no unit 'enigne'", "did you mean 'engine'?")),
        (coolant(protocol="service_1"), ("protocol 'service_1' is not known", "did you mean 'service_01'?")),
        (coolant(identifier=0x1FF), ("engine 01 1FF", "outside 0 to FF")),
        (coolant(identifier=-1), ("outside 0 to FF",)),
        (coolant(period_s=0.0), ("period is 0 s",)),
        (coolant(period_s=inf), ("period is inf s",)),
        (coolant(fields=(), protocol="identifier_22"), ("feeds no signal",)),
        (
            coolant(fields=(replace(COOLANT, signal="engine.coolant_temperatur"),)),
            ("'engine.coolant_temperatur' is not known", "did you mean 'engine.coolant_temperature'?"),
        ),
        (coolant(fields=(replace(COOLANT, unit="kPa"),)), ("engine.coolant_temperature", "kPa")),
        (coolant(fields=(replace(COOLANT, bits=Bits(-1)),)), ("byte -1",)),
        (coolant(fields=(replace(COOLANT, bits=Bits(4093)),), identifier=0xF2), ("4094 bytes", "holds 4093")),
        (coolant(protocol="raises"), ("cannot be spelt", "plug-in")),
        (coolant(protocol="endless"), ("9 bytes",)),
        (coolant(protocol="outside"), ("lie outside", "'outside' has to be corrected")),
    ],
)
def test_a_request_that_cannot_work_is_told_and_the_others_run(request_: PollRequest, words: tuple[str, ...]) -> None:
    protocols = (
        Protocol("raises", raises, lambda unit, data: None, (1,), 0),
        Protocol("endless", lambda unit, identifier: bytes(9), lambda unit, data: None, (1,), 0),
        Protocol("outside", lambda unit, identifier: bytes(2), lambda unit, data: None, (5,), 0),
    )
    found = compiled(request_, obd.poll("engine", 0x0C), protocols=protocols)
    assert len(found.problems) == 1
    assert all(word in found.problems[0] for word in words), found.problems[0]
    assert found.polls[-1].name == "engine 01 0C"


def test_two_fields_of_one_answer_on_one_signal_are_told_and_the_first_counts() -> None:
    found = compiled(coolant(), coolant(fields=(replace(COOLANT, bits=Bits(1)),)))
    (problem,) = found.problems
    assert "two fields feed engine.coolant_temperature, at byte 0 and at byte 1" in problem
    (poll,) = found.polls
    assert poll.fields == (COOLANT,)


def test_a_unit_on_a_bus_the_car_has_not_is_told() -> None:
    car = replace(CAR, units=(replace(ENGINE, bus="drvie"),))
    (problem,) = compiled(coolant(), car=car).problems
    assert "did you mean 'drive'?" in problem


def test_a_format_that_cannot_be_used_is_told() -> None:
    found = compiled(coolant(), car=replace(CAR, formats=(FORM,)))
    assert "format 'made_up' cannot be used" in found.problems[0]
    assert len(found.polls) == 1


def test_what_a_problem_takes_out_leaves_no_slot_behind() -> None:
    store = Store(SIGNALS)
    compile_polls(CAR, [coolant(fields=(replace(COOLANT, unit="kPa"),))], (), store, SIGNALS)
    assert store.names() == []


def test_the_slots_of_a_description_can_be_taken_out_again() -> None:
    store = Store(SIGNALS)
    found = compile_polls(CAR, [coolant(), obd.poll("engine", 0x0C)], (), store, SIGNALS)
    assert store.names() == ["engine.coolant_temperature", "engine.speed"]
    store.drop(found.slots())
    assert store.names() == []
