"""Service 01 of SAE J1979: known answers with known values, and the same bytes read by an independent open decoder.

The paid standard was not read. "SAE J1979 formula, decoded independently by scapy" means that its formula was found in
open decoders and that one of them reads these very bytes alike; "from memory" means that nothing else backs it. Where
that decoder is known to be wrong the example says so and it is not asked: it takes parameter 10 for one byte, has nine
bytes for 70, gives 8E as raw bytes, leaves out the offset of the current of 34, and rounds to three decimals.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from typing import Any

import pytest

from underdash.broadcast.fields import compile_fields
from underdash.contract.cars import BusDescription, CarDescription
from underdash.contract.requests import ControlUnit, Part, PartKind, SingleFrameFormat
from underdash.contract.signals import Quality
from underdash.diagnostics import isotp, obd, pci, single_frame, uds
from underdash.diagnostics.parameters import PARAMETERS, own_signals
from underdash.signals.catalogue import CATALOGUE
from underdash.signals.store import Rank, Slot, Store

BOTH = "SAE J1979 formula, decoded independently by scapy"
MEMORY = "from memory"

EXAMPLES = [
    # answer, signal, value in the stored unit, source
    ("410C1AF8", "engine.speed", 1726.0, BOTH),
    ("410D50", "vehicle.speed", 80.0, BOTH),
    ("410B64", "engine.manifold_pressure", 100.0, BOTH),
    ("413365", "ambient.pressure", 101.0, BOTH),
    ("41057B", "engine.coolant_temperature", 83.0, BOTH),
    ("410F3C", "engine.intake_temperature", 20.0, BOTH),
    ("410E80", "engine.ignition_timing", 0.0, BOTH),
    ("411180", "engine.throttle", 50.196, BOTH),
    ("410480", "engine.load", 50.196, BOTH),
    ("41423200", "low_voltage_battery.voltage", 12.8, BOTH),
    ("410A64", "fuel.pressure", 300.0, BOTH),
    ("411F012C", "engine.run_time", 300.0, BOTH),
    ("414300FF", "engine.load_absolute", 100.0, BOTH),
    ("415C78", "engine.oil_temperature", 80.0, BOTH),
    ("415E0190", "fuel.rate", 20.0, BOTH),
    ("4162A5", "engine.torque_share", 40.0, BOTH),
    ("41630190", "engine.torque_reference", 400.0, BOTH),
    ("416F036465", "engine.compressor_inlet_pressure", 100.0, BOTH),
    ("416F036465", "obd2.compressor_inlet_pressure_b", 101.0, BOTH),
    ("4167015B00", "engine.coolant_temperature", 51.0, BOTH),
    ("4170030C800C400000000000", "engine.charge_pressure_target", 100.0, "words by scapy, tenth byte from memory"),
    ("4170030C800C400000000000", "engine.charge_pressure", 98.0, "words by scapy, tenth byte from memory"),
    ("414F00000019", "obd2.full_scale_manifold_pressure", 250.0, "layout by scapy, meaning from memory"),
    ("41100123", "engine.air_flow", 2.91, "published tables of SAE J1979; scapy reads one byte and is wrong"),
    ("41448000", "engine.lambda_target", 1.0, "2/65536 a bit, exact; scapy rounds and gives 0.999"),
    ("418E7D", "engine.torque_friction", 0.0, MEMORY),
    ("413480008000", "obd2.oxygen_current_1", 0.0, "offset of -128 mA from memory; scapy leaves it out"),
    ("41660300200C40", "engine.air_flow", 1.0, BOTH),
    ("41660300200C40", "obd2.air_flow_b", 98.0, BOTH),
    ("416803283200000000", "engine.intake_temperature", 0.0, BOTH),
]


def read(answer: str) -> dict[str, Slot]:
    """Read an answer by the table; returns the slots that got a value."""
    store = Store({**CATALOGUE, **{signal.name: signal for signal in own_signals()}})
    slots: dict[str, Slot] = {}
    for one in obd.read(bytes.fromhex(answer)):
        assert one.identifier is not None
        fields = PARAMETERS[one.identifier].fields
        for field in fields:
            slots[field.signal] = store.slot(field.signal, "test", Rank.POLL)
        compile_fields(fields, slots)(one.data, 1.0)
    return {name: slot for name, slot in slots.items() if slot.value is not None}


@pytest.fixture(scope="module")
def scapy_obd() -> Iterator[Any]:
    """The independent decoder; importing it warns and logs about the machine it is on."""
    logging.getLogger("scapy.runtime").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from scapy.contrib.automotive.obd.obd import OBD

        yield OBD


def scapy_values(decoder: Any, answer: str) -> list[float]:
    """Every number in the records of an answer, as scapy gives them, in their order."""
    found: list[float] = []
    for record in decoder(bytes.fromhex(answer)).data_records:
        layer = record.payload
        names = [
            field.name for field in layer.fields_desc if "supported" not in field.name and field.name != "reserved"
        ]
        found.extend(float(getattr(layer, name)) for name in names if isinstance(getattr(layer, name), (int, float)))
    return found


@pytest.mark.parametrize(("answer", "signal", "value", "source"), EXAMPLES)
def test_a_known_answer_gives_its_known_value(answer: str, signal: str, value: float, source: str) -> None:
    assert source
    assert read(answer)[signal].value == pytest.approx(value, abs=5e-4)


@pytest.mark.parametrize(("answer", "value"), [(a, v) for a, _, v, source in EXAMPLES if source == BOTH])
def test_an_independent_decoder_reads_the_known_answers_alike(scapy_obd: Any, answer: str, value: float) -> None:
    assert any(seen == pytest.approx(value, abs=1e-3) for seen in scapy_values(scapy_obd, answer))


@pytest.mark.parametrize("first", [0x00, 0x01, 0x40, 0x7F, 0x80, 0xA5, 0xFE, 0xFF])
@pytest.mark.parametrize(
    "pid", [0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x11, 0x1F, 0x21, 0x22, 0x23, 0x2F,
            0x31, 0x33, 0x42, 0x43, 0x45, 0x46, 0x47, 0x48, 0x49, 0x4A, 0x4B, 0x4C, 0x4D, 0x4E, 0x59, 0x5A, 0x5B, 0x5C,
            0x5D, 0x5E, 0x61, 0x62, 0x63],
)  # fmt: skip
def test_every_parameter_that_is_one_number_agrees_with_the_independent_decoder(
    scapy_obd: Any, pid: int, first: int
) -> None:
    parameter = PARAMETERS[pid]
    answer = bytes((0x41, pid, first, 0x5B)[: 2 + parameter.size]).hex()
    slots: list[float] = [raw_value(pid, bytes.fromhex(answer)[2:])]
    assert slots == pytest.approx(scapy_values(scapy_obd, answer), abs=1.1e-3)


def raw_value(pid: int, data: bytes) -> float:
    """The value by scale and offset alone: the catalogue's plausible range is not the standard's."""
    (field,) = PARAMETERS[pid].fields
    return int.from_bytes(data) * field.scale + field.offset


def test_boost_is_the_manifold_pressure_minus_the_barometer() -> None:
    manifold, ambient = read("410BB4"), read("413365")
    boost = float(manifold["engine.manifold_pressure"].value) - float(ambient["ambient.pressure"].value)  # type: ignore[arg-type]
    assert boost == 79.0


def test_a_sensor_that_is_marked_as_not_there_gives_nothing() -> None:
    assert set(read("4167015B00")) == {"engine.coolant_temperature"}


def test_a_manifold_pressure_at_the_end_of_its_byte_is_at_least_that() -> None:
    slot = read("410BFF")["engine.manifold_pressure"]
    assert (slot.value, slot.quality) == (255.0, Quality.ABOVE)


def test_parameter_4f_replaces_the_full_scale_of_manifold_pressure() -> None:
    # rule from memory: value = A * maximum / 255
    store = Store({**CATALOGUE, **{signal.name: signal for signal in own_signals()}})
    fields = (*PARAMETERS[0x0B].fields, *PARAMETERS[0x4F].fields)
    slots = {field.signal: store.slot(field.signal, "test", Rank.POLL) for field in fields}
    compile_fields(PARAMETERS[0x4F].fields, slots)(bytes.fromhex("0000003C"), 1.0)
    compile_fields(PARAMETERS[0x0B].fields, slots)(bytes((0x55,)), 1.0)
    assert slots["engine.manifold_pressure"].value == pytest.approx(0x55 * 600 / 255)


def test_parameter_50_replaces_the_full_scale_of_air_flow() -> None:
    # rule from memory: 10 * A g/s is the largest value
    store = Store({**CATALOGUE, **{signal.name: signal for signal in own_signals()}})
    fields = (*PARAMETERS[0x10].fields, *PARAMETERS[0x50].fields)
    slots = {field.signal: store.slot(field.signal, "test", Rank.POLL) for field in fields}
    compile_fields(PARAMETERS[0x50].fields, slots)(bytes.fromhex("64000000"), 1.0)
    compile_fields(PARAMETERS[0x10].fields, slots)(b"\xff\xff", 1.0)
    assert slots["engine.air_flow"].value == pytest.approx(1000.0)


def test_the_support_mask_of_the_example_names_these_parameters(scapy_obd: Any) -> None:
    # SAE J1979 mask, decoded independently by scapy
    (answer,) = obd.read(bytes.fromhex("4100BE1FA813"))
    expected = (1, 3, 4, 5, 6, 7, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20)
    assert obd.supported(0x00, answer.data) == expected
    seen = str(scapy_obd(bytes.fromhex("4100BE1FA813")).data_records[0].payload.supported_pids)
    assert sorted(int(name[3:], 16) for name in seen.split("+")) == sorted(expected)


def test_two_parameters_in_one_answer_are_told_apart(scapy_obd: Any) -> None:
    # SAE J1979 formulas, decoded independently by scapy
    slots = read("410C1AF80D2A")
    assert slots["engine.speed"].value == 1726.0
    assert slots["vehicle.speed"].value == 42.0
    assert scapy_values(scapy_obd, "410C1AF80D2A") == [1726.0, 42.0]


# --- what carries them ------------------------------------------------------------------------------------------


def test_a_reply_names_the_service_asked_for_plus_40() -> None:
    # ISO 14229-1 as read in py-uds; for makers' formats common practice, no source
    assert obd.REPLY == obd.SERVICE + 0x40
    assert uds.REPLY == uds.SERVICE + 0x40
    parts = (Part(PartKind.COMMAND), Part(PartKind.IDENTIFIER), Part(PartKind.DATA))
    form = SingleFrameFormat("made up", 0xA1, parts[:2], parts)
    assert single_frame.reply_command(form) == 0xE1


@pytest.mark.parametrize(
    ("request_id", "response_id", "extended"),
    # ISO 15765-4 ids as read in py-uds: the answer to 7E0 comes on 7E8, to 18DA10F1 on 18DAF110
    [*((0x7E0 + n, 0x7E8 + n, False) for n in range(8)), (0x18DA10F1, 0x18DAF110, True)],
)
def test_the_legislated_ids_answer_eight_further_on_or_with_the_addresses_swapped(
    request_id: int, response_id: int, extended: bool
) -> None:
    from underdash.diagnostics.requests import compile_polls

    unit = ControlUnit("engine", "drive", request_id, response_id, extended)
    car = CarDescription("any", "Any", (BusDescription("drive", 500_000),), (unit,))
    (poll,) = compile_polls(car, obd.polls("engine", [0x0C]), (), Store(CATALOGUE)).polls
    assert poll.frame.id == request_id
    assert poll.response_key & 0x1FFF_FFFF == response_id
    # a request is eight bytes long, filled with zeros: common practice, no source
    assert poll.frame.data == bytes.fromhex("02010C0000000000")


def test_a_single_frame_says_its_length_in_front() -> None:
    # ISO 15765-2 as read in the Linux kernel's isotp.c and run with an independent stack
    assert isotp.wrap(bytes.fromhex("22F190")) == bytes.fromhex("0322F190")
    assert pci.parse(bytes.fromhex("0322F190AAAAAAAA")) == pci.Single(bytes.fromhex("22F190"))
