"""``underdash check``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.service.client import DaemonError
from underdash.wiring.measuring.budgets import Figure

Typed = Callable[..., Any]
Changed = Callable[[str, str], Path]


def test_a_configuration_that_works_is_told_so(typed: Typed, config: Path) -> None:
    done = typed("check", "--config", config)
    assert done.status == 0
    assert "nothing keeps it from working" in done.out


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('file = "small.toml"', 'file = "smal.toml"', "did you mean"),
        ('file = "small.toml"', 'name = "nosuch"', "car 'nosuch' is not known"),
        ("[bus.drive]", "[bus.drvie]", "drive"),
        ('"boost", "temperatures", "page_turn"', '"bost"', "did you mean 'boost'"),
        ('deck = ["boost", ', 'deck = ["bost", ', "'bost'"),
        ('driver = "picture"', 'driver = "pictures"', "pictures"),
        ("[power]", "[plugin.page_turn]\nhold_s = 0\n\n[power]", "hold_s"),
        ('supply = "switched"', 'supply = "swiched"', "did you mean 'switched'"),
        ('supply = "switched"', "", "power.supply"),
        ("format = 1", "formatt = 1", "did you mean 'format'"),
        ("format = 1", "format = ", "no TOML"),
        ("[power]", "[colour]\n[power]", "colour"),
        ('interface = "virtual"', 'interface = "socketcan"\nhardware = "spi0.0"', "either `channel` or `hardware`"),
    ],
)
def test_what_keeps_it_from_working_is_told_and_ends_with_two(
    typed: Typed, changed: Changed, old: str, new: str, says: str
) -> None:
    done = typed("check", "--config", changed(old, new))
    assert done.status == 2
    assert says in done.out + done.err


def test_what_the_running_daemon_doubts_of_the_key_s_wire_is_told(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = {"plugins": {"past": []}, "ignition": {"doubts": ["input key says ON; change `inverted`"]}}
    monkeypatch.setattr("underdash.cli.check.running_status", lambda refused: table)
    done = typed("check", "--config", config)
    assert "warning: input key says ON -> change `inverted`" in done.out


def test_a_running_daemon_that_does_not_tell_this_user_is_no_daemon_without_trouble(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def connect(paths: object) -> None:
        raise DaemonError("the daemon's socket belongs to user underdash; run this command as that user, with sudo")

    monkeypatch.setattr("underdash.service.client.Client.connect", connect)
    done = typed("check", "--config", config)
    assert done.status == 0
    assert "note: what the running daemon has to say is missing here: the daemon's socket belongs to" in done.out


def test_all_mistakes_of_a_file_are_told_at_once(typed: Typed, config: Path) -> None:
    config.write_text(
        config.read_text().replace("format = 1", "formt = 1").replace("supply", "suply") + "\n[dimmming]\n"
    )
    done = typed("check", "--config", config)
    assert done.status == 2
    for word in ("formt", "suply", "dimmming"):
        assert word in done.err


def test_mistakes_of_the_description_are_told_with_its_file(typed: Typed, config: Path, car: Path) -> None:
    car.write_text(car.read_text().replace("bitrate = 500_000", 'bitrate = "fast"'))
    done = typed("check", "--config", config)
    assert done.status == 2
    assert "small.toml" in done.out + done.err
    assert "bitrate" in done.out + done.err


@pytest.mark.parametrize("verb", ["check", "run", "plugins"])
def test_a_configuration_that_cannot_be_read_is_told_with_the_next_step(typed: Typed, config: Path, verb: str) -> None:
    folder = config.parent
    near = typed(verb, "--config", folder / "underdsh.toml")
    assert near.status == 2
    assert f"{folder / 'underdsh.toml'} cannot be read: No such file or directory" in near.err
    assert f"did you mean {config}?" in near.err
    directory = typed(verb, "--config", folder)
    assert directory.status == 2
    assert f"{folder} cannot be read: Is a directory" in directory.err
    assert "somewhere" not in near.err + directory.err


def test_without_a_configuration_the_usual_place_is_named(typed: Typed) -> None:
    done = typed("check")
    if Path("/etc/underdash/underdash.toml").exists():
        pytest.skip("this machine has a configuration")
    assert done.status == 2
    assert "name yours with --config" in done.err


def test_a_file_that_is_no_text_is_told(typed: Typed, config: Path) -> None:
    config.write_bytes(b"\xff\xfe\x00\x01")
    done = typed("check", "--config", config)
    assert done.status == 2
    assert "UTF-8" in done.err


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('interface = "virtual"\nchannel = "nobody"', 'channel = "can77"', "there is no CAN interface 'can77'"),
        ('interface = "virtual"\nchannel = "nobody"', 'hardware = "spi77.0"', "fits none of the CAN interfaces"),
        ("{ file = ", "{ fil = ", "did you mean 'file'?"),
        ('{ file = "panel.png"', "{ file = 3", "settings.file: found 3"),
        ('"panel.png"', '"nosuch/panel.png"', "nosuch is no folder"),
        ('"panel.png"', '"/"', "/ is a folder; name a file in it"),
        ("[power]", '[recording]\ntraces = true\nfolder = "small.toml"\n\n[power]', "recording.folder"),
    ],
)
def test_what_this_machine_does_not_have_is_an_error(
    typed: Typed, changed: Changed, old: str, new: str, says: str
) -> None:
    done = typed("check", "--config", changed(old, new))
    assert done.status == 2
    assert says in done.out


def test_a_state_folder_that_cannot_be_written_is_an_error(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(config))
    done = typed("check", "--config", config)
    assert done.status == 2
    assert "state cannot be kept in" in done.out


def test_settings_that_do_not_fit_their_panel_and_a_port_that_is_not_there_are_told(typed: Typed, config: Path) -> None:
    text = config.read_text().replace('"page_turn"]', '"page_turn", "serial_panel"]')
    text = text.replace('driver = "picture"', 'driver = "serial_panel"')
    for settings, says in (
        ('{ port = "/dev/ttyACM0", mod = "values" }', "did you mean 'mode'"),
        ('{ port = "/dev/ttyACM0", baud = 300 }', "at least 9600"),
        ("{ baud = 9600 }", "port"),
    ):
        config.write_text(text.replace('{ file = "panel.png" }', settings))
        done = typed("check", "--config", config)
        assert done.status == 2
        assert says in done.out
    config.write_text(text.replace('{ file = "panel.png" }', '{ port = "/dev/nowhere" }'))
    assert "panel main: there is no serial port /dev/nowhere; plug" in typed("check", "--config", config).out


def test_a_panel_larger_than_its_controllers_memory_and_one_on_anothers_chip_select_are_told(
    typed: Typed, config: Path
) -> None:
    text = config.read_text().replace('driver = "picture"', 'driver = "luma"')
    text = text.replace('{ file = "panel.png" }', '{ device = "st7789", v_offset = 1 }\nsize = [240, 240]')
    config.write_text(text)
    assert "v_offset 1 is more than its memory of 320x240" in typed("check", "--config", config).out
    more = '[panel.rear]\ndriver = "luma"\ndeck = ["boost"]\nsettings = { device = "st7789" }\n'
    config.write_text(f"{text}\n{more}")
    assert "error: panels main and rear are both at spi0.0" in typed("check", "--config", config).out


def test_a_driver_that_cannot_look_is_told_and_keeps_nothing_from_working(
    typed: Typed, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(table: object) -> str:
        raise ZeroDivisionError("odd")

    monkeypatch.setattr("underdash_serial_panel.check", fails)
    text = config.read_text().replace('"page_turn"]', '"page_turn", "serial_panel"]')
    text = text.replace('driver = "picture"', 'driver = "serial_panel"')
    config.write_text(text.replace('{ file = "panel.png" }', '{ port = "/dev/nowhere" }'))
    done = typed("check", "--config", config)
    assert done.status == 0
    assert "panel main: its driver serial_panel cannot tell: ZeroDivisionError('odd')" in done.out


def test_flow_control_that_is_never_let_out_is_told_before_the_car_is_asked(
    typed: Typed, config: Path, car: Path
) -> None:
    unit = """
