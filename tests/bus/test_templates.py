from __future__ import annotations

import pytest

from underdash.bus.frames import EXTENDED, Frame
from underdash.bus.legislated import has_legislated_id
from underdash.bus.templates import Parts, Span, TemplateError, services_read, template
from underdash.contract.requests import ControlUnit

ENGINE = ControlUnit("engine", "drive", 0x7E0, 0x7E8)
SPEED = Parts(bytes.fromhex("02010D"), (Span(2, 1, ((0x0C, 0x0D),)),), command_at=1)


def test_only_identifier_bytes_vary() -> None:
    made = template(ENGINE, SPEED)

    assert made.mask.hex() == "ffff00ffffffffff"
    assert made.value.hex() == "0201000000000000"
    assert str(made) == "drive 7E0#0201..0000000000"


@pytest.mark.parametrize(
    ("data", "matches"),
    [
        ("02010C0000000000", True),
        ("02010D0000000000", True),
        ("02010E0000000000", False),  # not declared
        ("02020C0000000000", False),  # another service
        ("03010C0000000000", False),  # another length
        ("02010C0000000001", False),  # other padding
        ("02010C", False),  # no padding
        ("02010C000000000000", False),
        ("", False),
    ],
)
def test_a_frame_matches_byte_by_byte(data: str, matches: bool) -> None:
    assert template(ENGINE, SPEED).matches(Frame(0x7E0, bytes.fromhex(data))) is matches


def test_the_same_id_with_29_bits_is_another_id() -> None:
    assert not template(ENGINE, SPEED).matches(Frame(0x7E0, bytes.fromhex("02010C0000000000"), extended=True))


def test_a_unit_without_padding_gets_short_frames_only() -> None:
    made = template(ControlUnit("engine", "drive", 0x7E0, 0x7E8, padding=None), SPEED)

    assert made.matches(Frame(0x7E0, bytes.fromhex("02010C")))
    assert not made.matches(Frame(0x7E0, bytes.fromhex("02010C0000000000")))


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        (Parts(bytes(9), (), 0), "9 bytes"),
        (Parts(b"", (), 0), "0 bytes"),
        (Parts(bytes(3), (), 3), "command byte 3"),
        (Parts(bytes(3), (Span(2, 2, ((0, 1),)),), 1), "lie outside"),
        (Parts(bytes(3), (Span(1, 1, ((0, 1),)),), 1), "overlap"),
        (Parts(bytes(3), (Span(2, 1, ((0, 1),)),), 1, address_at=2), "overlap"),
        (Parts(bytes(4), (Span(2, 2, ((0, 1),)), Span(3, 1, ((0, 1),))), 1), "overlap"),
        (Parts(bytes(3), (Span(2, 1, ((0, 256),)),), 1), "inside 0 to 255"),
        (Parts(bytes(3), (Span(2, 1, ()),), 1), "ranges"),
        (Parts(bytes(3), (Span(2, 1, ((5, 4),)),), 1), "ranges"),
    ],
)
def test_what_is_no_request_is_a_sentence(parts: Parts, says: str) -> None:
    with pytest.raises(TemplateError, match=says):
        template(ENGINE, parts)


@pytest.mark.parametrize(("byte", "values"), [(2, {0x00}), (3, set(range(0x34, 0x39))), (1, set()), (4, set())])
def test_the_values_of_each_byte_of_an_identifier_are_known(byte: int, values: set[int]) -> None:
    span = Span(2, 2, ((0x0034, 0x0038),))

    assert (span.values_at(byte) if byte in (2, 3) else set()) == values


def test_a_wide_range_reaches_every_low_byte() -> None:
    span = Span(2, 2, ((0x10F0, 0x12EF),))

    assert span.values_at(2) == {0x10, 0x11, 0x12}
    assert span.values_at(3) == set(range(256))


@pytest.mark.parametrize(
    ("data", "offset", "services"),
    [
        ("0322F190", 0, {0x22}),
        ("0322F190", 1, set()),  # 22 is a consecutive frame behind an address byte
        ("020104", 1, {0x04}),  # address 02, one byte: clear trouble codes
        ("1014 2EF190", 0, {0x2E}),  # first frame
        ("1000 00001000 31", 0, {0x00, 0x31}),  # first frame with a long length
        ("05 1014 2EF190", 1, {0x2E}),
        ("300000", 0, set()),  # flow control
        ("2122334455", 0, set()),  # consecutive frame
        ("0822F190", 0, set()),  # too long for a classic single frame
        ("510714", 1, {0x14}),  # behind an address byte six bytes are the most, and not every unit checks that
        ("510614", 1, {0x14}),
        ("05", 0, set()),
        ("", 0, set()),
    ],
)
def test_a_frame_is_read_as_units_read_it(data: str, offset: int, services: set[int]) -> None:
    # ISO 15765-2 clause 9.6; 9.4 for the address byte
    assert set(services_read([{byte} for byte in bytes.fromhex(data)], offset)) == services


@pytest.mark.parametrize(
    ("key", "reserved"),
    [
        (0x7DF, True), (0x7E0, True), (0x7E7, True), (0x7E8, False), (0x6F1, False),
        (0x18DB33F1 | EXTENDED, True), (0x18DA10F1 | EXTENDED, True), (0x18DAF110 | EXTENDED, False),
        (0x7E0 | EXTENDED, False),
    ],
)  # fmt: skip
def test_ids_for_emission_related_units_are_known(key: int, reserved: bool) -> None:
    # ISO 15765-4, clause on CAN identifiers
    assert has_legislated_id(key) is reserved
