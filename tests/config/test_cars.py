from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.cars import read_car
from underdash.config.mistakes import ConfigError
from underdash.contract.cars import CarDescription, ExpectedFrame, IgnitionEvidence
from underdash.contract.layout import Checksum, Counter
from underdash.contract.requests import Part, PartKind
from underdash.signals.catalogue import CATALOGUE

HEAD = """\
format = 1
name = "car"
title = "A car"
counting = "from 0"
[bus.drive]
bitrate = 500_000
[unit.engine]
bus = "drive"
request = "7E0"
response = "7E8"
"""
SPEED = '[[broadcast]]\nbus = "drive"\nid = "100"\nfields = [{ signal = "engine.speed", byte = 0 }]\n'
FORMAT = """\
[unit.charge]
bus = "drive"
request = "0B20C0A1"
response = "0B20C0A2"
address = "5C"
[request_format.own]
command = "B4"
request = ["count from 90", "address", "command", "identifier 2", "mode 01"]
reply = ["count from 90", "address", "command", "identifier 2", "data"]
"""
OWN_POLL = """\
[[poll]]
unit = "charge"
protocol = "own"
identifier = "1A04"
fields = [{ signal = "engine.load", byte = 0 }]
"""
EXCHANGE = """\
[[exchange]]
request_format = "own"
unit = "charge"
request = "95 5C B4 1A 04 01 00 00"
times = 12
answers = 5
trace = "{trace}"
""".format(trace="ab" * 32)


def read(folder: Path, text: str, name: str = "car.toml", variant: str | None = None) -> CarDescription:
    file = folder / name
    file.write_text(text)
    return read_car(file, variant=variant, signals=CATALOGUE)


def test_the_least_car_is_a_bus(tmp_path: Path) -> None:
    car = read(tmp_path, HEAD[: HEAD.index("[unit")])

    assert car.buses[0].role == "drive"
    assert car.units == ()
    assert car.knob_applies == "night"


def test_ids_with_eight_digits_have_29_bits(tmp_path: Path) -> None:
    car = read(tmp_path, HEAD + FORMAT)

    assert [(u.request_id, u.response_id, u.extended, u.address) for u in car.units] == [
        (0x7E0, 0x7E8, False, None),
        (0x0B20C0A1, 0x0B20C0A2, True, 0x5C),
    ]


@pytest.mark.parametrize(
    ("keys", "id_and_bits"),
    [
        ('id = "1"', (1, False)),
        ('id = "0x7Ff"', (0x7FF, False)),
        ('id = "1FFFFFFF"', (0x1FFFFFFF, True)),
        ('id = "12345"\nextended = true', (0x12345, True)),
        ('id = "00000123"\nextended = false', (0x123, False)),
    ],
)
def test_ids_are_hex_digits(tmp_path: Path, keys: str, id_and_bits: tuple[int, bool]) -> None:
    car = read(tmp_path, HEAD + SPEED.replace('id = "100"', keys))

    assert (car.broadcasts[0].id, car.broadcasts[0].extended) == id_and_bits


def test_a_unit_without_padding_says_none(tmp_path: Path) -> None:
    assert read(tmp_path, HEAD + 'padding = "none"').units[0].padding is None
    assert read(tmp_path, HEAD + 'padding = "55"').units[0].padding == 0x55
    assert read(tmp_path, HEAD).units[0].padding == 0


def test_words_become_parts_of_a_format(tmp_path: Path) -> None:
    (layout,) = read(tmp_path, HEAD + FORMAT + 'reply_adds = "20"').formats

    assert (layout.name, layout.command, layout.reply_adds) == ("own", 0xB4, 0x20)
    assert layout.request == (
        Part(PartKind.COUNT, 1, 0x90),
        Part(PartKind.ADDRESS),
        Part(PartKind.COMMAND),
        Part(PartKind.IDENTIFIER, 2),
        Part(PartKind.MODE, 1, 1),
    )
    assert layout.reply[-1] == Part(PartKind.DATA)


def test_a_fixed_byte_is_a_word_too(tmp_path: Path) -> None:
    text = FORMAT.replace('"mode 01"]', '"fixed 0x7F"]')

    assert read(tmp_path, HEAD + text).formats[0].request[-1] == Part(PartKind.FIXED, 1, 0x7F)


def test_standard_parameters_may_leave_their_fields_to_the_standard(tmp_path: Path) -> None:
    car = read(tmp_path, HEAD + '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"\nonce = true')

    (poll,) = car.polls
    assert (poll.identifier, poll.fields, poll.once) == (0x0C, (), True)


