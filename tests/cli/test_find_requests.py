"""``underdash find requests``."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Typed = Callable[..., Any]


def raw_at(second: float) -> int:
    return round(110 + 30 * math.sin(second / 1.7))


@pytest.fixture
def asked(tmp_path: Path) -> Path:
    """Twenty seconds of a tester that shows coolant, then twenty of one that shows oil."""
    lines = []
    for n in range(400):
        identifier, at, raw = (0x21C7 if n < 200 else 0x21D3), 10.0 + 0.1 * n, raw_at(0.1 * n)
        lines += [
            f"({at:.4f}) can0 7E0#0322{identifier:04X}00000000",
            f"({at + 0.01:.4f}) can0 7E8#0462{identifier:04X}{raw:02X}000000",
        ]
    path = tmp_path / "tester.log"
    path.write_text("\n".join(lines) + "\n")
    return path


def test_a_person_reads_what_was_asked_and_gets_lines_to_paste(typed: Typed, asked: Path) -> None:
    done = typed("find", "requests", asked, "--bus", "drive=can0")
    assert done.status == 0
    assert "drive 7E0 asks, 7E8 answers:" in done.out
    assert "22 21C7 (UDS and KWP read by identifier): 200 times, about every 0.1 s; 200 answers of 1 byte" in done.out
    assert "[unit.unit_7e8]" in done.out
    assert "# [[poll]]" in done.out


def test_windows_and_typed_numbers_make_a_poll_with_a_scale(typed: Typed, asked: Path, tmp_path: Path) -> None:
    (marks := tmp_path / "marks.txt").write_text("+0..+20 coolant only\n+20..+40 oil only\n")
    (numbers := tmp_path / "numbers.csv").write_text(
        "seconds,coolant [degC]\n" + "".join(f"+{n + 0.6},{raw_at(n) * 0.75 - 48:.0f}\n" for n in range(1, 19))
    )
    picture = tmp_path / "asked.png"
    done = typed(
        "find", "requests", asked, "--bus", "drive=can0", "--marks", marks, "--readings", numbers,
        "--name", "coolant=engine.coolant_temperature", "--picture", picture,
    )  # fmt: skip
    assert done.status == 0
    assert '{ signal = "engine.coolant_temperature", byte = 0, scale = 0.75, offset = -48 }' in done.out
    assert 'name = "car.oil"' in done.out
    assert 'note = "95 % sure"' in done.out
    assert 'note = "85 % sure; the number as it is sent: its scale is not known"' in done.out
    assert "oil: written down as car.oil; `underdash signals WORD` lists the names that pages know" in done.out
    assert "coolant: written down" not in done.out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_only_what_is_written_down_is_told_to_be_and_a_word_with_a_space_is_quoted(
    typed: Typed, tmp_path: Path
) -> None:
    lines = []
    for n in range(400):
        at, raw = 10.0 + 0.1 * n, raw_at(0.1 * n)
        asks = "032221C7" if n < 200 else "0322F190"
        lines.append(f"({at:.4f}) can0 7E0#{asks}00000000")
        if n < 200:
            lines.append(f"({at + 0.01:.4f}) can0 7E8#046221C7{raw:02X}000000")
            continue
        answers = ["101462F190574142", "2143444546474849", "224A4B4C4D4E4F50"]
        lines += [f"({at + 0.01 + 0.01 * k:.4f}) can0 7E8#{text}" for k, text in enumerate(answers)]
        lines.append(f"({at + 0.015:.4f}) can0 7E0#3000000000000000")
    (trace := tmp_path / "tester.log").write_text("\n".join(sorted(lines)) + "\n")
    (marks := tmp_path / "marks.txt").write_text("+0..+20 gearbox oil\n+20..+40 number\n")
    done = typed("find", "requests", trace, "--bus", "drive=can0", "--marks", marks)
    assert "gearbox oil: written down as car.gearbox_oil; " in done.out
    assert "--name 'gearbox oil=SIGNAL' gives it one of them" in done.out
    assert "22 F190 of drive 7E0 asks, 7E8 answers: 85 %" in done.out
    assert "car.number" not in done.out


def test_what_writes_is_told_in_one_row_and_hides_nothing_that_reads(typed: Typed, tmp_path: Path) -> None:
    (trace := tmp_path / "tester.log").write_text(
        "".join(
            f"({n / 4:.4f}) can0 7E0#042E20{n:02X}0{n % 7}000000\n({n / 4 + 0.01:.4f}) can0 7E8#036E20{n:02X}00000000\n"
            f"({n / 4 + 0.1:.4f}) can0 7E0#0322100100000000\n({n / 4 + 0.11:.4f}) can0 7E8#04621001{n:02X}000000\n"
            for n in range(60)
        )
    )
    done = typed("find", "requests", trace, "--bus", "drive=can0")
    (row,) = (line for line in done.out.splitlines() if line.startswith("  2E"))
    assert row.endswith("60 times in 60 different requests; not reading; underdash never sends this")
    assert "  22 1001 (UDS and KWP read by identifier): 60 times" in done.out
    assert "2E20" not in done.out.partition("# --- for the description")[2]


def test_a_value_without_a_name_keeps_the_unit_that_was_typed(typed: Typed, asked: Path, tmp_path: Path) -> None:
    (marks := tmp_path / "marks.txt").write_text(
        "+0..+20 sump only\n+20..+40 oil only\n"
        + "".join(f"+{n + 0.6} sump {raw_at(n) * 0.25 - 39.8:.1f} degC\n" for n in range(1, 19))
    )
    done = typed("find", "requests", asked, "--bus", "drive=can0", "--marks", marks)
    assert 'name = "car.sump"\nmeaning = "sump, as the tester calls it"\nunit = "degC"' in done.out
    (offset,) = re.findall(r'"car.sump", byte = 0, scale = 0.25, offset = (\S+) }', done.out)
    assert -40.1 < float(offset) < -39.5
    assert len(offset) <= 6


def test_json_has_all_of_it(typed: Typed, asked: Path) -> None:
    done = typed("find", "requests", asked, "--json")
    table = json.loads(done.out)
    assert [one["identifier"] for one in table["units"][0]["asked"]] == ["21C7", "21D3"]
    assert table["units"][0]["asked"][0]["reads"] is True


def test_where_nobody_asks_it_says_so_and_ends_with_1(typed: Typed, tmp_path: Path) -> None:
    (path := tmp_path / "quiet.log").write_text("".join(f"({n / 10}) can0 1A0#{n:02X}00\n" for n in range(99)))
    done = typed("find", "requests", path)
    assert done.status == 1
    assert "nobody asks anything here" in done.out


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (("--marks", "boost 12..32\n"), "line 1"),
        (("--marks", "5000..5020 boost only\n"), "lies outside the trace"),
        (("--readings", "seconds\n1\n"), "is no table"),
        (("--readings", 'seconds,boost\n"1,1.2\n2,1.3\n'), "there is no number in it below its head"),
        (("--readings", "seconds,boost\n,\n1,\n"), "there is no number in it below its head"),
        (("--readings", "seconds,boost\n1,much\n"), "line 2: seconds and a number are wanted"),
        (("--readings", "seconds,boost\n1,1.2\n2,nan\n"), "line 3: seconds and a number are wanted"),
        (("--readings", "seconds,boost\n1,1e308\n"), "line 2: seconds and a number are wanted"),
        (("--readings", "seconds,boost\ninf,1.2\n"), "line 2: seconds and a number are wanted"),
        (("--readings", "seconds,boost\n5000,1.2\n"), "lies outside the trace"),
    ],
)
def test_files_that_do_not_fit_are_refused_with_their_line(
    typed: Typed, asked: Path, tmp_path: Path, given: tuple[str, str], why: str
) -> None:
    option, text = given
    (path := tmp_path / "given.txt").write_text(text)
    done = typed("find", "requests", asked, option, path)
    assert done.status == 2
    assert why in done.err


def test_a_file_that_is_not_there_and_a_signal_that_is_none_are_told(typed: Typed, asked: Path, tmp_path: Path) -> None:
    assert "cannot be read" in typed("find", "requests", asked, "--marks", tmp_path / "none.txt").err
    done = typed("find", "requests", asked, "--name", "boost=engine.bost_pressure")
    assert done.status == 2
    assert "did you mean" in done.err


def test_a_name_for_a_word_that_nobody_said_is_told(typed: Typed, asked: Path, tmp_path: Path) -> None:
    (marks := tmp_path / "marks.txt").write_text("+0..+20 coolant only\n+25 oil 90 degC\n")
    words = ["find", "requests", asked, "--name", "boost=engine.charge_pressure"]
    done = typed(*words, "--marks", marks)
    assert done.status == 2
    assert "no mark and no reading says 'boost'; they say 'coolant', 'oil'" in done.err
    assert "no mark and no reading says 'boost'; there are none" in typed(*words).err
