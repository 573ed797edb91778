from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underdash.contract.errors import UnderdashError
from underdash.diagnostics import pci
from underdash.diagnostics.pci import Consecutive, First, FlowControl, FlowStatus, Kind, Malformed, Single

prefixes = st.none() | st.integers(0, 255)


def read(text: str, prefix: int | None = None) -> pci.Pdu | None:
    return pci.parse(bytes.fromhex(text), prefix)


# --- the layouts of the fact sheet, written out by hand ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "prefix", "meant"),
    [
        ("0322F190", None, Single(bytes.fromhex("22F190"))),
        ("0322F190AAAAAAAA", None, Single(bytes.fromhex("22F190"))),
        ("0741000102030405", None, Single(bytes.fromhex("41000102030405"))),
        ("5C0322F190", 0x5C, Single(bytes.fromhex("22F190"))),
        ("F10662F190414243", 0xF1, Single(bytes.fromhex("62F190414243"))),
        ("101462F190414243", None, First(20, bytes.fromhex("62F190414243"))),
        ("1FFF010203040506", None, First(4095, bytes.fromhex("010203040506"))),
        ("1000000010000102", None, First(4096, bytes.fromhex("0102"))),
        ("10007FFFFFFF0102", None, First(0x7FFF_FFFF, bytes.fromhex("0102"))),
        ("5C101462F1904142", 0x5C, First(20, bytes.fromhex("62F1904142"))),
        ("5C10000000100001", 0x5C, First(4096, bytes.fromhex("01"))),
        ("5C10070102030405", 0x5C, First(7, bytes.fromhex("0102030405"))),
        ("2144454647484950", None, Consecutive(1, bytes.fromhex("44454647484950"))),
        ("2F44", None, Consecutive(15, b"\x44")),
        ("5C2044", 0x5C, Consecutive(0, b"\x44")),
        ("300000", None, FlowControl(FlowStatus.CONTINUE, 0, 0.0)),
        ("30080A0000000000", None, FlowControl(FlowStatus.CONTINUE, 8, 0.010)),
        ("3100F1", None, FlowControl(FlowStatus.WAIT, 0, 0.0001)),
        ("320000", None, FlowControl(FlowStatus.OVERFLOW, 0, 0.0)),
        ("370000", None, FlowControl(7, 0, 0.0)),
        ("F1300203", 0xF1, FlowControl(FlowStatus.CONTINUE, 2, 0.003)),
    ],
)
def test_a_frame_is_read_as_the_standard_spells_it(text: str, prefix: int | None, meant: pci.Pdu) -> None:
    assert read(text, prefix) == meant


@pytest.mark.parametrize(
    ("text", "prefix", "kind"),
    [
        ("00", None, Kind.SINGLE),
        ("0000000000000000", None, Kind.SINGLE),
        ("0222", None, Kind.SINGLE),
        ("0841000102030405", None, Kind.SINGLE),  # eight bytes do not fit
        ("0F41000102030405", None, Kind.SINGLE),
        ("5C07410001020304", 0x5C, Kind.SINGLE),
        ("1014", None, Kind.FIRST),
        ("101462F1904142", None, Kind.FIRST),  # one byte short of a whole frame
        ("1007010203040506", None, Kind.FIRST),  # fits a single frame
        ("1001010203040506", None, Kind.FIRST),
        ("5C10060102030405", 0x5C, Kind.FIRST),
        ("1000000000000102", None, Kind.FIRST),
        ("100000000FFF0102", None, Kind.FIRST),  # the escape is for more
        ("21", None, Kind.CONSECUTIVE),
        ("5C21", 0x5C, Kind.CONSECUTIVE),
        ("30", None, Kind.FLOW_CONTROL),
        ("3000", None, Kind.FLOW_CONTROL),
        ("F13000", 0xF1, Kind.FLOW_CONTROL),
    ],
)
def test_a_frame_that_contradicts_itself_is_named(text: str, prefix: int | None, kind: Kind) -> None:
    found = read(text, prefix)
    assert isinstance(found, Malformed)
    assert found.kind is kind
    assert any(character.isdigit() for character in found.why) or kind is Kind.CONSECUTIVE


