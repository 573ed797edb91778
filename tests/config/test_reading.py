from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.mistakes import ConfigError
from underdash.config.reading import parse_config, read_config
from underdash.power.states import PowerOptions, Supply
from underdash.signals.catalogue import CATALOGUE

LEAST = 'format = 1\n[car]\nname = "tarn"\n'


def mistakes(text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        parse_config(text, signals=CATALOGUE)
    return [str(mistake) for mistake in caught.value.mistakes]


def test_the_least_configuration_is_a_car() -> None:
    config = parse_config(LEAST)

    assert config.car.name == "tarn"
    assert config.power.supply is None
    assert config.limits.requests_per_s == 40
    assert config.limits.load_percent == 3


def test_settings_come_for_every_enabled_plugin_and_no_other() -> None:
    text = LEAST + '[plugins]\nenabled = ["b", "a"]\n[plugin.a]\nx = 1\n[plugin.c]\ny = 2\n'

    assert parse_config(text).settings == {"b": {}, "a": {"x": 1}}


def test_a_car_file_lies_beside_the_configuration(tmp_path: Path) -> None:
    file = tmp_path / "underdash.toml"
    file.write_text('format = 1\n[car]\nfile = "cars/mine.toml"\n')

    config = read_config(file)

    assert config.path == file
    assert config.car_file == tmp_path / "cars" / "mine.toml"


def test_bytes_that_read_become_numbers() -> None:
    assert parse_config(LEAST + '[reads]\nengine = ["B4", "be"]\n').reading_bytes == {"engine": {0xB4, 0xBE}}


def test_power_times_reach_the_power_room() -> None:
    power = parse_config(LEAST + '[power]\nsupply = "permanent"\naccept_drain = true\nasleep_s = 60\n').power

    assert power.supply is Supply.PERMANENT
    assert power.options() == PowerOptions(asleep_s=60.0, accept_drain=True)


def test_defaults_are_those_of_the_power_room() -> None:
    assert parse_config(LEAST).power.options() == PowerOptions()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "car: found nothing, allowed: this key must be there"),
        ('format = 2\n[car]\nname = "a"', "line 1, format: found 2, allowed: at most 1; it was written for"),
        ('format = true\n[car]\nname = "a"', "line 1, format: found true, allowed: one of 1"),
        ("format = 1\n[car]", "line 2, car: found an empty table, allowed: either `name`, of a car"),
        (
            'format = 1\n[car]\nname = "a"\nfile = "b"',
            "line 2, car: found name = 'a', file = 'b', allowed: either `name`",
        ),
        (LEAST + "[bus.drive]", "line 4, bus.drive: found an empty table, allowed: `hardware` (where it is plugged in"),
        (
            LEAST + '[bus.drive]\nchannel="can0"\nhardware="spi0.0"',
            "line 4, bus.drive: found channel = 'can0', hardware",
        ),
        (
            LEAST + '[bus.drive]\ninterface="slcan"\nhardware="x"',
            "line 4, bus.drive: found interface = 'slcan', hardware = 'x', allowed: `channel`",
        ),
        (
            LEAST + '[bus.drive]\nchannel="can0"\ntransmit="yes"',
            "line 6, bus.drive.transmit: found 'yes', allowed: true",
        ),
        (LEAST + "[plugins]\nenabled = 3", "line 5, plugins.enabled: found 3, allowed: a list"),
        (LEAST + '[plugins]\nenabled = ["a", "a"]', "line 5, plugins.enabled#2: found 'a', allowed: each plug-in once"),
        (LEAST + "plugin = 3", "line 4, car.plugin: found 'plugin', allowed: keys file, variant"),
        (LEAST + "[plugin]\na = 3", "line 5, plugin.a: found 3, allowed: a table"),
        (LEAST + '[power]\nsupply = "swiched"', "line 5, power.supply: found 'swiched', allowed: one of \"switched\""),
        (LEAST + "[power]\ngoodbye_s = 31", "line 4, power: found goodbye_s = 31, allowed: `goodbye_s` no longer"),
        (LEAST + "[power]\ndip_v = 12", "line 4, power: found dip_v = 12, allowed: `dip_v` below `cutoff_v`"),
        (LEAST + "[power]\nlow_s = -1", "line 5, power.low_s: found -1, allowed: more than 0"),
        (LEAST + "[power]\nafter_start_s = 29", "line 5, power.after_start_s: found 29, allowed: at least 30"),
        (
            LEAST + '[panel.m]\ndriver="x"\ndeck=[]',
            "line 4, panel.m: found driver = 'x', deck = a list of 0, allowed: at least one page",
        ),
        (
            LEAST + '[panel.m]\ndriver="x"\ndeck=["a","b","a"]',
            "line 4, panel.m: found driver = 'x', deck = a list of 3, allowed: each page once",
        ),
        (LEAST + '[panel.m]\ndeck=["a"]', "line 4, panel.m.driver: found nothing, allowed: this key must be there"),
        (
            LEAST + '[panel.m]\ndriver="x"\ndeck=["a"]\nsize=[240,8]',
            "line 7, panel.m.size#2: found 8, allowed: at least",
        ),
        (LEAST + '[units]\nkPa = "baar"', "line 5, units.kPa: found 'baar', allowed: units Pa, kPa"),
        (LEAST + '[units]\nkPa = "degC"', "line 5, units.kPa: found 'degC', allowed: one of Pa, kPa"),
        (LEAST + '[units]\nkpa = "bar"', "line 5, units.kpa: found 'kpa', allowed: a stored unit"),
        (LEAST + '[units]\n"engine.sped" = "rpm"', "line 5, units.engine.sped: found 'engine.sped', allowed: a stored"),
        (LEAST + '[units]\n"engine.speed" = "bar"', "line 5, units.engine.speed: found 'bar', allowed: one of rpm"),
        (LEAST + "[units]\nkPa = 1", 'line 5, units.kPa: found 1, allowed: text in quotes ("...")'),
        (LEAST + "[dimming]\nfloor = 1.0", "line 4, dimming: found floor = 1.0, allowed: `floor` below `ceiling`"),
        (
            LEAST + "[dimming]\nnight_hue = 361",
            "line 5, dimming.night_hue: found 361, allowed: at least 0 and at most 360",
        ),
        (LEAST + '[dimming]\nknob_applies = "day"', "line 5, dimming.knob_applies: found 'day', allowed: one of"),
        (LEAST + "[buttons]\ndouble_s = 0", "line 5, buttons.double_s: found 0, allowed: more than 0 and at most 2 s"),
        (
            LEAST + "[limits]\nload_percent = 10.1",
            "line 5, limits.load_percent: found 10.1, allowed: more than 0 and at",
        ),
        (LEAST + "[limits]\nrequests_per_s = 0", "line 5, limits.requests_per_s: found 0, allowed: more than 0"),
        (LEAST + "[reads]\nengine = [0xB4]", "line 5, reads.engine#1: found 180, allowed: hex digits in quotes and"),
        (LEAST + '[reads]\nengine = ["22"]', 'line 5, reads.engine#1: found \'22\', allowed: a byte from "A0" to "BE"'),
        (LEAST + '[reads]\nengine = ["BF"]', "line 5, reads.engine#1: found 'BF', allowed: a byte from \"A0\""),
        (LEAST + '[reads]\nengine = "B4"', "line 5, reads.engine: found 'B4', allowed: a list"),
        (LEAST + "[recording]\nshare_mb = 0", "line 5, recording.share_mb: found 0, allowed: at least 1"),
        (LEAST + '[signals.order]\n"engine.sped" = ["poll"]', "line 5, signals.order.engine.sped: found 'engine.sped'"),
        (LEAST + '[signals.order]\n"engine.speed" = ["pol"]', "line 5, signals.order.engine.speed#1: found 'pol'"),
        (
            LEAST + '[signals.order]\n"engine.speed" = ["poll", "poll"]',
            "line 5, signals.order.engine.speed: found a list of 2, allowed: each kind of source once",
        ),
    ],
)
def test_every_kind_of_mistake_has_its_sentence(text: str, says: str) -> None:
    assert any(mistake.startswith(says) for mistake in mistakes(text)), mistakes(text)


