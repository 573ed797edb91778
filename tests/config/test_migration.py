"""A configuration of another format is changed over, or it is said why not."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import underdash
from underdash.config.migration import FORMAT, STEPS, migrated
from underdash.config.mistakes import ConfigError, Mistakes, Source
from underdash.config.reading import parse_config

OLD = {"format": 1, "power": {"feed": "switched"}, "left": [1]}


def rename(table: dict[str, Any]) -> dict[str, Any]:
    """A change as a later format could bring it."""
    power = dict(table["power"])
    power["supply"] = power.pop("feed")
    return {**table, "power": power}


def add(table: dict[str, Any]) -> dict[str, Any]:
    return {**table, "added": table["power"]["supply"]}


def mistakes() -> Mistakes:
    return Mistakes(Source("underdash.toml", "\n\nformat = 9"))


def test_each_format_in_between_takes_its_step_and_the_old_table_stays() -> None:
    new = migrated(OLD, mistakes(), newest=3, steps={1: rename, 2: add})
    assert new == {"format": 3, "power": {"supply": "switched"}, "added": "switched", "left": [1]}
    assert OLD == {"format": 1, "power": {"feed": "switched"}, "left": [1]}
    assert migrated({**new}, mistakes(), newest=3, steps={}) == new


@pytest.mark.parametrize(
    ("found", "newest", "said"),
    [
        (4, 3, "line 3, format: found 4, allowed: at most 3; it was written for a newer underdash"),
        (1, 3, "line 3, format: found 1, allowed: at least 3; it is too old for this underdash"),
    ],
)
def test_a_format_that_cannot_be_read_is_told(found: object, newest: int, said: str) -> None:
    with pytest.raises(ConfigError) as caught:
        migrated({"format": found}, mistakes(), newest=newest)
    assert said in str(caught.value)


def test_every_older_format_of_this_program_can_be_read() -> None:
    assert sorted(STEPS) == list(range(1, FORMAT))


@pytest.mark.parametrize("found", [None, 0, -1, True, "1", 1.0])
def test_what_is_no_format_is_left_to_those_who_look_for_all_mistakes(found: object) -> None:
    table = {"format": found, "power": {}}
    assert migrated(table, mistakes(), newest=3, steps={1: rename, 2: add}) is table


def test_a_whole_file_of_another_format_is_told_that_and_nothing_else() -> None:
    with pytest.raises(ConfigError) as caught:
        parse_config('format = 2\n[car]\nnam = "tarn"\n')
    assert "written for a newer underdash" in str(caught.value)
    assert "1 mistake" in str(caught.value)


STEP = "STEPS: Mapping[int, Step] = {1: lambda table: {**table, 'power': {**table['power'], 'linger_s': 7.0}}}"
LOOK = """
from pathlib import Path
from underdash.cli import main
from underdash.config.reading import read_config
read = read_config(Path("mine.toml"))
print(read.format, read.power.supply, read.power.linger_s, main(["check", "--config", "mine.toml"]))
"""


def test_a_later_version_runs_on_the_file_of_this_one_and_leaves_it_as_it_was_written(tmp_path: Path) -> None:
    later = tmp_path / "later" / "underdash"
    shutil.copytree(Path(underdash.__file__).parent, later, ignore=shutil.ignore_patterns("__pycache__"))
    for name, old, new in (
        ("config/migration.py", f"\nFORMAT = {FORMAT}\n", f"\nFORMAT = {FORMAT + 1}\n"),
        ("config/migration.py", "STEPS: Mapping[int, Step] = {}", STEP),
        ("config/schema.py", "    format: Literal[1]", "    format: Literal[2]"),
    ):
        text = (later / name).read_text()
        assert text.count(old) == 1
        (later / name).write_text(text.replace(old, new))
    written = '# mine\nformat = 1\n[car]\nname = "tarn"\n[plugins]\nenabled = ["tarn"]\n[power]\nsupply = "held"\n'
    (tmp_path / "mine.toml").write_text(written)
    environment = {**os.environ, "PYTHONPATH": str(later.parent), "XDG_STATE_HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", LOOK], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert done.stdout.splitlines()[-1:] == ["2 held 7.0 0"], done.stderr
    assert (tmp_path / "mine.toml").read_text() == written