@pytest.mark.parametrize("text", ["", "40", "955CA61A04010000", "FF", "032200000000000000", "3000000000000000000000"])
def test_what_is_not_iso_tp_on_classic_can_is_nobodys(text: str) -> None:
    assert read(text) is None


@pytest.mark.parametrize("text", ["", "5C", "5D0322F190", "0322F190"])
def test_a_frame_of_another_address_is_nobodys(text: str) -> None:
    assert read(text, 0x5C) is None


# --- separation times ----------------------------------------------------------------------------------------------


def test_all_separation_times_are_what_the_standard_says() -> None:
    for value in range(256):
        if value <= 0x7F:
            meant = value * 0.001
        elif 0xF1 <= value <= 0xF9:
            meant = (value & 0x0F) * 0.0001
        else:
            meant = 0.127
        assert pci.st_min_s(value) == pytest.approx(meant, abs=1e-12)


# --- spelling ------------------------------------------------------------------------------------------------------


def test_frames_are_spelt_as_the_standard_writes_them() -> None:
    vin = bytes.fromhex("62F190") + bytes(range(0x41, 0x52))
    assert pci.first(vin) == bytes.fromhex("101462F190414243")
    assert pci.consecutive(1, vin[6:13]) == bytes.fromhex("214445464748494A")
    assert pci.flow_control(FlowStatus.CONTINUE) == bytes.fromhex("300000")
    assert pci.flow_control(FlowStatus.OVERFLOW, prefix=0xF1) == bytes.fromhex("F1320000")
    assert pci.first(bytes(4096)) == bytes.fromhex("1000000010000000")
    assert pci.first(bytes(4095)) == bytes.fromhex("1FFF000000000000")


@settings(deadline=None)
@given(st.binary(min_size=7, max_size=5000), prefixes)
def test_what_is_spelt_is_read_back(payload: bytes, prefix: int | None) -> None:
    if len(payload) <= pci.room(prefix):
        assert pci.parse(pci.single(payload, prefix), prefix) == Single(payload)
        return
    frame = pci.first(payload, prefix)
    found = pci.parse(frame, prefix)
    assert len(frame) == 8
    assert isinstance(found, First)
    assert (found.length, payload.startswith(found.part)) == (len(payload), True)


@settings(deadline=None)
@given(st.integers(0, 1000), st.binary(min_size=1, max_size=6), prefixes)
def test_numbers_of_later_frames_go_on_after_fifteen(number: int, part: bytes, prefix: int | None) -> None:
    assert pci.parse(pci.consecutive(number, part, prefix), prefix) == Consecutive(number % 16, part)


@settings(deadline=None)
@given(st.sampled_from(FlowStatus), st.integers(0, 255), st.integers(0, 255), prefixes, prefixes)
def test_flow_control_is_read_back_however_padded(
    status: FlowStatus, block_size: int, st_min: int, prefix: int | None, padding: int | None
) -> None:
    frame = pci.padded(pci.flow_control(status, block_size, st_min, prefix), padding)
    assert pci.parse(frame, prefix) == FlowControl(status, block_size, pci.st_min_s(st_min))


def test_a_message_that_fits_one_frame_has_no_first_frame() -> None:
    with pytest.raises(UnderdashError, match="8 to"):
        pci.first(bytes(7))
    with pytest.raises(UnderdashError, match="7 to"):
        pci.first(bytes(6), 0x5C)


# --- padding -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("padding", [0x00, 0x55, 0xAA, 0xCC, 0xFF])
def test_any_byte_is_a_padding_and_zero_is_one_too(padding: int) -> None:
    assert pci.padded(b"\x30\x00\x00", padding) == b"\x30\x00\x00" + bytes([padding]) * 5
    assert pci.padded(bytes(8), padding) == bytes(8)


def test_without_padding_a_frame_stays_as_it_is() -> None:
    assert pci.padded(b"\x30\x00\x00", None) == b"\x30\x00\x00"


@settings(deadline=None)
@given(st.binary(max_size=70), prefixes)
def test_no_data_breaks_the_reading(data: bytes, prefix: int | None) -> None:
    found = pci.parse(data, prefix)
    if isinstance(found, Single | First | Consecutive):
        part = found.payload if isinstance(found, Single) else found.part
        assert 1 <= len(part) <= pci.room(prefix)
