"""``underdash read``."""

from __future__ import annotations

import csv
import gzip
import io
import os
import signal
import stat
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash import Answer, ControlUnit, Protocol, hookimpl

Typed = Callable[..., Any]

KEYBOARD = (130, -signal.SIGINT)  # Python itself may prefer to die of the signal, which a shell calls 130 too
RECORDING = Path(__file__).parents[3] / "shared" / "recordings" / "obd_drive.log.gz"
STANDARD = Path(__file__).parents[2] / "config" / "cars" / "obd2_11bit.toml"
real = pytest.mark.skipif(not RECORDING.exists(), reason=f"the recordings are not beside the project ({RECORDING})")


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name.endswith(".part"))


# --- what it gives ---------------------------------------------------------------------------------------------------


def test_every_sample_is_a_row(typed: Typed, trace: Path, car: Path) -> None:
    done = typed("read", trace, "--car", car)
    assert done.status == 0
    found = rows(done.out)
    first = next(row for row in found if row["signal"] == "engine.speed")
    assert first == {
        "seconds": "100.000000", "signal": "engine.speed", "value": "1000", "unit": "rpm", "quality": "good",
        "source": "broadcast drive 101",
    }  # fmt: skip
    assert [float(row["value"]) for row in found if row["signal"] == "engine.coolant_temperature"] == [
        50 + n % 50 for n in range(100)
    ]
    assert "200 frames in" in done.err


def test_wide_has_a_row_an_instant_and_a_column_a_signal(typed: Typed, trace: Path, car: Path) -> None:
    done = typed("read", trace, "--car", car, "--wide", "2")
    assert done.status == 0
    found = rows(done.out)
    assert [row["seconds"] for row in found[:3]] == ["100.500000", "101.000000", "101.500000"]
    # what was sent at that very instant is not known before it
    assert float(found[0]["engine.speed [rpm]"]) == 1004
    assert (
        float(
            found[0][
                "engine.coolant_temperature [°C]"
                if "engine.coolant_temperature [°C]" in found[0]
                else "engine.coolant_temperature [degC]"
            ]
        )
        == 54
    )


def test_units_are_shown_as_asked_for(typed: Typed, trace: Path, car: Path) -> None:
    found = rows(typed("read", trace, "--car", car, "--unit", "degC=degF").out)
    warm = next(row for row in found if row["signal"] == "engine.coolant_temperature")
    assert (warm["value"], warm["unit"]) == ("122", "degF")