[unit.seat]
bus = "drive"
request = "6E2"
response = "6EA"
block_size = 2
st_min_ms = 17

[[poll]]
unit = "seat"
protocol = "identifier_22"
identifier = "F190"
period_s = 1.0
fields = [{ signal = "gearbox.oil_temperature", byte = 8, offset = -40 }]
"""
    car.write_text(car.read_text() + unit)
    told = typed("check", "--config", config)
    assert "flow control 30 02 11" in told.out
    assert "another block_size or st_min_ms" in told.out
    car.write_text(car.read_text().replace("st_min_ms = 17", "st_min_ms = 0"))
    assert "flow control" not in typed("check", "--config", config).out


def test_why_names_flow_control_that_is_never_let_out(typed: Typed, config: Path, car: Path) -> None:
    test_flow_control_that_is_never_let_out_is_told_before_the_car_is_asked(typed, config, car)
    car.write_text(car.read_text().replace("st_min_ms = 0", "st_min_ms = 17"))
    done = typed("why", "gearbox.oil_temperature", "--config", config)
    assert "flow control could be misread: change block_size or st_min_ms" in done.out


# --- what is told at once, and how it ends --------------------------------------------------------------------------


def test_the_last_line_counts_warnings_too(typed: Typed, changed: Changed) -> None:
    done = typed("check", "--config", changed("[power]", "[plugin.values]\n[plugin.battery]\n[power]"))
    warnings = done.out.count("warning: ")
    assert done.status == 0
    assert warnings >= 2
    assert done.out.splitlines()[-1].endswith(f"nothing keeps it from working; {warnings} warnings")


def test_a_signal_nobody_declares_is_told_with_the_other_mistakes_of_a_description(
    typed: Typed, config: Path, car: Path
) -> None:
    text = car.read_text().replace("engine.coolant_temperature", "engine.coolnt_temperature")
    car.write_text(text.replace("bitrate = 500_000", 'bitrate = "fast"'))
    done = typed("check", "--config", config)
    assert done.status == 2
    assert "small.toml: 2 mistakes" in done.out
    assert "did you mean 'engine.coolant_temperature'?" in done.out


def test_signals_of_enabled_plugins_are_known_among_the_mistakes(typed: Typed, config: Path, car: Path) -> None:
    text = car.read_text().replace("engine.coolant_temperature", "template.compressor_temperature")
    car.write_text(text.replace("bitrate = 500_000", 'bitrate = "fast"'))
    done = typed("check", "--config", config)
    assert "'template.compressor_temperature', allowed: a signal of the catalogue or of an enabled plug-in" in done.out


def test_pages_of_decks_are_looked_at_where_the_description_has_mistakes(typed: Typed, config: Path, car: Path) -> None:
    car.write_text(car.read_text().replace("bitrate = 500_000", 'bitrate = "fast"'))
    config.write_text(config.read_text().replace('deck = ["boost", ', 'deck = ["bost", '))
    done = typed("check", "--config", config)
    assert "panel main has a page 'bost' in its deck, which nobody brings -> did you mean 'boost'?" in done.out
    assert "temperatures" not in done.out
    assert f"no car description to work with -> correct {car}" in done.out


def test_plugins_that_do_not_run_are_told_where_the_description_has_mistakes(
    typed: Typed, config: Path, car: Path
) -> None:
    car.write_text(car.read_text().replace("bitrate = 500_000", 'bitrate = "fast"'))
    config.write_text(config.read_text().replace("[power]", "[plugin.page_turn]\nhold_s = 0\n[power]"))
    out = typed("check", "--config", config).out
    assert "plugin.page_turn.hold_s: found 0" in out
    assert "bitrate: found 'fast'" in out


def test_a_car_that_nobody_brings_is_corrected_in_the_configuration(typed: Typed, changed: Changed) -> None:
    path = changed('file = "small.toml"', 'name = "nosuch"')
    assert f"-> correct [car] in {path}" in typed("check", "--config", path).out


def test_a_command_byte_nobody_speaks_for_is_one_warning(typed: Typed, config: Path, car: Path) -> None:
    own = """
