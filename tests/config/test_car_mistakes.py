from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.cars import read_car
from underdash.config.mistakes import ConfigError
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


def mistakes(file: Path, text: str) -> list[str]:
    file.write_text(text)
    with pytest.raises(ConfigError) as caught:
        read_car(file, signals=CATALOGUE)
    return [str(mistake) for mistake in caught.value.mistakes]


OWN = '[[signal]]\nname = "car.fan"\nmeaning = "stage of the fan"\n'
BAD = [
    ("", "bus: found nothing, allowed: at least one [bus.<role>]"),
    ("", "counting: found nothing, allowed: this key must be there"),
    ("format = 7", "line 1, format: found 7, allowed: one of 1"),
    ('counting = "from 2"', 'line 1, counting: found \'from 2\', allowed: one of "from 0", "from 1"'),
    ("brodcast = []", "line 1, brodcast: found 'brodcast', allowed: keys base, broadcast,"),
    ("broadcast = 3", "line 1, broadcast: found 3, allowed: a list"),
    ("variant = 3", "line 1, variant: found 3, allowed: tables [variant.<name>]"),
    (HEAD + "[variant]\na = 3", "line 12, variant.a: found 3, allowed: a table"),
    (
        HEAD + "[bus.b]\nbitrate = 0",
        "line 12, bus.b.bitrate: found 0, allowed: at least 5000 and at most 1000000 bit/s",
    ),
    (HEAD + 'bus = "driv"', "line 11: found bus, though line 8 has that name already, allowed: each name once"),
    (
        HEAD.replace('bus = "drive"', 'bus = "driv"'),
        "line 8, unit.engine.bus: found 'driv', allowed: buses of this file",
    ),
    (HEAD.replace('"7E8"', '"7EX"'), "line 10, unit.engine.response: found '7EX', allowed: an id in hex digits"),
    (
        HEAD.replace('"7E8"', "0x7E8"),
        "line 10, unit.engine.response: found 2024, allowed: hex digits in quotes and without 0x",
    ),
    (
        HEAD + '[[poll]]\nunit = "engine"\nprotocol = "identifier_22"\nidentifier = 0x1001',
        "line 14, poll#1.identifier: found 4097, allowed: hex digits in quotes and without 0x",
    ),
    (HEAD.replace('"7E8"', '"7E0"'), "line 10, unit.engine.response: found '7E0', allowed: another id than"),
    (HEAD.replace('"7E8"', '"18DAF110"'), "line 10, unit.engine.response: found '18DAF110', allowed: as many bits"),
    (HEAD.replace('"7E8"', '"800"'), "line 10, unit.engine.response: found '800', allowed: an id up to 7FF (11 bits)"),
    (HEAD.replace('"7E8"', '"12345"'), "line 10, unit.engine.response: found '12345', allowed: an id in hex digits"),
    (HEAD.replace('"7E8"', '"FFFFFFFF"'), "line 10, unit.engine.response: found 'FFFFFFFF', allowed: an id up to 1FFF"),
    (HEAD + 'address = "5CC"', "line 11, unit.engine.address: found '5CC', allowed: a byte in one or two hex digits"),
    (HEAD + 'padding = "no"', "line 11, unit.engine.padding: found 'no', allowed: a byte"),
    (HEAD + "gap_s = 0.001", "line 11, unit.engine.gap_s: found 0.001, allowed: at least 0.005"),
    (HEAD + "answer_within_s = 0", "line 11, unit.engine.answer_within_s: found 0, allowed: more than 0"),
    (
        HEAD + FORMAT.replace("identifier 2", "identifer 2", 1),
        "line 18, request_format.own.request#4: found 'identifer 2'",
    ),
    (HEAD + FORMAT.replace('"command", ', "", 1), 'line 18, request_format.own.request: found "command" 0 times'),
    (HEAD + FORMAT.replace('"data"', '"data", "mode 01"'), 'line 19, request_format.own.reply: found "data" 1 times'),
    (HEAD + FORMAT.replace('"mode 01"', '"data"'), 'line 18, request_format.own.request: found "data" 1 times'),
    (
        HEAD + FORMAT.replace('"mode 01"', '"identifier 4", "mode 01"'),
        "line 18, request_format.own.request: found 10 bytes",
    ),
    (
        HEAD + FORMAT.replace('"mode 01"', '"mode 1FF"'),
        "line 18, request_format.own.request#5: found '1FF', allowed: a byte",
    ),
    (
        HEAD + FORMAT.replace("format.own", "format.service_01"),
        "line 16, request_format.service_01: found 'service_01'",
    ),
    (
        HEAD + '[[signal]]\nname = "fan"\nmeaning = "fan"',
        "line 12, signal#1.name: found 'fan', allowed: small words with dots between them, the first one \"car\"",
    ),
    (HEAD + OWN + 'unit = "furlong"', "line 14, signal#1.unit: found 'furlong', allowed: units"),
    (HEAD + OWN + "low = 3\nhigh = 2", "line 15, signal#1.high: found 2.0, allowed: a number above `low`, which is 3"),
    (HEAD + OWN + 'kind = "choice"', "line 11, signal#1.choices: found a list of 0, allowed: the words it can be"),
    (HEAD + OWN + OWN, "line 15, signal#2.name: found car.fan a second time, allowed: each signal once"),
    (
        HEAD + SPEED.replace("drive", "driv"),
        "line 12, broadcast#1.bus: found 'driv', allowed: buses of this file: drive",
    ),
    (
        HEAD + SPEED.replace("speed", "sped"),
        "line 14, broadcast#1.fields#1.signal: found 'engine.sped', allowed: a signal",
    ),
    (HEAD + SPEED.replace("byte", "bite"), "line 14, broadcast#1.fields#1.bite: found 'bite', allowed: keys"),
    (HEAD + SPEED + "period_s = 0", "line 15, broadcast#1.period_s: found 0, allowed: more than 0"),
    (HEAD + SPEED + "shortest = 9", "line 15, broadcast#1.shortest: found 9, allowed: at least 0 and at most 8 bytes"),
    (HEAD + SPEED + 'checksum = { kind = "crc16", byte = 7 }', "line 15, broadcast#1.checksum.kind: found 'crc16'"),
    (
        HEAD + SPEED + 'checksum = { kind = "crc8", byte = 8 }',
        "line 15, broadcast#1.checksum.byte: found 8, allowed: a byte",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "crc8", byte = 7, initial = "x" }',
        "line 15, broadcast#1.checksum.initial: found",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "sum4", byte = 7 }',
        "line 15, broadcast#1.checksum.bits: found nothing, allowed: [0, 3] or [4, 7], the half byte of a sum4",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "xor4", byte = 7, bits = [4, 7], final = "1F" }',
        "line 15, broadcast#1.checksum.final: found '1F', allowed: half a byte, in one hex digit",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "sum8", byte = 7, bits = [0, 3] }',
        "line 15, broadcast#1.checksum.bits: found [0, 3], allowed: none: sum8 is a whole byte",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "sum8", byte = 7, reflected = true }',
        "line 15, broadcast#1.checksum.reflected: found true, allowed: only with crc8",
    ),
    (
        HEAD + SPEED + 'checksum = { kind = "xor8", byte = 7, negative = true }',
        "line 15, broadcast#1.checksum.negative: found true, allowed: only with sum8 or sum4",
    ),
    (HEAD + SPEED + SPEED, "line 18, broadcast#2.fields: found engine.speed a second time, allowed: each signal once"),
    (
        HEAD + SPEED.replace("byte = 0 }", 'byte = 0 }, { signal = "engine.speed", byte = 1 }'),
        "line 14, broadcast#1.fields#2.signal: found engine.speed a second time",
    ),
    (HEAD + '[[broadcast]]\nbus = "drive"\nid = "1"\nfields = []', "line 14, broadcast#1.fields: found an empty list"),
    (
        HEAD + FORMAT + OWN_POLL.replace('"charge"', '"chrge"'),
        "line 21, poll#1.unit: found 'chrge', allowed: units of this",
    ),
    (HEAD + FORMAT + OWN_POLL.replace('"own"', '"onw"'), "line 22, poll#1.protocol: found 'onw', allowed: one of"),
    (
        HEAD + FORMAT + OWN_POLL.replace('"1A04"', '"1A04F"'),
        "line 23, poll#1.identifier: found '1A04F', allowed: up to 4",
    ),
    (
        HEAD + FORMAT + OWN_POLL.replace("byte = 0", "byte = 3"),
        "line 24, poll#1.fields#1: found engine.load up to byte 3",
    ),
    (
        HEAD + FORMAT + OWN_POLL + OWN_POLL,
        "line 28, poll#2.identifier: found 1A04 a second time, allowed: each request once; "
        "put all its fields into poll#1 in line",
    ),
    (
        HEAD + FORMAT + OWN_POLL.replace('"charge"', '"engine"'),
        "line 21, poll#1.unit: found engine, which has no address",
    ),
    (
        HEAD + '[[poll]]\nunit = "engine"\nprotocol = "identifier_22"\nidentifier = "F190"',
        "line 11, poll#1.fields: found nothing, allowed: at least one field; "
        'only "service_01" and "service_09" have standard ones',
    ),
    (HEAD + FORMAT + EXCHANGE.replace("12", "9"), "line 24, exchange#1.times: found 9, allowed: at least 10 times"),
    (
        HEAD + FORMAT + EXCHANGE.replace("5\n", "1\n"),
        "line 25, exchange#1.answers: found 1, allowed: at least 2 different",
    ),
    (HEAD + FORMAT + EXCHANGE.replace('"95 5C', '"9Z'), "line 23, exchange#1.request: found '9Z B4 1A 04 01 00 00'"),
    (HEAD + FORMAT + EXCHANGE.replace("ab" * 31, ""), "line 26, exchange#1.trace: found 'ab'"),
    (HEAD + FORMAT + EXCHANGE.replace('"own"', '"owen"'), "line 21, exchange#1.request_format: found 'owen'"),
    (
        HEAD + '[[ignition]]\nsignal = "vehicle.ignition"\non = ["RUN"]',
        "line 13, ignition#1.on#1: found 'RUN', allowed: LOCK",
    ),
    (
        HEAD + '[[ignition]]\nsignal = "vehicle.ignition"\non = ["ON"]\noff = ["ON"]',
        "line 13, ignition#1.on#1: found 'ON'",
    ),
    (HEAD + '[[ignition]]\nsignal = "vehicle.ignition"', "line 11, ignition#1.on: found nothing, allowed: the values"),
    (
        HEAD + '[[ignition]]\nsignal = "vehicle.igntion"\non = ["ON"]',
        "line 12, ignition#1.signal: found 'vehicle.igntion'",
    ),
    (
        HEAD + FORMAT + OWN_POLL + '[[ignition]]\nsignal = "engine.load"\nabove = 1',
        "line 26, ignition#1.signal: found 'engine.load', allowed: a signal that is broadcast or wired",
    ),
    (
        HEAD + '[buttons]\nmenu = "drving"',
        'line 12, buttons.menu: found \'drving\', allowed: one of "comfort", "driving"',
    ),
    (HEAD + '[[fingerprint]]\nbus = "drive"\nid = "1"\nlength = 9', "line 14, fingerprint#1.length: found 9"),
    (HEAD + '[[fingerprint]]\nbus = "drvie"\nid = "1"\nlength = 8', "line 12, fingerprint#1.bus: found 'drvie'"),
]


