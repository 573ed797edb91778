"""The house rules that a newcomer would otherwise have to remember."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import underdash
from underdash import drivers, testing
from underdash.cli.log_sentences import SENTENCES
from underdash.cli.logs import LEFT_OUT

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "daemon" / "underdash"
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
PLUGINS = sorted(folder for folder in (ROOT / "plugins").iterdir() if list(folder.glob("underdash_*/__init__.py")))
BUNDLED = [folder for folder in PLUGINS if not (folder / "pyproject.toml").exists()]

FLOORS = (
    ("contract",),
    ("signals", "service", "pace"),
    ("buttons", "power", "display", "recording", "inputs"),
    ("bus", "switching"),
    ("broadcast", "diagnostics"),
    ("config", "finding", "simulator"),
    ("loading", "bench", "collecting"),
    ("wiring",),
    ("testing", "drivers"),
    ("cli",),
)
"""From the ground up. A room imports from lower floors, and on its own floor from those on its left."""
ORDER = {room: (floor, place) for floor, rooms in enumerate(FLOORS) for place, room in enumerate(rooms)}
THE_PUBLIC_SURFACE, THE_DOOR = "__init__", "__main__"

THE_GUARDED_WAY = "wiring/sending.py"
PORTS = {
    "bus/link.py",  # hands on to a port what the guard let out
    "bus/socketcan.py",
    "bus/library.py",
    "bus/controller.py",  # to the kernel, over netlink, which sends no frame
    "service/notify.py",  # to the service manager, not to a bus
    "service/control.py",  # to a person's command, not to a bus
    "simulator/station.py",  # plays the car
    "wiring/measuring/receiving.py",  # to itself, over a pair of sockets
}

FILE_LINES, FUNCTION_LINES = 400, 50
LOG_LEVELS = {"debug", "info", "warning", "error", "exception", "critical"}

SOURCES = sorted(PACKAGE.rglob("*.py"))
PLUGIN_SOURCES = sorted(source for folder in PLUGINS for source in folder.glob("underdash_*/**/*.py"))
PLUGIN_TESTS = sorted(source for folder in PLUGINS for source in folder.glob("tests/**/*.py"))


def name_of(source: Path) -> str:
    return str(source.relative_to(ROOT))


def room_of(source: Path) -> str:
    return source.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(source: Path) -> Iterator[tuple[int, str, tuple[str, ...]]]:
    """Line, module and names of every import of underdash in a file, relative ones made absolute."""
    package = ("underdash", *source.relative_to(PACKAGE).parent.parts) if PACKAGE in source.parents else ()
    for node in ast.walk(ast.parse(source.read_text())):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name, ()
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else ()
            module = ".".join((*above, *(node.module or "").split("."))).strip(".")
            yield node.lineno, module, tuple(name.name for name in node.names)


@pytest.mark.parametrize("source", SOURCES, ids=name_of)
def test_imports_run_downward_only(source: Path) -> None:
    room = room_of(source)
    if room == THE_DOOR:
        return
    for line, module, names in imports(source):
        parts = module.split(".")
        if parts[0].startswith("underdash_"):
            raise AssertionError(f"{name_of(source)}:{line} imports the plug-in {parts[0]}")
        if parts[0] != "underdash":
            continue
        for other in parts[1:2] or names:
            if room == THE_PUBLIC_SURFACE:
                assert other == "contract", f"{name_of(source)}:{line} takes {module} into the public surface"
            else:
                assert other in ORDER, f"{name_of(source)}:{line} imports {other}, which is on no floor"
                assert room in ORDER, f"{name_of(source)} is on no floor"
                assert ORDER[other] <= ORDER[room], f"{name_of(source)}:{line} imports {other}, which is above {room}"


def test_every_room_is_on_a_floor() -> None:
    rooms = {room_of(source) for source in SOURCES} - {THE_PUBLIC_SURFACE, THE_DOOR}
    assert rooms <= set(ORDER), f"no floor for {sorted(rooms - set(ORDER))}"


def test_frames_are_sent_in_few_places_and_the_daemon_asks_the_guard_in_the_only_one_of_its_own() -> None:
    sending = set()
    for source in SOURCES + PLUGIN_SOURCES:
        for node in ast.walk(ast.parse(source.read_text())):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Attribute) and called.attr in {"send", "sendmsg", "sendto", "send_periodic"}:
                sending.add(source.relative_to(PACKAGE).as_posix() if PACKAGE in source.parents else name_of(source))
    assert sending - PORTS == {THE_GUARDED_WAY}
    assert "guard.verdict(" in (PACKAGE / THE_GUARDED_WAY).read_text()


def test_the_guide_lists_the_rooms_in_the_order_of_the_floors() -> None:
    rows = re.findall(r"^\| `([\w.]+?)(?:/|\.py)` \|", (ROOT / "DEVELOPERS.md").read_text(), re.MULTILINE)
    rooms = {room_of(source) for source in SOURCES}
    assert rows == [room for room in ORDER if room in rooms]


@pytest.mark.parametrize("source", PLUGIN_SOURCES + PLUGIN_TESTS, ids=name_of)
def test_plugins_import_only_the_public_surface(source: Path) -> None:
    own = source.relative_to(ROOT / "plugins").parts[0]
    is_test = source in PLUGIN_TESTS
    for line, module, names in imports(source):
        parts = module.split(".")
        if parts[0] == "underdash":
            place = f"{name_of(source)}:{line}"
            if is_test and module == "underdash.testing":
                assert set(names) <= set(testing.__all__), f"{place} uses {names}"
                continue
            if module == "underdash.drivers":
                assert set(names) <= set(drivers.__all__), f"{place} uses {names}"
                continue
            assert module == "underdash", f"{place} imports {module}"
            allowed = {*underdash.__all__, "testing"} if is_test else set(underdash.__all__)
            assert set(names) <= allowed, f"{place} uses {sorted(set(names) - allowed)}"
        elif parts[0].startswith("underdash_") and not is_test:
            assert parts[0] == f"underdash_{own}", f"{name_of(source)}:{line} imports another plug-in"


WAYS_TO_A_BUS = {
    "socket", "_socket", "can", "pyroute2", "ctypes", "cffi", "fcntl", "subprocess", "gc", "importlib", "inspect",
    "builtins", "os", "posix", "sys", "asyncio", "selectors", "socketserver", "multiprocessing", "runpy", "pkgutil",
}  # fmt: skip
"""What a plug-in would need to reach an interface, or an object of ours that can."""
OWN_LINES = {"plugins/serial_panel/underdash_serial_panel/line.py": {"os"}}
"""Drivers of panels that open a line of their own, which is no bus."""


def ways_to_a_bus(text: str) -> set[str]:
    """What a plug-in's source takes that leads to a bus beside the guard."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            found.add((node.module or "").split(".")[0])
        elif isinstance(node, ast.Name) and node.id in {"__import__", "eval", "exec"}:
            found.add("importlib")
    return found & WAYS_TO_A_BUS


