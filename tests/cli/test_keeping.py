"""A person's file that is changed in place keeps all but what was changed."""

from __future__ import annotations

import os
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from stat import S_IMODE

import pytest

from underdash.cli.keeping import MARK, changed
from underdash.contract.errors import GivenError


def add(path: Path, text: str = "more") -> None:
    with changed(path, "--into") as kept:
        kept.text += text


@pytest.mark.parametrize("before", [b"a\r\nb\r\n", MARK + "é\r\n".encode(), MARK, b"", b"a\rb\x0c\xe2\x80\xa8"])
def test_mark_and_line_ends_stay(tmp_path: Path, before: bytes) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(before)
    add(path)
    assert path.read_bytes() == before + b"more"
    assert [*tmp_path.iterdir()] == [path]


def test_rights_and_links_stay(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text("a")
    real.chmod(0o640)
    link.symlink_to(real)
    add(link)
    assert link.is_symlink()
    assert (real.read_text(), S_IMODE(real.stat().st_mode)) == ("amore", 0o640)


def test_a_file_that_somebody_else_wrote_meanwhile_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("a")

    def both() -> None:
        with changed(path, "--into") as one:
            path.write_text("theirs")
            one.text += "ours"

    with pytest.raises(GivenError, match=r"mine\.toml was changed by somebody else meanwhile"):
        both()
    assert path.read_text() == "theirs"
    assert [*tmp_path.iterdir()] == [path]


def test_two_at_once_come_one_after_the_other(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("")
    together = threading.Barrier(2)

    def many(text: str) -> None:
        together.wait()
        for _ in range(25):
            add(path, text)

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(many, "ab"))
    assert sorted(path.read_text()) == ["a"] * 25 + ["b"] * 25
    assert [*tmp_path.iterdir()] == [path]


def test_a_change_that_fails_leaves_the_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("a")

    def half() -> None:
        with changed(path, "--into") as one:
            one.text = "half"
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert path.read_text() == "a"


def test_what_cannot_be_changed_is_told(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    with pytest.raises(GivenError, match=r"--into .*mine\.toml cannot be read: no such file"):
        add(path)
    path.write_bytes(b"ok\n\xe9\n")
    with pytest.raises(GivenError, match=r"line 2 is no text in UTF-8; save it as such"):
        add(path)
    path.write_text("a")
    path.chmod(0o444)
    with pytest.raises(GivenError, match=r"may not be written; give yourself the right"):
        add(path)
    assert path.read_text() == "a"
    with pytest.raises(GivenError, match=r"is no file; name a description"):
        add(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(GivenError, match=r"is no file; name a description"):
        add(tmp_path / "pipe")
    path.chmod(0o644)
    path.write_bytes(b"#" * 4_000_001)
    with pytest.raises(GivenError, match=r"is over 4 MB"):
        add(path)
