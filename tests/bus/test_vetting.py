from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.bus.refusals import Reason
from underdash.bus.services import Kind, service
from underdash.bus.templates import Parts, Span, Template, TemplateError, template
from underdash.bus.vetting import MakerEvidence, vet, vet_flow
from underdash.contract.cars import Exchange
from underdash.contract.requests import ControlUnit

LAWFUL = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
GEARBOX = ControlUnit("gearbox", "drive", 0x6F1, 0x612, address=0x18)
TURBO = ControlUnit("turbo", "drive", 0x1F00_0100, 0x1F00_0200, extended=True, address=0x51)
MAKER = Parts(bytes.fromhex("9551B4123401"), (Span(3, 2, ((0x1234, 0x1240),)),), 2, address_at=1, maker="tarn")
SHOWN = Exchange("tarn", "turbo", bytes.fromhex("9551B41230010000"), times=40, answers=12, trace="ab" * 32)
GRANTED = MakerEvidence({"turbo": (0xB4,)}, (SHOWN,))


def standard(payload: str, unit: ControlUnit = LAWFUL, at: int = 2, size: int = 1) -> Template:
    data = bytes.fromhex(payload)
    value = int.from_bytes(data[at : at + size], "big")
    address_at = None if unit.address is None else 0
    return template(unit, Parts(data, (Span(at, size, ((value, value),)),), at - 1, address_at))


def reason(made: Template, evidence: MakerEvidence | None = None) -> Reason | None:
    refusal = vet(made, evidence or MakerEvidence())
    return refusal.reason if refusal is not None else None


@pytest.mark.parametrize("payload", ["02010D", "020104", "020133", "02092F", "022101", "021A90", "021902"])
def test_services_that_read_are_free_on_the_ids_of_the_standard(payload: str) -> None:
    assert reason(standard(payload)) is None


def test_reading_by_identifier_is_free_behind_an_address_byte() -> None:
    assert reason(standard("180322F190", GEARBOX, at=3, size=2)) is None


@pytest.mark.parametrize("number", [n for n in range(256) if service(n).kind is not Kind.READS])
def test_no_other_service_is_ever_free(number: int) -> None:
    everything = MakerEvidence({"engine": range(256)}, (replace(SHOWN, unit="engine"),))

    assert reason(standard(f"02{number:02X}01"), everything) is Reason.SERVICE


def test_the_sentence_names_the_service_and_the_way_out() -> None:
    refusal = vet(standard("032E0101", size=2), MakerEvidence())

    assert refusal is not None
    assert "2E" in refusal.sentence
    assert "writes" in refusal.sentence
    assert "take the request out" in refusal.sentence


def test_a_request_that_is_no_single_frame_is_a_mistake_of_the_protocol() -> None:
    assert reason(standard("1022F190", at=2, size=2)) is Reason.SERVICE


def test_load_by_service_01_reads_as_clear_codes_where_an_address_byte_may_be_in_use() -> None:
    elsewhere = ControlUnit("engine", "drive", 0x6E0, 0x6E8)

    assert reason(standard("020104", elsewhere)) is Reason.LOOKS_LIKE
    assert reason(standard("02010D", elsewhere)) is None


def test_an_address_byte_that_looks_like_a_length_is_seen() -> None:
    # read without an address byte, five bytes follow and the first is 04: clear trouble codes
    awkward = replace(GEARBOX, address=0x05)

    assert reason(standard("05040104050C", awkward, at=3)) is Reason.LOOKS_LIKE


def test_a_range_is_refused_if_any_of_its_values_is_dangerous() -> None:
    elsewhere = ControlUnit("engine", "drive", 0x6E0, 0x6E8)
    made = template(elsewhere, Parts(bytes.fromhex("020100"), (Span(2, 1, ((0x0B, 0x12),)),), 1))

    assert reason(made) is Reason.LOOKS_LIKE


def test_an_id_the_car_sends_itself_is_refused() -> None:
    refusal = vet(standard("02010D"), MakerEvidence(), {("drive", 0x7E0)})

    assert refusal is not None
    assert refusal.reason is Reason.ID_IN_USE


# --- makers' commands ---------------------------------------------------------------------------------------------


def test_a_makers_command_is_free_with_permission_and_evidence() -> None:
    assert reason(template(TURBO, MAKER), GRANTED) is None


@pytest.mark.parametrize(
    ("evidence", "expected"),
    [
        (MakerEvidence(), Reason.MAKER_PERMISSION),
        (MakerEvidence({"turbo": (0xB4,)}), Reason.MAKER_EVIDENCE),
        (MakerEvidence({}, (SHOWN,)), Reason.MAKER_PERMISSION),
        (MakerEvidence({"turbo": (0xA7,)}, (SHOWN,)), Reason.MAKER_PERMISSION),
        (MakerEvidence({"other": (0xB4,)}, (SHOWN,)), Reason.MAKER_PERMISSION),
        *(
            (MakerEvidence({"turbo": (0xB4,)}, (shown,)), Reason.MAKER_EVIDENCE)
            for shown in (
                replace(SHOWN, times=9),
                replace(SHOWN, answers=1),
                replace(SHOWN, trace=""),
                replace(SHOWN, unit="other"),
                replace(SHOWN, format="other"),
                replace(SHOWN, request=bytes.fromhex("9551B512300100")),  # another command
                replace(SHOWN, request=bytes.fromhex("9552B412300100")),  # another address
                replace(SHOWN, request=bytes.fromhex("9551B412300200")),  # another mode
                replace(SHOWN, request=bytes.fromhex("9551B4")),
            )
        ),
    ],
)
def test_permission_or_evidence_alone_is_not_enough(evidence: MakerEvidence, expected: Reason) -> None:
    assert reason(template(TURBO, MAKER), evidence) is expected


