"""What earlier lives teach: pages that stay off, plug-ins that are left out, and the words for it."""

from __future__ import annotations

import functools
from importlib.metadata import EntryPoint
from importlib.util import find_spec
from pathlib import Path

import pytest

from underdash.config.mistakes import Source
from underdash.contract.pages import Canvas, Page
from underdash.contract.signals import Snapshot
from underdash.loading import load
from underdash.service.ledger import BadEnd
from underdash.service.witness import Frame
from underdash.wiring.past import Past, owners


def draw(canvas: Canvas, snapshot: Snapshot) -> None:
    canvas.title("hangs")
    canvas.remark("hangs")


def other(canvas: Canvas, snapshot: Snapshot) -> None:
    canvas.title("other")


def in_draw(line: int = 2) -> Frame:
    return Frame(__file__, draw.__code__.co_firstlineno + line, "draw")


def ended(plugin: str = "gauge", at: float = 0.0, *frames: Frame) -> BadEnd:
    return BadEnd(at, "stood still", plugin, frames or (in_draw(),))


def test_the_page_in_which_a_life_ended_is_off_and_the_others_are_not() -> None:
    past = Past.of([ended()], 10.0)
    assert past.note == ""
    assert "an earlier life stood still in draw() of plug-in gauge" in past.page_off(
        "gauge", Page("hangs", "", draw, ())
    )
    assert past.page_off("gauge", Page("other", "", other, ())) == ""
    assert past.page_off("another", Page("hangs", "", draw, ())) == ""
    assert past.note == "page hangs is off: it hung"
    assert past.remedy == ""
    assert [fault.partition(":")[0] for fault in past.faults] == ["page 'hangs' of plug-in gauge is off"]


@pytest.mark.parametrize("line", [-1, 40])
def test_a_function_of_the_same_name_elsewhere_in_the_file_is_another(line: int) -> None:
    assert Past.of([ended("gauge", 0.0, in_draw(line))], 10.0).page_off("gauge", Page("hangs", "", draw, ())) == ""


def test_a_page_drawn_by_a_partial_or_a_method_is_known_too() -> None:
    class Gauge:
        def draw(self, canvas: Canvas, snapshot: Snapshot) -> None:
            canvas.title("gauge")

    code = Gauge.draw.__code__
    frame = Frame(code.co_filename, code.co_firstlineno + 1, code.co_name)
    assert Past.of([ended("gauge", 0.0, frame)], 1.0).page_off("gauge", Page("a", "", Gauge().draw, ()))
    assert Past.of([ended()], 1.0).page_off("gauge", Page("b", "", functools.partial(draw), ()))
    assert not Past.of([ended()], 1.0).page_off("gauge", Page("c", "", print, ()))


def test_after_three_bad_ends_others_plugins_are_left_out_and_ours_stay() -> None:
    past = Past.of([ended(at=at) for at in (0.0, 20.0, 40.0)], 50.0)
    assert past.safe
    assert past.left_out("gauge", False) == "safe mode, an earlier life stood still in draw() of plug-in gauge"
    assert past.left_out("another", False) == "safe mode, and it is not one of ours"
    assert past.left_out("boost", True) == ""
    assert past.note == "safe mode: gauge hung"
    assert past.remedy == "safe mode: gauge hung; restart underdash to try all again"
    (sentence,) = past.faults
    assert sentence.startswith("safe mode: underdash ended badly 3 times, 3 of them within 10 minutes (the last life")
    assert sentence.endswith(
        "sudo systemctl restart underdash, or the next start of the machine, tries all plug-ins again"
    )


@pytest.mark.parametrize(
    ("how", "word"),
    [
        ("crashed (Segmentation fault)", "crashed"),
        ("took too much memory, and the kernel ended it", "took too much memory"),
        ("was ended by SIGKILL, after its memory had grown to 140 MB", "took too much memory"),
        ("was ended by SIGKILL", "ended it"),
    ],
)
def test_the_panels_say_what_the_plug_in_did(how: str, word: str) -> None:
    assert Past.of([BadEnd(at, how, "gauge") for at in (0.0, 1.0, 2.0)], 3.0).note == f"safe mode: gauge {word}"


def test_the_panels_name_who_was_seen_last_even_if_the_last_life_left_no_word() -> None:
    past = Past.of([ended(), ended(at=1.0), BadEnd(2.0, "left with status 7, without a word")], 3.0)
    assert past.note == "safe mode: gauge hung"
    assert "(the last life left with status 7, without a word; seen in gauge)" in past.faults[0]


def test_one_of_ours_that_hung_is_left_out_too() -> None:
    past = Past.of([ended("boost", at) for at in (0.0, 20.0, 40.0)], 50.0)
    assert past.left_out("boost", True)
    assert not past.left_out("temperatures", True)


def test_bad_ends_nobody_is_to_blame_for_are_told_without_a_name() -> None:
    past = Past.of([BadEnd(at, "was killed, or left without a word") for at in (0.0, 1.0, 2.0)], 3.0)
    assert past.note == "safe mode"
    assert "the last life was killed, or left without a word)" in past.faults[0]
    assert Past().note == ""
    assert Past().faults == ()


def test_a_plugin_that_is_left_out_is_not_imported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "ended_import.py").write_text("raise AssertionError('imported')")
    monkeypatch.syspath_prepend(tmp_path)
    past = Past.of([ended("gauge", at) for at in (0.0, 1.0, 2.0)], 3.0)
    point = EntryPoint("gauge", "ended_import", "underdash")
    loaded = load({"gauge": {}}, [point], source=Source(), left_out=past.left_out)
    (refused,) = loaded.refused
    assert str(refused).startswith("gauge: safe mode, an earlier life stood still in draw() of plug-in gauge; sudo")


def test_files_belong_to_the_plugin_whose_module_or_package_they_are_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "owned_single.py").write_text("")
    (tmp_path / "owned_package/inner").mkdir(parents=True)
    (tmp_path / "owned_package/__init__.py").write_text("raise AssertionError('imported')")
    monkeypatch.syspath_prepend(tmp_path)
    points = [
        EntryPoint("single", "owned_single", "underdash"),
        EntryPoint("package", "owned_package.inner.deep:thing", "underdash"),
        EntryPoint("missing", "owned_nowhere", "underdash"),
        EntryPoint("idle", "json", "underdash"),
    ]
    owner = owners(["single", "package", "missing"], points)
    assert owner(str(tmp_path / "owned_single.py")) == "single"
    assert owner(str(tmp_path / "owned_package/inner/deep.py")) == "package"
    assert owner(str(tmp_path / "owned_package_2/x.py")) == ""
    assert owner(functools.__file__) == ""
    boost = find_spec("underdash_boost")
    assert boost is not None
    assert owners(["boost"])(str(boost.origin)) == "boost"