def test_a_file_is_written_whole(typed: Typed, trace: Path, car: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("old")
    assert typed("read", trace, "--car", car, "--out", out).status == 0
    assert len(rows(out.read_text())) >= 200
    assert not left(tmp_path)


def test_a_packed_trace_reads_the_same(typed: Typed, trace: Path, car: Path, tmp_path: Path) -> None:
    packed = tmp_path / "small.log.gz"
    packed.write_bytes(gzip.compress(trace.read_bytes()))
    assert typed("read", packed, "--car", car).out == typed("read", trace, "--car", car).out


@pytest.mark.parametrize("name", ["no.log", "no.log.gz", "no.blf"])
def test_a_trace_that_is_not_there_is_a_wrong_argument(typed: Typed, car: Path, tmp_path: Path, name: str) -> None:
    done = typed("read", tmp_path / name, "--car", car)
    assert done.status == 2
    assert "cannot be opened" in done.err


def test_a_refused_trace_leaves_no_head(typed: Typed, car: Path, tmp_path: Path) -> None:
    (tmp_path / "no.log").write_text("this is no trace\n")
    for more in ((), ("--wide", "1"), ("--all-sources",)):
        done = typed("read", tmp_path / "no.log", "--car", car, *more)
        assert done.status != 0
        assert done.out == ""


@real
def test_the_recorded_drive_reads_as_decoding_by_hand_says(typed: Typed) -> None:
    found = rows(typed("read", RECORDING, "--car", STANDARD, "--unit", "kPa=kPa").out)
    by_hand: dict[str, list[tuple[float, float]]] = {"engine.manifold_pressure": [], "engine.speed": []}
    with gzip.open(RECORDING, "rt") as lines:
        for line in lines:
            stamp, _, frame = line.split()
            at, data = float(stamp.strip("()")), frame.partition("#")[2]
            if frame.startswith("7E8#03410B"):
                by_hand["engine.manifold_pressure"].append((at, int(data[6:8], 16)))
            if frame.startswith("7E8#04410C"):
                by_hand["engine.speed"].append((at, int(data[6:10], 16) / 4))
    for name, expected in by_hand.items():
        got = [(float(row["seconds"]), float(row["value"])) for row in found if row["signal"] == name]
        assert len(expected) > 100
        assert [at for at, _ in got] == pytest.approx([at for at, _ in expected], abs=1e-6)
        assert [value for _, value in got] == [value for _, value in expected]


@real
def test_the_recorded_drive_fits_a_wide_table(typed: Typed, tmp_path: Path) -> None:
    out = tmp_path / "wide.csv"
    assert typed("read", RECORDING, "--car", STANDARD, "--wide", "1", "--out", out).status == 0
    found = rows(out.read_text())
    seconds = [float(row["seconds"]) for row in found]
    assert len(found) > 100
    assert seconds == [seconds[0] + n for n in range(len(seconds))]
    assert sum(row["engine.manifold_pressure [bar]"] != "" for row in found) > 0.9 * len(found)


# --- what is wrong with what was given -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--car", "tran"], "Did you mean tarn?"),
        (["--car", "nosuch.toml"], "nosuch.toml cannot be read: No such file"),
        (["--car", "CAR", "--wide", "0"], "more than 0"),
        (["--car", "CAR", "--wide", "1e9"], "at most 1000"),
        (["--car", "CAR", "--wide", "nan"], "a number is wanted"),
        (["--car", "CAR", "--unit", "kPa=rpm"], "--unit kPa=rpm"),
        (["--car", "CAR", "--unit", "kPa"], "equals sign"),
        (["--car", "CAR", "--bus", "drvie=can0"], "its buses are drive"),
        (["--car", "CAR", "--bus", "drive=can7"], "no such channel"),
        (["--car", "CAR", "--variant", "estate"], "variant"),
        ([], "--car"),
    ],
)
def test_a_wrong_argument_is_told_and_ends_with_two(
    typed: Typed, trace: Path, car: Path, arguments: list[str], says: str
) -> None:
    done = typed("read", trace, *(str(car) if one == "CAR" else one for one in arguments))
    assert done.status == 2
    assert done.out.count("\n") <= 1  # the head of the table at most
    assert says in done.err


def test_a_trace_whose_channel_fits_no_bus_asks_which_it_is(typed: Typed, tmp_path: Path, trace: Path) -> None:
    done = typed("read", trace, "--car", "tarn")
    assert done.status == 0  # drive is a bus of the tarn
    other = tmp_path / "other.log"
    other.write_text(trace.read_text().replace(" drive ", " can3 "))
    done = typed("read", other, "--car", "tarn")
    assert done.status == 2
    assert "say such as --bus drive=can3" in done.err


def test_two_channels_on_a_car_with_one_bus_are_not_guessed(
    typed: Typed, tmp_path: Path, trace: Path, car: Path
) -> None:
    other = tmp_path / "other.log"
    other.write_text(trace.read_text().replace("drive 101", "can0 101").replace("drive 102", "can1 102"))
    done = typed("read", other, "--car", car)
    assert done.status == 2
    assert "'can0' and 'can1'" in done.err
    done = typed("read", other, "--car", car, "--bus", "drive=can1")
    assert done.status == 0
    assert "100 frames left out" in done.err
    assert {row["signal"] for row in rows(done.out)} >= {"engine.coolant_temperature"}


def test_a_description_with_two_fields_on_one_signal_is_told(typed: Typed, trace: Path, car: Path) -> None:
    again = ', { signal = "engine.speed", byte = 2 }]'
    car.write_text(car.read_text().replace("scale = 0.25 }]", "scale = 0.25 }" + again))
    done = typed("read", trace, "--car", car)
    assert done.status == 2
    assert "engine.speed" in done.err
    assert str(car) in done.err


def test_the_trace_itself_is_never_overwritten(typed: Typed, trace: Path, car: Path) -> None:
    before = trace.read_text()
    done = typed("read", trace, "--car", car, "--out", trace)
    assert (done.status, trace.read_text()) == (2, before)
    assert "is the trace itself" in done.err