@pytest.mark.parametrize("source", PLUGIN_SOURCES, ids=name_of)
def test_no_plugin_reaches_for_a_socket(source: Path) -> None:
    assert ways_to_a_bus(source.read_text()) == OWN_LINES.get(name_of(source), set())


@pytest.mark.parametrize(
    "text",
    [
        "import socket",
        "def draw(canvas, snapshot):\n    from socket import socket as s",
        "import can.interfaces",
        "import ctypes.util as harmless",
        "import gc",
        "bus = __import__('can')",
        "from os import write",
        "import sys\nwiring = sys.modules['underdash.wiring.sending']",
        "from asyncio import get_running_loop",
    ],
)
def test_one_that_did_would_be_caught(text: str) -> None:
    assert ways_to_a_bus(text)


def test_every_bundled_plugin_is_packed_declared_and_typed() -> None:
    packages = PYPROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
    declared = PYPROJECT["project"]["entry-points"]["underdash"]
    typed = PYPROJECT["tool"]["mypy"]["mypy_path"].split(":")
    names = {folder.name for folder in BUNDLED}
    assert set(declared) == names
    assert set(packages) == {"daemon/underdash", *(f"plugins/{name}/underdash_{name}" for name in names)}
    assert set(typed) == {"daemon", *(f"plugins/{name}" for name in names)}
    for folder in BUNDLED:
        assert declared[folder.name] == f"underdash_{folder.name}"
        assert (folder / f"underdash_{folder.name}" / "py.typed").exists()
        assert (folder / "README.md").exists(), f"plugins/{folder.name} has no README.md"
        assert list(folder.glob("tests/test_*.py")), f"plugins/{folder.name} has no tests"