def test_a_protocol_of_a_plugin_may_be_handed_in(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(HEAD + OWN_POLL.replace('"own"', '"odd"').replace('"charge"', '"engine"'))

    assert read_car(file, protocols=["odd"]).polls[0].protocol == "odd"
    with pytest.raises(
        ConfigError,
        match="found 'odd', allowed: one of identifier_1A, identifier_21, identifier_22, service_01, service_09",
    ):
        read_car(file)


def test_what_was_found_by_whom_becomes_the_note(tmp_path: Path) -> None:
    text = SPEED.replace("byte = 0 }", 'byte = 0, found_by = "ear" }') + 'found_by = "me"\ntrace = "ab"\nnote = "odd"'

    assert read(tmp_path, HEAD + text).broadcasts[0].note == "odd; found by me; trace ab; engine.speed: found by ear"


def test_counters_and_checksums_are_read(tmp_path: Path) -> None:
    text = SPEED + 'counter = { byte = 1, bits = [4, 7] }\nchecksum = { kind = "sum8", byte = 7, first = 1, last = 6 }'
    (listener,) = read(tmp_path, HEAD + text).broadcasts

    assert isinstance(listener.counter, Counter)
    assert (listener.counter.bits.byte, listener.counter.bits.bit, listener.counter.bits.length) == (1, 4, 4)
    assert listener.checksum == Checksum("sum8", 7, 0x1D, 0, 0, 1, 6)


def test_counting_from_one_moves_every_byte(tmp_path: Path) -> None:
    text = SPEED.replace("byte = 0", "byte = 1") + (
        'counter = { byte = 2, bits = [0, 3] }\nchecksum = { kind = "crc8", byte = 8, first = 1, last = 7 }'
    )
    (listener,) = read(tmp_path, HEAD.replace("from 0", "from 1") + text).broadcasts

    assert listener.fields[0].bits.byte == 0
    assert listener.counter is not None
    assert listener.counter.bits.byte == 1
    assert listener.checksum == Checksum("crc8", 7, 0x1D, 0xFF, 0xFF, 0, 6)


def test_ignition_fingerprint_buttons_and_exchanges_are_read(tmp_path: Path) -> None:
    text = (
        HEAD
        + SPEED
        + FORMAT
        + EXCHANGE
        + '[[ignition]]\nsignal = "vehicle.ignition"\non = ["ON"]\noff = ["OFF"]\n'
        + 'alive_with = { bus = "drive", id = "100" }\n'
        + '[[ignition]]\nsignal = "powertrain.ready"\non = [true]\nlifetime_s = 0.5\n'
        + '[[ignition]]\nsignal = "engine.speed"\nabove = 400\n'
        + '[[fingerprint]]\nbus = "drive"\nid = "100"\nlength = 8\nperiod_s = 0.02\n'
        + '[buttons]\nmenu = "comfort"\ncruise = "driving"\n'
    )
    car = read(tmp_path, text)

    assert car.ignition == (
        IgnitionEvidence("vehicle.ignition", ("ON",), ("OFF",), alive_with=("drive", 0x100)),
        IgnitionEvidence("powertrain.ready", ("true",), lifetime_s=0.5),
        IgnitionEvidence("engine.speed", above=400.0),
    )
    assert car.fingerprint == (ExpectedFrame("drive", 0x100, False, 8, 0.02),)
    assert car.buttons == (("menu", "comfort"), ("cruise", "driving"))
    assert car.exchanges[0].request == bytes.fromhex("955CB41A04010000")


def test_one_signal_may_come_from_two_frames(tmp_path: Path) -> None:
    car = read(tmp_path, HEAD + SPEED + SPEED.replace('"100"', '"101"'))

    assert len(car.broadcasts) == 2


def test_any_signal_is_taken_where_none_are_known(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(HEAD + SPEED.replace("engine.speed", "my.own"))

    assert read_car(file).broadcasts[0].fields[0].signal == "my.own"


def test_a_file_declares_what_only_this_car_has_and_feeds_it(tmp_path: Path) -> None:
    own = '[[signal]]\nname = "car.fan_stage"\nmeaning = "stage of the fan"\nunit = "%"\nlow = 0\nhigh = 100\n'
    fed = SPEED.replace("engine.speed", "car.fan_stage")
    car = read(tmp_path, HEAD + own + fed)
    assert [(one.name, one.unit, one.low, one.high) for one in car.signals] == [("car.fan_stage", "%", 0.0, 100.0)]
    assert car.broadcasts[0].fields[0].signal == "car.fan_stage"
    above = HEAD.replace('title = "A car"', 'title = "A car"\nbase = "car.toml"') + own.replace('"%"', '"degC"')
    assert [one.unit for one in read(tmp_path, above, "other.toml").signals] == ["degC"]
    (tmp_path / "car.toml").write_text(HEAD + own + SPEED)
    onto_the_base = HEAD.replace('title = "A car"', 'title = "A car"\nbase = "car.toml"') + fed
    assert read(tmp_path, onto_the_base, "third.toml").broadcasts[-1].fields[0].signal == "car.fan_stage"
