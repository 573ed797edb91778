"""``underdash car``, as a person uses it."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cantools
import pytest

from underdash.bus.frames import Frame
from underdash.bus.trace import TraceWriter
from underdash.cli import main

CAR = """\
format = 1
name = "mine"
title = "My car"
counting = "from 0"
[bus.comfort]
bitrate = 125_000
meaning = "dashboard"
[[broadcast]]
bus = "comfort"
id = "2C1"
on_change = true
fields = [
  { signal = "button.menu", byte = 1, bit = 0 },
  { signal = "vehicle.speed", byte = 2, length = 16, order = "big", scale = 0.01, offset = -1 },
]
note = "found by ear"
[buttons]
menu = "comfort"
"""
SHOWN = """\
comfort 2C1, on change, 4 bytes

         7 6 5 4 3 2 1 0
byte 0   · · · · · · · ·
byte 1   · · · · · · · a
byte 2   b b b b b b b b
byte 3   b b b b b b b b

  a  button.menu: byte 1 bit 0
  b  vehicle.speed: bytes 2 to 3, big-endian; raw x 0.01 - 1
  found by ear
"""


@pytest.fixture
def car(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    path = tmp_path / "mine.toml"
    path.write_text(CAR)
    return path


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    path = tmp_path / "drive.log"
    with TraceWriter(path) as out:
        for n in range(200):
            data = bytes([0, 50 <= n < 53, *(100 * n).to_bytes(2, "big")])
            out.write("comfort", Frame(0x2C1, data, at=0.1 * n))
        out.mark("menu", 5.4)
    return path


def test_a_frame_is_drawn(car: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "show", str(car), "0x2c1"]) == 0
    assert capsys.readouterr().out == SHOWN


def test_all_frames_are_listed(car: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "show", str(car)]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "My car",
        "comfort, 125 kbit/s: dashboard",
        "  2C1       on change        button.menu, vehicle.speed",
    ]


def test_what_can_be_asked_for_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "show", "tarn"]) == 0
    lines = capsys.readouterr().out.partition("asked for:\n")[2].splitlines()
    assert "  gearbox identifier_22 21C7, every 1 s: gearbox.oil_temperature" in lines
    assert "  engine service_01 05, every 1 s: engine.coolant_temperature" in lines
    assert "  engine service_09 02, once: vehicle.identification" in lines


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["show", "{car}", "7FF"], "mine describes no frame 7FF; its frames are: 2C1"),
        (["show", "{car}", "xyz"], "ID 'xyz': an id in hex digits is wanted"),
        (["show", "nobody"], "car 'nobody' is not known"),
        (["check", "{car}", "--against", "gone.log"], "trace gone.log cannot be opened"),
        (["export", "tarn", "--out", "x.dbc"], "a DBC file is about one bus; tarn has frames of"),
        (
            ["import", "gone.dbc", "--bus", "b", "--bitrate", "500000", "--name", "n", "--out", "o.toml"],
            "gone.dbc cannot be",
        ),
        (["nonsense"], "invalid choice: 'nonsense'"),
    ],
)
def test_what_is_wrong_is_said(car: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", *(word.format(car=car) for word in words)]) == 2
    assert says in capsys.readouterr().err


def test_a_description_is_held_against_a_recording(car: Path, trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "check", str(car), "--against", str(trace)]) == 0
    assert capsys.readouterr().out.splitlines() == [
        f"{trace}: 19.9 s, 200 frames",
        "  button.menu    1 presses",
        "  vehicle.speed  199 values: 0 to 198 km/h",
        "warning: drive.log: vehicle.speed was outside its plausible range 1 of 200 times -> "
        "a number that means not available may be missing (unavailable = [...])",
    ]
    wrong = car.with_name("wrong.toml")
    wrong.write_text(CAR.replace("scale = 0.01", "scale = 0.5"))
    assert main(["car", "check", str(wrong), "--against", str(trace)]) == 1
    assert "the bits, their order, the sign or the scale are wrong" in capsys.readouterr().out


def test_what_was_heard_without_fault_is_said_beside_what_was_not(
    car: Path, trace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = '[[broadcast]]\nbus = "comfort"\nid = "2C2"\nfields = [{ signal = "button.up", byte = 0, bit = 0 }]\n'
    car.write_text(CAR.replace("offset = -1 }", "offset = 0 }").replace("[buttons]", f"{other}[buttons]"))
    assert main(["car", "check", str(car), "--against", str(trace)]) == 0
    done = capsys.readouterr()
    assert "note: button.up was never heard" in done.out
    assert done.out.splitlines()[-1] == "nothing speaks against it in what was heard"
    assert done.err == f'next: file = "{car}" under [car] of the configuration, then underdash check\n'


@pytest.mark.parametrize("given", [["--untouched"], ["--bus", "drive=can0"]])
def test_what_is_said_about_recordings_wants_some(
    car: Path, given: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["car", "check", str(car), *given]) == 2
    assert capsys.readouterr().err == f"underdash: {given[0]} is about recordings; name some with --against TRACE\n"


def test_what_a_recording_lacks_is_told_beside_what_it_shows(
    car: Path, trace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    trace.write_text(f"{trace.read_text()}(1.0) comfort 2C1#00000064\n(1.1) comfort 2C1#000")
    assert main(["car", "check", str(car), "--against", str(trace)]) == 0
    told = capsys.readouterr().out
    assert "note: drive.log: its clock goes back after " in told
    assert "its last line is half there and was left out -> what is missing there was not checked" in told


def test_untouched_makes_every_press_a_false_one(car: Path, trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    trace.write_text("".join(line for line in trace.read_text().splitlines(keepends=True) if "mark" not in line))
    assert main(["car", "check", str(car), "--against", str(trace), "--json", "--untouched"]) == 1
    table = json.loads(capsys.readouterr().out)
    assert table["findings"][0]["sentence"] == "drive.log: button.menu: 1 false press (at 5.0 s)"
    (menu,) = (one for one in table["journeys"][0]["signals"] if one["signal"] == "button.menu")
    assert menu["presses"] == [[5.0, pytest.approx(5.3)]]


def test_without_a_recording_only_the_file_itself_is_checked(car: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "check", str(car)]) == 0
    assert "has no mistakes of its own; whether it fits the car is told by --against" in capsys.readouterr().out


def test_out_to_dbc_and_back(car: Path, trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, back = car.with_name("c.dbc"), car.with_name("back.toml")
    assert main(["car", "export", str(car), "--out", str(out)]) == 0
    assert cantools.database.load_file(out, strict=True)
    words = ["--bus", "comfort", "--bitrate", "125000", "--name", "back", "--out", str(back)]
    assert main(["car", "import", str(out), *words]) == 0
    assert "1 frame, 2 fields; 0 lines could not be taken over" in capsys.readouterr().out
    assert main(["car", "check", str(back), "--against", str(trace)]) == 0
    told = capsys.readouterr().out
    assert "vehicle.speed  199 values: 0 to 198 km/h" in told
    assert "button.menu    1 presses" in told
    assert "outside its plausible range 1 of 200 times" in told, "the catalogue's range holds again"
    assert main(["car", "import", str(out), *words]) == 2
    assert "exists already" in capsys.readouterr().err


def test_reload_without_a_daemon(car: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["car", "reload"]) == 1
    assert "no daemon runs" in capsys.readouterr().err


def test_a_description_begins_with_a_recording(tmp_path: Path, trace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new.toml"
    words = ["car", "draft", str(trace), "--name", "new", "--out", str(out)]
    assert main(words) == 2
    assert "say how fast each bus of the car is (--bitrate comfort=500000)" in capsys.readouterr().err
    assert main([*words, "--bitrate", "drive=500000"]) == 2
    assert "the recording has no such bus; it has comfort" in capsys.readouterr().err
    assert main([*words, "--bitrate", "comfort=fast"]) == 2
    assert "--bitrate comfort: a whole number is wanted; found 'fast'; a usual one is 500000" in capsys.readouterr().err
    assert main([*words, "--bitrate", "comfort=125000"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        f"{out}: 1 bus, recognised by 1 frame",
        f"next: underdash find ignition TRACE --into {out} --as vehicle.ignition",
    ]
    assert "# comfort 2C1: every 100 ms, 4 bytes" in out.read_text()
    assert main(["car", "check", str(out)]) == 0
    assert main([*words, "--bitrate", "comfort=125000"]) == 2


@pytest.mark.parametrize("task", ["draft", "import"])
@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        (("--name", " "), "--name ' ': a short name is wanted"),
        (("--name", "a\udcff"), "a short name is wanted"),
        (("--out", "mine.txt"), "a description is known by its ending; name a file ending in .toml"),
        (("--bitrate", "4"), "5000 to 1000000 bit/s are wanted; found '4'"),
    ],
)
def test_what_a_new_description_would_be_is_looked_at_first(
    trace: Path, task: str, wrong: tuple[str, str], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = trace.with_name("new.toml")
    options = {"--name": "new", "--out": str(out), "--bitrate": "125000"} | dict([wrong])
    if task == "draft":
        options["--bitrate"] = f"comfort={options['--bitrate']}"
    bus = [] if task == "draft" else ["--bus", "comfort"]
    assert main(["car", task, str(trace), *bus, *(word for pair in options.items() for word in pair)]) == 2
    assert why in capsys.readouterr().err
    assert not out.exists()


def test_a_bus_that_a_new_description_leaves_out_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (trace := tmp_path / "a\udcff.log").write_text("(1.0) drive 123#01\n(2.0) comfort 123#01\n")
    words = ["--name", "new", "--out", str(tmp_path / "new.toml"), "--bitrate", "drive=500000"]
    assert main(["car", "draft", str(trace), *words]) == 0
    assert "left out, since no --bitrate says how fast it is: comfort\n" in capsys.readouterr().out


def test_without_numpy_no_description_is_begun(
    trace: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("underdash.cli.find.find_spec", lambda name: None)
    monkeypatch.setitem(sys.modules, "underdash.finding.drafting", None)
    words = ["--name", "new", "--out", str(trace.with_name("new.toml")), "--bitrate", "comfort=125000"]
    assert main(["car", "draft", str(trace), *words]) == 1
    assert "car draft needs numpy, which is not installed here: " in capsys.readouterr().err


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is no DBC file: no line of it begins a message"),
        (b"\x89PNG\0\0BO_ 1", "is no DBC file: there are zero bytes in it"),
        (
            "BO_ 1 A: 8 X\n".encode("utf-16"),
            "is no DBC file: there are zero bytes in it; name one, saved as text in UTF",
        ),
        (b"BO_ 1 A: 8 X\n", "nothing in it could be taken over; look at the lines above"),
    ],
)
def test_what_is_no_dbc_file_is_told_in_one_sentence(
    tmp_path: Path, content: bytes, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (path := tmp_path / "a.dbc").write_bytes(content)
    words = ["--bus", "b", "--bitrate", "125000", "--name", "n", "--out", str(tmp_path / "o.toml")]
    assert main(["car", "import", str(path), *words]) == 2
    assert f"underdash: {path}" in (said := capsys.readouterr().err)
    assert why in said
    assert not (tmp_path / "o.toml").exists()


def test_an_export_takes_no_files_place(car: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (there := car.with_name("there.dbc")).write_text("mine")
    for name, why in ((car, "a DBC file is written; name one ending in .dbc"), (there, "exists already; name another")):
        assert main(["car", "export", str(car), "--out", str(name)]) == 2
        assert why in capsys.readouterr().err
    assert (car.read_text(), there.read_text()) == (CAR, "mine")


def test_a_bus_has_a_name_that_can_be_written_down(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--bitrate", "500000", "--name", "x", "--out", str(tmp_path / "x.toml")]
    for bus in ("m\udcfcnu", "a\x1bb", " "):
        assert main(["car", "import", str(tmp_path / "x.dbc"), "--bus", bus, *words]) == 2
        assert "a name of letters that can be shown is wanted, such as drive" in capsys.readouterr().err
