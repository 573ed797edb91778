"""The wheels a guest is installed from: this version and others, and plug-ins of strangers who mean no good."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

from .conftest import PROJECT

BREAKS = """
import ctypes, os, time
from pathlib import Path
from underdash import Derived, Page, PluginInfo, Signal, hookimpl

KEPT = []
LIBC = ctypes.CDLL(None)
LIBC.malloc.restype = ctypes.c_void_p
LIBC.memset.argtypes = [ctypes.c_void_p, ctypes.c_int, ctypes.c_size_t]

def told(what):
    return Path("/run/underdash", what).exists()

def once(what):
    try:
        Path("/run/underdash", what).unlink()
    except FileNotFoundError:
        return False
    return True

@hookimpl
def plugin():
    return PluginInfo("breaks in each way it is told to")

@hookimpl
def signals():
    return [Signal("breaks.now", "", "nothing")]

def step(state, inputs, dt_s):
    if once("hang-loop"):
        while True:
            pass
    if told("leak-python"):
        KEPT.append(b"x" * (1 << 19))
    if told("leak-c"):
        LIBC.memset(LIBC.malloc(1 << 20), 1, 1 << 20)
    if once("burst"):
        KEPT.append(b"x" * (400 << 20))
    return None, None

@hookimpl
def derived_signals():
    return [Derived("breaks.now", ("vehicle.speed",), step, period_s=0.2)]

def hangs(canvas, snapshot):
    canvas.title("hangs")
    if once("hang-page"):
        time.sleep(1000)

def crashes(canvas, snapshot):
    ctypes.string_at(0)

def exits(canvas, snapshot):
    os._exit(7)

def aborts(canvas, snapshot):
    LIBC.abort()

def raises(canvas, snapshot):
    raise RuntimeError("broken")

@hookimpl
def display_pages():
    draws = (hangs, crashes, exits, aborts, raises)
    return [Page(draw.__name__, draw.__name__, draw, ("breaks.now",)) for draw in draws]
"""
STRANGERS = {"breaks": (BREAKS, "underdash >=0.1"), "moves": (BREAKS, "pluggy <1.5")}


def tiny_wheel(folder: Path, name: str, code: str, requires: str) -> None:
    """Write a wheel with one module, which is a plug-in (the format is PEP 427)."""
    info = f"underdash_{name}-1.0.dist-info"
    parts = {
        f"underdash_{name}.py": code,
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: underdash-{name}\nVersion: 1.0\nRequires-Dist: {requires}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: a test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        f"{info}/entry_points.txt": f"[underdash]\n{name} = underdash_{name}\n",
    }
    record = "".join(f"{part},,\n" for part in (*parts, f"{info}/RECORD"))
    with zipfile.ZipFile(folder / f"underdash_{name}-1.0-py3-none-any.whl", "w") as wheel:
        for path, text in {**parts, f"{info}/RECORD": record}.items():
            wheel.writestr(path, text)


def make_wheels(folder: Path, work: Path) -> None:
    """Make what the guest, which has no network, is installed from: this version, others, and strangers' plug-ins."""

    def pip(*words: str | Path) -> None:
        command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--disable-pip-version-check", *map(str, words)]
        subprocess.run(command, check=True, cwd=work, timeout=600)

    pip("--wheel-dir", folder, f"{PROJECT}[pi]")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, text=True, check=True)
    for name in filter(None, listed.stdout.split("\0")):
        if name.startswith(("daemon/", "plugins/", "README", "LICENSE", "pyproject")) and (PROJECT / name).is_file():
            (work / name).parent.mkdir(parents=True, exist_ok=True)
            (work / name).write_bytes((PROJECT / name).read_bytes())
    project, serving = work / "pyproject.toml", work / "daemon/underdash/cli/running.py"
    text, served = project.read_text(), serving.read_text()
    for name, version, code in (("newer", "0.1.7", served), ("broken", "0.1.8", f"import nowhere_at_all\n{served}")):
        project.write_text(text.replace('\nversion = "0.1.0"', f'\nversion = "{version}"'))
        serving.write_text(code.replace("from __future__ import annotations\n", "") if name == "broken" else code)
        pip("--no-deps", "--wheel-dir", folder / name, work)
    for name, (code, requires) in STRANGERS.items():
        tiny_wheel(folder, name, code, requires)


def make_environment(folder: Path, work: Path) -> None:
    """Pack what the wheels of a directory install, and a stranger's plug-in, into an `environment.tar` beside them.

    In the guest pip takes minutes for that, and one guest that waits for it is enough.
    """
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-index"]
    command += ["--find-links", str(folder), "--target", str(work / "packages"), "underdash[pi]"]
    subprocess.run([*command, *map(str, folder.glob("underdash_breaks-*.whl"))], check=True, timeout=600)
    shutil.make_archive(str(folder / "environment"), "tar", work / "packages")