# --- what is wrong with a trace --------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # python-can leaves its file open
@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.log", b"", "no frame in it"),
        ("remarks.log", b"# underdash trace 1\n# wall: now\n", "no frame in it"),
        ("binary.log", bytes(range(256)) * 20 + b"\n", "line 1: there are zero bytes in it"),
        ("words.log", b"this is\nno trace at all\n", "line 1"),
        ("wrong.log", b"(1.0) drive 101#0FA0\n(1.1) drive 101#0FA\n", "line 2"),
        ("newer.log", b"# underdash trace 99\n(1.0) drive 101#0FA0\n", "install a newer one"),
        ("no.log.gz", b"not packed\nat all\n", "line 1: 'not packed' is no frame"),
        ("broken.blf", b"not that either", "cannot be read"),
    ],
)
def test_a_trace_that_is_none_is_told(typed: Typed, car: Path, name: str, content: bytes, says: str) -> None:
    tmp_path = car.parent
    path, out = tmp_path / name, tmp_path / "out.csv"
    out.write_text("old")
    path.write_bytes(content)
    done = typed("read", path, "--car", car, "--out", out)
    assert done.status == 2
    assert says in done.err
    assert done.err.count("\n") == 1
    assert (out.read_text(), left(tmp_path)) == ("old", [])


def test_a_trace_that_is_not_there_or_a_folder_is_told(typed: Typed, car: Path, tmp_path: Path) -> None:
    for path in (tmp_path / "nosuch.log", tmp_path):
        done = typed("read", path, "--car", car)
        assert done.status == 2
        assert str(path) in done.err


def test_a_half_written_last_line_is_left_out_and_told(typed: Typed, trace: Path, car: Path) -> None:
    whole = typed("read", trace, "--car", car)
    with trace.open("ab") as file:
        file.write(b"(110.2) drive 1")
    cut = typed("read", trace, "--car", car)
    assert (cut.status, cut.out) == (0, whole.out)
    assert "its last line is half there" in cut.err


