"""The README: its picture is what the project draws, and what it names is there."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest
from PIL import Image, ImageChops, ImageStat

from underdash.cli import VERBS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()


def loaded(script: str) -> ModuleType:
    """Return a script beside the tests as a module."""
    spec = importlib.util.spec_from_file_location(script, ROOT / "tests" / f"{script}.py")
    assert spec is not None
    assert spec.loader is not None
    drawing = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(drawing)
    return drawing


@pytest.mark.parametrize(
    ("script", "draw", "picture"),
    [("gallery", "gallery", "PICTURE"), ("gallery", "opening", "OPENING"), ("element_sheet", "sheet", "PICTURE")],
)
def test_the_pictures_are_what_the_project_draws_today(script: str, draw: str, picture: str) -> None:
    drawing = loaded(script)
    shown = Image.open(getattr(drawing, picture)).convert("RGB")
    drawn = getattr(drawing, draw)()
    assert shown.size == drawn.size
    # another Pillow may place an edge a little differently, a changed page differs much more
    worst = max(ImageStat.Stat(ImageChops.difference(shown, drawn)).mean)
    assert worst < 0.5, f"run python tests/{script}.py and look at the picture"


@pytest.mark.parametrize("shape", ["round", "square"])
def test_the_mounting_templates_are_what_the_project_draws_today_one_to_one(shape: str) -> None:
    drawing = loaded("gallery")
    text = drawing.TEMPLATES[shape].read_text(encoding="utf-8")
    assert text == drawing.mounting(shape)
    width, view = re.findall(r'<svg [^>]*width="([\d.]+)mm"[^>]*viewBox="0 0 ([\d.]+) ', text)[0]
    assert width == view


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph, picture = README.split("\n\n")[:3]
    assert title == "# underdash"
    assert all(word in paragraph for word in ("records", "find", "described", "asks", "shows", "lives with", "share"))
    assert picture.startswith("![")


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)#]+)[^)]*\)", README))))
def test_every_link_leads_to_a_file(target: str) -> None:
    assert (ROOT / target).exists()


def test_every_command_is_in_the_table_and_the_table_has_no_other() -> None:
    assert set(re.findall(r"^\| `underdash (\w+)", README, re.MULTILINE)) == set(VERBS)
