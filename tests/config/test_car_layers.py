from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.cars import read_car, variants_of
from underdash.config.mistakes import ConfigError
from underdash.contract.cars import CarDescription
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


def read(folder: Path, text: str, name: str = "car.toml", variant: str | None = None) -> CarDescription:
    file = folder / name
    file.write_text(text)
    return read_car(file, variant=variant, signals=CATALOGUE)


def mistakes(tmp_path: Path, text: str, variant: str | None = None) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        read(tmp_path, text, variant=variant)
    return [str(mistake) for mistake in caught.value.mistakes]


OVERLAY = 'format = 1\nname = "mine"\ntitle = "Mine"\ncounting = "from 1"\nbase = "car.toml"\n'


def extended(tmp_path: Path, base: str, text: str) -> CarDescription:
    read(tmp_path, base)
    return read(tmp_path, OVERLAY + text, "mine.toml")


def test_a_file_extends_its_base_and_overrides_by_signal(tmp_path: Path) -> None:
    two = SPEED.replace("byte = 0 }", 'byte = 0 }, { signal = "engine.load", byte = 1 }')
    own = SPEED.replace('"100"', '"200"').replace("byte = 0", "byte = 3")
    car = extended(tmp_path, HEAD + two, own)

    assert (car.name, car.title) == ("mine", "Mine")
    assert [unit.name for unit in car.units] == ["engine"]
    assert [(b.id, [f.signal for f in b.fields]) for b in car.broadcasts] == [
        (0x100, ["engine.load"]),
        (0x200, ["engine.speed"]),
    ]
    assert car.broadcasts[1].fields[0].bits.byte == 2


def test_polls_of_the_base_stay_beside_broadcasts_of_the_file(tmp_path: Path) -> None:
    poll = '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"\n'
    car = extended(tmp_path, HEAD + poll, SPEED.replace("byte = 0", "byte = 1"))

    assert len(car.polls) == len(car.broadcasts) == 1


def test_a_request_of_the_file_replaces_the_same_one_of_the_base(tmp_path: Path) -> None:
    poll = '[[poll]]\nunit = "engine"\nprotocol = "service_01"\nidentifier = "0C"\n'
    car = extended(tmp_path, HEAD + poll, poll + "period_s = 9")

    assert [p.period_s for p in car.polls] == [9]


def test_a_signal_of_the_base_can_be_left_out(tmp_path: Path) -> None:
    assert extended(tmp_path, HEAD + SPEED, 'without = ["engine.speed"]').broadcasts == ()


def test_a_signal_to_leave_out_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"without#1: found 'engine\.sped'.*did you mean 'engine\.speed'"):
        extended(tmp_path, HEAD + SPEED, 'without = ["engine.sped"]')


def test_units_and_buses_are_replaced_by_name(tmp_path: Path) -> None:
    unit = '[unit.engine]\nbus = "drive"\nrequest = "7E1"\nresponse = "7E9"\n[bus.drive]\nbitrate = 250_000'
    car = extended(tmp_path, HEAD, unit)

    assert [u.request_id for u in car.units] == [0x7E1]
    assert [b.bitrate for b in car.buses] == [250_000]


def test_mistakes_of_a_base_are_told_with_its_name(tmp_path: Path) -> None:
    (tmp_path / "car.toml").write_text(HEAD + "oops = 1")

    with pytest.raises(ConfigError, match=r"car\.toml: 1 mistake"):
        read(tmp_path, OVERLAY, "mine.toml")


def test_a_base_that_is_not_there_gets_the_nearest_file(tmp_path: Path) -> None:
    (tmp_path / "cars.toml").write_text("")

    with pytest.raises(ConfigError, match=r"base: found 'car\.toml'.*did you mean 'cars\.toml'"):
        read(tmp_path, OVERLAY, "mine.toml")


def test_a_base_has_no_base(tmp_path: Path) -> None:
    extended(tmp_path, HEAD, "")

    with pytest.raises(ConfigError, match="a base stands on its own"):
        read(tmp_path, OVERLAY.replace("car.toml", "mine"), "third.toml")


def test_a_file_that_is_its_own_base_ends(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="a base stands on its own"):
        read(tmp_path, OVERLAY.replace("car.toml", "mine"), "mine.toml")


VARIANTS = (
    HEAD
    + SPEED
    + '[variant.manual]\ntitle = "Manual"\nwithout = ["engine.speed"]\n[variant.automatic]\ntitle = "Auto"\n'
)


def test_a_variant_is_named(tmp_path: Path) -> None:
    car = read(tmp_path, VARIANTS, variant="manual")

    assert (car.name, car.title, car.broadcasts) == ("car", "Manual", ())


def test_an_empty_name_is_no_variant(tmp_path: Path) -> None:
    assert read(tmp_path, HEAD, variant="").name == "car"
    with pytest.raises(ConfigError, match="no choice of a variant"):
        read(tmp_path, VARIANTS, variant="")


def test_variants_can_be_listed(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(VARIANTS)

    assert variants_of(file) == {"manual": "Manual", "automatic": "Auto"}


@pytest.mark.parametrize(
    ("text", "variant", "says"),
    [
        (VARIANTS, None, "found no choice of a variant, allowed: one of manual, automatic; choose with `variant`"),
        (VARIANTS, "manul", "found 'manul', allowed: as a variant manual, automatic; did you mean 'manual'?"),
        (HEAD, "manual", "found 'manual', allowed: no choice; this car has no variants"),
        (VARIANTS + "extra = 1", "manual", "variant.automatic.extra: found 'extra', allowed: keys"),
        (VARIANTS + "[[variant.manual.broadcast]]\nid = 3", "automatic", "variant.manual.broadcast#1.id: found 3"),
    ],
)
def test_no_variant_is_guessed(tmp_path: Path, text: str, variant: str | None, says: str) -> None:
    assert any(says in mistake for mistake in mistakes(tmp_path, text, variant))


@pytest.mark.parametrize("name", ["\\u0000", "x" * 300])
def test_a_base_no_file_can_be_called_is_a_mistake(name: str, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="a car file beside this one"):
        read(tmp_path, OVERLAY.replace("car.toml", name), "mine.toml")


STANDARD = """\
[[poll]]
unit = "engine"
protocol = "service_01"
identifier = "0C"
[[poll]]
unit = "engine"
protocol = "service_01"
identifier = "05"
"""


def test_a_standard_parameter_of_the_base_can_be_left_out_by_its_signal(tmp_path: Path) -> None:
    car = extended(tmp_path, HEAD + STANDARD, 'without = ["engine.speed"]')

    assert [poll.identifier for poll in car.polls] == [0x05]
    assert car.polls[0].fields == ()


def test_a_signal_that_the_file_asks_for_is_no_longer_asked_for_as_the_standard_has_it(tmp_path: Path) -> None:
    own = '[[poll]]\nunit = "engine"\nprotocol = "identifier_22"\nidentifier = "1234"\n'
    car = extended(tmp_path, HEAD + STANDARD, own + 'fields = [{ signal = "engine.speed", byte = 1 }]\n')

    assert [(poll.protocol, poll.identifier) for poll in car.polls] == [("service_01", 0x05), ("identifier_22", 0x1234)]