def test_the_sentence_says_what_to_write_where() -> None:
    refusal = vet(template(TURBO, MAKER), MakerEvidence())

    assert refusal is not None
    assert 'write turbo = ["B4"] under [reads]' in refusal.sentence


@pytest.mark.parametrize("number", [n for n in range(256) if service(n).kind in (Kind.DENIED, Kind.LATER)])
def test_no_evidence_opens_a_denied_number(number: int) -> None:
    payload = bytes([0x95, 0x51, number, 0x12, 0x34, 0x01])
    made = template(TURBO, replace(MAKER, payload=payload))
    evidence = MakerEvidence({"turbo": range(256)}, (replace(SHOWN, request=payload),))

    assert reason(made, evidence) is Reason.SERVICE


def test_a_makers_format_that_reads_as_a_reset_is_refused() -> None:
    # taken for ISO 15765-2 without an address byte: five bytes, service 11
    payload = bytes.fromhex("0511B4123401")
    made = template(TURBO, replace(MAKER, payload=payload))
    evidence = MakerEvidence({"turbo": (0xB4,)}, (replace(SHOWN, request=payload),))

    assert reason(made, evidence) is Reason.LOOKS_LIKE


def test_evidence_for_one_command_does_not_cover_another_that_shows_when_read_differently() -> None:
    payload = bytes.fromhex("05A0B4123401")
    made = template(TURBO, replace(MAKER, payload=payload))
    evidence = MakerEvidence({"turbo": (0xB4,)}, (replace(SHOWN, request=payload),))

    assert reason(made, evidence) is Reason.LOOKS_LIKE


TELLING = [0x01, 0x02, 0x03, 0x05, 0x06, 0x10, 0x11, 0x14, 0x22, 0x2E, 0x04, 0x21, 0x51, 0xB4, 0x95]
PAYLOADS = st.lists(st.sampled_from(TELLING) | st.integers(0, 255), min_size=2, max_size=8).map(bytes)


def test_a_makers_command_spoken_the_standard_way_is_free_with_the_same_evidence() -> None:
    unit = replace(TURBO, address=None)
    payload = bytes.fromhex("03B41234")
    made = template(unit, Parts(payload, (Span(2, 2, ((0x1234, 0x1234),)),), 1, maker="tarn"))
    evidence = MakerEvidence({"turbo": (0xB4,)}, (replace(SHOWN, request=payload),))

    assert reason(made, evidence) is None


@st.composite
def declared(draw: st.DrawFn) -> Template | None:
    """Draw any request a description could declare; None where it is no request at all."""
    payload = draw(PAYLOADS)
    low, high = sorted((draw(st.integers(0, 255)), draw(st.integers(0, 255))))
    place = st.integers(0, len(payload) - 1)
    spans = (Span(draw(place), 1, ((low, high),)),)
    address_at = draw(st.sampled_from([None, None, 0, 1]))
    parts = Parts(payload, spans, draw(place), address_at, draw(st.sampled_from([None, "tarn"])))
    unit = ControlUnit("unit", "drive", draw(st.sampled_from([0x7E0, 0x6F1])), 0x7E8)
    try:
        return template(unit, parts)
    except TemplateError:
        return None


@settings(max_examples=400)
@given(declared())
def test_whatever_is_declared_no_denied_service_gets_through(made: Template | None) -> None:
    if made is None:
        return
    shown = Exchange("tarn", "unit", made.value, 10, 2, "hash")
    if vet(made, MakerEvidence({"unit": range(256)}, (shown,))) is not None:
        return
    span = made.ranges[0]
    lawful = made.maker is None and made.address_at is None and made.key == 0x7E0
    for value in range(span.allowed[0][0], span.allowed[0][1] + 1):
        data = made.value[: span.at] + bytes([value]) + made.value[span.at + 1 :]
        for found in read_both_ways(data, with_address=not lawful):
            assert service(found).kind not in (Kind.DENIED, Kind.LATER), data.hex()
            assert service(found).kind is not Kind.MAKER or (made.maker and found == made.command), data.hex()


def read_both_ways(data: bytes, with_address: bool) -> list[int]:
    """Read a frame as ISO 15765-2 independently of the code under test."""
    found = []
    for start in (0, 1) if with_address else (0,):
        kind = data[start]
        if 0x01 <= kind <= 0x07 - start:
            found.append(data[start + 1])
        if 0x10 <= kind <= 0x1F:
            found.append(data[start + 2])
    return found


@pytest.mark.parametrize(
    ("block_size", "st_min", "address", "named"),
    [(2, 0x11, None, "11"), (4, 0x14, None, "14"), (0x10, 0, None, None), (0, 0, 0x02, "30"), (0, 0, 0x5C, None)],
)
def test_flow_control_that_could_be_read_as_a_denied_service_is_known_from_the_description(
    block_size: int, st_min: int, address: int | None, named: str | None
) -> None:
    seat = ControlUnit("seat", "drive", 0x6E2, 0x6EA, address=address, block_size=block_size, st_min=st_min)
    refusal = vet_flow(standard("0322F190" if address is None else "020322F190", seat, 2 + (address is not None), 2))
    if named is None:
        assert refusal is None
    else:
        assert refusal is not None
        assert refusal.reason is Reason.LOOKS_LIKE
        assert f"read as {service(int(named, 16))}" in refusal.sentence
        assert "unit.seat" in refusal.sentence
        assert "block_size or st_min_ms" in refusal.sentence


def test_on_the_ids_of_the_standard_flow_control_is_read_in_one_way_only() -> None:
    assert vet_flow(standard("02010D", replace(LAWFUL, block_size=2, st_min=0x11))) is None
