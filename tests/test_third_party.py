"""plugins/template is a stranger's project: its tests run, and it is built, installed beside the wheel and loaded."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TEMPLATE = ROOT / "plugins" / "template"

CONFIG = """
format = 1

[car]
name = "tarn"

[plugins]
enabled = ["tarn", "boost", "template"]

[plugin.template]
caution_below = {limit}

[bus.drive]
interface = "memory"

[bus.comfort]
interface = "memory"

[power]
supply = "switched"
"""

TOLD = """
from underdash.loading import load
loaded = load({"boost": {}, "template": {"caution_below": 55.0}})
print([(p.name, p.version, str(p.settings)) for p in loaded.plugins if p.name == "template"])
print("refused", [str(one) for one in loaded.refused])
print("installed", [one.name for one in loaded.installed])
import underdash
print("from", underdash.__file__)
"""


def run(*command: str | Path, cwd: Path, status: int = 0, **environment: str) -> str:
    """Run a command away from the work tree and return what it prints; its own words are shown if it fails."""
    clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env={**clean, **environment},
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == status, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def test_the_tests_of_the_template_pass(tmp_path: Path) -> None:
    pytest_args = ("-q", "-p", "no:cacheprovider", "--rootdir", TEMPLATE, "-c", TEMPLATE / "pyproject.toml")
    out = run(
        sys.executable, "-m", "pytest", *pytest_args, TEMPLATE / "tests",
        cwd=tmp_path, PYTHONPATH=str(TEMPLATE), PYTHONDONTWRITEBYTECODE="1",
    )  # fmt: skip
    assert "8 passed" in out


def test_the_template_asks_for_the_version_that_is_here() -> None:
    ours = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    project = tomllib.loads((TEMPLATE / "pyproject.toml").read_text())["project"]
    major, minor, _ = ours.split(".")
    assert project["dependencies"] == [f"underdash>={major}.{minor},<{major}.{int(minor) + 1}"]


@pytest.mark.slow
def test_the_wheel_and_the_template_install_side_by_side_and_the_template_runs(tmp_path: Path) -> None:
    run(sys.executable, "-m", "build", "--wheel", "--outdir", tmp_path / "dist", ROOT, cwd=tmp_path)
    (wheel,) = (tmp_path / "dist").glob("underdash-*.whl")
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
    assert not [name for name in names if "underdash_template" in name or "/tests/" in name]
    for expected in ("underdash/py.typed", "underdash/display/fonts/OFL.txt", "underdash_boost/__init__.py"):
        assert expected in names

    venv.create(tmp_path / "v", with_pip=True)
    python = tmp_path / "v" / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", wheel, TEMPLATE, cwd=tmp_path)

    told = run(python, "-c", TOLD, cwd=tmp_path)
    assert "[('template', '1.0.0', \"Settings(caution_below=55.0, button='')\")]" in told
    assert "refused []" in told
    assert "'tarn'" in told
    assert f"from {tmp_path / 'v'}" in told

    assert "template" in run(python, "-m", "underdash", "plugins", cwd=tmp_path)
    config = tmp_path / "underdash.toml"
    config.write_text(CONFIG.format(limit=55.0))
    listed = run(python, "-m", "underdash", "plugins", "--config", config, cwd=tmp_path)
    assert "template  1.0.0  how well the charge air cooler works" in listed
    assert "refused: none" in listed
    config.write_text(CONFIG.format(limit=140.0))
    listed = run(python, "-m", "underdash", "plugins", "--config", config, cwd=tmp_path, status=1)
    assert "caution_below: found 140.0, allowed: at least 0 and at most 100 %" in listed
    assert "correct [plugin.template] in" in listed
