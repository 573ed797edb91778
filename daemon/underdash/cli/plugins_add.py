"""``underdash plugins add``: others' plug-ins into underdash's own environment, where nothing it stands on moves."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from ..contract.errors import GivenError, UnderdashError
from .common import CONFIG

GROUP = "underdash"
OURS = ("pi", "dbc", "finding")
"""Our extras that somebody may have installed; what they bring stays as it is too."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_EXTRA = re.compile(r"""extra\s*==\s*['"]([^'"]+)['"]""")
_IN_THE_WAY = re.compile(r"The user requested \(constraint\) (\S+)")


@dataclass(frozen=True, slots=True)
class Added:
    """A distribution that was installed, and the plug-ins it brings; no version if it was there already."""

    name: str
    version: str
    plugins: tuple[str, ...]


def add(given: str, wheels: Path | None = None, prefix: Path | None = None) -> Added:
    """Install a plug-in and remember it for the next upgrade.

    Args:
        given: a name that pip finds, with or without a version, or the path of a wheel.
        wheels: take it and all it needs from this directory, without network.
        prefix: of the environment; that of this Python unless a test has another.

    Raises:
        UnderdashError: it cannot be had, takes other rights, or would move what underdash stands on.
    """
    prefix = prefix or _own_environment(given)
    file = _wheel(given)
    if wheels is not None and not wheels.is_dir():
        raise GivenError(f"--wheels {wheels}: there is no such directory; name the one that holds the wheels")
    with tempfile.TemporaryDirectory() as work:
        fixed = Path(work, "fixed.txt")
        fixed.write_text("".join(f"{name}=={version}\n" for name, version in stands_on().items()))
        report = Path(work, "report.json")
        offline = ["--no-index", "--find-links", str(wheels)] if wheels is not None else []
        options = ["--upgrade", "--upgrade-strategy", "only-if-needed", "--constraint", str(fixed), *offline]
        done = _pip("install", *options, "--report", str(report), str(file or given))
        if done.returncode:
            raise UnderdashError(refusal(given, done.stdout + done.stderr, wheels))
        installed = _installed(json.loads(report.read_text()))
    if installed is None:
        return Added(given, "", ())
    added = Added(*installed, _plugins(installed[0]))
    if not added.plugins:
        _pip("uninstall", "--yes", added.name)
        raise GivenError(
            f"{given} brings no plug-in: it has no entry point of the group {GROUP!r}; it was taken out again"
        )
    remember(prefix / "added", added.name, file or given)
    return added


def next_step(added: Added) -> str:
    """Say what was done and what comes next."""
    if not added.version:
        return f"{added.name} is there already; nothing was changed"
    names = ", ".join(f'"{name}"' for name in added.plugins)
    return (
        f"added {added.name} {added.version}. Next: put {names} among the names of plugins.enabled in {CONFIG}, "
        f"look with 'underdash plugins --config {CONFIG}', then: sudo systemctl restart underdash"
    )


def stands_on(root: str = "underdash", extras: tuple[str, ...] = OURS) -> dict[str, str]:
    """Return name and version of a distribution and of all it needs, as far as it is installed."""
    found: dict[str, str] = {}
    waiting = [(root, extras)]
    while waiting:
        name, taken = waiting.pop()
        try:
            distribution = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue
        if canonical(name) in found:
            continue
        found[canonical(name)] = distribution.version
        for line in distribution.requires or ():
            extra, needed = _EXTRA.search(line), _NAME.match(line)
            if needed and (extra is None or extra[1] in taken):
                waiting.append((needed[0], ()))
    return found


def canonical(name: str) -> str:
    """Write a distribution's name in the one way that counts (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def refusal(given: str, said: str, wheels: Path | None) -> str:
    """Return a sentence for what pip said."""
    in_the_way = sorted(set(_IN_THE_WAY.findall(said)))
    if in_the_way:
        return (
            f"{given} was not added: it wants other versions of what underdash stands on, which is "
            f"{', '.join(in_the_way)}; take a release of it that goes with these, or ask its author for one"
        )
    if "No matching distribution" in said or "Could not find a version" in said:
        missing = re.findall(r"No matching distribution found for (\S+)", said)
        where = f"in {wheels}" if wheels is not None else "where pip looks"
        return f"{given} was not added: {missing[0] if missing else given} is not found {where}; check name and network"
    errors = [line.partition("ERROR:")[2].strip() for line in said.splitlines() if "ERROR:" in line]
    return f"{given} was not added: {errors[0] if errors else said.strip()[-200:] or 'pip says nothing'}"


def remember(folder: Path, name: str, given: str | Path) -> None:
    """Note what was added, for the environment that takes this one's place; a wheel is kept itself."""
    folder.mkdir(exist_ok=True)
    names = folder / "names"
    before = names.read_text().splitlines() if names.exists() else []
    kept = [line for line in before if canonical(_distribution(line)) != canonical(name)]
    if isinstance(given, Path):
        shutil.copy(given, folder / given.name)
    line = given.name if isinstance(given, Path) else given
    part = names.with_suffix(".part")
    part.write_text("".join(f"{one}\n" for one in (*kept, line)))
    part.replace(names)


def _distribution(line: str) -> str:
    """Return the distribution that a line of `remember` is about; a wheel's name begins with it (PEP 427)."""
    if line.endswith(".whl"):
        return line.split("-", maxsplit=1)[0]
    found = _NAME.match(line)
    return found[0] if found else line


def _own_environment(given: str) -> Path:
    if sys.prefix == sys.base_prefix:
        raise UnderdashError(
            "underdash runs in the system's own Python, where nothing is added; install it by systemd/install, "
            "or into a virtual environment"
        )
    if not os.access(sysconfig.get_path("purelib"), os.W_OK):
        raise UnderdashError(f"only root may add to {sys.prefix}: sudo underdash plugins add {given}")
    return Path(sys.prefix)


def _wheel(given: str) -> Path | None:
    """Return the path if a wheel is given; None for a name."""
    path = Path(given)
    if path.suffix == ".whl":
        if not path.is_file():
            raise GivenError(f"there is no wheel {given}; give the path of one, or a plug-in's name")
        return path.resolve()
    if "/" in given or path.is_dir():
        raise GivenError(f"{given} is no wheel; make one first: pip wheel --no-deps {given}")
    if not _NAME.match(given):
        raise GivenError(f"{given!r} is neither the name of a distribution nor the path of a wheel")
    return None


def _pip(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pip", arguments[0], "--disable-pip-version-check", "--no-input", *arguments[1:]]
    done = subprocess.run(command, capture_output=True, text=True, check=False, umask=0o022)
    if "No module named pip" in done.stderr:
        raise UnderdashError(f"this environment has no pip: {sys.executable} -m ensurepip")
    return done


def _installed(report: Mapping[str, object]) -> tuple[str, str] | None:
    """Return name and version of what was asked for, from pip's installation report (version 1)."""
    items = report.get("install")
    for item in items if isinstance(items, list) else ():
        if item.get("requested"):
            return item["metadata"]["name"], item["metadata"]["version"]
    return None


def _plugins(name: str) -> tuple[str, ...]:
    points = metadata.distribution(name).entry_points
    return tuple(sorted(point.name for point in points if point.group == GROUP))