[unit.gearbox]
bus = "drive"
request = "6A1"
response = "6A9"
[request_format.own]
command = "B4"
request = ["count from 90", "command", "identifier"]
reply = ["count from 90", "command", "identifier", "data"]
"""
    poll = '[[poll]]\nunit = "gearbox"\nprotocol = "own"\nidentifier = "{}"\nfields = [{{ signal = "{}", byte = 0 }}]\n'
    own += poll.format("01", "gearbox.oil_temperature") + poll.format("02", "gearbox.gear")
    car.write_text(car.read_text() + own)
    config.write_text(config.read_text().replace('channel = "nobody"', 'channel = "nobody"\ntransmit = true'))
    done = typed("check", "--config", config)
    assert [line for line in done.out.splitlines() if "B4" in line] == [
        "warning: gearbox is asked in the format own, but its command B4 is not shown to read by an [[exchange]] and "
        "not allowed in [reads]; its values stay empty -> add an [[exchange]] that was heard at least ten times with "
        'different answers and add gearbox = ["B4"] to [reads] if you trust the evidence in the description'
    ]


# --- this machine, in groups, and for programs ----------------------------------------------------------------------


def test_errors_warnings_and_notes_stand_in_groups_and_one_line_closes(typed: Typed, changed: Changed) -> None:
    path = changed("[power]", '[plugin.values]\n[bus.nothing]\nchannel = "can77"\n[power]')
    done = typed("check", "--config", path)
    *groups, closing = done.out.strip().split("\n\n")
    levels = [{line.split(":")[0] for line in group.splitlines()} for group in groups]
    assert levels == [{"error"}, {"warning"}, {"note"}]
    assert closing.startswith(f"{path}: ")
    assert "\n" not in closing


def test_as_json_everything_is_told(typed: Typed, changed: Changed) -> None:
    path = changed("[power]", '[plugin.values]\n[bus.nothing]\nchannel = "can77"\n[power]')
    done = typed("check", "--config", path, "--json")
    table = json.loads(done.out)
    assert done.status == 2
    assert table["path"] == str(path)
    levels = [finding["level"] for finding in table["findings"]]
    assert (levels.count("error"), levels.count("warning")) == (table["errors"], table["warnings"])
    assert all(finding["sentence"] for finding in table["findings"])


def test_the_machine_is_looked_at_from_its_root(
    typed: Typed, changed: Changed, machine: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("underdash.cli.check.ROOT", machine.root)
    machine.board()
    machine.file("proc/mounts", "/dev/mmcblk0p2 / ext4 rw 0 0\n")
    machine.boot("")
    path = changed('"page_turn"]', '"page_turn", "round_panel"]')
    path.write_text(
        path.read_text()
        .replace('driver = "picture"', 'driver = "round_panel"')
        .replace('settings = { file = "panel.png" }', "")
        .replace('interface = "virtual"\nchannel = "nobody"', 'hardware = "spi0.1"')
    )
    done = typed("check", "--config", path)
    assert done.status == 2
    for said in (
        "error: panel main: there is no /dev/spidev0.0 -> write dtparam=spi=on into /boot/firmware/config.txt",
        "warning: bus.drive: /boot/firmware/config.txt has no overlay for a CAN controller at spi0.1",
        "warning: the card is written to while it runs",
    ):
        assert said in done.out


# --- budgets ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Has three figures measured in no time."""

    def measured(progress: Callable[[str], None]) -> list[Figure]:
        progress("drawing")
        return [Figure("drawing", 1.2, "ms", 1.5), Figure("start", 700.0, "ms", 350.0)]

    monkeypatch.setattr("underdash.wiring.measuring.budgets.measured", measured)


@pytest.mark.usefixtures("quickly")
def test_budgets_are_measured_without_a_configuration(typed: Typed) -> None:
    done = typed("check", "--measure", "--config", "/nowhere")
    assert done.status == 0
    assert done.err == "measuring: drawing\n"
    machine, _, _, *_, closing, _ = [line for line in done.out.splitlines() if "wanted a core" not in line]
    assert "Linux" in machine
    assert closing == "1 of 2 budgets kept"


@pytest.mark.usefixtures("quickly")
def test_budgets_are_told_to_programs_too(typed: Typed) -> None:
    told = json.loads(typed("check", "--measure", "--json").out)
    assert set(told) == {"machine", "figures"}
    assert told["figures"][1] == {
        "what": "start",
        "value": 700.0,
        "unit": "ms",
        "budget": 350.0,
        "verdict": "missed, 2.0 times",
    }