@pytest.mark.parametrize(("text", "says"), BAD)
def test_every_kind_of_mistake_has_its_sentence(tmp_path: Path, text: str, says: str) -> None:
    said = mistakes(tmp_path / "car.toml", text)

    assert any(mistake.startswith(says) for mistake in said), said


def test_a_mistake_in_one_field_hides_none_in_the_next(tmp_path: Path) -> None:
    fields = (
        'byte = -3 }, { signal = "engine.speed", byte = 0 }, { signal = "engine.spede", byte = 1 },'
        ' { signal = "engine.load", byte = 99 }'
    )
    said = mistakes(tmp_path / "car.toml", HEAD + SPEED.replace("byte = 0 }", fields))
    assert [mistake.split(":")[0].split(", ")[1] for mistake in said] == [
        "broadcast#1.fields#1.byte",
        "broadcast#1.fields#2.signal",
        "broadcast#1.fields#3.signal",
        "broadcast#1.fields#4",
    ]


def test_a_mistake_in_one_entry_hides_none_in_another(tmp_path: Path) -> None:
    text = (
        HEAD.replace('"7E8"', '"7EX"') + SPEED.replace("100", "10X") + SPEED.replace("speed", "sped") + "[buttons]\na=1"
    )

    assert [line.split(":")[0] for line in mistakes(tmp_path / "car.toml", text)] == [
        "line 10, unit.engine.response",
        "line 13, broadcast#1.id",
        "line 18, broadcast#2.fields#1.signal",
        "line 20, buttons.a",
    ]


def test_a_unit_with_a_mistake_of_its_own_is_not_said_to_be_missing(tmp_path: Path) -> None:
    text = HEAD.replace('"7E8"', '"7EX"') + '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"'

    assert len(mistakes(tmp_path / "car.toml", text)) == 1
