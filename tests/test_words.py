"""What is written in the project speaks of the project: no machine it was made on, no host that served it."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TEXT = {
    ".py", ".md", ".toml", ".service", ".rules", ".conf", ".network", ".txt", ".yml", ".yaml", ".cfg", ".sh", ".c", "",
}  # fmt: skip
BINARY = {".otf", ".ttf", ".png", ".gz", ".svg"}

FORBIDDEN = {
    "a path of one machine": r"(?<![\w./-])/(?:home|root|Users|work|mnt|tmp)/\w",
    "an address of a network": r"\b(?:10|192\.168|172\.(?:1[6-9]|2\d|3[01]))(?:\.\d{1,3}){2,3}\b",
    "a place of one package server": r"https?://[^\s\"')]*(?:simple|index|artifactory|nexus|proxy|mirror)[/.]",
    "a promise instead of code": r"\b(?:TODO|FIXME|XXX|HACK)\b",
    "a left-over of a merge": r"^(?:<{7} |>{7} |={7}$)",
}
ALLOWED = {
    # a service keeps its files where the system's own conventions want them
    "/run/underdash", "/var/lib/underdash", "/etc/underdash",
}  # fmt: skip


def tracked() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        return sorted(path for path in ROOT.rglob("*") if path.is_file() and not set(path.parts) & {".venv", ".git"})
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


FILES = [path for path in tracked() if path.suffix not in BINARY and path != Path(__file__)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_file_names_nothing_that_is_only_true_where_it_was_written(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for line_number, line in enumerate(text.splitlines(), 1):
        for what, pattern in FORBIDDEN.items():
            found = re.search(pattern, line)
            if found and not any(allowed in line for allowed in ALLOWED):
                raise AssertionError(f"{path.relative_to(ROOT)}:{line_number} has {what}: {found.group()}")


def test_only_kinds_of_files_that_are_looked_at_are_in_the_project() -> None:
    kinds = {path.suffix for path in tracked()}
    assert kinds <= TEXT | BINARY | {".typed", ".log", ".csv", ".dbc", ".in", ".link", ".path", ".socket"}, sorted(
        kinds
    )


@pytest.mark.parametrize("line", ["see /home/somebody/x", "at 192.168.1.7 it", "<<<<<<< mine", "# TODO later"])
def test_the_patterns_find_what_they_are_for(line: str) -> None:
    assert any(re.search(pattern, line) for pattern in FORBIDDEN.values())


@pytest.mark.parametrize("line", ["/usr/bin/python3", "127.0.0.1", "version 10.1", "a/work/b", "0x10.5"])
def test_the_patterns_leave_the_ordinary_alone(line: str) -> None:
    assert not any(re.search(pattern, line) for pattern in FORBIDDEN.values())