def test_all_mistakes_come_at_once_in_the_order_of_the_file() -> None:
    text = LEAST + '[buttons]\ndouble_s = 0\n[units]\nkPa = "baar"\n[limits]\nload_percnt = 2\n'

    assert mistakes(text) == [
        "line 5, buttons.double_s: found 0, allowed: more than 0 and at most 2 s",
        "line 7, units.kPa: found 'baar', allowed: units Pa, kPa, hPa, mbar, bar, psi, inHg, kgf/cm2, atm; "
        "did you mean 'bar'?",
        "line 9, limits.load_percnt: found 'load_percnt', allowed: keys load_percent, requests_per_s; "
        "did you mean 'load_percent'?",
    ]


def test_units_are_checked_without_a_catalogue_too() -> None:
    assert parse_config(LEAST + '[units]\n"my.own" = "bar"').units == {"my.own": "bar"}
    with pytest.raises(ConfigError, match="units"):
        parse_config(LEAST + '[units]\n"my.own" = "baar"')


def test_a_misspelt_interface_is_named_where_its_other_keys_look_wrong() -> None:
    with pytest.raises(ConfigError, match="did you mean interface = 'socketcan'"):
        parse_config(LEAST + '[bus.other]\ninterface = "socketcn"\nhardware = "spi0.0"')
