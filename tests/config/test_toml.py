from __future__ import annotations

from pathlib import Path

import pytest

from underdash.config.mistakes import ConfigError
from underdash.config.toml import parse_toml, read_toml


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("a = 1\nb = \n", 2, "invalid value"),
        ("a = 1\na = 2\n", 2, "a, though line 1 has that name already"),
        ("format = 1\nname = 2\n[[format]]\n", 3, "[[format]], though line 1 has that name already"),
        ("format = 1\n[format.own]\n", 2, "[format.own], though line 1 has that name already"),
        ("[a]\nb = 1\n[c]\n[a] # again\n", 4, "[a], though line 1 has that name already"),
        ("[[a]]\nb = 1\n[[a]]\nb = 1\nb = 2", 5, "b, though line 4 has that name already"),
        ("[a\n", 1, "expected ']'"),
        ('a = "open\n', 1, "illegal character"),
        ("a = [1,\n", 2, "invalid value"),
        ("just words", 1, "expected '='"),
        ("a = " + "9" * 5000, 1, "exceeds the limit"),
        ("a = " + "[" * 5000, None, "lists in lists"),
    ],
)
def test_what_is_no_toml_is_named_with_its_line(text: str, line: int | None, says: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parse_toml(text, "x.toml")

    (mistake,) = caught.value.mistakes
    assert mistake.line == line
    assert says in mistake.found


def test_a_file_that_is_not_there_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="No such file"):
        read_toml(tmp_path / "missing.toml")


def test_a_folder_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="Is a directory"):
        read_toml(tmp_path)


def test_bytes_that_are_no_text_are_a_mistake_with_their_line(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(b'a = 1\nb = "\xff"\n')

    with pytest.raises(ConfigError, match="line 2: found the byte FF, allowed: text in UTF-8"):
        read_toml(file)


def test_a_mark_in_front_of_the_text_does_no_harm(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")

    assert read_toml(file)[0] == {"a": 1, "b": 2}


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(b"#" * 4_000_001)

    with pytest.raises(ConfigError, match="over 4 MB"):
        read_toml(file)


def test_a_device_is_not_read() -> None:
    with pytest.raises(ConfigError, match="a device or a pipe"):
        read_toml(Path("/dev/zero"))


@pytest.mark.parametrize("name", ["a\x00b", "x" * 300])
def test_a_name_no_file_can_have_is_a_mistake(name: str, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="a file that can be read"):
        read_toml(tmp_path / name)
