"""What ``--json`` writes has the keys that the guide names, and no others."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from underdash.cli import main

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text()
PLACE = {"bus", "id", "extended", "byte", "bit", "length", "order", "start", "coding"}


def named(what: str) -> set[str]:
    """Return the keys that the guide's table names for something."""
    (table,) = re.findall(r"<!-- held by tests/finding/test_json.py -->\n(.*?)\n\n", GUIDE, re.DOTALL)
    (row,) = (line for line in table.splitlines() if line.startswith(f"| {what}"))
    return set(re.findall(r"`(\w+)`", re.sub(r" \([^)]*\)", "", row.split("|")[2])))


def inner(what: str, key: str) -> set[str]:
    """Return the keys in brackets behind a key."""
    (table,) = re.findall(rf"\n\| {re.escape(what)}.*", GUIDE)
    (found,) = re.findall(rf"`{key}` \(([^)]*)\)", table)
    return set(re.findall(r"`(\w+)`", found))


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    monkeypatch.chdir(tmp_path)

    def run(lesson: str, *words: str) -> Any:
        if not Path(f"{lesson}.log").exists():
            assert main(["record", f"{lesson}.log", "--practice", lesson]) == 0
        capsys.readouterr()
        assert main([*words, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return run


def candidates(answers: Any) -> Iterator[Any]:
    yield from (one for answer in answers for rank in answer["ranks"] for one in rank)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("lesson", "words", "figures"),
    [
        ("ignition", ("ignition", "ignition.log"), "figures of ignition"),
        ("menu", ("pressed", "menu.log"), "figures of pressed"),
        ("knob", ("turned", "knob.log", "--marks", "knob.marks"), "figures of turned"),
        ("drive", ("like", "drive.log", "--reference", "drive.csv"), "figures of like"),
    ],
)
def test_answers_have_the_keys_of_the_guide(written: Any, lesson: str, words: tuple[str, ...], figures: str) -> None:
    answers = written(lesson, "find", *words)
    assert all(set(answer) == named("answer") for answer in answers)
    found = list(candidates(answers))
    assert all(set(one) | {"select", "comes"} == named("candidate") for one in found)
    assert {key for one in found for key in one["figures"]} == named(figures)


@pytest.mark.slow
def test_a_layout_has_the_keys_of_the_guide(written: Any) -> None:
    ids = written("menu", "find", "layout", "menu.log")
    assert all(set(one) | {"multiplexer"} == named("id:") for one in ids)
    fields = [field for one in ids for field in one["fields"]]
    assert all(set(field) - {"select"} == named("field of an id") | PLACE for field in fields)


@pytest.mark.slow
def test_requests_have_the_keys_of_the_guide(written: Any) -> None:
    found = written("tester", "find", "requests", "tester.log", "--marks", "tester.marks")
    assert set(found) == named("`requests`")
    assert all(set(unit) == named("unit") for unit in found["units"])
    assert all(set(one) == named("asked") for unit in found["units"] for one in unit["asked"])
    assert all(set(one) == named("format") for one in found["formats"])
    assert all(set(one["format"]) == inner("format", "format") for one in found["formats"])
    assert all(set(one) == named("shown") for one in found["shown"])
    several = [one for shown in found["shown"] for one in shown["candidates"]]
    assert all(set(one) == inner("shown", "candidates") for one in several)
    assert all(set(one["fit"]) == named("fit") | PLACE - {"bus", "id", "extended"} for one in several)


@pytest.mark.slow
def test_a_check_against_a_recording_has_the_keys_of_the_guide(written: Any) -> None:
    found = written("menu", "car", "check", "tarn", "--against", "menu.log")
    assert set(found) == named("`car check`")
    (journey,) = found["journeys"]
    assert set(journey) == inner("`car check`", "journeys")
    assert all(set(one) == named("signal of a journey") for one in journey["signals"])
    assert all(set(one) == inner("`car check`", "findings") for one in found["findings"])