def test_the_public_surface_is_listed_once_sorted_and_complete() -> None:
    listed = list(underdash.__all__)
    assert len(listed) == len(set(listed))
    assert all(hasattr(underdash, name) for name in listed)
    taken_in = {name for _, _, names in imports(PACKAGE / "__init__.py") for name in names}
    assert taken_in - {"annotations", "TYPE_CHECKING", "import_module"} == set(listed)
    assert all(getattr(underdash, name) is not None for name in listed)
    assert not hasattr(underdash, "import_modules")


def test_importing_underdash_loads_no_heavy_library() -> None:
    code = "import sys; from underdash import *; print(sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.strip("[]',\n").split(".")[0] for name in done.stdout.split()}
    assert {"underdash", "pluggy"} <= loaded
    assert not loaded & {"PIL", "can", "structlog", "luma", "serial", "pyroute2", "numpy", "asyncio"}


@pytest.mark.parametrize("source", SOURCES + PLUGIN_SOURCES, ids=name_of)
def test_files_and_functions_are_short_and_public_names_are_documented(source: Path) -> None:
    text = source.read_text()
    tree = ast.parse(text)
    assert text.count("\n") <= FILE_LINES, f"{name_of(source)} has {text.count(chr(10))} lines"
    assert not text.strip() or ast.get_docstring(tree), f"{name_of(source)} does not say what it is for"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            assert lines <= FUNCTION_LINES, f"{name_of(source)}:{node.lineno} {node.name} has {lines} lines"
    for name, node in public(tree):
        assert ast.get_docstring(node), f"{name_of(source)}:{node.lineno} {name} has no docstring"


def public(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]]:
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        yield node.name, node
        for inner in node.body if isinstance(node, ast.ClassDef) else ():
            if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef) and not inner.name.startswith("_"):
                yield f"{node.name}.{inner.name}", inner


def test_every_test_file_has_a_name_of_its_own() -> None:
    files = [*ROOT.glob("tests/**/test_*.py"), *ROOT.glob("plugins/*/tests/test_*.py")]
    names = [source.name for source in files]
    double = sorted({name for name in names if names.count(name) > 1 and name_in_one_place(name, files)})
    assert not double, f"two test files are called {double}"


def name_in_one_place(name: str, files: list[Path]) -> bool:
    """Two files of one name are only a trouble where no folder tells them apart: among the plug-ins' tests."""
    return sum(1 for source in files if source.name == name and source.parent.parent.parent.name == "plugins") > 1


def logged() -> Iterator[tuple[str, str, set[str]]]:
    """Place, event and keys of everything that is logged."""
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in LOG_LEVELS:
                if ast.unparse(node.func.value) not in ("_log", "log"):
                    continue
                (event,) = node.args
                assert isinstance(event, ast.Constant), f"{source}:{node.lineno}: an event's name is constant"
                keys = {str(keyword.arg) for keyword in node.keywords}
                yield f"{name_of(source)}:{node.lineno}", str(event.value), keys


def test_every_event_that_is_logged_has_a_sentence_made_of_facts_it_has() -> None:
    calls = list(logged())
    assert len(calls) > 50
    for place, event, keys in calls:
        assert event in SENTENCES, f"{place} logs {event!r}, for which cli/log_sentences.py has no sentence"
        wanted = set(re.findall(r"{(\w+)}", SENTENCES[event]))
        assert wanted <= keys, f"{place}: the sentence of {event!r} wants {wanted - keys}"
    assert {event for _, event, _ in calls} | {LEFT_OUT} == set(SENTENCES), "a sentence of what nobody logs"
