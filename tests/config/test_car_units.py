"""Units that nobody can tell apart, ids the car itself uses, and lengths that cannot be: refused with a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.cars import read_car
from underdash.config.mistakes import ConfigError

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
    ("7DF", "", "unit.engine.request: found '7DF', allowed: the unit's own id"),
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
