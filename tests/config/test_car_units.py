"""Units that nobody can tell apart, ids the car itself uses, and lengths that cannot be: refused with a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.cars import read_car
from underdash.config.mistakes import ConfigError
from underdash.contract.requests import ControlUnit

HEAD = """\
format = 1
name = "car"
title = "A car"
counting = "from 0"
[bus.drive]
bitrate = 500_000
[unit.engine]
bus = "drive"
request = "{request}"
response = "7E8"
"""


def other(request: str, response: str, address: str = "") -> str:
    extra = f'address = "{address}"\n' if address else ""
    return f'[unit.other]\nbus = "drive"\nrequest = "{request}"\nresponse = "{response}"\n{extra}'


BROADCAST = '[[broadcast]]\nbus = "drive"\nid = "{id}"\nfields = [{{ signal = "engine.speed", byte = 0 }}]\n'
CASES = [
    ("7E0", other("7E0", "7EC"), "unit.other: found a unit that is asked on 7E0, as engine does"),
    ("7E0", other("7E1", "7E8"), "unit.engine: found a unit that answers on 7E8, as other does"),
    ("7E0", other("7E0", "7E8", "51"), "unit.other: found a unit that is asked on 7E0"),
    ("7E0", other("7E8", "7E9"), "unit.other.request: found 7E8, which is an answer of engine"),
    ("7E0", BROADCAST.format(id="7E0"), "unit.engine.request: found 7E0, which is a broadcast"),
    (
        "7E0",
        '[[fingerprint]]\nbus = "drive"\nid = "7E0"\nlength = 8\n',
        "unit.engine.request: found 7E0, which is a frame of the fingerprint",
    ),
    (
        "7DF",
        other("7DF", "612"),
        "unit.other: found a unit that is asked on 7DF with all units and answers on 612, which does not tell",
    ),
    (
        "7DF",
        other("7DF", "7E9", "51"),
        "unit.other: found a unit that is asked on 7DF with all units and has an address",
    ),
    ("7DF", other("7E0", "7E8"), "unit.other: found a unit that gets flow control on 7E0, as engine does"),
    ("7DF", other("7E0", "6E8"), "unit.other: found a unit that gets flow control on 7E0, as engine does"),
    ("7DF", other("7DF", "7E8"), "unit.other: found a unit that gets flow control on 7E0, as engine does"),
    ("7DF", BROADCAST.format(id="7E0"), "unit.engine.request: found 7E0, which is a broadcast"),
    (
        "7E0",
        '[[broadcast]]\nbus = "drive"\nid = "1"\nfields = [{ signal = "engine.speed", byte = 7, length = 16 }]',
        "byte",
    ),
]


@pytest.mark.parametrize(("request_id", "text", "says"), CASES)
def test_what_cannot_be_told_apart_is_refused_when_it_is_read(
    tmp_path: Path, request_id: str, text: str, says: str
) -> None:
    path = tmp_path / "car.toml"
    path.write_text(HEAD.format(request=request_id) + text)

    with pytest.raises(ConfigError) as raised:
        read_car(path)

    assert says in str(raised.value)


def test_an_address_byte_tells_units_apart_that_share_their_ids(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    first = HEAD.format(request="6E0").replace('response = "7E8"', 'response = "6E8"\naddress = "50"')
    path.write_text(first + other("6E0", "6E8", "51"))

    assert len(read_car(path).units) == 2


UNIT = """\
format = 1
name = "car"
title = "A car"
counting = "from 0"
[bus.drive]
bitrate = 500_000
[unit.engine]
bus = "drive"
"""


def read(folder: Path, text: str) -> tuple[ControlUnit, ...]:
    path = folder / "car.toml"
    path.write_text(UNIT + text)
    return read_car(path).units


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        (
            'addressing = "normal fixed"\ntarget = "10"\n',
            ControlUnit("engine", "drive", 0x18DA10F1, 0x18DAF110, extended=True),
        ),
        (
            'addressing = "mixed"\ntarget = "10"\naddress = "5C"\n',
            ControlUnit("engine", "drive", 0x18CE10F1, 0x18CEF110, extended=True, address=0x5C),
        ),
        (
            'request = "6F1"\nresponse = "612"\naddress = "12"\nreply_address = "F1"\n',
            ControlUnit("engine", "drive", 0x6F1, 0x612, address=0x12, reply_address=0xF1),
        ),
        (
            'request = "7E0"\nresponse = "7E8"\nblock_size = 8\nst_min_ms = 20\n',
            ControlUnit("engine", "drive", 0x7E0, 0x7E8, block_size=8, st_min=20),
        ),
        (
            'request = "7E0"\nresponse = "7E8"\nst_min_ms = 0.3\n',
            ControlUnit("engine", "drive", 0x7E0, 0x7E8, st_min=0xF3),
        ),
    ],
)
def test_units_are_addressed_as_the_standard_has_it(tmp_path: Path, text: str, unit: ControlUnit) -> None:
    assert read(tmp_path, text) == (unit,)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "unit.engine.request: found nothing"),
        ('request = "7E0"\n', "unit.engine.response: found nothing"),
        ('target = "10"\n', "unit.engine.addressing: found nothing, allowed: the way of addressing that has a target"),
        ('addressing = "normal fixed"\n', "unit.engine.target: found nothing, allowed: the unit's own address"),
        ('addressing = "normal fixed"\ntarget = "110"\n', "unit.engine.target: found '110'"),
        (
            'addressing = "normal fixed"\ntarget = "10"\naddress = "5C"\n',
            "unit.engine.address: found '5C', allowed: no such key",
        ),
        (
            'addressing = "normal fixed"\ntarget = "10"\nrequest = "7E0"\n',
            "unit.engine.request: found '7E0', allowed: no such key",
        ),
        ('addressing = "mixed"\ntarget = "10"\n', "unit.engine.address: found nothing"),
        (
            'request = "6F1"\nresponse = "612"\nreply_address = "F1"\n',
            "unit.engine.address: found nothing, allowed: the byte that requests to it begin with",
        ),
        ('request = "7E0"\nresponse = "7E8"\nst_min_ms = 1.5\n', "unit.engine.st_min_ms: found 1.5"),
        ('request = "7E0"\nresponse = "7E8"\nst_min_ms = 0.25\n', "unit.engine.st_min_ms: found 0.25"),
        ('request = "7E0"\nresponse = "7E8"\nblock_size = 256\n', "unit.engine.block_size: found 256"),
        (
            'request = "6F1"\nresponse = "612"\naddress = "12"\nreply_address = "F1"\n[unit.other]\nbus = "drive"\n'
            'request = "6F1"\nresponse = "612"\naddress = "13"\nreply_address = "F1"\n',
            "unit.engine: found a unit that answers on 612, as other does",
        ),
    ],
)
def test_a_way_of_addressing_that_cannot_be_is_refused(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(ConfigError) as raised:
        read(tmp_path, text)

    assert says in str(raised.value)


def test_units_of_extended_addressing_share_the_id_of_their_requests(tmp_path: Path) -> None:
    unit = 'request = "6F1"\nresponse = "6{0}"\naddress = "{0}"\nreply_address = "F1"\n'
    units = read(tmp_path, unit.format("12") + '[unit.other]\nbus = "drive"\n' + unit.format("13"))

    assert [one.response_id for one in units] == [0x612, 0x613]


def test_units_that_are_asked_all_at_once_are_told_apart_by_the_ids_of_their_answers(tmp_path: Path) -> None:
    unit = 'request = "{}"\nresponse = "{}"\n'
    other = '[unit.other]\nbus = "drive"\n'
    assert len(read(tmp_path, unit.format("7DF", "7E8") + other + unit.format("7DF", "7E9"))) == 2
    assert len(read(tmp_path, unit.format("7DF", "7E8") + other + unit.format("7E1", "7E9"))) == 2
    long = unit.format("18DB33F1", "18DAF110") + other + unit.format("18DB33F1", "18DAF11D")
    assert len(read(tmp_path, long)) == 2
