from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Typed = Callable[..., Any]
PRESSES = (5.0, 11.0, 15.5, 24.0, 29.3)


@pytest.fixture
def pressed_trace(tmp_path: Path) -> Path:
    """A minute with a button: 2C1 byte 1 bit 3, held for 0.3 s."""
    path = tmp_path / "drive.log"
    with path.open("w") as file:
        for n in range(1200):
            at = n * 0.05
            down = any(press <= at < press + 0.3 for press in PRESSES)
            file.write(f"({1000 + at:.6f}) can1 2C1#{n % 256:02X}{8 * down:02X}\n")
    (tmp_path / "drive.marks").write_text("".join(f"+{press + 0.3} menu\n" for press in PRESSES))
    return path


def test_the_button_is_told_in_sentences_and_drawn(typed: Typed, pressed_trace: Path) -> None:
    picture = pressed_trace.with_name("found.png")
    marks = pressed_trace.with_name("drive.marks")
    done = typed("find", "pressed", pressed_trace, "--marks", marks, "--bus", "comfort=can1", "--picture", picture)
    assert done.status == 0
    assert "menu:\n  1. comfort 2C1 byte 1 bit 3: sure (" in done.out
    assert "0 released, 1 menu" in done.out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_marks_of_the_trace_itself_are_taken_and_the_answer_is_json(typed: Typed, pressed_trace: Path) -> None:
    with pressed_trace.open("a") as file:
        file.writelines(f"# mark ({1000 + press + 0.2:.6f}) menu\n" for press in PRESSES)
        file.write("# mark (1040.000000) nothing at all\n")
    done = typed("find", "pressed", pressed_trace, "--word", "menu", "--json")
    assert done.status == 0
    (answer,) = json.loads(done.out)
    assert answer["question"] == "menu"
    assert (answer["ranks"][0][0]["id"], answer["ranks"][0][0]["start"]) == ("2C1", 11)


def test_with_a_word_the_marks_of_other_buttons_still_tell_which_numbers_are_its_own(
    typed: Typed, tmp_path: Path
) -> None:
    level = {"": 249, "menu": 18, "up": 57, "down": 101}
    words = [("menu", "up", "down")[n % 3] for n in range(15)]
    presses = [5.0 + 3.1 * n + 0.37 * (n % 4) for n in range(15)]
    trace, marks = tmp_path / "wheel.log", tmp_path / "wheel.marks"
    with trace.open("w") as file:
        for n in range(1200):
            held = [word for word, press in zip(words, presses, strict=True) if press <= n * 0.05 < press + 0.4]
            file.write(f"({1000 + n * 0.05:.6f}) can1 2C1#55{level[held[0] if held else ''] + n * 7 % 5 % 3 - 1:02X}\n")
    marks.write_text("".join(f"+{press + 0.3:.2f} {word}\n" for word, press in zip(words, presses, strict=True)))
    done = typed("find", "pressed", trace, "--marks", marks, "--bus", "comfort=can1", "--word", "up")
    assert done.status == 0
    assert done.out.startswith("up:\n  1. comfort 2C1 byte 1: sure (")
    assert "     248 to 250 released, 56 to 58 up, 17 to 19 menu, 100 to 102 down\n" in done.out
    assert "one field of several buttons, each with numbers of its own: up, menu, down" in done.out
    assert "\ndown:" not in done.out


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "there is no mark in it; a line reads SECONDS WORD"),
        ("+10 menu\n" * 501, "501 marks say 'menu', and 500 of one word are the most"),
        ("12 menu", "write a + before it"),
        ("1764500000 menu", "seems to be taken from a wall clock"),
        ("+10 menu\n+ten menu", "line 2: '+ten menu': '+ten' is no number of seconds"),
        ("+10 horn", "no mark says 'menu'; those there are say 'horn'"),
    ],
)
def test_marks_that_do_not_fit_are_told(typed: Typed, pressed_trace: Path, text: str, why: str) -> None:
    marks = pressed_trace.with_name("other.marks")
    marks.write_text(text)
    done = typed("find", "pressed", pressed_trace, "--marks", marks, "--word", "menu")
    assert done.status == 2
    assert why in done.err


def test_a_bus_whose_channel_is_not_in_the_trace_is_told(typed: Typed, pressed_trace: Path) -> None:
    done = typed("find", "pressed", pressed_trace, "--bus", "comfort=can7")
    assert done.status == 2
    assert "--bus comfort=can7: no frame of a channel 'can7' is in" in done.err
    assert done.err.rstrip().endswith("there are can1")
    done = typed("find", "pressed", pressed_trace, "--bus", "comfort=can1", "--bus", "drive=can7")
    assert done.err.rstrip().endswith("there are can1")
    pressed_trace.write_text(pressed_trace.read_text().replace(" can1 ", " comfort "))
    done = typed("find", "pressed", pressed_trace, "--bus", "comfort=can7")  # which has that name already
    assert (done.status, done.err.rstrip().endswith("there are comfort")) == (2, True)


def test_marks_of_an_editor_that_writes_a_byte_order_mark_and_crlf_are_read(typed: Typed, pressed_trace: Path) -> None:
    marks = pressed_trace.with_name("drive.marks")
    marks.write_bytes(b"\xef\xbb\xbf" + marks.read_bytes().replace(b"\n", b"\r\n"))
    assert "2C1 byte 1 bit 3: sure (" in typed("find", "pressed", pressed_trace, "--marks", marks).out


def test_nothing_that_reacts_is_told(typed: Typed, pressed_trace: Path) -> None:
    marks = pressed_trace.with_name("other.marks")
    marks.write_text("".join(f"+{at} horn\n" for at in (35, 39, 44.5, 51, 57)))
    done = typed("find", "pressed", pressed_trace, "--marks", marks)
    assert done.status == 1
    assert "nothing reacts to 'horn' on can1: the button may not be on this bus" in done.out
