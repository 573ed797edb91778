from __future__ import annotations

from pathlib import Path

import pytest

from underdash.cli import typed
from underdash.cli.typed import typed_text
from underdash.contract.errors import GivenError


def test_text_comes_without_the_byte_mark(tmp_path: Path) -> None:
    (path := tmp_path / "a.marks").write_bytes(b"\xef\xbb\xbf1.5 menu\r\n")
    assert typed_text(path, "--marks a.marks", "") == "1.5 menu\r\n"


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"1 men\xfc\n", "no text in UTF-8; save it as such, or do it"),
        ("1 menu\n".encode("utf-16"), "no text in UTF-8"),
        (b"1 menu\n" + bytes(9), "zero bytes in it, so it is no text; do it"),
        (b"1 menu\n" * 4, r"is over 0 MB, as a recording is, not such a file; do it"),
        (None, "no such file or directory; do it"),
    ],
)
def test_a_file_that_is_no_such_text_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes | None, why: str
) -> None:
    monkeypatch.setattr(typed, "LARGEST_BYTES", 20)
    path = tmp_path / "a.marks"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(GivenError, match=f"--marks a.marks .*{why}"):
        typed_text(path, "--marks a.marks", "do it")


def test_a_directory_is_told(tmp_path: Path) -> None:
    with pytest.raises(GivenError, match="is a directory"):
        typed_text(tmp_path, "--marks F", "do it")
