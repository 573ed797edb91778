"""The guide's way from an unknown car to a page, run as it stands there, and held against the car's own description."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from PIL import Image

from underdash.broadcast.bits import place_of
from underdash.cli import main
from underdash.config.cars import read_car
from underdash.contract.cars import CarDescription
from underdash.contract.layout import Field
from underdash.wiring.assembly import choose_car, load_bundled

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
FOUND = ("vehicle.ignition", "button.menu", "vehicle.speed")


def commands() -> list[list[str]]:
    (block,) = re.findall(r"<!-- run by tests/finding/test_guide.py -->\n```sh\n(.*?)```", GUIDE.read_text(), re.DOTALL)
    return [shlex.split(line)[1:] for line in block.splitlines() if line.startswith("underdash ")]


def heard(car: CarDescription) -> dict[str, tuple[str, int, bool, Field]]:
    return {field.signal: (one.bus, one.id, one.extended, field) for one in car.broadcasts for field in one.fields}


@pytest.mark.slow
def test_an_unknown_car_gets_a_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    for command in commands():
        assert main(command) == 0, f"{command}: {capsys.readouterr().err}"
    assert "nothing speaks against it" in capsys.readouterr().out

    found, true = read_car(tmp_path / "mine.toml"), choose_car("tarn", load_bundled())[0]
    ours, theirs = heard(found), heard(true)
    for signal in FOUND:
        (bus, can_id, extended, field), (*frame, known) = ours[signal], theirs[signal]
        assert [bus, can_id, extended] == frame
        assert place_of(field.bits).first == place_of(known.bits).first
        assert (field.scale, field.offset) == (known.scale, known.offset)
    assert place_of(ours["button.menu"][3].bits) == place_of(theirs["button.menu"][3].bits)
    assert ours["dashboard.brightness"][:3] == theirs["dashboard.brightness"][:3]
    assert dict(ours["vehicle.ignition"][3].values) == dict(theirs["vehicle.ignition"][3].values)

    asked = {poll.fields[0].signal: poll for poll in found.polls}
    for poll in true.polls:
        if poll.protocol == "halden":
            one, known = asked[poll.fields[0].signal], poll.fields[0]
            assert one.identifier == poll.identifier
            assert (one.fields[0].scale, one.fields[0].offset) == (known.scale, known.offset)
    ((form,), (known_form,)) = found.formats, true.formats
    assert (form.request, form.reply, form.command) == (known_form.request, known_form.reply, known_form.command)
    assert all(one.times >= 10 and one.answers >= 2 for one in found.exchanges)
    with Image.open(tmp_path / "boost.png") as picture:
        assert picture.size == (240, 240)
