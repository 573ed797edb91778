"""``underdash log``, and the sentences."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underdash.cli.log_lines import Entry, entry, facts, told
from underdash.cli.log_sentences import sentence
from underdash.cli.logs import Lines

Typed = Callable[..., Any]


def test_a_sentence_is_made_of_the_facts() -> None:
    assert sentence({"event": "bus_state", "role": "drive", "before": "silent", "now": "alive"}) == (
        "Bus drive is alive; before it was silent"
    )
    assert sentence({"event": "alert"}) == "Alert ?: ?"
    assert sentence({"event": "nobody logs this"}) is None
    assert sentence({}) is None


def test_of_an_error_of_ours_its_last_line_is_told() -> None:
    said = sentence({"event": "tick_failed", "exception": "Traceback\n  File\nValueError: odd\n"})
    assert said == "A step of the daemon failed; it goes on (ValueError: odd)"


def test_where_nothing_is_to_be_done_nothing_is_said_of_it() -> None:
    said = sentence({"event": "plugin_refused", "plugin": "oil", "reason": "it raised", "hint": ""})
    assert said == "Plug-in oil is refused: it raised"


# --- lines ------------------------------------------------------------------------------------------------------------

SENTENCE = st.text(st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n")).map(
    lambda text: f"a {text}"
)
"""With a space, as what is told in words has; structlog quotes it."""


@given(st.dictionaries(st.sampled_from(["role", "text", "error", "count"]), SENTENCE | st.integers().map(str)))
def test_what_the_daemon_writes_is_read_again(given_facts: dict[str, Any]) -> None:
    line = Lines(journal=False)(None, "info", {"event": "a thing", "level": "info", **given_facts})
    assert facts(line) == {"event": "a thing", "level": "info", **given_facts}


@given(st.text())
def test_no_line_ends_the_reading(text: str) -> None:
    found = entry(text)
    assert found is None or told(found)


def journal(message: Any, **more: Any) -> str:
    return json.dumps({"MESSAGE": message, "__REALTIME_TIMESTAMP": "1767254400000000", "PRIORITY": "4", **more})


def test_an_entry_of_the_journal_has_its_time_and_weight() -> None:
    found = entry(journal('level=warning event=bus_failed role=drive error="it is down"'))
    assert found is not None
    assert told(found, UTC) == "Jan 01 08:00:00  warning: Bus drive failed: it is down"


def test_what_is_no_text_and_what_nobody_knows_are_shown_as_they_are() -> None:
    assert entry(journal([79, 105, 108, 255])) == Entry("Oil\ufffd", 1767254400.0, 4)
    found = entry(journal("Started underdash.service.", PRIORITY="6"))
    assert found is not None
    assert told(found, UTC) == "Jan 01 08:00:00  Started underdash.service."
    assert entry(journal(None)) == Entry("", 1767254400.0, 4)


def test_a_line_that_was_kept_without_the_journal_is_read_too() -> None:
    for line in ("<3>level=error event=panel_hangs", "level=error event=panel_hangs"):
        found = entry(line)
        assert found is not None
        assert told(found) == "error: A panel has not taken a picture for long: its thread hangs"
    assert entry("  \n") is None
    assert entry("{no json") == Entry("{no json")


# --- the command ------------------------------------------------------------------------------------------------------


def test_a_log_that_was_kept_is_told(typed: Typed, tmp_path: Path) -> None:
    path = tmp_path / "kept.log"
    path.write_text("level=info event=power state=awake ignition=ON\nsomething else = odd\n")
    done = typed("log", "--file", path)
    assert done.status == 0
    assert done.out == "Power: awake; ON\nsomething else = odd\n"


def test_the_input_is_read_too(started: Any) -> None:
    child = started("log", "--file", "-", stdin=subprocess.PIPE)
    out, _ = child.communicate("level=info event=input_is_back input=key\n", timeout=60)
    assert (child.returncode, out) == (0, "Input key is read again\n")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--file", "/nowhere/x"), "cannot be read: No such file or directory; keep one with: journalctl -u"),
        (("--file", "x", "--follow"), "are for the journal"),
    ],
)
def test_what_cannot_be_read_is_told(typed: Typed, arguments: tuple[str, ...], said: str) -> None:
    done = typed("log", *arguments)
    assert done.status == 2
    assert said in done.err


@pytest.fixture
def journalctl(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Puts a journalctl in place that keeps its arguments."""

    def put(script: str) -> None:
        folder = tmp_path / "bin"
        folder.mkdir()
        command = folder / "journalctl"
        command.write_text(f'#!{shutil.which("sh")}\nprintf "%s " "$@" > {tmp_path}/arguments\n{script}\n')
        command.chmod(0o755)
        monkeypatch.setenv("PATH", f"{folder}:{os.environ['PATH']}")

    return put


@pytest.mark.parametrize(
    ("arguments", "asked"),
    [((), "--boot"), (("--since", "1 hour ago"), "--since=1 hour ago"), (("--follow",), "--boot --follow")],
)
def test_the_journal_is_asked_for_the_service(
    typed: Typed, journalctl: Callable[[str], None], tmp_path: Path, arguments: tuple[str, ...], asked: str
) -> None:
    journalctl(f"echo '{journal('level=info event=input_is_back input=key')}'")
    done = typed("log", *arguments)
    assert done.status == 0
    assert done.out.endswith("Input key is read again\n")
    assert (tmp_path / "arguments").read_text().strip() == f"-o json -u underdash --no-pager --quiet {asked}"


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("exit 0", "the journal has nothing of the service"),
        ("echo 'Failed to parse timestamp: soon' >&2; exit 1", "journalctl: Failed to parse timestamp: soon"),
        ("exit 3", "journalctl: ended with 3"),
    ],
)
def test_a_journal_that_says_nothing_is_told(
    typed: Typed, journalctl: Callable[[str], None], script: str, said: str
) -> None:
    journalctl(script)
    done = typed("log")
    assert done.status == 1
    assert said in done.err


def test_a_time_that_is_none_is_told_with_some_that_are(typed: Typed, journalctl: Callable[[str], None]) -> None:
    journalctl("echo 'Failed to parse timestamp: soon' >&2; exit 1")
    done = typed("log", "--since", "soon")
    assert 'Failed to parse timestamp: soon; --since takes "today", "1 hour ago"' in done.err


def test_without_a_journal_a_file_is_asked_for(typed: Typed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    done = typed("log")
    assert done.status == 1
    assert "there is no journalctl here; name a log" in done.err


def test_following_ends_by_the_keyboard_without_a_word(journalctl: Callable[[str], None]) -> None:
    journalctl(f"echo '{journal('level=info event=input_is_back input=key')}'; exec sleep 60")
    command = [sys.executable, "-m", "underdash", "log", "--follow"]
    with subprocess.Popen(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert "Input key" in child.stdout.readline()
        child.send_signal(signal.SIGINT)
        _, err = child.communicate(timeout=60)
    assert (child.returncode, err) == (0, "")
