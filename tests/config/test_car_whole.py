"""Parts of a description that do not go together, and places no frame and no answer has: refused with a sentence."""

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
LINE = HEAD.count("\n")
SPEED = '[[broadcast]]\nbus = "drive"\nid = "{id}"\n{more}fields = [{{ signal = "engine.speed", {place} }}]\n'
WIDE = SPEED.format(id="100", more="", place='byte = 4, length = 16, order = "big"')
PRINT = '[[fingerprint]]\nbus = "drive"\nid = "{id}"\nlength = {length}\n'
POLL = '[[poll]]\nunit = "{unit}"\nprotocol = "{protocol}"\nidentifier = "{identifier}"\nfields = [{fields}]\n'
EXCHANGE = f"""\
[[exchange]]
request_format = "own"
unit = "charge"
request = "{{request}}"
times = 12
answers = 5
trace = "{"ab" * 32}"
"""
SECOND = HEAD.partition("[request_format.own]")[2].join(["[request_format.again]", ""])


def poll(protocol: str, identifier: str, place: str, unit: str = "engine", signal: str = "engine.load") -> str:
    fields = f'{{ signal = "{signal}", {place} }}'
    return POLL.format(unit=unit, protocol=protocol, identifier=identifier, fields=fields)


def read(tmp_path: Path, text: str) -> list[str]:
    """Return the mistakes of a file."""
    path = tmp_path / "car.toml"
    path.write_text(HEAD + text)
    try:
        read_car(path, signals=CATALOGUE, protocols=("plugged",))
    except ConfigError as exc:
        told = str(exc), [str(mistake) for mistake in exc.mistakes]
    else:
        return []
    assert "car.toml" in told[0]
    return told[1]


CASES = [
    (
        WIDE + PRINT.format(id="100", length=5),
        "fingerprint#1.length: found 5, allowed: at least 6, which the [[broadcast]] of 100 reads",
    ),
    (
        SPEED.format(id="100", more='checksum = { kind = "crc8", byte = 7 }\n', place="byte = 0")
        + PRINT.format(id="100", length=7),
        "fingerprint#1.length: found 7, allowed: at least 8",
    ),
    (
        PRINT.format(id="200", length=8) + PRINT.format(id="200", length=7),
        "fingerprint#2.length: found 7, allowed: one length a frame; 200 has 8 bytes above",
    ),
    (
        SPEED.format(id="7E8", more="", place="byte = 0"),
        "unit.engine.response: found 7E8, which is a broadcast too, allowed: an id on which nothing but answers",
    ),
    (
        EXCHANGE.format(request="95 5C B4 1A 04"),
        "exchange#1.request: found '95 5C B4 1A 04', allowed: 6, which own has, up to eight bytes",
    ),
    (
        poll("service_01", "0D", "byte = 1"),
        "poll#1.fields#1: found engine.load up to byte 1, allowed: bytes up to 0",
    ),
    (
        poll("service_01", "0C", 'byte = 1, length = 16, order = "big"'),
        "poll#1.fields#1: found engine.load up to byte 2, allowed: bytes up to 1",
    ),
    (poll("identifier_22", "1000", "byte = 4092"), "found engine.load up to byte 4092, allowed: bytes up to 4091"),
    (poll("identifier_21", "10", "byte = 4093"), "found engine.load up to byte 4093, allowed: bytes up to 4092"),
    (poll("plugged", "10", "byte = 8"), "found engine.load up to byte 8, allowed: bytes up to 7"),
    (poll("own", "1A04", "byte = 3", "charge"), "found engine.load up to byte 3, allowed: bytes up to 2"),
    (
        poll("own", "1A04", "byte = 0", "charge") * 2,
        "poll#2.identifier: found 1A04 a second time, allowed: each request once",
    ),
    (
        SECOND
        + poll("own", "1A04", "byte = 0", "charge")
        + poll("again", "1A04", "byte = 0", "charge", "engine.throttle"),
        "request_format.again.reply: found a reply of charge that could be one of own too, allowed: replies that",
    ),
    (
        SPEED.format(id="100", more="", place="byte = 0, select = { byte = 1, values = [256] }"),
        "broadcast#1.fields#1.select.values#1: found 256, allowed: a number that its bits can hold, 0 to 255",
    ),
    (
        WIDE.replace("engine.speed", "vehicle.ignition").replace(
            'byte = 4, length = 16, order = "big"', 'byte = 0, bits = [0, 1], values = { 4 = "ON" }'
        ),
        "broadcast#1.fields#1.values.4: found '4', allowed: raw numbers from 0 to 3, which is what its bits can hold",
    ),
]


@pytest.mark.parametrize(("text", "says"), CASES)
def test_what_does_not_go_together_or_cannot_be_is_refused(tmp_path: Path, text: str, says: str) -> None:
    mistakes = read(tmp_path, text)
    assert len(mistakes) == 1
    assert says in mistakes[0]
    assert mistakes[0].startswith("line ")
    assert mistakes[0].startswith("line ")


GOOD = [
    WIDE + PRINT.format(id="100", length=6) + PRINT.format(id="200", length=0),
    SPEED.format(id="100", more="shortest = 2\n", place="byte = 7") + PRINT.format(id="100", length=2),
    EXCHANGE.format(request="95 5C B4 1A 04 01"),
    poll("service_01", "0C", 'byte = 0, length = 16, order = "big"'),
    poll("service_01", "F4", "byte = 30"),
    poll("identifier_22", "1000", "byte = 4091"),
    poll("own", "1A04", "byte = 2", "charge"),
    poll("plugged", "10", "byte = 7"),
    SECOND.replace('"B4"', '"B5"')
    + poll("own", "1A04", "byte = 0", "charge")
    + poll("again", "1A04", "byte = 0", "charge", "engine.throttle"),
]


@pytest.mark.parametrize("text", GOOD)
def test_what_only_just_fits_is_taken(tmp_path: Path, text: str) -> None:
    assert read(tmp_path, text) == []


def test_an_ignition_that_only_a_standard_request_knows_is_a_mistake(tmp_path: Path) -> None:
    request = '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"\n'
    told = read(tmp_path, request + '[[ignition]]\nsignal = "engine.speed"\nabove = 400\n')

    assert len(told) == 1
    assert "ignition#1.signal: found 'engine.speed', allowed: a signal that is broadcast or wired" in told[0]


def test_an_exchange_can_speak_for_the_protocol_of_a_plug_in(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(HEAD + EXCHANGE.format(request="95 5C B4").replace('"own"', '"odd"'))

    car = read_car(path, signals=CATALOGUE, protocols=["odd"])
    assert [one.format for one in car.exchanges] == ["odd"]
    with pytest.raises(ConfigError, match="request formats of this file: own, or a protocol of an enabled plug-in"):
        read_car(path, signals=CATALOGUE)