def test_a_packed_trace_that_was_cut_gives_what_is_there(typed: Typed, trace: Path, car: Path, tmp_path: Path) -> None:
    packed = tmp_path / "cut.log.gz"
    whole = gzip.compress(trace.read_bytes() * 1)
    packed.write_bytes(whole[: len(whole) * 2 // 3])
    done = typed("read", packed, "--car", car)
    assert done.status in (0, 2)
    if done.status == 0:
        assert "its last line is half there" in done.err


def test_frames_that_are_no_classic_data_frames_are_counted_and_left_out(
    typed: Typed, car: Path, tmp_path: Path
) -> None:
    path = tmp_path / "odd.log"
    path.write_text(
        "(1.0) drive 101#0FA0\n(1.1) drive 101#R\n(1.2) drive 101##00FA0\n(1.3) drive 20000004#0000000000000000\n"
        "(1.4) drive 101#0F\n(1.5) drive 101#0FA0000000000000\n(1.6) drive 101#\n"
    )
    done = typed("read", path, "--car", car)
    assert done.status == 0
    assert "3 frames left out" in done.err
    speeds = [row["value"] for row in rows(done.out) if row["signal"] == "engine.speed"]
    assert speeds == ["1000", "1000"]


# --- where it goes ---------------------------------------------------------------------------------------------------


def test_an_output_that_cannot_be_written_is_told(typed: Typed, trace: Path, car: Path, tmp_path: Path) -> None:
    for out in (tmp_path / "no" / "such" / "folder.csv", tmp_path, Path("/proc/out.csv")):
        done = typed("read", trace, "--car", car, "--out", out)
        assert done.status == 1
        assert f"--out {out} cannot be written" in done.err
    assert not left(tmp_path)


def test_a_link_stays_a_link_and_a_device_a_device(typed: Typed, trace: Path, car: Path, tmp_path: Path) -> None:
    aim, link = tmp_path / "aim.csv", tmp_path / "link.csv"
    aim.write_text("old")
    link.symlink_to(aim)
    assert typed("read", trace, "--car", car, "--out", link).status == 0
    assert link.is_symlink()
    assert aim.read_text().startswith("seconds,")
    assert typed("read", trace, "--car", car, "--out", "/dev/null").status == 0
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_a_reader_that_goes_away_is_no_error_worth_words(started: Typed, long_trace: Path, car: Path) -> None:
    process = started("read", long_trace, "--car", car)
    assert process.stdout.readline().startswith("seconds,")
    process.stdout.close()
    assert process.wait(20) == 1
    assert process.stderr.read() == ""


def test_a_short_table_and_a_reader_that_has_gone_before(started: Typed, trace: Path, car: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    process = started("read", trace, "--car", car, stdout=write)
    os.close(write)
    assert process.wait(20) == 1
    assert "Traceback" not in process.stderr.read()


def test_a_pipe_of_the_shell_is_written_to(typed: Typed, trace: Path, car: Path) -> None:
    ours, theirs = os.pipe()
    out: list[bytes] = []
    with os.fdopen(ours, "rb") as end:
        reading = threading.Thread(target=lambda: out.append(end.read()))
        reading.start()
        done = typed("read", trace, "--car", car, "--out", f"/dev/fd/{theirs}")
        os.close(theirs)
        reading.join()
    assert done.status == 0
    assert out[0].startswith(b"seconds,")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_full_disk_is_told_once(started: Typed, trace: Path, car: Path) -> None:
    with Path("/dev/full").open("w") as full:
        process = started("read", trace, "--car", car, stdout=full)
        assert process.wait(20) == 1
    said = process.stderr.read()
    assert "No space left on device" in said
    assert "Traceback" not in said
    assert "Exception ignored" not in said


def test_a_closed_output_is_told(trace: Path, car: Path, started: Typed) -> None:
    process = started("read", trace, "--car", car, preexec_fn=lambda: os.close(1), stdout=None)
    assert process.wait(20) in (0, 1)
    assert "Traceback" not in process.stderr.read()


def test_ctrl_c_leaves_what_was_there(started: Typed, long_trace: Path, car: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("old")
    process = started("read", long_trace, "--car", car, "--out", out)
    wait_for(lambda: bool(left(tmp_path)), process)
    process.send_signal(signal.SIGINT)
    assert process.wait(20) in KEYBOARD
    assert process.stderr.read() == "underdash: stopped\n"
    assert (out.read_text(), left(tmp_path)) == ("old", [])


def wait_for(there: Callable[[], bool], process: subprocess.Popen[str]) -> None:
    """Wait for something another process does; it says nothing when it has done it."""
    from time import monotonic

    end = monotonic() + 60
    while not there():
        assert process.poll() is None, "it ended too early"
        assert monotonic() < end, "it never happened"
        os.sched_yield()


def test_answers_that_a_plug_in_s_protocol_fails_at_are_counted(
    typed: Typed, trace: Path, car: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(unit: ControlUnit, payload: bytes) -> Answer | None:
        raise ValueError("odd")

    @hookimpl
    def request_protocols() -> list[Protocol]:
        return [Protocol("odd", lambda unit, identifier: bytes([0x95, identifier]), fails, (1,), 0)]

    monkeypatch.setattr("underdash_battery.request_protocols", request_protocols, raising=False)
    car.write_text(
        car.read_text() + '[unit.odd]\nbus = "drive"\nrequest = "6A0"\nresponse = "6A8"\n'
        '[[poll]]\nunit = "odd"\nprotocol = "odd"\nidentifier = "12"\n'
        'fields = [{ signal = "fuel.level", byte = 0 }]\n'
    )
    trace.write_text("(1.0) drive 101#0FA0\n(1.1) drive 6A0#9512\n(1.2) drive 6A8#D51250\n")
    done = typed("read", trace, "--car", car)
    assert done.status == 0
    assert "frames that the `decode` of a plug-in's protocol failed at: 1; tell its author" in done.err


@pytest.mark.parametrize(
    "words", [("read", "{trace}", "--car", "{car}"), ("car", "check", "{car}", "--against", "{trace}")]
)
def test_a_channel_that_a_recording_lacks_is_told_while_there_are_others(
    typed: Typed, trace: Path, car: Path, words: tuple[str, ...]
) -> None:
    two = car.with_name("two.toml")
    two.write_text(f"{car.read_text()}[bus.comfort]\nbitrate = 125_000\n")
    done = typed(
        *(word.format(trace=trace, car=two) for word in words), "--bus", "drive=drive", "--bus", "comfort=can9"
    )
    assert done.status == 0
    assert "no frame of a channel 'can9' is in it, which --bus names" in done.out + done.err
