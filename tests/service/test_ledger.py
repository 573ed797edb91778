"""Which lives ended badly, and in whose code; what is no crash is not counted as one."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from underdash.service.ledger import CRASHES, END, LEDGER, WINDOW_S, WITNESS, BadEnd, Ledger, blame, crowded, ending
from underdash.service.witness import Frame

DRAW = Frame("/p/underdash_gauge/pages.py", 20, "draw")
HELP = Frame("/p/underdash_gauge/help.py", 3, "helper")
OURS = Frame("/p/underdash/display/recorder.py", 5, "record")
HUNG = (
    'Timeout (0:00:07)!\nThread 0x1 (most recent call first):\n  File "/p/underdash_gauge/pages.py", line 20 in draw\n'
)


def owner(file: str) -> str:
    return "gauge" if "underdash_gauge" in file else ""


class Lives:
    """Lives of one daemon after each other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.now = 1000.0
        self.boot = "one"

    def begin(self) -> Ledger:
        return Ledger(self.folder, owner, boot=self.boot, now=self.now)

    def kill(self, ledger: Ledger, text: str = "") -> None:
        """What SIGKILL leaves behind: the files, and no lock."""
        witness, lock = ledger.witness, ledger._lock
        assert witness is not None
        assert lock is not None
        witness.close()
        os.close(lock)
        (self.folder / WITNESS).write_text(text)


@pytest.fixture
def lives(tmp_path: Path) -> Lives:
    return Lives(tmp_path / "run")


def test_the_thread_with_a_plugins_code_is_blamed_and_its_own_frames_are_kept() -> None:
    assert blame(((OURS,), (HELP, DRAW, OURS)), owner) == ("gauge", (HELP, DRAW))
    assert blame(((OURS,),), owner) == ("", ())


def test_a_life_that_was_killed_is_found_with_the_plugin_that_hung(lives: Lives) -> None:
    lives.kill(lives.begin(), HUNG)
    lives.now = 1010.0
    after = lives.begin()
    assert after.bad == (BadEnd(1010.0, "stood still", "gauge", (DRAW,)),)
    assert after.bad[0].sentence == "stood still in draw() of plug-in gauge"
    lives.kill(after)
    lives.now = 1020.0
    assert [one.sentence for one in lives.begin().bad] == [
        "stood still in draw() of plug-in gauge",
        "was killed, or left without a word",
    ]


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("", "was killed, or left without a word"),
        ("oom-kill 9\n", "took too much memory, and the kernel ended it"),
        ("exit-code 3", "left with status 3, without a word"),
        ("signal KILL", "was ended by SIGKILL"),
        ("core-dump SEGV", "was ended by SIGSEGV"),
        ("watchdog ABRT", "stood still"),
        ("timeout ABRT", "stood still"),
        ("nonsense", "was killed, or left without a word"),
    ],
)
def test_what_the_service_manager_saw_is_told_of_a_life_that_left_no_word(lives: Lives, told: str, said: str) -> None:
    assert ending(told) == said
    lives.kill(lives.begin())
    (lives.folder / END).write_text(told)
    after = lives.begin()
    assert [one.sentence for one in after.bad] == [said]
    assert not (lives.folder / END).exists()
    # where the end was written down by the process itself, that says more
    lives.kill(after, HUNG)
    (lives.folder / END).write_text(told)
    assert lives.begin().bad[-1].how == "stood still"


def test_an_abort_by_the_service_manager_is_no_crash_and_one_by_itself_is(lives: Lives) -> None:
    aborted = "Fatal Python error: Aborted\n" + HUNG.partition("\n")[2]
    for told, how in (("timeout ABRT", "stood still"), ("core-dump ABRT", "crashed (Aborted)")):
        lives.kill(lives.begin(), aborted)
        (lives.folder / END).write_text(told)
        ledger = lives.begin()
        assert ledger.bad[-1].sentence == f"{how} in draw() of plug-in gauge"
        ledger.close(forget=True)


def test_who_was_suspected_is_told_of_a_life_that_the_kernel_ended(lives: Lives) -> None:
    ledger = lives.begin()
    ledger.suspect("its memory had grown to 140 MB", "gauge")
    lives.kill(ledger)
    (lives.folder / END).write_text("oom-kill KILL")
    (one,) = lives.begin().bad
    assert one.sentence == (
        "took too much memory, and the kernel ended it, after its memory had grown to 140 MB; "
        "plug-in gauge is suspected"
    )
    assert one.word == "took too much memory"


