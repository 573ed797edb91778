"""``underdash plugins add``: what it refuses, says and remembers; pip itself runs in the tests that install."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from underdash.cli import plugins_add
from underdash.cli.plugins_add import Added, add, next_step, refusal, remember, stands_on
from underdash.contract.errors import GivenError, UnderdashError

Typed = Callable[..., Any]

CONFLICT = """
ERROR: Cannot install underdash-fancy==1.0 because these package versions have conflicting dependencies.
The conflict is caused by:
    underdash-fancy 1.0 depends on pluggy<1
    The user requested (constraint) pluggy==1.7.0
ERROR: ResolutionImpossible: for help visit the manual
"""
MISSING = """
ERROR: Could not find a version that satisfies the requirement fancy (from versions: none)
ERROR: No matching distribution found for fancy
"""


class Pip:
    """Stands in for pip: keeps what it was asked for, and reports an installation."""

    def __init__(self, reported: list[dict[str, Any]], status: int = 0, said: str = "") -> None:
        self.asked: list[tuple[str, ...]] = []
        self.constraints = ""
        self._reported = reported
        self._status = status
        self._said = said

    def __call__(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        self.asked.append(arguments)
        if arguments[0] == "install":
            self.constraints = Path(arguments[arguments.index("--constraint") + 1]).read_text()
            report = {"version": "1", "install": self._reported}
            Path(arguments[arguments.index("--report") + 1]).write_text(json.dumps(report))
        return subprocess.CompletedProcess(arguments, self._status, "", self._said)


def reported(name: str) -> dict[str, Any]:
    return {"requested": True, "metadata": {"name": name, "version": "1.2"}}


@pytest.fixture
def pip(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Pip]:
    def install(found: list[dict[str, Any]], plugins: tuple[str, ...] = ("fancy",), **how: Any) -> Pip:
        made = Pip(found, **how)
        monkeypatch.setattr(plugins_add, "_pip", made)
        monkeypatch.setattr(plugins_add, "_plugins", lambda name: plugins)
        monkeypatch.setattr(plugins_add, "stands_on", lambda: {"underdash": "0.1.0", "pluggy": "1.7.0"})
        return made

    return install


def test_what_underdash_stands_on_is_held_where_it_is(pip: Callable[..., Pip], tmp_path: Path) -> None:
    used = pip([{"requested": False, "metadata": {"name": "helper", "version": "3"}}, reported("Fancy_Page")])
    added = add("Fancy_Page", None, tmp_path)
    assert added == Added("Fancy_Page", "1.2", ("fancy",))
    assert used.constraints == "underdash==0.1.0\npluggy==1.7.0\n"
    assert (tmp_path / "added" / "names").read_text() == "Fancy_Page\n"
    assert "--no-index" not in used.asked[0]


def test_a_wheel_is_kept_for_the_next_upgrade_and_replaces_its_older_self(
    pip: Callable[..., Pip], tmp_path: Path
) -> None:
    pip([reported("fancy-page")])
    for version in ("1.0", "1.2"):
        wheel = tmp_path / f"fancy_page-{version}-py3-none-any.whl"
        wheel.write_bytes(version.encode())
        add(str(wheel), None, tmp_path)
    assert (tmp_path / "added" / "names").read_text() == "fancy_page-1.2-py3-none-any.whl\n"
    assert (tmp_path / "added" / "fancy_page-1.2-py3-none-any.whl").read_bytes() == b"1.2"


def test_without_network_all_comes_from_one_directory(pip: Callable[..., Pip], tmp_path: Path) -> None:
    used = pip([reported("fancy")])
    add("fancy", tmp_path, tmp_path)
    at = used.asked[0].index("--no-index")
    assert used.asked[0][at : at + 3] == ("--no-index", "--find-links", str(tmp_path))


def test_what_brings_no_plugin_is_taken_out_again(pip: Callable[..., Pip], tmp_path: Path) -> None:
    used = pip([reported("numbers")], plugins=())
    with pytest.raises(GivenError, match=r"brings no plug-in.*taken out again"):
        add("numbers", None, tmp_path)
    assert used.asked[-1] == ("uninstall", "--yes", "numbers")
    assert not (tmp_path / "added").exists()


def test_what_pip_refuses_is_said_and_not_remembered(pip: Callable[..., Pip], tmp_path: Path) -> None:
    pip([], status=1, said=CONFLICT)
    with pytest.raises(UnderdashError, match=r"other versions of what underdash stands on, which is pluggy==1\.7\.0;"):
        add("fancy", None, tmp_path)
    assert not (tmp_path / "added").exists()


def test_what_is_there_already_is_said() -> None:
    assert next_step(Added("fancy", "", ())) == "fancy is there already; nothing was changed"


def test_the_next_step_is_named() -> None:
    said = next_step(Added("fancy-pages", "1.2", ("fancy", "fancier")))
    assert said.startswith(
        'added fancy-pages 1.2. Next: put "fancy", "fancier" among the names of plugins.enabled in /etc'
    )
    assert "restart underdash" in said


@pytest.mark.parametrize(
    ("said", "wheels", "sentence"),
    [
        (MISSING, None, "fancy was not added: fancy is not found where pip looks; check name and network"),
        (MISSING, Path("w"), "fancy was not added: fancy is not found in w; check name and network"),
        ("ERROR: no space left", None, "fancy was not added: no space left"),
        ("", None, "fancy was not added: pip says nothing"),
    ],
)
def test_each_refusal_of_pip_is_one_sentence(said: str, wheels: Path | None, sentence: str) -> None:
    assert refusal("fancy", said, wheels) == sentence


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("nosuch-1.0-py3-none-any.whl",), "there is no wheel nosuch-1.0"),
        (("./somewhere",), "is no wheel; make one first: pip wheel --no-deps ./somewhere"),
        (("=1",), "neither the name of a distribution nor the path of a wheel"),
        (("fancy", "--wheels", "nosuch"), "--wheels nosuch: there is no such directory"),
        ((), "the following arguments are required: NAME_OR_WHEEL"),
    ],
)
def test_what_is_given_wrongly_is_said(typed: Typed, given: tuple[str, ...], said: str) -> None:
    done = typed("plugins", "add", *given)
    assert done.status == 2
    assert said in done.err


def test_other_rights_are_asked_for(typed: Typed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)
    done = typed("plugins", "add", "fancy")
    assert (done.status, done.err) == (
        1,
        f"underdash: only root may add to {sys.prefix}: sudo underdash plugins add fancy\n",
    )


def test_the_systems_own_python_is_left_alone(typed: Typed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", sys.base_prefix)
    done = typed("plugins", "add", "fancy")
    assert done.status == 1
    assert "the system's own Python, where nothing is added" in done.err


def test_all_that_a_distribution_needs_is_followed_but_not_extras_nobody_took() -> None:
    found = stands_on("luma.lcd", ())
    assert {"luma-lcd", "luma-core", "pillow"} <= set(found)
    assert stands_on("no-such-distribution") == {}
    assert "pytest" not in stands_on("luma.lcd")


def test_names_are_remembered_in_their_order(tmp_path: Path) -> None:
    for name in ("one==1", "two", "One"):
        remember(tmp_path / "added", name.partition("=")[0], name)
    assert (tmp_path / "added" / "names").read_text() == "two\nOne\n"
