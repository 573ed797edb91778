"""Two promises about every hook, kept by tests: it is documented with its exact signature, and it is tested."""

from __future__ import annotations

import ast
import re
import textwrap
import tomllib
from pathlib import Path

import pytest

from underdash.contract import hooks
from underdash.loading import HOOKS

ROOT = Path(__file__).parent.parent
GUIDE = (ROOT / "DEVELOPERS.md").read_text()
SPECS = {
    node.name: node
    for node in ast.parse(Path(hooks.__file__).read_text()).body
    if isinstance(node, ast.FunctionDef) and node.decorator_list
}
EXCERPT = re.compile(r"<!-- from (\S+) -->\n```\w+\n(.*?)```", re.DOTALL)


def signature(spec: ast.FunctionDef) -> str:
    assert spec.returns is not None
    return f"{spec.name}({ast.unparse(spec.args)}) -> {ast.unparse(spec.returns)}"


def test_the_hooks_are_those_that_loading_asks_for() -> None:
    assert list(SPECS) == list(HOOKS)


@pytest.mark.parametrize("name", SPECS)
def test_every_hook_is_documented_in_the_guide_with_its_exact_signature(name: str) -> None:
    assert f"### `{signature(SPECS[name])}`" in GUIDE


@pytest.mark.parametrize("name", SPECS)
def test_every_hook_has_a_test(name: str) -> None:
    tests = "".join(source.read_text() for source in (ROOT / "tests").rglob("test_*.py"))
    assert re.search(rf"^def test_hook_{name}\(", tests, re.MULTILINE)


@pytest.mark.parametrize("name", SPECS)
def test_every_hook_says_when_it_is_called_what_it_returns_what_if_it_raises_and_gives_an_example(name: str) -> None:
    text = ast.get_docstring(SPECS[name]) or ""
    for part in ("\nCalled: ", "\nReturn: ", "\nIf it raises: ", "\nExample::\n"):
        assert part in text
    example = ast.parse(textwrap.dedent(text.split("Example::\n")[1]))
    assert [node.name for node in example.body if isinstance(node, ast.FunctionDef)] == [name]


@pytest.mark.parametrize("name", SPECS)
def test_the_guide_says_the_same_about_a_hook_as_its_docstring(name: str) -> None:
    text = " ".join((ast.get_docstring(SPECS[name]) or "").split("Example::")[0].split())
    section = " ".join(GUIDE.split(f"### `{signature(SPECS[name])}`")[1].split("\n### ")[0].split("\n**")[0].split())
    assert section.split(" ## ")[0].replace(" - ", " ").strip() == text


def test_code_in_the_guide_stands_in_the_files_it_names() -> None:
    excerpts = EXCERPT.findall(GUIDE)
    assert len(excerpts) >= 6
    for file, code in excerpts:
        assert code.strip() in (ROOT / file).read_text(), f"{file} does not hold (any more):\n{code}"


def test_all_python_in_the_guide_comes_from_a_file_that_runs_and_all_toml_is_toml() -> None:
    assert GUIDE.count("```python\n") == len([file for file, _ in EXCERPT.findall(GUIDE) if file.endswith(".py")])
    for block in re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL):
        tomllib.loads(block)


def test_files_and_folders_that_the_guide_names_are_there() -> None:
    for name in set(re.findall(r"`((?:daemon|plugins|tests|config|systemd)/[\w./-]*)`", GUIDE)):
        assert (ROOT / name).exists(), f"{name} is not there"


def test_every_room_has_a_row_in_the_guide() -> None:
    package = ROOT / "daemon" / "underdash"
    rooms = {path.name for path in package.iterdir() if path.is_dir() and (path / "__init__.py").exists()}
    files = {path.name for path in package.glob("*.py") if not path.name.startswith("__")}
    rows = set(re.findall(r"^\| `([\w.]+)/?` \|", GUIDE, re.MULTILINE))
    assert rooms | files <= rows, f"no row for {sorted((rooms | files) - rows)}"