def test_a_suspicion_is_not_held_against_a_life_that_ends_otherwise(lives: Lives) -> None:
    ledger = lives.begin()
    ledger.suspect("its memory had grown to 140 MB", "gauge")
    ledger.close(forget=False)
    assert lives.begin().bad == ()


def test_a_life_that_ends_itself_for_its_memory_is_a_bad_end(lives: Lives) -> None:
    lives.begin().ended("took too much memory (200 MB)", "gauge")
    (one,) = lives.begin().bad
    assert one.sentence == "took too much memory (200 MB); plug-in gauge is suspected"


@pytest.mark.parametrize(
    ("how", "word"), [("stood still", "hung"), ("crashed (Aborted)", "crashed"), ("raised OSError", "failed")]
)
def test_a_plug_ins_part_in_it_has_a_word(how: str, word: str) -> None:
    assert BadEnd(1.0, how, "gauge").word == word


def test_a_start_after_the_power_was_cut_is_no_crash(lives: Lives) -> None:
    lives.kill(lives.begin(), HUNG)
    lives.boot = "two"
    assert lives.begin().bad == ()


def test_an_end_in_order_forgets_what_was_and_leaves_nothing(lives: Lives) -> None:
    lives.kill(lives.begin(), HUNG)
    ledger = lives.begin()
    assert len(ledger.bad) == 1
    ledger.close(forget=True)
    ledger.close(forget=True)
    assert not lives.folder.exists()
    assert lives.begin().bad == ()


def test_an_error_that_was_told_is_no_bad_end_and_forgets_none(lives: Lives) -> None:
    lives.begin().close(forget=False)
    assert not lives.folder.exists()
    lives.kill(lives.begin(), HUNG)
    lives.begin().close(forget=False)
    assert len(lives.begin().bad) == 1


def test_an_exception_nobody_expected_is_one(lives: Lives) -> None:
    ledger = lives.begin()
    try:
        raise RuntimeError("odd")
    except RuntimeError as exc:
        ledger.crashed(exc)
    (one,) = lives.begin().bad
    assert one.how == "raised RuntimeError"


@pytest.mark.parametrize(
    "text", ["", "{", "[1]", '{"boot": "one", "living": true, "bad": [{"at": "x"}, 3]}', "\x00" * 9]
)
def test_a_ledger_of_nonsense_is_none(lives: Lives, text: str) -> None:
    lives.folder.mkdir()
    (lives.folder / LEDGER).write_text(text)
    assert all(one.how.startswith("was killed") for one in lives.begin().bad)


def test_a_second_daemon_leaves_the_book_alone(lives: Lives) -> None:
    first = lives.begin()
    second = lives.begin()
    assert not second.open
    assert second.witness is None
    second.close(forget=True)
    assert (lives.folder / LEDGER).exists()
    first.close(forget=True)


def test_a_folder_that_cannot_be_made_costs_the_ledger_only(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ledger = Ledger(tmp_path / "file" / "run", owner)
    assert not ledger.open
    ledger.close(forget=True)


def test_three_bad_ends_within_ten_minutes_are_a_crowd() -> None:
    ends = [BadEnd(1000.0 + 200.0 * number, "x") for number in range(CRASHES)]
    last = ends[-1].at
    assert crowded(ends, last)
    assert not crowded(ends[1:], last)
    assert not crowded(ends, 1000.0 + WINDOW_S + 1.0)


TOLD = """
import sys, time
from pathlib import Path
from underdash.service.ledger import Ledger
ledger = Ledger(Path(sys.argv[1]), lambda file: "")
with ledger.told_to_end():
    print("up", flush=True)
    time.sleep(30)
"""


@pytest.mark.parametrize(("number", "counts"), [(signal.SIGTERM, 0), (signal.SIGKILL, 1)])
def test_a_signal_to_end_during_the_start_is_no_crash_and_sigkill_is(
    tmp_path: Path, number: signal.Signals, counts: int
) -> None:
    folder = tmp_path / "run"
    with subprocess.Popen([sys.executable, "-c", TOLD, str(folder)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        process.send_signal(number)
        assert process.wait(30) == -number
    ledger = Ledger(folder, owner)
    assert len(ledger.bad) == counts
    ledger.close(forget=True)
